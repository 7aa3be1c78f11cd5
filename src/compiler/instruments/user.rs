//! Instruments of the user: text in the format of the catalogue, with the place of every fault.
//!
//! A file holds `[[instrument]]` tables. What is `like` another instrument takes over all that it
//! does not say itself, so that few lines make a cello with five strings. Sources may be left out:
//! the user is the source. What is read lives as long as the program, like the catalogue itself;
//! the same instrument read again is not kept twice.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::{LazyLock, Mutex};

use toml::de::{DeTable, DeValue};

use super::like::{RawTable, inherited, raw_tables};
use super::read::{FILES, build};
use super::{Instrument, catalogue, find};
use crate::diagnostics::nearest;

/// Instruments that one file may hold; the message names it.
const MOST: usize = 1000;

/// What is wrong with an instrument of the user, and where.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct UserFault {
    /// Bytes of the text at fault.
    pub range: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
    /// The `id` of the instrument that is lost by it, where it has one.
    pub instrument: Option<String>,
}

/// Reads a file of instruments. `known` are those that the user has declared before; the
/// catalogue is known anyway. What is at fault is left out, the rest is usable.
#[must_use]
pub fn read_instruments(
    text: &str,
    known: &[&'static Instrument],
) -> (Vec<&'static Instrument>, Vec<UserFault>) {
    let mut faults = Vec::new();
    let text = match too_many(text) {
        Some((rest, at)) => {
            let message = "A file may hold 1,000 instruments, and this is one more.".to_string();
            faults.push(fault(at, message, "Divide the file."));
            rest
        }
        None => text,
    };
    let places = match DeTable::parse(text) {
        Ok(places) => places,
        Err(error) => {
            let range = error.span().unwrap_or(0..text.len().min(1));
            let message = format!("This file of instruments cannot be read: {}.", error.message());
            faults.push(fault(range, message, FORMAT));
            return (Vec::new(), faults);
        }
    };
    let places = places.get_ref();
    for (key, _) in places.iter().filter(|(key, _)| key.get_ref() != "instrument") {
        let message = format!("Unknown table `{}` in a file of instruments.", key.get_ref());
        faults.push(fault(key.span(), message, FORMAT));
    }
    let Some(array) = places.get("instrument").and_then(|value| value.get_ref().as_array()) else {
        if faults.is_empty() {
            let message = "There is no instrument in this file.".to_string();
            faults.push(fault(0..text.len().min(1), message, FORMAT));
        }
        return (Vec::new(), faults);
    };
    let mut spots: Vec<(&DeTable, Range<usize>)> = Vec::new();
    for value in array {
        match value.get_ref().as_table() {
            Some(table) => spots.push((table, head(text, value.span()))),
            None => {
                let message = "An instrument is a table.".to_string();
                faults.push(fault(value.span(), message, FORMAT));
                return (Vec::new(), faults);
            }
        }
    }
    let Ok(mut tables) = raw_tables(text) else { return (Vec::new(), faults) };
    let mut instruments: Vec<&'static Instrument> = Vec::new();
    for raw in &mut tables {
        complete(&mut raw.table, &raw.id);
    }
    let own = tables.len();
    let before: Vec<RawTable> = known.iter().filter_map(|known| table_of(known)).collect();
    let all: Vec<&RawTable> = tables.iter().chain(&before).chain(BUILT_IN.iter()).collect();
    for (index, (spot, range)) in spots.iter().enumerate().take(own) {
        let id = &tables[index].id;
        let place = |field: &str| place_of(spot, field).unwrap_or_else(|| range.clone());
        let taken = find(id).is_some()
            || known.iter().chain(&instruments).any(|other| is_called(other, id))
            || tables[..index].iter().any(|other| other.id == *id);
        if let Some((message, help)) = bad_id(id, taken, spot.get("id").is_some()) {
            faults.push(fault(place("id"), message, &help));
            continue;
        }
        let read = inherited(&all, index, &mut Vec::new())
            .and_then(|table| Ok((build(table.clone())?, table)));
        match read {
            Ok((instrument, table)) => {
                let kept = keep(instrument);
                remember(kept, table);
                instruments.push(kept);
            }
            Err(text) => {
                let field = field_of(&text);
                let message = format!("The instrument `{id}` cannot be read: {}.", plain(&text));
                let lost = fault(place(&field), message, &help_for(&field, &text, known));
                faults.push(UserFault { instrument: Some(id.clone()), ..lost });
            }
        }
    }
    (instruments, faults)
}

/// The text up to the first instrument that is too many, and where that one is.
fn too_many(text: &str) -> Option<(&str, Range<usize>)> {
    const HEAD: &str = "[[instrument]]";
    let mut heads = text.match_indices(HEAD).filter(|(at, _)| {
        let line = text[..*at].rfind('\n').map_or(0, |end| end + 1);
        text[line..*at].trim().is_empty()
    });
    let (at, _) = heads.nth(MOST)?;
    Some((&text[..at], at..at + HEAD.len()))
}

/// The whole tables from which instruments of the user were made, by the instrument: a later file
/// may be `like` them.
static TABLES: LazyLock<Mutex<HashMap<usize, toml::Table>>> = LazyLock::new(Mutex::default);

/// The address of an instrument, which it keeps for the life of the program.
fn address(instrument: &'static Instrument) -> usize {
    std::ptr::from_ref(instrument) as usize
}

fn remember(instrument: &'static Instrument, table: toml::Table) {
    let mut tables = TABLES.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    tables.entry(address(instrument)).or_insert(table);
}

/// The table from which an instrument of the user was made.
fn table_of(instrument: &'static Instrument) -> Option<RawTable> {
    let tables = TABLES.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let table = tables.get(&address(instrument))?.clone();
    Some(RawTable { id: instrument.id.clone(), table })
}

const FORMAT: &str = "Write tables like those of the catalogue: `[[instrument]]`, then lines such as \
                      `id = \"five-string-cello\"` and `like = \"cello\"`.";

fn fault(range: Range<usize>, message: String, help: &str) -> UserFault {
    UserFault { range, message, help: help.to_string(), instrument: None }
}

/// The tables of the catalogue as they are written, for what is like them.
static BUILT_IN: LazyLock<Vec<RawTable>> = LazyLock::new(|| {
    FILES.iter().filter_map(|(_, text)| raw_tables(text).ok()).flatten().collect()
});

/// An instrument for the life of the program; the same one only once.
pub(super) fn keep(instrument: Instrument) -> &'static Instrument {
    static KEPT: LazyLock<Mutex<HashMap<String, Vec<&'static Instrument>>>> =
        LazyLock::new(Mutex::default);
    let mut kept = KEPT.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let same = kept.entry(instrument.id.clone()).or_default();
    if let Some(known) = same.iter().find(|known| ***known == instrument) {
        return known;
    }
    let new: &'static Instrument = Box::leak(Box::new(instrument));
    same.push(new);
    new
}

