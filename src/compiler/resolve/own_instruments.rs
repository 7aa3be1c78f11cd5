//! `instrument … like …`: instruments that a source declares by what sets them apart.

use std::collections::{HashMap, HashSet};

use super::{Resolver, said_twice, unknown};
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::{self, Change, Clef, Instrument, Limit, catalogue};
use crate::music::{Interval, Pitch};
use crate::syntax::{Declaration, InstrumentLine, InstrumentTree, PitchTree, Tree, Word};

/// Instruments that a piece may declare.
const MOST: usize = 1000;
/// More strings than any instrument of the catalogue has under the bow.
const MOST_STRINGS: usize = 24;

/// Reads the instruments that a source declares, each after the one that it is like. What cannot
/// be read is lost, and with it what is like it.
pub(super) fn instruments(cx: &mut Resolver, tree: &Tree) {
    let mut trees: Vec<&InstrumentTree> = Vec::new();
    for declaration in &tree.declarations {
        if let Declaration::Instrument(instrument) = &**declaration {
            if trees.len() == MOST {
                let finding = Diagnostic::error(
                    "names/instrument",
                    instrument.name.span,
                    format!("A piece may declare {MOST} instruments, and this is one more."),
                );
                cx.push(finding.with_help("Remove those that no ensemble has."));
                cx.instruments.lost.push(instrument.name.value.clone());
                break;
            }
            trees.push(instrument);
        }
    }
    let mut places: HashMap<&str, usize> = HashMap::new();
    for (place, tree) in trees.iter().enumerate() {
        match places.get(tree.name.value.as_str()) {
            Some(first) => taken(cx, &tree.name, Some(trees[*first].name.span)),
            None => {
                places.insert(&tree.name.value, place);
            }
        }
    }
    let mut done: HashSet<usize> = HashSet::new();
    for place in 0..trees.len() {
        if places.get(trees[place].name.value.as_str()) != Some(&place) {
            continue;
        }
        // From this one down to what it builds on, then up again.
        let mut chain = vec![place];
        while let Some(&next) = chain.last().and_then(|last| places.get(&*trees[*last].like.value))
            && !done.contains(&next)
        {
            if let Some(start) = chain.iter().position(|known| *known == next) {
                circle(cx, &chain[start..].iter().map(|place| trees[*place]).collect::<Vec<_>>());
                for place in chain.drain(..) {
                    done.insert(place);
                    cx.instruments.lost.push(trees[place].name.value.clone());
                }
                break;
            }
            chain.push(next);
        }
        for place in chain.into_iter().rev().filter(|place| done.insert(*place)) {
            match instrument(cx, trees[place]) {
                Some(instrument) => cx.instruments.known.push(instrument),
                None => cx.instruments.lost.push(trees[place].name.value.clone()),
            }
        }
    }
}

fn circle(cx: &mut Resolver, trees: &[&InstrumentTree]) {
    let Some(first) = trees.first() else { return };
    let names: Vec<String> = trees.iter().map(|tree| format!("`{}`", tree.name.value)).collect();
    let message = match names.as_slice() {
        [one] => format!("The instrument {one} is like itself."),
        _ => format!("The instruments {} are like one another.", names.join(", ")),
    };
    cx.push(
        Diagnostic::error("names/cycle", first.like.span, message)
            .with_help("One of them must be like an instrument of the catalogue."),
    );
}

fn taken(cx: &mut Resolver, name: &Word, first: Option<Span>) {
    let message = format!("The name `{}` is already taken.", name.value);
    let finding = Diagnostic::error("names/twice", name.span, message);
    cx.push(match first {
        Some(first) => finding
            .with_label(first, "the first is here")
            .with_help("Give the second instrument another name."),
        None => finding
            .with_text("an instrument of the catalogue, or of a file that is used")
            .with_help(format!("Give it a name of its own: `own-{}`.", name.value)),
    });
}

