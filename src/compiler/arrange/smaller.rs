//! What a scoring keeps of a smaller one: its notes, not only its lines.
//!
//! The smaller scoring is arranged for its own ensemble. A kept line that takes its notes from
//! elsewhere (a doubling or a computed line) then gives its players the very notes that they have
//! there. Where a player has another instrument, crook or tuning in hand that has not got these
//! notes, the line is worked out afresh; `keep lines of …` works all of them out afresh.

use std::sync::Arc;

use super::derive::{Reach, Supply, supply};
use super::{Arrangement, GivenLine, Part, Run, taking, work_out};
use crate::diagnostics::Diagnostic;
use crate::resolve::{Ensemble, Line, Piece, Player, Scoring, Verb};

/// The smaller scoring, worked out for its own ensemble.
pub(super) struct Smaller {
    arrangement: Arc<Arrangement>,
}

impl Smaller {
    /// The scoring that another one keeps with its notes, with what an earlier run of that other one
    /// made of it; `None` where it keeps none.
    pub(super) fn of(
        piece: &Arc<Piece>,
        scoring: &Scoring,
        before: Option<&Arrangement>,
        once: bool,
    ) -> Option<Smaller> {
        let keep = scoring.keep.filter(|_| !scoring.keeps_lines)?;
        let kept = piece.scorings.get(keep.0)?;
        let before = before.and_then(|before| before.kept.smaller.as_deref());
        Some(Smaller { arrangement: Arc::new(work_out(piece, kept, before, once)) })
    }

    /// The arrangement itself.
    pub(super) fn into_inner(self) -> Arc<Arrangement> {
        self.arrangement
    }

    /// What a player of the larger ensemble has in the smaller scoring.
    pub(super) fn part(&self, player: &Player) -> Option<&Part> {
        let mut parts = self.arrangement.parts.iter();
        parts.find(|part| same(&part.player, player)).map(|part| &**part)
    }

    /// Gives a run the notes that the player has in the smaller scoring; `false` where he is not
    /// there, or has something in hand now that has not got them.
    pub(super) fn give(&self, now: &Part, era: i32, run: &mut Run) -> bool {
        let Some(part) = self.part(&now.player).filter(|part| plays(part, now, era, run)) else {
            return false;
        };
        taking::cut(&part.notes, run);
        let tuplets = part.tuplets.iter();
        run.tuplets.extend(tuplets.filter(|t| t.start >= run.from && t.start < run.to));
        taking::take_rests(&part.rests, run);
        true
    }

    /// Could the player give the kept notes of a run with what he has in hand now?
    pub(super) fn can_give(&self, now: &Part, era: i32, run: &Run) -> bool {
        self.part(&now.player).is_some_and(|part| plays(part, now, era, run))
    }

    /// Is there a finding of this kind about the smaller scoring?
    pub(super) fn tells(&self, code: &str) -> bool {
        self.arrangement.diagnostics.iter().any(|found| found.code == code)
    }

    /// What was found about lines whose notes are kept: it holds for the larger scoring too.
    pub(super) fn diagnostics<'s>(
        &'s self,
        lines: &'s [GivenLine],
    ) -> impl Iterator<Item = &'s Diagnostic> {
        // What is said of claims and names is found again.
        let again = ["names/conflict", "names/kept-player"];
        self.arrangement.diagnostics.iter().filter(move |found| {
            let kept =
                |given: &&GivenLine| given.layer > 0 && given.line.span == found.primary.span;
            !again.contains(&found.code)
                && lines.iter().find(kept).is_some_and(|given| comes_from_elsewhere(&given.line))
        })
    }
}

fn plays(part: &Part, now: &Part, era: i32, run: &Run) -> bool {
    taking::sounds_in(&part.notes, run.from, run.to).iter().all(|note| {
        let in_hand = now.instrument_at(note.start());
        std::ptr::eq(in_hand, part.instrument_at(note.start()))
            && in_hand.natural.is_none()
            && in_hand.drums.is_empty()
            || match supply(now, era, note.start(), Reach::Whole) {
                Supply::Unpitched => true,
                has => note.sound().pitches().iter().all(|pitch| has.has(*pitch)),
            }
    })
}

