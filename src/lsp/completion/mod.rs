//! What can be written at a place: after `plays` only voices, after `crook` only crooks of the
//! instrument, after `allow` only rules that found something there, bars that are free.

mod ensemble;
mod layout;
mod scoring;

pub use scoring::{VERBS, singular};

use super::context::{Bracket, Cursor, cursor};
use super::workspace::{At, TextPlace};
use crate::check::RULES;
use crate::music::ChordQuality;
use crate::resolve::{Dynamic, Mark, Technique};
use crate::session::Session;
use crate::syntax::{Declaration, HarmonyStep, Within};

/// What kind of thing is proposed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sort {
    /// A word of the language.
    Keyword,
    /// A voice.
    Voice,
    /// Players or a group.
    Players,
    /// An ensemble or a scoring.
    Set,
    /// An instrument of the catalogue.
    Instrument,
    /// A value among few: a role, a dynamic, a mark, a crook, a chord.
    Value,
    /// Bars.
    Bars,
    /// A rule.
    Rule,
}

/// One proposal.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Proposal {
    /// What is written.
    pub text: String,
    /// What kind of thing it is.
    pub sort: Sort,
    /// A few words about it.
    pub about: String,
}

impl Proposal {
    fn new(text: impl Into<String>, sort: Sort, about: impl Into<String>) -> Proposal {
        Proposal { text: text.into(), sort, about: about.into() }
    }
}

/// All proposals, the likeliest first, and the bytes that they replace.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Completion {
    /// The word that is being typed.
    pub place: TextPlace,
    /// What may stand there.
    pub proposals: Vec<Proposal>,
}

/// What can be written at a place.
pub fn completion(session: &mut Session, at: At) -> Completion {
    let cursor = cursor(session, at);
    let range = at.offset.saturating_sub(cursor.typed.len())..at.offset;
    let place = TextPlace { file: at.file, range };
    let proposals = if cursor.inert { Vec::new() } else { proposals(session, at, &cursor) };
    Completion { place, proposals }
}

