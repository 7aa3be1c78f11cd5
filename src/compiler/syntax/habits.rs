//! Words for the habits that people bring along from elsewhere.

use pest::Parser;
use pest::error::InputLocation;
use pest::iterators::Pair;

use super::context::{Grammar, ItemReader, Rule};
use super::expected::Expected;
use crate::diagnostics::{Diagnostic, Span, german_key, instead_of, nearest};
use crate::instruments;

/// Dynamics as people write them.
const DYNAMICS: [&str; 8] = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"];

/// Names of values of a metronome mark, and the value.
const VALUES: [(&str, &str); 7] = [
    ("quarter", "1/4"),
    ("crotchet", "1/4"),
    ("♩", "1/4"),
    ("half", "1/2"),
    ("minim", "1/2"),
    ("eighth", "1/8"),
    ("quaver", "1/8"),
];

/// The one answer to any sign that no bar holds.
const BAR_HOLDS: &str = "A bar holds values (`1/4`), notes (`F#4`), chords (`D5&F5`), `rest`, \
    holds (`=`), slurs (`{D5 E}`), tuplets (`3:2(1/8 D5 E F)`), grace notes (`grace(E5)`), marks \
    and directions in brackets (`D5[stacc]`, `[p]`), and `|` at its end.";

/// A habit with what the language says instead.
pub(super) struct Habit {
    /// What to do, in a sentence.
    pub(super) help: String,
    /// Bytes of the text that could not be read, from and to, and what to put there.
    pub(super) fix: Option<(usize, usize, String)>,
}

fn says(help: impl Into<String>) -> Option<Habit> {
    Some(Habit { help: help.into(), fix: None })
}

