//! How a scoring line goes on: the parts of the line for each verb, and which of them is being
//! typed.

use super::completion::{VERBS, singular};
use super::context::cursor;
use super::workspace::At;
use crate::session::Session;
use crate::syntax::Within;

/// A scoring line in its parts.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Signature {
    /// The parts in order.
    pub parts: Vec<&'static str>,
    /// What the verb means.
    pub about: &'static str,
}

impl Signature {
    /// The whole line, and where each part stands in it, in characters.
    #[must_use]
    pub fn label(&self) -> (String, Vec<(usize, usize)>) {
        let mut label = String::new();
        let mut places = Vec::new();
        for part in &self.parts {
            if !label.is_empty() {
                label.push(' ');
            }
            let start = label.chars().count();
            label.push_str(part);
            places.push((start, start + part.chars().count()));
        }
        (label, places)
    }
}

/// The lines that may stand at a place: one if the verb is there, else all.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Signatures {
    /// In the order of the verbs.
    pub all: Vec<Signature>,
    /// The part that is being typed.
    pub active: usize,
}

const WHO: &str = "WHO, …";

fn parts(verb: &str) -> &'static [&'static str] {
    match verb {
        "plays" => &[
            WHO,
            "plays",
            "VOICE",
            "[8va]",
            "as ROLE",
            "[bars 1..8, 17]",
            "[at DYNAMIC]",
            "[pizz]",
            "[solo]",
            "[\"words\"]",
        ],
        "doubles" => &[
            WHO,
            "doubles",
            "PART",
            "[8va]",
            "[as ROLE]",
            "[bars 1..8, 17]",
            "[at DYNAMIC]",
            "[pizz]",
            "[solo]",
            "[\"words\"]",
        ],
        "sustains" => &[
            WHO,
            "sustains",
            "[each chord | each beat | off the beat]",
            "[as ROLE]",
            "[bars 1..8, 17]",
            "[at DYNAMIC]",
            "[\"words\"]",
        ],
        "realises" => &[WHO, "realises", "VOICE", "[bars 1..8, 17]", "[at DYNAMIC]"],
        "signals" => &[
            WHO,
            "signals",
            "VOICE",
            "[as ROLE]",
            "[bars 1..8, 17]",
            "[at DYNAMIC]",
            "[\"words\"]",
        ],
        "highlights" => &[
            WHO,
            "highlights",
            "[entries, cadences, phrases, peaks, beat 1]",
            "[as ROLE]",
            "[bars 1..8, 17]",
            "[at DYNAMIC]",
            "[\"words\"]",
        ],
        "writes" => &[WHO, "writes", "as ROLE", "[at DYNAMIC]", "[\"words\"]", "{ 1: 1/4 D5 … | }"],
        "rests" => &[WHO, "rests", "[bars 1..8, 17]"],
        "takes" => {
            &[WHO, "takes", "[INSTRUMENT]", "[crook KEY | in KEY | tuned NOTES]", "[bar 17]"]
        }
        "keep" => &["keep", "SCORING"],
        "allow" => &["allow", "RULE", "[on WHO, …]", "[bars 1..8, 17]", "\"reason\""],
        _ => &[],
    }
}

/// The parts of the scoring line at a place; `None` outside scorings.
#[must_use]
pub fn signatures(session: &Session, at: At) -> Option<Signatures> {
    let cursor = cursor(session, at);
    if cursor.within != Within::Scoring || cursor.before.contains(&"{".to_string()) {
        return None;
    }
    let mut before: Vec<&str> = cursor.before.iter().map(String::as_str).collect();
    singular(&mut before);
    let line =
        |(verb, about): (&str, &'static str)| Signature { parts: parts(verb).to_vec(), about };
    let others = [
        ("keep", "takes over all lines of another scoring"),
        ("allow", "suppresses a finding, with the reason"),
    ];
    let known: Vec<(&str, &'static str)> = VERBS.into_iter().chain(others).collect();
    let verb = before.iter().find_map(|word| known.iter().find(|(verb, _)| verb == word));
    let Some(verb) = verb else {
        return Some(Signatures { all: VERBS.into_iter().map(line).collect(), active: 0 });
    };
    let signature = line(*verb);
    let starts = |part: &str, word: &str| {
        let bare = part.trim_start_matches('[');
        bare.split(' ').next() == Some(word)
            || bare.split(" | ").any(|choice| choice.split(' ').next() == Some(word))
    };
    // The last word that begins a part tells where we are; behind the verb comes what it asks for.
    let mut active = 0;
    for word in &before {
        let part = signature.parts.iter().position(|part| starts(part, word));
        let next = match part {
            Some(part) if signature.parts[part] == verb.0 => part + 1,
            Some(part) => part,
            None if *word == "," => active,
            None if active > 0 && is_name(signature.parts[active]) => active + 1,
            None => active,
        };
        active = next.min(signature.parts.len() - 1);
    }
    Some(Signatures { all: vec![signature], active })
}

/// Is the part one word of the user's own?
fn is_name(part: &str) -> bool {
    matches!(part, "VOICE" | "PART" | "RULE" | "SCORING" | "[INSTRUMENT]")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::text;

    fn active(line: &str) -> Option<String> {
        let (session, at) = text(&format!("scoring small for duo {{\n  {line}‸\n}}\n"));
        signatures(&session, at).map(|found| found.all[0].parts[found.active].to_string())
    }

    #[test]
    fn the_part_that_is_being_typed_is_known() {
        assert_eq!(active("oboe plays ").as_deref(), Some("VOICE"));
        assert_eq!(active("oboe plays upper ").as_deref(), Some("[8va]"));
        assert_eq!(active("oboe plays upper as ").as_deref(), Some("as ROLE"));
        assert_eq!(
            active("oboe plays upper as melody, bars 1").as_deref(),
            Some("[bars 1..8, 17]")
        );
        assert_eq!(
            active("horn takes crook ").as_deref(),
            Some("[crook KEY | in KEY | tuned NOTES]")
        );
        assert_eq!(active("allow compass ").as_deref(), Some("[on WHO, …]"));
        assert_eq!(active("obo").as_deref(), Some(WHO));
        let (session, at) = text("voice a {\n 1: D5‸ |\n}\n");
        assert_eq!(signatures(&session, at), None);
    }

    #[test]
    fn the_places_of_the_parts_are_in_the_label() {
        for (verb, about) in VERBS {
            let signature = Signature { parts: parts(verb).to_vec(), about };
            let (label, places) = signature.label();
            let letters: Vec<char> = label.chars().collect();
            for ((start, end), part) in places.iter().zip(&signature.parts) {
                assert_eq!(letters[*start..*end].iter().collect::<String>(), **part);
            }
        }
    }
}