fn proposals(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let last = cursor.before.last().map(String::as_str);
    match cursor.within {
        Within::Scoring => scoring::proposals(session, at, cursor),
        Within::Ensemble => ensemble::proposals(session, at, cursor),
        Within::Layout => layout::proposals(session, at, cursor),
        Within::Instrument => match (cursor.before.first().map(String::as_str), last) {
            (None, _) => keywords(&INSTRUMENT),
            (Some("clef"), Some("clef")) => {
                keywords(&[("treble", ""), ("alto", ""), ("tenor", ""), ("bass", "")])
            }
            (Some("compass"), Some("compass")) => keywords(&[
                ("custom", "what an orchestral player is asked for"),
                ("solo", "what a soloist has"),
            ]),
            (Some("compass"), Some(_)) => keywords(&[("to", "the highest note")]),
            (Some("written"), Some(_)) => keywords(&[("sounds", "the sounding note")]),
            (Some("as"), Some(_)) => keywords(&[("short", "the abbreviation")]),
            _ => Vec::new(),
        },
        Within::File => match (cursor.before.first().map(String::as_str), last) {
            (None, _) => keywords(&DECLARATIONS),
            (Some("scoring"), Some("for")) | (Some("ensemble"), Some("extends")) => {
                ensembles(session, at)
            }
            (Some("scoring"), _) if cursor.before.len() == 2 => {
                keywords(&[("for", "the ensemble that plays")])
            }
            (Some("layout"), Some("layout")) => {
                keywords(&[("for", "the scoring on whose pages it holds; without it, on all")])
            }
            (Some("layout"), Some("for")) => scorings(session, at),
            (Some("lyrics"), Some("lyrics")) => {
                keywords(&[("for", "the voice to which they are sung")])
            }
            (Some("lyrics"), Some("for")) => scoring::voices(&session.piece(at.root)),
            (Some("lyrics"), _) if cursor.before.len() == 3 => {
                keywords(&[("verse", "its number: verse 2")])
            }
            (Some("instrument"), Some("like")) => ensemble::all_instruments(),
            (Some("instrument"), _) if cursor.before.len() == 2 => {
                keywords(&[("like", "the instrument from which it differs")])
            }
            (Some("ensemble"), _) if cursor.before.len() == 2 => {
                keywords(&[("extends", "a smaller ensemble, all of whose lines it takes over")])
            }
            _ => Vec::new(),
        },
        Within::Piece => match last {
            None => keywords(&PIECE),
            Some("bars" | "marks") => keywords(&[
                ("through", "they go on from one movement to the next"),
                ("afresh", "they begin again with each movement"),
            ]),
            _ if cursor.before.first().is_some_and(|first| first == "movement") => keywords(&[
                ("as", "its title in this piece"),
                ("attacca", "the next one follows at once"),
            ]),
            _ => Vec::new(),
        },
        Within::Form => match last {
            None => Vec::new(),
            Some(last) if let Some(words) = of_key(cursor, last) => words,
            Some("metre") => keywords(&METRES),
            Some("da") => keywords(&[("capo", "back to the beginning")]),
            Some("dal") => keywords(&[("segno", "back to the segno")]),
            Some("al") => keywords(&[
                ("fine", "the piece ends at `fine`"),
                ("coda", "from `to coda` on to the coda"),
            ]),
            Some("to") => keywords(&[("coda", "the coda follows, after a jump `al coda`")]),
            Some("capo") => keywords(&AFTER_JUMP),
            Some("segno") if before_last(cursor) == Some("dal") => keywords(&AFTER_JUMP),
            Some("at" | "tempo" | "mark" | "length" | "pick-up" | "up-beat" | "ending") => {
                Vec::new()
            }
            Some(_) => keywords(&FORM),
        },
        Within::Dynamics if last.is_some() => loudness(),
        Within::Dynamics => Vec::new(),
        Within::Harmony => match last.and_then(|last| of_key(cursor, last)) {
            Some(words) => words,
            None => {
                let mut all = chords(session, at);
                all.extend(keywords(&[
                    ("key", "the key in which the chords are heard"),
                    ("rest", "no chord here"),
                ]));
                all
            }
        },
        Within::Lyrics => Vec::new(),
        Within::Voice => match cursor.bracket {
            Some(Bracket::Marks) => marks(),
            Some(Bracket::Directions) => {
                let mut all = loudness();
                all.extend(techniques());
                all
            }
            None => keywords(&NOTES),
        },
    }
}

fn before_last(cursor: &Cursor) -> Option<&str> {
    cursor.before.len().checked_sub(2).map(|at| cursor.before[at].as_str())
}

const DECLARATIONS: [(&str, &str); 11] = [
    ("use", "the declarations of another file"),
    ("piece", "title and people"),
    ("form", "bars, metres, keys, tempos, repeats"),
    ("harmony", "chord symbols"),
    ("dynamics", "dynamics for everybody"),
    ("voice", "music of the source"),
    ("lyrics", "what is sung to a voice"),
    ("instrument", "an instrument of your own, like another"),
    ("ensemble", "who plays"),
    ("scoring", "who does what"),
    ("layout", "what a copyist overrides on the pages"),
];
const PIECE: [(&str, &str); 8] = [
    ("subtitle", "the second line of the head"),
    ("composer", ""),
    ("arranger", ""),
    ("licence", "of the music: CC0-1.0"),
    ("revision", "which version, or of when: 2nd version, 12 May"),
    ("movement", "the source of a movement"),
    ("bars", "through or afresh: how movements number them"),
    ("marks", "through or afresh: how movements letter them"),
];
const INSTRUMENT: [(&str, &str); 6] = [
    ("as", "the name on paper"),
    ("compass", "the lowest and the highest note: compass C2 to E6"),
    ("strings", "the open strings from the lowest up"),
    ("written", "a written note and how it sounds: written C4 sounds Bb2"),
    ("clef", "the one clef of its parts"),
    ("from", "the first year of its use"),
];
const METRES: [(&str, &str); 5] = [
    ("3/4", ""),
    ("6/8", ""),
    ("3+2/8", "an additive metre: an accent on each group"),
    ("common", "4/4, written as common time"),
    ("cut", "2/2, written as cut time"),
];
const AFTER_JUMP: [(&str, &str); 1] = [("al", "fine or coda: where to end, or to go on")];
const FORM: [(&str, &str); 17] = [
    ("metre", "3/4"),
    ("key", "D minor"),
    ("tempo", "\"Con moto\" 1/4 at 96"),
    ("mark", "a rehearsal mark"),
    ("repeat", "these bars are played twice, or `repeat 3 times`"),
    ("ending", "1, 2, 3 … or `ending 1..2` for several times through"),
    ("da", "da capo: back to the beginning, when this bar has been played"),
    ("dal", "dal segno: back to the segno, when this bar has been played"),
    ("segno", "the sign to which a dal segno leads, before this bar"),
    ("to", "to coda: the coda follows this bar, after a jump `al coda`"),
    ("coda", "the coda begins with this bar"),
    ("fine", "the piece ends with this bar, after a jump"),
    ("double-bar", "a double line after the bar"),
    ("pick-up", "how long bar 0 is"),
    ("up-beat", "how much of the bar before leads into the section that begins here"),
    ("length", "of a bar that is shorter or longer than its metre"),
    ("end", "the last bar"),
];
const NOTES: [(&str, &str); 4] = [
    ("rest", "for the value in force; alone for the whole bar"),
    ("grace", "small notes that lean on the next: grace(1/16 E5 F)"),
    ("crushed", "small notes crushed against the next: crushed(1/8 A5)"),
    ("x", "a stroke without pitch"),
];