/// A word for the habits that people bring along from elsewhere. `text` stopped to make sense at
/// byte `at`, where `found` stands.
pub(super) fn habit(text: &str, at: usize, found: &str, expected: &Expected) -> Option<Habit> {
    let notes =
        expected.things.contains(&"a note") || expected.things.contains(&"a pitch such as `F#4`");
    let rest = &text[at..];
    if notes {
        return note_habit(rest, at, found, expected);
    }
    if expected.things.contains(&"a note name such as `Bb`")
        && let Some((length, key)) = key_name(rest)
    {
        let help = format!("A key is a capital letter with `major` or `minor`: `{key}`.");
        return Some(Habit { help, fix: Some((at, at + length, key)) });
    }
    if expected.things.contains(&"a note name such as `Bb`")
        && let Some(key) = german_key(found)
    {
        let help = format!("German {found} is {key}.");
        return Some(Habit { help, fix: Some((at, at + found.len(), key.to_string())) });
    }
    if let Some((_, value)) = VALUES.iter().find(|(word, _)| *word == found)
        && expected.things.contains(&"a value such as `1/4`")
    {
        let help = format!("The value is a fraction of a whole note: `tempo {value} at 96`.");
        let behind = rest[found.len()..].trim_start();
        let (end, mended) = match behind.strip_prefix('=') {
            Some(count) => (text.len() - count.trim_start().len(), format!("{value} at ")),
            None => (text.len() - behind.len(), format!("{value} ")),
        };
        return Some(Habit { help, fix: Some((at, end, mended)) });
    }
    if found.bytes().all(|b| b.is_ascii_digit())
        && !found.is_empty()
        && expected.things.contains(&"a value such as `1/4`")
    {
        let help = "Write the note value before the number: `tempo 1/4 at 96`.";
        return Some(Habit { help: help.into(), fix: Some((at, at, "1/4 at ".into())) });
    }
    if let Some(habit) = words_behind(text, at) {
        return Some(habit);
    }
    if let Some(habit) = without_comma(text, at, found) {
        return Some(habit);
    }
    if found == "["
        && let Some(length) = rest.find(']')
    {
        let inside = rest[1..length].trim().to_string();
        let help = format!("What a line says stands without brackets: `{inside}`.");
        return Some(Habit { help, fix: Some((at, at + length + 1, inside)) });
    }
    if found == "=" && expected.keywords.contains(&"at") {
        let help = "Write the number after `at`: `tempo 1/4 at 96`.";
        return Some(Habit { help: help.into(), fix: Some((at, at + 1, "at".into())) });
    }
    if matches!(found, "8va" | "8vb" | "15ma" | "15mb") {
        if let Some(bars) = bars_before(text, at) {
            let mended = format!("{found} {}", text[bars..at].trim_end());
            let help = format!("Write the octave before the bars: `{mended}`.");
            return Some(Habit { help, fix: Some((bars, at + found.len(), mended)) });
        }
        let behind = rest[found.len()..].trim_start();
        let name: &str = behind.split([' ', '\n', ',']).next().unwrap_or_default();
        let end = text.len() - behind.len() + name.len();
        let mended = format!("{name} {found}");
        let help = format!("Write the octave after the name: `{mended}`.");
        return Some(Habit { help, fix: (!name.is_empty()).then_some((at, end, mended)) });
    }
    let verbs = expected.keywords.contains(&"rests");
    let before = text[..at].trim_end();
    if verbs
        && found.bytes().all(|b| b.is_ascii_digit())
        && !found.is_empty()
        && before.ends_with(char::is_alphabetic)
    {
        let name = before.rsplit([' ', ',', '\t']).next().unwrap_or_default();
        let help = format!("Refer to a single player with a dot: `{name}.{found}`.");
        let fix = Some((before.len(), at, ".".to_string()));
        return Some(Habit { help, fix });
    }
    if let Some(meant) = head_word(text).filter(|_| verbs) {
        let end = text.find(' ').unwrap_or(text.len());
        let help = format!("Did you mean `{meant}`?");
        return Some(Habit { help, fix: Some((0, end, meant.to_string())) });
    }
    let names = ["a name in small letters", "the name of a player"];
    if names.iter().any(|name| expected.things.contains(name))
        && found.starts_with(char::is_uppercase)
    {
        let name = found.to_lowercase();
        let help = format!("Names are written in small letters: `{name}`.");
        return Some(Habit { help, fix: Some((at, at + found.len(), name)) });
    }
    if let Some(habit) = range(text, at, found) {
        return Some(habit);
    }
    if DYNAMICS.contains(&found) {
        let fix = Some((at, at, "at ".to_string()));
        return Some(Habit { help: format!("A line's own dynamic is written `at {found}`."), fix });
    }
    if expected.things.contains(&"text in quotes") {
        return quotes(text, at, found);
    }
    if matches!(found, "bar" | "Bar" | "mm" | "measures" | "Bars" | "bb") {
        let fix = Some((at, at + found.len(), "bars".to_string()));
        return Some(Habit { help: "Write `bars 5`.".into(), fix });
    }
    if verbs && found.eq_ignore_ascii_case("tacet") {
        let fix = Some((at, at + found.len(), "rests".to_string()));
        return Some(Habit { help: "A player who does not play `rests`.".into(), fix });
    }
    if expected.things.contains(&"a word") {
        let meant = instead_of(found)?;
        let fix = Some((at, at + found.len(), meant.to_string()));
        return Some(Habit { help: format!("Ripieno calls it `{meant}`."), fix });
    }
    None
}

/// What happens at a bar, without the comma before it.
fn without_comma(text: &str, at: usize, found: &str) -> Option<Habit> {
    if !text.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let before = text[..at].trim_end();
    let mended = format!("{before}, {}", &text[at..]);
    // The comma brings the reading beyond this word.
    let reached = match Grammar::parse(Rule::form_line, &mended) {
        Ok(_) => mended.len(),
        Err(error) => match error.location {
            InputLocation::Pos(at) | InputLocation::Span((at, _)) => at,
        },
    };
    (!found.is_empty() && !before.ends_with(',') && reached > before.len() + 2).then(|| Habit {
        help: "A comma stands between what happens at one bar: `metre 3/4, key G minor`.".into(),
        fix: Some((before.len(), at, ", ".into())),
    })
}

/// Words behind the count of a tempo, which stand before it.
fn words_behind(text: &str, at: usize) -> Option<Habit> {
    let words = text[at..].strip_prefix('"')?;
    let words = &words[..words.find(['"', '\n'])?];
    let from = text[..at].rfind("tempo")? + "tempo".len();
    let count = text[from..at].trim();
    if !count.contains(" at ") || count.contains([',', '"']) {
        return None;
    }
    let mended = format!(" \"{words}\" {count}");
    let help = format!("Write words before the metronome mark: `tempo{mended}`.");
    Some(Habit { help, fix: Some((from, at + words.len() + 2, mended)) })
}

