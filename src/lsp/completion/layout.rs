//! Proposals in a layout.

use super::{Proposal, Sort, keywords, scoring::who};
use crate::context::Cursor;
use crate::resolve::{NudgedSign, Paper};
use crate::session::Session;
use crate::workspace::At;

/// What can be overridden.
const ITEMS: [(&str, &str); 6] = [
    ("paper", "its size: paper a3 landscape"),
    ("staff", "the height of a staff: staff 7.5 mm"),
    ("hide", "hide empty: staves that only rest are left out of a system"),
    ("break", "a line begins here: break before 17, 33"),
    ("turn", "a page begins here: turn before 41"),
    ("nudge", "a sign is moved: nudge slur bar 12 beat 3 up 1.5"),
];
const WAYS: [(&str, &str); 4] = [("up", "staff spaces"), ("down", ""), ("left", ""), ("right", "")];

pub(super) fn proposals(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let scoring = piece.scorings.iter().find(|s| Some(&s.name) == cursor.name.as_ref());
    let ensemble = scoring.and_then(|scoring| piece.ensembles.get(scoring.ensemble));
    let players = || who(ensemble.map(|ensemble| &**ensemble));
    let before: Vec<&str> = cursor.before.iter().map(String::as_str).collect();
    let Some(last) = before.last().copied() else {
        let mut all = keywords(&[("score", "its pages"), ("parts", "the pages of all parts")]);
        all.extend(players());
        return all;
    };
    let item = before.iter().position(|word| ITEMS.iter().any(|(item, _)| item == word));
    let Some(item) = item else {
        return if last == "," { players() } else { keywords(&ITEMS) };
    };
    let words = |all: Vec<&'static str>| {
        all.into_iter().map(|word| Proposal::new(word, Sort::Value, "")).collect()
    };
    match (before[item], last) {
        ("paper", "paper") => words(Paper::WORDS.iter().map(|(_, word)| *word).collect()),
        ("paper", "landscape") => Vec::new(),
        ("paper", _) => keywords(&[("landscape", "turned on its side")]),
        ("staff", word) if word != "staff" && word != "mm" => keywords(&[("mm", "")]),
        ("hide", "hide") => keywords(&[("empty", "staves of these players, or of all")]),
        ("hide", _) => players(),
        ("break", "break") | ("turn", "turn") => keywords(&[("before", "these bars")]),
        ("nudge", "nudge") => words(NudgedSign::WORDS.iter().map(|(_, word)| *word).collect()),
        ("nudge", "of") => players(),
        ("nudge", "bar" | "beat" | "up" | "down" | "left" | "right") => Vec::new(),
        ("nudge", _) if !before.contains(&"bar") => {
            keywords(&[("bar", "where it stands"), ("of", "whose it is, in the score")])
        }
        ("nudge", _) => {
            let mut all = keywords(&WAYS);
            if !before.contains(&"beat") {
                all.extend(keywords(&[("beat", "also between beats: 2.5")]));
            }
            all
        }
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::completion;
    use crate::testing::text;

    fn offered(line: &str) -> Vec<String> {
        let source = format!(
            "form {{\n  1 metre 4/4\n  2 end\n}}\nvoice a {{\n  1: 1/1 C5 | 2: C5 |\n}}\n\
             ensemble duo {{\n  era 1810\n  oboe\n}}\nscoring plain for duo {{\n  oboe plays a as melody\n}}\n\
             layout for plain {{\n  {line}\n}}\n"
        );
        let (mut session, at) = text(&source);
        completion(&mut session, at).proposals.into_iter().map(|p| p.text).collect()
    }

    #[test]
    fn what_can_be_overridden_is_offered_word_by_word() {
        for (line, some) in [
            ("‸", "parts"),
            ("‸", "oboe"),
            ("oboe ‸", "turn"),
            ("score paper ‸", "a3"),
            ("score paper a3 ‸", "landscape"),
            ("parts staff 7.5 ‸", "mm"),
            ("oboe turn ‸", "before"),
            ("score hide ‸", "empty"),
            ("score nudge ‸", "slur"),
            ("score nudge slur ‸", "of"),
            ("score nudge slur of ‸", "oboe"),
            ("oboe nudge slur bar 2 ‸", "beat"),
            ("oboe nudge slur bar 2 ‸", "up"),
        ] {
            let all = offered(line);
            assert!(all.iter().any(|label| label == some), "{line}: {some} is not in {all:?}");
        }
    }
}