fn keywords(words: &[(&str, &str)]) -> Vec<Proposal> {
    words.iter().map(|(word, about)| Proposal::new(*word, Sort::Keyword, *about)).collect()
}

fn loudness() -> Vec<Proposal> {
    let mut all: Vec<Proposal> =
        Dynamic::WORDS.iter().map(|(_, word)| Proposal::new(*word, Sort::Value, "")).collect();
    all.push(Proposal::new(
        "cresc",
        Sort::Value,
        "a hairpin up to the next dynamic, or up to `to`",
    ));
    all.push(Proposal::new(
        "dim",
        Sort::Value,
        "a hairpin down to the next dynamic, or up to `to`",
    ));
    all.push(Proposal::new("to", Sort::Value, "the end of a hairpin"));
    all
}

fn techniques() -> Vec<Proposal> {
    Technique::WORDS
        .iter()
        .map(|(_, word, printed)| Proposal::new(*word, Sort::Value, *printed))
        .collect()
}

fn marks() -> Vec<Proposal> {
    let proposal = |(mark, word): &(Mark, &'static str)| {
        let about = match mark {
            Mark::Harmonic => "with the note that is stopped it is artificial: harmonic E4",
            _ => "",
        };
        Proposal::new(*word, Sort::Value, about)
    };
    let mut all: Vec<Proposal> = Mark::WORDS.iter().map(proposal).collect();
    all.push(Proposal::new(
        "tremolo",
        Sort::Value,
        "with a value it is measured: tremolo 1/16; with a note it goes to and fro: tremolo A5",
    ));
    all
}

fn keys() -> Vec<Proposal> {
    let names = ["C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db"];
    names.iter().map(|name| Proposal::new(*name, Sort::Value, "")).collect()
}

fn ensembles(session: &mut Session, at: At) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let about = |ensemble: &crate::resolve::Ensemble| {
        format!("{}, {} parts", ensemble.era, ensemble.players.len())
    };
    piece.ensembles.iter().map(|e| Proposal::new(&e.name, Sort::Set, about(e))).collect()
}

fn scorings(session: &mut Session, at: At) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    piece.scorings.iter().map(|s| Proposal::new(&s.name, Sort::Set, "")).collect()
}

/// What stands behind `key`: a tonic, then a mode.
fn of_key(cursor: &Cursor, last: &str) -> Option<Vec<Proposal>> {
    match last {
        "key" => Some(keys()),
        _ if before_last(cursor) == Some("key") && !last.is_empty() => {
            Some(keywords(&[("major", ""), ("minor", "")]))
        }
        _ => None,
    }
}

