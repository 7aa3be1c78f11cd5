//! From a place in the source to what is printed of it, and back.

use serde::{Deserialize, Serialize};

use super::workspace::{At, TextPlace};
use crate::diagnostics::FileId;
use crate::notate::{Element, Measure, Score, Staff, notate};
use crate::session::Session;

/// A note or rest on a page.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Printed {
    /// The scoring.
    pub scoring: String,
    /// The player who reads it, by his name in the language: `oboe.2`.
    pub player: String,
    /// The number of the bar.
    pub bar: i32,
    /// Does it stand on the lower of two staves?
    #[serde(default)]
    pub lower: bool,
    /// Which of the notes and rests of that staff in the bar it is, grace notes counted: the first
    /// is 0.
    pub element: usize,
}

/// Everything that is printed of what stands at a place, in the order of scorings, players and
/// bars. At a scoring line that is all that it gives to its players.
pub fn printed(session: &mut Session, at: At) -> Vec<Printed> {
    let mut found = Vec::new();
    for arrangement in session.arrangements(at.root) {
        let score = notate(&arrangement);
        let sources = session.sources();
        let here = |element: &&Element| {
            let line = score.line(element.origin).map(|line| line.span);
            let spans = [element.origin.source, line].into_iter().flatten();
            let mut ranges =
                spans.filter(|span| span.file == at.file).map(|span| sources.range(span));
            // A place between two notes belongs to the second.
            ranges.any(|range| range.contains(&at.offset))
        };
        for staff in &score.staves {
            for (bar, frame) in score.frame.iter().enumerate() {
                for (lower, measure) in staff.in_bar(bar).enumerate() {
                    let elements = measure.elements.iter().enumerate();
                    let elements = elements.filter(|(_, element)| here(element));
                    found.extend(elements.map(|(element, _)| Printed {
                        scoring: score.scoring.clone(),
                        player: staff.id.clone(),
                        bar: frame.number,
                        lower: lower > 0,
                        element,
                    }));
                }
            }
        }
    }
    found
}

/// Where something printed stands in the source: the note, chord symbol or rest, or else the scoring
/// line. `None` where there is no such scoring, player, bar or element, and for a rest of somebody
/// who has nothing to play.
pub fn in_source(session: &mut Session, root: FileId, printed: &Printed) -> Option<TextPlace> {
    let arrangement = session.arrangement(root, &printed.scoring)?;
    let bar = arrangement.piece.form.index_of(printed.bar)?;
    let score: Score = notate(&arrangement);
    let staff: &Staff = score.staves.iter().find(|staff| staff.id == printed.player)?;
    let measure: &Measure = staff.in_bar(bar).nth(usize::from(printed.lower))?;
    let origin = measure.elements.get(printed.element)?.origin;
    let span = origin.source.or(score.line(origin).map(|line| line.span))?;
    Some(TextPlace { file: span.file, range: session.sources().range(span) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, line, text};

    const REST: &str = "ensemble few { era 1810\n oboe 2\n cello\n}\nscoring all for few {\n \
        oboe.1 plays upper as melody\n cello doubles oboe.1\n}\n";

    fn at(marked: &str) -> (Session, At) {
        text(&format!(
            "{FORM}voice upper {{ 1: 1/2 D5 E5 | 2: 1/1 {marked} | 3: = | 4: rest | }}\n{REST}"
        ))
    }

    #[test]
    fn a_note_is_found_wherever_it_is_printed_and_each_leads_back_to_it() {
        let (mut session, at) = at("‸F5");
        let printed = printed(&mut session, at);
        let told = |printed: &Printed| format!("{} {}", printed.player, printed.bar);
        let places: Vec<String> = printed.iter().map(told).collect();
        assert_eq!(places, ["oboe.1 2", "oboe.1 3", "cello 2", "cello 3"]);
        for printed in &printed {
            let place = in_source(&mut session, at.root, printed).unwrap();
            assert_eq!(line(&session, &place), "6: F5");
        }
    }

    #[test]
    fn a_scoring_line_gives_all_that_its_players_have_of_it() {
        let (mut session, mut at) = at("F5");
        at.offset = session.document(at.file).text().find("doubles").unwrap();
        let printed = printed(&mut session, at);
        assert_eq!(printed.len(), 5);
        assert!(printed.iter().all(|printed| printed.player == "cello"));
    }

    #[test]
    fn who_rests_by_himself_has_no_place() {
        let (mut session, at) = at("F5");
        let rest = |player: &str, bar| Printed {
            scoring: "all".into(),
            player: player.into(),
            bar,
            lower: false,
            element: 0,
        };
        assert_eq!(in_source(&mut session, at.root, &rest("oboe.2", 1)), None);
        let place = in_source(&mut session, at.root, &rest("oboe.1", 4)).unwrap();
        assert_eq!(line(&session, &place), "6: rest");
        assert_eq!(in_source(&mut session, at.root, &rest("oboe.1", 5)), None);
        assert_eq!(in_source(&mut session, at.root, &rest("oboe.3", 1)), None);
    }
}