/// The word that a line of a scoring seems to begin with.
fn head_word(text: &str) -> Option<&'static str> {
    nearest(text.split(' ').next().unwrap_or_default(), ["keep", "allow"])
}

fn note_habit(rest: &str, at: usize, found: &str, expected: &Expected) -> Option<Habit> {
    let first = found.chars().next();
    if expected.things.contains(&"`)`") && begins_tuplet(rest) {
        return says(
            "Tuplets are not nested. Close the first with `)` before it, or write one tuplet in place of \
             both, with values short enough for all its notes.",
        );
    }
    if let Some(note) = note_name(found) {
        let help = match first {
            Some('H') => "The note H of German usage is written `B`, and B is written `Bb`.".into(),
            _ => format!("Write notes as capital letters followed by `#` or `b`: `{note}`."),
        };
        return Some(Habit { help, fix: Some((at, at + found.len(), note)) });
    }
    match (found, first) {
        ("", _) if expected.things.contains(&"a bar line `|`") => {
            says("Write `|` at the end of every bar.")
        }
        ("" | "\n" | "\r", _) => None,
        _ => says(BAR_HOLDS),
    }
}

/// `3:2(` and the like.
fn begins_tuplet(text: &str) -> bool {
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let (ratio, _) = text.split_once('(').unwrap_or_default();
    let Some((actual, normal)) = ratio.trim_end().split_once(':') else { return false };
    let whole = |text: &str| !text.is_empty() && digits(text) == text.len();
    whole(actual) && whole(normal)
}

/// Syllables of solmisation and their letters.
const SYLLABLES: [(&str, char); 8] = [
    ("do", 'C'),
    ("ut", 'C'),
    ("re", 'D'),
    ("mi", 'E'),
    ("fa", 'F'),
    ("sol", 'G'),
    ("la", 'A'),
    ("si", 'B'),
];

/// `F#5` for "fis5", `Eb` for "es", `B4` for "H4" or "si4", `D5` for "d5"; `None` for what is no
/// note anywhere.
fn note_name(word: &str) -> Option<String> {
    let digits = word.find(|c: char| c.is_ascii_digit()).unwrap_or(word.len());
    let (name, octave) = word.split_at(digits);
    if !octave.bytes().all(|b| b.is_ascii_digit()) || octave.len() > 1 {
        return None;
    }
    let lower = name.to_lowercase();
    let syllable = |(syllable, _): &&(&str, char)| {
        lower.strip_prefix(syllable).is_some_and(|rest| matches!(rest, "" | "#" | "b" | "♯" | "♭"))
    };
    if let Some((syllable, letter)) = SYLLABLES.iter().find(syllable) {
        return Some(format!("{letter}{}{octave}", &lower[syllable.len()..]));
    }
    let letter = lower.chars().next().filter(|c| ('a'..='h').contains(c))?;
    let accidental = match (letter, &lower[1..]) {
        ('h', "" | "es") => {
            return Some(format!("B{}{octave}", if lower == "h" { "" } else { "b" }));
        }
        (_, "") => "",
        (_, "is") => "#",
        (_, "isis") => "##",
        ('a' | 'e', "s") | (_, "es") => "b",
        (_, sign @ ("#" | "b" | "##" | "bb" | "♯" | "♭")) => sign,
        _ => return None,
    };
    let letter = if letter == 'h' { 'B' } else { letter.to_ascii_uppercase() };
    Some(format!("{letter}{accidental}{octave}"))
}

/// A key as it is named elsewhere, how many bytes of the text name it, and its name here.
fn key_name(text: &str) -> Option<(usize, String)> {
    let line = text.split(['\n', ',', '\r']).next()?;
    let mut words = line.split([' ', '-', '\t']).filter(|word| !word.is_empty());
    let tonic = words.next()?;
    let mut mode = words.next()?;
    let mut sign = "";
    match mode.to_lowercase().as_str() {
        "diesis" | "dièse" | "sharp" => sign = "#",
        "bemolle" | "bémol" | "flat" => sign = "b",
        _ => {}
    }
    if !sign.is_empty() {
        mode = words.next()?;
    }
    let minor = match mode.to_lowercase().as_str() {
        "moll" | "minore" | "mineur" | "minor" | "min" => "minor",
        "dur" | "maggiore" | "majeur" | "major" | "maj" => "major",
        _ => return None,
    };
    let end = mode.as_ptr() as usize - text.as_ptr() as usize + mode.len();
    Some((end, format!("{}{sign} {minor}", note_name(tonic)?)))
}