fn instrument(cx: &mut Resolver, tree: &InstrumentTree) -> Option<&'static Instrument> {
    let name = tree.name.value.as_str();
    if cx.instrument(name).is_some() {
        taken(cx, &tree.name, None);
        return None;
    }
    let end = name.rsplit('-').next().unwrap_or(name);
    if !name.is_ascii() || name.ends_with('-') || end.bytes().all(|byte| byte.is_ascii_digit()) {
        let message = format!("`{name}` is not a name for an instrument.");
        let help = "Use small letters from a to z, digits and hyphens; a number after a hyphen is \
                    that of a section: `violin-2`.";
        cx.push(Diagnostic::error("names/instrument", tree.name.span, message).with_help(help));
        return None;
    }
    let Some(base) = cx.instrument(&tree.like.value) else {
        if !cx.instruments.is_lost(&tree.like.value) && !cx.told.may_be_lost("instrument") {
            let own = cx.instruments.known.iter().copied();
            let known: Vec<&str> = own.chain(catalogue()).map(|i| i.id.as_str()).collect();
            let finding = unknown(&tree.like, &known, "instrument", &tree.like.value);
            cx.push(finding);
        }
        return None;
    };
    let before = cx.errors;
    let mut said = Vec::new();
    let mut changes = Vec::new();
    for line in &tree.lines {
        let what = match &line.value {
            InstrumentLine::Name(..) => "name",
            InstrumentLine::Compass(Limit::Instrument, ..) => "compass",
            InstrumentLine::Compass(Limit::Solo, ..) => "compass of soloists",
            InstrumentLine::Compass(Limit::Custom, ..) => "customary compass",
            InstrumentLine::Strings(_) => "list of strings",
            InstrumentLine::Sound(..) => "transposition",
            InstrumentLine::Clef(_) => "clef",
            InstrumentLine::From(_) => "year",
        };
        if !said_twice(cx, &mut said, what, line.span) {
            changes.extend(change(cx, base, &line.value, line.span));
        }
    }
    let whole = tree.broken.is_empty() && !cx.errors_since(before);
    whole.then(|| instruments::variant(base, name, &changes))
}

/// What a line changes, or a finding.
fn change(
    cx: &mut Resolver,
    base: &Instrument,
    line: &InstrumentLine,
    span: Span,
) -> Option<Change> {
    let mut fault = |span: Span, message: String, help: &str| {
        cx.push(Diagnostic::error("names/instrument", span, message).with_help(help));
    };
    Some(match line {
        InstrumentLine::Name(name, short) => {
            Change::Name(name.value.clone(), short.as_ref().map(|short| short.value.clone()))
        }
        InstrumentLine::Compass(limit, low, high) => {
            if base.unpitched {
                let name = base.name.to_lowercase();
                let message = format!("The {name} has no pitch, and so no compass.");
                fault(span, message, "Remove this line.");
                return None;
            }
            let ends = (pitch(cx, low), pitch(cx, high));
            let (low, high) = (ends.0?, ends.1?);
            if low.midi() > high.midi() {
                let message = format!("This compass is upside down: {low} is above {high}.");
                let finding = Diagnostic::error("names/instrument", span, message);
                cx.push(finding.with_help("Write the lowest note first: `compass C2 to E6`."));
                return None;
            }
            Change::Compass(*limit, low, high)
        }
        InstrumentLine::Strings(strings) => {
            if base.open_strings.is_empty() {
                let message = format!("The {} is not bowed.", base.name.to_lowercase());
                fault(span, message, "Only bowed instruments have `strings` here.");
                return None;
            }
            if strings.len() > MOST_STRINGS {
                let message = format!("{} strings are too many.", strings.len());
                fault(span, message, "Write at most 24, from the lowest up.");
                return None;
            }
            let strings: Vec<Option<Pitch>> = strings.iter().map(|s| pitch(cx, s)).collect();
            let strings = strings.into_iter().collect::<Option<Vec<Pitch>>>()?;
            if !strings.is_sorted_by_key(|string| string.midi()) {
                let message = "These strings are not in order.".to_string();
                let finding = Diagnostic::error("names/instrument", span, message);
                cx.push(
                    finding.with_help("Write them from the lowest up: `strings C2, G2, D3, A3`."),
                );
                return None;
            }
            Change::Strings(strings)
        }
        InstrumentLine::Sound(written, sounding) => {
            let ends = (pitch(cx, written), pitch(cx, sounding));
            Change::Transposition(Interval::between(ends.0?, ends.1?))
        }
        InstrumentLine::Clef(word) => Change::Clef(match word.value.as_str() {
            "treble" => Clef::Treble,
            "alto" => Clef::Alto,
            "tenor" => Clef::Tenor,
            "bass" => Clef::Bass,
            other => {
                cx.push(unknown(word, &["treble", "alto", "tenor", "bass"], "clef", other));
                return None;
            }
        }),
        InstrumentLine::From(year) => match i32::try_from(year.value) {
            Ok(value @ 1400..=2100) => Change::From(value),
            _ => {
                let message = format!("The year {} is not between 1400 and 2100.", year.value);
                fault(year.span, message, "Write the first year of its use: `from 1850`.");
                return None;
            }
        },
    })
}