/// Chords that the piece has already, then the qualities on the root that was typed.
fn chords(session: &mut Session, at: At) -> Vec<Proposal> {
    let cursor = cursor(session, at);
    let mut all: Vec<Proposal> = Vec::new();
    for block in session.document(at.file).blocks() {
        let Declaration::Harmony(harmony) = &*block.declaration else { continue };
        for step in harmony.bars.iter().flat_map(|bar| bar.read()) {
            if let HarmonyStep::Symbol(symbol) = &step.value
                && !all.iter().any(|known| known.text == *symbol)
                && *symbol != cursor.typed
            {
                all.push(Proposal::new(symbol, Sort::Value, "used in this piece"));
            }
        }
    }
    let root: String = cursor.typed.chars().take_while(|c| "ABCDEFG#b♯♭".contains(*c)).collect();
    if !root.is_empty() {
        for quality in ChordQuality::all() {
            let symbol = format!("{root}{}", quality.suffix());
            if !all.iter().any(|known| known.text == symbol) {
                all.push(Proposal::new(symbol, Sort::Value, ""));
            }
        }
    }
    all
}

/// Rules and families that found something in a scoring, the commonest first.
fn rules_found(session: &mut Session, at: At, scoring: Option<&str>) -> Vec<Proposal> {
    // A line that cannot be read yet holds back what the rules find of the whole scoring: they are
    // asked without it, and it is put back.
    let text = session.document(at.file).text();
    let start = text[..at.offset].rfind(['\n', '\r']).map_or(0, |end| end + 1);
    let end = text[at.offset..].find(['\n', '\r']).map_or(text.len(), |end| at.offset + end);
    let line = text[start..end].to_string();
    session.edit(at.file, start..end, "");
    let findings = session.findings(at.root);
    session.edit(at.file, start..start, &line);
    let mut codes: Vec<(&str, usize)> = Vec::new();
    for finding in &*findings {
        let here = finding.scoring.as_deref() == scoring
            || finding.also_in.iter().any(|also| Some(also.as_str()) == scoring);
        if !here || finding.code.starts_with("syntax/") || finding.code.starts_with("allow/") {
            continue;
        }
        match codes.iter_mut().find(|(code, _)| *code == finding.code) {
            Some((_, count)) => *count += 1,
            None => codes.push((finding.code, 1)),
        }
    }
    codes.sort_by_key(|(code, count)| (std::cmp::Reverse(*count), *code));
    let found = |(code, count): &(&str, usize)| {
        let summary = RULES.iter().find(|rule| rule.code == *code).map(crate::check::Rule::summary);
        Proposal::new(*code, Sort::Rule, format!("{count} here. {}", summary.unwrap_or_default()))
    };
    codes.iter().map(found).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    const REST: &str = "voice upper {\n  1: 1/1 D5 | 2: rest 3 |\n}\nvoice lower {\n  1: rest 4 |\n}\nensemble duo {\n  era 1770\n  oboe 2, horn 2 crook D\n  group wind = oboe, horn\n}\nensemble late extends duo {\n  era 1885\n  clarinet in Bb\n}\n";

    fn offered(source: &str) -> Vec<String> {
        let (mut session, at) = text(&format!("{FORM}{REST}{source}"));
        let found = completion(&mut session, at);
        found.proposals.into_iter().map(|proposal| proposal.text).collect()
    }

    fn in_scoring(line: &str) -> Vec<String> {
        offered(&format!(
            "scoring small for duo {{\n  oboe.1 plays upper as melody, bars 2..3\n  {line}‸\n}}\n"
        ))
    }

    #[test]
    fn behind_a_word_stands_only_what_may() {
        assert_eq!(in_scoring("oboe.2 plays "), ["upper", "lower"]);
        assert_eq!(
            in_scoring("oboe.2 plays upper as "),
            ["melody", "bass", "harmony", "rhythm", "highlight"]
        );
        assert_eq!(in_scoring("keep "), [""; 0]);
        assert_eq!(in_scoring("oboe.2 "), VERBS.map(|(verb, _)| verb));
        assert!(
            in_scoring("").starts_with(&["oboe", "oboe.1", "oboe.2", "horn"].map(String::from))
        );
        assert!(in_scoring("").contains(&"wind".to_string()));
        assert!(in_scoring("oboe.2 doubles ").contains(&"horn.1".to_string()));
        assert!(in_scoring("oboe.2 plays upper at ").contains(&"mf".to_string()));
        assert_eq!(in_scoring("oboe.2 plays upper \"dol"), [""; 0]);
    }

    #[test]
    fn bars_that_are_free_are_offered() {
        assert_eq!(in_scoring("oboe.1 rests bars "), ["1", "4"]);
        assert_eq!(in_scoring("oboe.2 rests bars "), ["1..4"]);
    }

    #[test]
    fn crooks_and_keys_are_those_of_the_instrument() {
        let crooks = in_scoring("horn takes crook ");
        assert!(
            crooks.contains(&"D".to_string()) && crooks.contains(&"Bb basso".to_string()),
            "{crooks:?}"
        );
        let keys = offered("scoring large for late {\n  clarinet takes clarinet in ‸\n}\n");
        assert!(
            keys.contains(&"A".to_string()) && !keys.contains(&"Bb basso".to_string()),
            "{keys:?}"
        );
        let crooks = offered("ensemble more extends duo {\n  horn 4 crook ‸\n}\n");
        assert!(crooks.contains(&"Bb alto".to_string()), "{crooks:?}");
        let taken = in_scoring("oboe.1 takes ");
        assert!(
            taken.contains(&"flute".to_string()) && !taken.contains(&"viola".to_string()),
            "{taken:?}"
        );
    }

    #[test]
    fn instruments_are_those_of_the_era() {
        let early = offered("ensemble early {\n  era 1725\n  ‸\n}\n");
        assert!(
            early.contains(&"oboe".to_string()) && !early.contains(&"tuba".to_string()),
            "{early:?}"
        );
        let late = offered("ensemble modern {\n  era 1885\n  ‸\n}\n");
        assert!(late.contains(&"tuba".to_string()));
    }

    #[test]
    fn only_rules_that_found_something_may_be_allowed() {
        let source = "voice high {\n  1: 1/1 F6 | 2: rest 3 |\n}\nscoring small for duo {\n  oboe plays high as melody\n  allow ‸\n}\n";
        let found = offered(source);
        assert!(found.contains(&"compass/outside-custom".to_string()), "{found:?}");
        assert!(found.iter().all(|code| !code.starts_with("natural-brass")), "{found:?}");
    }

    #[test]
    fn brackets_hold_marks_or_directions() {
        assert!(offered("voice more {\n  1: 1/4 D5[‸\n").contains(&"stacc".to_string()));
        let directions = offered("voice more {\n  1: 1/4 D5 [‸\n");
        assert!(
            directions.contains(&"cresc".to_string()) && !directions.contains(&"stacc".to_string())
        );
        assert!(offered("voice more {\n  1: 1/4 re‸ |\n}\n").contains(&"rest".to_string()));
    }

    #[test]
    fn heads_and_blocks_have_their_words() {
        assert!(offered("sc‸").contains(&"scoring".to_string()));
        assert_eq!(offered("scoring more for ‸"), ["duo", "late"]);
        assert!(offered("harmony {\n  1: Dm | 2: D‸ |\n}\n").starts_with(&["Dm".to_string()]));
        assert!(offered("harmony {\n  1: Dm | 2: k‸ |\n}\n").contains(&"key".to_string()));
        assert!(offered("harmony {\n  1: key ‸ |\n}\n").contains(&"D".to_string()));
        assert_eq!(offered("harmony {\n  1: key D ‸ |\n}\n"), ["major", "minor"]);
        assert!(offered("dynamics {\n  1 ‸\n}\n").contains(&"pp".to_string()));
        assert!(offered("// ‸").is_empty());
    }

    #[test]
    fn any_place_of_any_text_may_be_completed() {
        for source in [
            "",
            "voice a {\n 1: [",
            "scoring s for e {\n oboe.9 takes horn crook\n allow \n",
            "ensemble e {\n horn crook ,",
            "🎻[",
            "form { 1 key ",
        ] {
            for offset in (0..=source.len()).filter(|at| source.is_char_boundary(*at)) {
                let (mut session, at) = text(source);
                let _ = completion(&mut session, At { offset, ..at });
            }
        }
    }
}