fn is_called(instrument: &Instrument, word: &str) -> bool {
    instrument.id == word || instrument.aliases.iter().any(|alias| alias == word)
}

/// The first line of what stands there.
fn head(text: &str, range: Range<usize>) -> Range<usize> {
    let here = text.get(range.clone()).unwrap_or_default();
    let line = here.lines().next().map_or(0, str::len).max(1);
    range.start..(range.start + line).min(text.len())
}

/// Where the value of a field stands.
fn place_of(table: &DeTable, field: &str) -> Option<Range<usize>> {
    let mut names = field.split(['.', ' ']);
    let value = table.get(names.next()?)?;
    let inner = names.next().and_then(|name| match value.get_ref() {
        DeValue::Table(inner) => inner.get(name).map(toml::Spanned::span),
        _ => None,
    });
    Some(inner.unwrap_or_else(|| value.span()))
}

/// The field that a fault names in backticks, without what follows its first word.
fn field_of(fault: &str) -> String {
    let after = |word: &str| Some(fault.rsplit_once(word)?.1.split('`').next()?.to_string());
    after("in `")
        .or_else(|| after("field `"))
        .or_else(|| after("unknown field `"))
        .unwrap_or_default()
}

/// A fault in one line.
fn plain(fault: &str) -> String {
    let mut line = fault.split_whitespace().collect::<Vec<_>>().join(" ");
    for kind in ["u8", "u16", "u32", "i8", "i32", "i64", "usize"] {
        line = line.replace(&format!("expected {kind}"), "expected a whole number");
    }
    for (kind, word) in [("f32", "a number"), ("f64", "a number"), ("a string", "text in quotes")] {
        line = line.replace(&format!("expected {kind}"), &format!("expected {word}"));
    }
    line.trim_end_matches('.').to_string()
}