fn pitch(cx: &mut Resolver, tree: &PitchTree) -> Option<Pitch> {
    if let Some(octave) = tree.octave {
        return Some(tree.name.at(octave));
    }
    cx.push(
        Diagnostic::error("names/instrument", tree.span, format!("`{}` has no octave.", tree.name))
            .with_help(format!("Write for example `{}3`; C4 is middle C.", tree.name)),
    );
    None
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::{Diagnostic, Sources};
    use crate::instruments::{Instrument, Limit, find};
    use crate::resolve::{NoFiles, resolve};

    fn read(
        instruments: &str,
        players: &str,
    ) -> (Vec<&'static Instrument>, Vec<Diagnostic>, String) {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 1 end }}\nvoice tune {{ 1: 1/1 C4 | }}\n\
             {instruments}\nensemble few {{ era 1885\n {players} }}\n\
             ensemble more extends few {{ era 1885\n oboe }}\n"
        );
        let mut sources = Sources::new();
        let root = sources.add("piece.ripieno", text.clone());
        let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
        let more = piece.ensembles.last().map_or(Vec::new(), |e| e.players.clone());
        let found = found.into_iter().filter(|d| d.code != "names/unused-voice").collect();
        (more.iter().map(|player| player.instrument).collect(), found, text)
    }

    #[test]
    fn a_few_words_make_a_cello_with_five_strings() {
        let (players, found, _) = read(
            "instrument weir-cello like cello {\n as \"Weir cello\" short \"W.Vc.\"\n \
             compass C2 to E6\n compass custom C2 to C6\n strings C2, G2, D3, A3, E4\n}",
            "weir-cello 2 players, weir-cello-2 2 players",
        );
        assert!(found.is_empty(), "{found:#?}");
        assert_eq!(players.len(), 3, "the larger ensemble has them too");
        let cello = players[1];
        assert_eq!(
            (&*cello.name, &*cello.plural, &*cello.abbreviation),
            ("Weir cello", "Weir cellos", "W.Vc.")
        );
        assert_eq!(cello.open_strings(1700).map(|row| row.strings.len()), Some(5));
        assert_eq!(cello.compass(Limit::Custom, 1770).unwrap().high.to_string(), "C6");
        assert_eq!(cello.hand, find("cello").unwrap().hand);
        assert_eq!(cello.musicxml_sound, find("cello").unwrap().musicxml_sound);
    }

    #[test]
    fn a_foot_that_goes_lower_is_there_to_be_used() {
        let (players, found, _) =
            read("instrument low-flute like flute {\n compass B3 to D7\n}", "low-flute");
        assert!(found.is_empty(), "{found:#?}");
        let custom = players[0].compass(Limit::Custom, 1950).unwrap();
        assert_eq!((custom.low.to_string(), custom.high.to_string()), ("B3".into(), "C7".into()));
    }

    #[test]
    fn a_tuba_may_be_written_as_the_band_reads_it() {
        let (players, found, _) = read(
            "instrument band-tuba like own-tuba {\n written C4 sounds Eb2\n clef treble\n}\n\
             instrument own-tuba like tuba {\n from 1850\n}",
            "band-tuba",
        );
        assert!(found.is_empty(), "{found:#?}");
        let tuba = players.iter().find(|i| i.id == "band-tuba").unwrap();
        assert_eq!((tuba.transposition.steps, tuba.transposition.semitones), (-12, -21));
        assert_eq!(tuba.from, 1850);
        assert_eq!(tuba.clefs.len(), 1);
    }

    #[test]
    fn each_fault_has_its_place_and_its_remedy() {
        for (instruments, place, says) in [
            ("instrument own-cello like chello { }", "chello", "chello"),
            ("instrument cello like oboe { }", "cello", "already taken"),
            (
                "instrument own-cello like cello { }\ninstrument own-cello like oboe { }",
                "own-cello",
                "taken",
            ),
            ("instrument a1 like a2 { }\ninstrument a2 like a1 { }", "a2", "like one another"),
            ("instrument a1 like a1 { }", "a1", "like itself"),
            ("instrument own-2 like cello { }", "own-2", "not a name"),
            ("instrument a1 like cello {\n compass E6 to C2\n}", "compass E6 to C2", "upside down"),
            ("instrument a1 like cello {\n compass C to E6\n}", "C", "no octave"),
            ("instrument a1 like oboe {\n strings C2, G2\n}", "strings C2, G2", "not bowed"),
            ("instrument a1 like cello {\n strings G2, C2\n}", "strings G2, C2", "in order"),
            ("instrument a1 like oboe {\n clef violin\n}", "violin", "Unknown clef"),
            ("instrument a1 like oboe {\n from 3000\n}", "3000", "1400 and 2100"),
            ("instrument a1 like triangle {\n compass C2 to C3\n}", "compass C2 to C3", "no pitch"),
            ("instrument a1 like oboe {\n from 1800\n from 1801\n}", "from 1801", "second year"),
            ("instrument a1 like oboe {\n compas C2 to C3\n}", "compas", "compas"),
            ("instrument a1 oboe {\n}", "oboe", "oboe"),
        ] {
            // Whoever names it is not told that it is unknown: one cause, one finding.
            let players = if instruments.contains("own-cello") { "own-cello" } else { "a1" };
            let taken = ["instrument cello", "own-2"].iter().any(|own| instruments.contains(own));
            let (_, found, text) = read(instruments, if taken { "oboe" } else { players });
            assert_eq!(found.len(), 1, "{instruments}: {found:#?}");
            let mut sources = Sources::new();
            let root = sources.add("piece.ripieno", text.clone());
            let _ = resolve(&mut sources, root, &mut NoFiles);
            let at = &text[sources.range(found[0].primary.span)];
            assert_eq!(at, place, "{instruments}: {found:#?}");
            assert!(found[0].message.contains(says), "{instruments}: {found:#?}");
            assert!(found[0].help.is_some() || !found[0].primary.text.is_empty(), "{instruments}");
        }
    }

    #[test]
    fn a_million_are_refused_and_a_long_row_is_no_danger() {
        let row = |many: usize| -> String {
            let one = |n: usize| format!("instrument x{n}y like x{}y {{ }}\n", n + 1);
            (0..many).map(one).collect::<String>()
                + &format!("instrument x{many}y like oboe {{ }}\n")
        };
        let (players, found, _) = read(&row(900), "x0y");
        assert!(found.is_empty() && players.len() == 2, "{found:#?}");
        let (_, found, _) = read(&row(3000), "oboe");
        assert!(found.iter().any(|f| f.message.contains("1000")), "{:#?}", &found[..1]);
        assert!(found.len() < 4, "{}", found.len());
    }
}