/// `1-8`, `1 - 8` and `1–8` for `1..8`.
fn range(text: &str, at: usize, found: &str) -> Option<Habit> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let help =
        |from: &str, to: &str| format!("Bars from one to another are written `{from}..{to}`.");
    if let Some((from, to)) = found.split_once('-').filter(|(from, to)| digits(from) && digits(to))
    {
        let fix = Some((at, at + found.len(), format!("{from}..{to}")));
        return Some(Habit { help: help(from, to), fix });
    }
    if !matches!(found, "-" | "–" | "—" | "to") {
        return None;
    }
    let before = text[..at].trim_end();
    let behind = text[at + found.len()..].trim_start();
    let from = &before[before.trim_end_matches(|c: char| c.is_ascii_digit()).len()..];
    let to = &behind[..behind.find(|c: char| !c.is_ascii_digit()).unwrap_or(behind.len())];
    let fix = Some((before.len(), text.len() - behind.len(), "..".to_string()));
    (digits(from) && digits(to)).then(|| Habit { help: help(from, to), fix })
}

/// Text without its quotation marks, or an `allow` without its reason.
fn quotes(text: &str, at: usize, found: &str) -> Option<Habit> {
    if text.starts_with("allow") {
        let line = text.trim_end();
        let help =
            "Say why it is allowed, in quotes: `allow compass on oboe bars 3 \"a soloist plays\"`.";
        let reason = line[at.min(line.len())..].trim_matches('"');
        let fix = match found {
            "" => Some((line.len(), line.len(), " \"say why\"".to_string())),
            _ if reason.contains('"') => None,
            _ => Some((at, line.len(), format!("\"{reason}\""))),
        };
        return Some(Habit { help: help.into(), fix });
    }
    let rest = text[at..].split(['\n', '\r']).next().unwrap_or_default();
    if let Some(open) = rest.strip_prefix('"') {
        let said = open.split(['{', ',', '"']).next().unwrap_or_default().trim_end();
        let end = at + 1 + said.len();
        let help = "The quotation mark is not closed on its line.";
        return Some(Habit { help: help.into(), fix: Some((end, end, "\"".into())) });
    }
    if !found.starts_with(char::is_alphabetic) {
        return None;
    }
    let said = rest.split(['{', ',', '"']).next().unwrap_or_default().trim_end();
    let help = format!("Put text in quotes: `\"{said}\"`.");
    let closing = usize::from(rest[said.len()..].starts_with('"'));
    Some(Habit { help, fix: Some((at, at + said.len() + closing, format!("\"{said}\""))) })
}

/// Instruments on a line of an ensemble that are called otherwise here: the place of the first in
/// the text, and the word.
pub(super) fn instrument(text: &str) -> Option<(usize, usize, String)> {
    let mut at = 0;
    for part in text.split(',') {
        let start = at + part.len() - part.trim_start().len();
        at += part.len() + 1;
        let words: Vec<&str> = part.split_whitespace().take(2).collect();
        let two = words.join(" ");
        let named = |name: &str| {
            // A number behind a name of two words counts players.
            let number = name.ends_with(|c: char| c.is_ascii_digit()) && name.contains(' ');
            instruments::meant(name).filter(|_| !number)
        };
        for name in [two.as_str(), words.first().copied().unwrap_or_default()] {
            let length = if name == two {
                part.trim_start()
                    .find(words.last().copied().unwrap_or_default())
                    .map_or(0, |i| i + words.last().map_or(0, |word| word.len()))
            } else {
                name.len()
            };
            if let Some(meant) = named(name) {
                return Some((start, start + length, meant));
            }
        }
    }
    None
}

/// Written notes on one line without a bar line: shows the line as it should be.
pub(super) fn unbarred(cx: &mut ItemReader, pair: &Pair<Rule>) {
    let span = cx.span(pair);
    let text = pair.as_str();
    let mut diagnostic = Diagnostic::error(
        "syntax/no-bar-line",
        span,
        "Write the notes in numbered bars, each ending with `|`.",
    );
    let example = "For example `horn.1 writes as highlight { 24: 1/4 A4 rest D5 | }`.";
    let mended = mended(text);
    diagnostic = match &mended {
        Some(line) => diagnostic.with_help(format!("Write `{line}`.")).with_fix(
            "write it so",
            span,
            line.clone(),
            false,
        ),
        None => diagnostic.with_help(example),
    };
    cx.diagnostics.push(diagnostic);
}