fn bad_id(id: &str, taken: bool, named: bool) -> Option<(String, String)> {
    let letters = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let well_formed = id.starts_with(|c: char| c.is_ascii_lowercase())
        && id.chars().all(letters)
        && !id.ends_with('-')
        && id.rsplit('-').next().is_none_or(|end| end.parse::<u32>().is_err());
    if !named {
        return Some((
            "This instrument has no `id`.".to_string(),
            "Write `id = \"…\"`: the word by which ensembles call it.".to_string(),
        ));
    }
    if !well_formed {
        return Some((
            format!("`{id}` is not a name for an instrument."),
            "Use small letters, digits and hyphens; a number at the end is that of a section."
                .to_string(),
        ));
    }
    taken.then(|| {
        (
            format!("The name `{id}` is already taken."),
            "Choose another `id`; a change of an instrument gets a name of its own.".to_string(),
        )
    })
}

fn help_for(field: &str, fault: &str, known: &[&'static Instrument]) -> String {
    if field == "like" {
        let own: Vec<&str> = known.iter().map(|instrument| instrument.id.as_str()).collect();
        let more = if own.is_empty() { String::new() } else { format!(" or {}", own.join(", ")) };
        let all = catalogue().iter().chain(known.iter().copied());
        let names: Vec<&str> = all
            .flat_map(|i| std::iter::once(&i.id).chain(&i.aliases).map(String::as_str))
            .collect();
        // The name in the fault is the last in backticks.
        let wrong = fault.rsplit('`').nth(1).unwrap_or_default();
        let near = match nearest(wrong, names) {
            Some(name) if name != wrong => format!("Did you mean `{name}`? "),
            _ => String::new(),
        };
        return format!("{near}Name an instrument of the catalogue (`ripieno instruments`){more}.");
    }
    "`ripieno instruments NAME --format json` shows an instrument with all its fields.".to_string()
}

/// Fills in what the user need not say: the name after the id, sources, the years of a compass.
fn complete(table: &mut toml::Table, id: &str) {
    use toml::Value;
    const SOURCE: &str = "the user's own table";
    const ROWS: [&str; 25] = [
        "compass",
        "keys",
        "crooks",
        "natural",
        "breath",
        "agility",
        "telling",
        "open_strings",
        "drums",
        "out_of_use",
        "seat",
        "desk",
        "section",
        "hand",
        "slides",
        "sparing",
        "sudden_leap",
        "blurred_run",
        "trills",
        "retuning",
        "grasp",
        "octave_lines",
        "pedals",
        "ranks",
        "taxing",
    ];
    let text = |text: &str| Value::String(text.to_string());
    if !table.contains_key("name") {
        let words = id.replace('-', " ");
        let mut letters = words.chars();
        let first = letters.next().map_or(String::new(), |c| c.to_uppercase().to_string());
        table.insert("name".to_string(), text(&(first + letters.as_str())));
    }
    for field in ["clefs", "transposition", "from", "midi"] {
        let source = match field {
            "midi" => "sound_source".to_string(),
            field => format!("{field}_source"),
        };
        if table.contains_key(field) && !table.contains_key(&source) {
            table.insert(source, text(SOURCE));
        }
    }
    let years = |row: &mut toml::Table| {
        row.entry("from").or_insert(Value::Integer(0));
        row.entry("to").or_insert(Value::Integer(9999));
    };
    let with_years =
        ["compass", "open_strings", "slides", "sparing", "ranks", "taxing", "retuning"];
    for field in ROWS {
        let sourced = |value: &mut Value| {
            if let Value::Table(row) = value {
                row.entry("source").or_insert_with(|| text(SOURCE));
                if with_years.contains(&field) {
                    years(row);
                }
            }
        };
        match table.get_mut(field) {
            Some(Value::Array(rows)) => rows.iter_mut().for_each(sourced),
            Some(value) => sourced(value),
            None => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instruments::Limit;

    const FIVE: &str = "[[instrument]]\nid = \"five-string-cello\"\nlike = \"cello\"\n\
                        compass = [\n  { limit = \"instrument\", low = \"C2\", high = \"E6\" },\n  \
                        { limit = \"custom\", low = \"C2\", high = \"A5\" },\n]\n\
                        open_strings = [{ strings = [\"C2\", \"G2\", \"D3\", \"A3\", \"E4\"] }]\n";

    fn faults(text: &str) -> Vec<(String, String)> {
        let (_, faults) = read_instruments(text, &[]);
        faults.into_iter().map(|f| (text[f.range.clone()].to_string(), f.message)).collect()
    }

    #[test]
    fn a_few_lines_make_a_cello_with_five_strings() {
        let (found, faults) = read_instruments(FIVE, &[]);
        assert!(faults.is_empty(), "{faults:#?}");
        let cello = found[0];
        assert_eq!(
            (cello.name.as_str(), cello.plural.as_str()),
            ("Five string cello", "Five string cellos")
        );
        assert_eq!(cello.open_strings(1885).map(|row| row.strings.len()), Some(5));
        assert_eq!(
            cello.compass(Limit::Custom, 1770).map(|row| row.high.to_string()),
            Some("A5".into())
        );
        assert_eq!(cello.clefs, find("cello").unwrap().clefs);
        let (again, _) = read_instruments(FIVE, &[]);
        assert!(std::ptr::eq(found[0], again[0]), "read twice, kept once");
    }

    #[test]
    fn each_fault_has_its_place() {
        for (from, to, place, says) in [
            ("low = \"C2\", high = \"E6\"", "low = \"C7\", high = \"E6\"", "compass", "is above"),
            ("like = \"cello\"", "like = \"celo\"", "\"celo\"", "unknown instrument `celo`"),
            ("id = \"five-string-cello\"", "id = \"cello\"", "\"cello\"", "already taken"),
            ("id = \"five-string-cello\"", "id = \"Cello 5\"", "\"Cello 5\"", "not a name"),
            ("id = \"five-string-cello\"\n", "", "[[instrument]]", "has no `id`"),
            (
                "like = \"cello\"\n",
                "like = \"cello\"\nscore_order = \"high\"\n",
                "\"high\"",
                "score_order",
            ),
            ("like = \"cello\"\n", "like = \"cello\"\ncompas = 3\n", "3", "compas"),
            ("like = \"cello\"\n", "like = \"cello\n", "", "cannot be read"),
        ] {
            assert!(FIVE.contains(from), "{from}");
            let text = FIVE.replacen(from, to, 1);
            let found = faults(&text);
            assert_eq!(found.len(), 1, "{to}: {found:#?}");
            assert!(found[0].1.contains(says), "{to}: {found:#?}");
            let at = &found[0].0;
            let compass = place == "compass" && at.starts_with('[');
            assert!(at == place || compass || place.is_empty(), "{to}: {at}");
        }
    }

    #[test]
    fn one_file_may_be_like_an_instrument_of_another() {
        let (five, _) = read_instruments(FIVE, &[]);
        let six = "[[instrument]]\nid = \"six-string-cello\"\nlike = \"five-string-cello\"\n";
        let (found, faults) = read_instruments(six, &five);
        assert!(faults.is_empty(), "{faults:#?}");
        assert_eq!(found[0].open_strings(1885).map(|row| row.strings.len()), Some(5));
        assert_eq!(found[0].clefs, find("cello").unwrap().clefs, "and of what that one is like");
        let (_, faults) = read_instruments(six, &[]);
        assert!(
            faults[0].message.contains("unknown instrument `five-string-cello`"),
            "{faults:#?}"
        );
    }

    #[test]
    fn a_circle_and_a_million_are_told() {
        let circle = "[[instrument]]\nid = \"one\"\nlike = \"two\"\n\
                      [[instrument]]\nid = \"two\"\nlike = \"one\"\n";
        let found = faults(circle);
        assert_eq!(found.len(), 2, "{found:#?}");
        assert!(found.iter().all(|(at, says)| at.starts_with('"') && says.contains("circle")));

        let many: String = (0..1001)
            .map(|n| format!("[[instrument]]\nid = \"x{n}y\"\nlike = \"oboe\"\n"))
            .collect();
        let (kept, faults) = read_instruments(&many, &[]);
        assert_eq!(kept.len(), 1000);
        assert!(faults[0].message.contains("1,000"), "{faults:#?}");
    }
}