/// Does a line take its notes from other parts or from the harmony?
pub(super) fn comes_from_elsewhere(line: &Line) -> bool {
    matches!(line.verb, Verb::Doubles { .. }) || is_computed(line)
}

/// Are the notes of a line computed?
pub(super) fn is_computed(line: &Line) -> bool {
    matches!(
        line.verb,
        Verb::Sustains { .. }
            | Verb::Signals { .. }
            | Verb::Highlights { .. }
            | Verb::Realises { .. }
    )
}

/// Are these the same player in two ensembles? Whoever is alone in one is the first in the other; a
/// section that is one there is both halves of the section that divides here.
fn same(one: &Player, other: &Player) -> bool {
    let halves = |half: &Player, whole: &Player| half.half_of.is_some() && whole.number == 0;
    one.line_name == other.line_name
        && (one.number.max(1) == other.number.max(1) || halves(one, other) || halves(other, one))
}

/// May a kept line speak to this player of the larger ensemble? It keeps to the players that it
/// has in the smaller one: two horns stay two where the larger orchestra has four. Whoever joins a
/// group plays and doubles what the group does, and rests are for all who come later.
pub(super) fn speaks_to(line: &Line, name: &str, player: &Player, smaller: &Ensemble) -> bool {
    let known = || smaller.players.iter().any(|other| same(other, player));
    let is_group = smaller.groups.iter().any(|(group, _)| group == name);
    match line.verb {
        Verb::Rests | Verb::Unknown => true,
        Verb::Plays { .. } | Verb::Writes(_) | Verb::Doubles { .. } => is_group || known(),
        _ => known(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use crate::arrange::derive::tests::{chord_symbols, melody, piece, scored_text};
    use crate::arrange::{Arrangement, PackedNote, arrange};

    const VOICES: &str = "form {\n 1 metre 4/4, key C major, tempo 1/4 at 80\n 4 end\n}\n\
         harmony { 1: C | 2: F | 3: G7 | 4: C | }\n\
         voice u { 1: 1/1 G5 | 2: 1/1 A5 | 3: 1/1 B5 | 4: 1/1 C6 | }\n\
         voice l { 1: 1/1 C3 | 2: 1/1 F2 | 3: 1/1 G2 | 4: 1/1 C3 | }\n";

    fn notes<'s>(arrangement: &'s Arrangement, player: &str) -> &'s [PackedNote] {
        let part = arrangement.parts.iter().find(|part| part.player.id == player);
        part.map_or(&[], |part| &part.notes)
    }

    /// What sounds when, without the line that says so.
    fn sounds(arrangement: &Arrangement, player: &str) -> Vec<String> {
        let told =
            |note: &PackedNote| format!("{} {} {:?}", note.start(), note.length(), note.sound());
        notes(arrangement, player).iter().map(told).collect()
    }

    fn two(larger: &str, lines: &str, keep: &str) -> std::sync::Arc<crate::resolve::Piece> {
        piece(&format!(
            "{VOICES}ensemble small {{\n era 1810\n violin-1 4 players, viola 2 players, cello 2 players\n horn 2 crook C alto\n}}\n\
             ensemble large extends small {{\n era 1810\n {larger}\n}}\n\
             scoring one for small {{\n violin-1 plays u as melody\n cello plays l as bass\n viola, horn sustains\n}}\n\
             scoring two for large {{\n {keep} one\n {lines}\n}}\n"
        ))
    }

    #[test]
    fn two_horns_of_a_kept_line_stay_two_and_keep_their_notes() {
        let piece = two("horn 4 crook C alto, F\n oboe 2", "oboe sustains", "keep");
        let [small, large] = [0, 1].map(|index| arrange(&piece, &piece.scorings[index]));
        for player in ["horn.1", "horn.2", "viola"] {
            assert!(!notes(&small, player).is_empty());
            assert_eq!(sounds(&small, player), sounds(&large, player));
        }
        assert!(notes(&large, "horn.3").is_empty() && notes(&large, "horn.4").is_empty());
        assert!(!notes(&large, "oboe.1").is_empty());
    }

    #[test]
    fn the_lines_alone_can_be_kept_and_then_speak_to_all_who_have_the_name() {
        let piece = two("horn 4 crook C alto, C basso", "", "keep lines of");
        let large = arrange(&piece, &piece.scorings[1]);
        assert!(!notes(&large, "horn.3").is_empty() && !notes(&large, "horn.4").is_empty());
    }

    #[test]
    fn a_line_of_the_larger_takes_over_for_its_bars_and_the_rest_is_kept() {
        let piece = two("oboe 2", "viola rests bars 2", "keep");
        let [small, large] = [0, 1].map(|index| arrange(&piece, &piece.scorings[index]));
        let (from, to) = (piece.form.bars[1].start, piece.form.bars[2].start);
        let at = |arrangement: &Arrangement, time| {
            let mut notes = notes(arrangement, "viola").iter();
            notes.find(|n| n.start() <= time && n.end() > time).map(|n| n.sound().to_owned())
        };
        assert_eq!(at(&large, from), None);
        for bar in [0, 2, 3] {
            let start = piece.form.bars[bar].start;
            assert_eq!(at(&small, start), at(&large, start));
        }
        assert!(notes(&large, "viola").iter().all(|note| note.end() <= from || note.start() >= to));
    }

    #[test]
    fn a_kept_section_that_divides_in_the_larger_orchestra_is_both_halves() {
        let piece = two("viola 5 players divisi", "viola.2 rests bars 3..4", "keep");
        let [small, large] = [0, 1].map(|index| arrange(&piece, &piece.scorings[index]));
        assert_eq!(sounds(&small, "viola"), sounds(&large, "viola.1"));
        let end = piece.form.bars[2].start;
        let kept = notes(&small, "viola").iter().filter(|note| note.start() < end).count();
        assert_eq!(notes(&large, "viola.2").len(), kept);
        let counts = large.parts.iter().filter(|part| part.player.line_name == "viola");
        assert_eq!(counts.map(|part| part.player.count).collect::<Vec<_>>(), [3, 2]);
        let desks: Vec<_> = large.desks().map(|desk| desk.len()).collect();
        assert_eq!(desks.iter().filter(|players| **players == 2).count(), 1);
        assert_eq!(desks.iter().sum::<usize>(), large.parts.len());
    }

    #[test]
    fn on_another_crook_a_kept_line_is_worked_out_afresh() {
        let piece = two("oboe 2", "horn takes crook Eb", "keep");
        let [small, large] = [0, 1].map(|index| arrange(&piece, &piece.scorings[index]));
        assert_ne!(sounds(&small, "horn.1"), sounds(&large, "horn.1"));
        assert_eq!(sounds(&small, "viola"), sounds(&large, "viola"));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn what_the_smaller_plays_the_larger_plays_note_for_note(
            chords in chord_symbols(1..=8),
            tune in melody(8),
            line in prop::sample::select(vec![
                "horn, viola sustains", "horn signals upper\n viola sustains each beat",
                "horn highlights\n viola doubles horn.1",
            ]),
        ) {
            let small = scored_text(&chords, &tune, 1810, "horn 2 crook D, viola 2 players", line);
            let text = format!(
                "{small}ensemble large extends band {{\n era 1885\n horn 4 in F, clarinet 2 in Bb, tenor-trombone 3\n}}\n\
                 scoring more for large {{\n keep all\n clarinet, tenor-trombone sustains\n horn.3, horn.4 sustains\n}}\n"
            );
            let piece = piece(&text);
            let [small, large] = [0, 1].map(|index| arrange(&piece, &piece.scorings[index]));
            for player in ["horn.1", "horn.2", "viola"] {
                prop_assert_eq!(sounds(&small, player), sounds(&large, player));
            }
        }
    }
}