/// `horn.1 writes bars 24 { A4 } as highlight` as `horn.1 writes as highlight { 24: A4 | }`.
fn mended(line: &str) -> Option<String> {
    let (head, rest) = line.split_once('{')?;
    let (notes, tail) = rest.rsplit_once('}')?;
    let (who, said) = head.split_once("writes")?;
    let said = format!("{} {}", said.trim(), tail.trim());
    let mut words: Vec<&str> =
        said.split([' ', '\t', ',']).filter(|word| !word.is_empty()).collect();
    let mut notes = notes.trim().to_string();
    if let Some(place) = words.iter().position(|word| matches!(*word, "bars" | "bar")) {
        let bar: u32 = words.get(place + 1)?.parse().ok()?;
        words.drain(place..place + 2);
        notes = format!("{bar}: {notes}");
    }
    let number = notes.split_once(':').map(|(number, _)| number);
    let numbered = number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
    numbered.then(|| format!("{}writes {} {{ {notes} | }}", who, words.join(" ")))
}

/// What stands behind the closing brace of written notes and belongs before them.
pub(super) fn late(span: Span, said: &str, before: Span) -> Diagnostic {
    let mut diagnostic = Diagnostic::error(
        "syntax/behind-notes",
        span,
        format!("`{said}` follows the notes; it belongs before their brace."),
    )
    .with_help(format!("Write `writes {said} {{` and the notes after it."))
    .with_fix("move it before the brace", span, "", true);
    if let Some(fix) = diagnostic.fixes.last_mut() {
        let text = format!(" {}", said.trim_start_matches([',', ' ']));
        fix.edits.push(crate::diagnostics::Edit { span: before.after(), text });
    }
    diagnostic
}

/// Where `bars` stands whose numbers end just before a place.
fn bars_before(text: &str, at: usize) -> Option<usize> {
    let line = text[..at].rfind('\n').map_or(0, |end| end + 1);
    let bars = line + text[line..at].rfind(" bars ")? + 1;
    let numbers = text[bars + "bars ".len()..at].chars();
    let mut other = numbers.filter(|c| !c.is_ascii_digit() && !matches!(c, '.' | ',' | ' '));
    other.next().is_none().then_some(bars)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_of_other_countries_have_names_here() {
        for (word, note) in [
            ("fis5", "F#5"),
            ("Fis", "F#"),
            ("es", "Eb"),
            ("as4", "Ab4"),
            ("des", "Db"),
            ("H4", "B4"),
            ("hes", "Bb"),
            ("do5", "C5"),
            ("sol", "G"),
            ("sib", "Bb"),
            ("d5", "D5"),
            ("f#4", "F#4"),
        ] {
            assert_eq!(note_name(word).as_deref(), Some(note), "{word}");
        }
        for word in ["dx", "xyz", "acent", "x", "D55"] {
            assert_eq!(note_name(word), None, "{word}");
        }
    }

    #[test]
    fn an_octave_behind_the_bars_has_its_place_before_them() {
        let line = "violin-1 plays upper bars 1..2, 4 8va as melody";
        let bars = bars_before(line, line.find("8va").unwrap()).unwrap();
        assert!(line[bars..].starts_with("bars 1..2"));
        let before = "violin-1 plays 8va upper bars 1";
        assert_eq!(bars_before(before, before.find("8va").unwrap()), None);
    }

    #[test]
    fn keys_of_other_countries_have_names_here() {
        for (word, key) in [
            ("d-Moll, tempo", "D minor"),
            ("re minor", "D minor"),
            ("Es-Dur", "Eb major"),
            ("si bemolle maggiore", "Bb major"),
            ("fa dièse mineur", "F# minor"),
            ("H-Dur", "B major"),
            ("f sharp minor", "F# minor"),
        ] {
            assert_eq!(key_name(word).map(|(_, key)| key).as_deref(), Some(key), "{word}");
        }
        assert_eq!(key_name("d-Moll, tempo").map(|(end, _)| end), Some(6));
        assert_eq!(key_name("Q minor"), None);
    }
}
