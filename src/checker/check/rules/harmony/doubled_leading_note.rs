//! The leading note is doubled.
//!
//! # What it finds
//! The leading note of a dominant is sounded for a third of a second or more by two parts that do
//! not double each other. Dominants are the declared chords on the fifth and seventh degree of the
//! key and declared dominant sevenths of any key that resolve a fifth down. Where no harmony is
//! declared, what sounds has to say so by itself: a dominant seventh, spelled as one, the tritone
//! of the key with nothing beside it but its dominant seventh, or in minor the triad on the fifth
//! degree with the raised leading note, each without a strange note (our heuristic). A part that
//! only touches it, for less than half of the chord, and leaps on to another note of the same
//! chord or runs through it by step does not count, nor one that goes on before a quarter of the
//! chord is over, or comes to it only off the beat for less than half of the chord (our heuristics); nor do octaves between two families where six
//! or more accompany, or where three or more of one of them do and are a whole chord by themselves
//! (our heuristic), as is common practice in a tutti; nor does a chord of three
//! notes and more, which a keyboard or a harp fills the harmony with (our heuristic). Two players
//! on one pitch are one note in two colours, who goes with the bass or an octave below it is one voice
//! with it (common practice), and a string that is plucked has died away before the
//! chord changes: none of these counts.
//!
//! # Why it matters
//! The leading note wants to rise. Two of them make parallel octaves or let one hang, and the
//! chord sounds sharp.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G7 | 3: C | 4: C | }
//! voice tune { 1: 1/1 C5 | 2: B4 | 3: C5 | 4: C5 | }
//! voice mid { 1: 1/1 G4 | 2: B3 | 3: G4 | 4: G4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G7 | 3: C | 4: C | }
//! voice tune { 1: 1/1 C5 | 2: B4 | 3: C5 | 4: C5 | }
//! voice mid { 1: 1/1 G4 | 2: F4 | 3: E4 | 4: E4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing; the length is our heuristic.

use super::tendency::{self, Tone};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "harmony/doubled-leading-note",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("doubled_leading_note.rs"),
};

/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 0.33;

fn check(cx: &Context, findings: &mut Findings) {
    tendency::check(cx, findings, &RULE, Tone::Leading, LONG);
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    #[test]
    fn the_third_of_a_secondary_dominant_is_a_leading_note_too() {
        let doubled = |next: &str| {
            let text = format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
                 harmony {{ 1: C | 2: D7 | 3: {next} | 4: C | }}\n\
                 voice tune {{ 1: 1/1 G4 | 2: F#4 | 3: G4 | 4: G4 | }}\n\
                 voice fill {{ 1: 1/1 C4 | 2: F#3 | 3: B3 | 4: E3 | }}\n\
                 ensemble few {{ era 1885\n oboe, bassoon }}\n\
                 scoring few for few {{\n oboe plays tune as melody\n bassoon plays fill as harmony\n}}\n"
            );
            findings(&text).iter().filter(|found| found.code == super::RULE.code).count()
        };
        assert_eq!(doubled("G"), 1);
        assert_eq!(doubled("Em"), 0, "it does not resolve");
    }

    /// Findings on the second bar, a dominant, of an upper and a lower player.
    fn over_the_dominant(players: &str, upper: &str, lower: &str, how: &str) -> usize {
        let (one, two) = players.split_once(", ").unwrap();
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
             harmony {{ 1: C | 2: G7 | 3: C | 4: C | }}\n\
             voice tune {{ 1: 1/1 E5 | 2: {upper} | 3: 1/1 G5 | 4: G5 | }}\n\
             voice fill {{ 1: 1/1 G4 | 2: {lower} | 3: 1/1 E4 | 4: C4 | }}\n\
             ensemble few {{ era 1885\n {one} 8 players, {two} 8 players }}\n\
             scoring few for few {{\n {one} plays tune as melody\n {two} plays fill {how} as harmony\n}}\n"
        );
        findings(&text).iter().filter(|found| found.code == super::RULE.code).count()
    }

    #[test]
    fn a_run_through_it_does_not_double_it() {
        let found = |upper| over_the_dominant("violin-1, viola", upper, "1/1 B3", "");
        assert_eq!(found("1/4 G4 A4 B4 C5"), 0);
        assert_eq!(found("1/4 B4 A4 B4 C5"), 1, "it is the goal of the first, and turns back");
        assert_eq!(found("1/4 G4 A4 1/2 B4"), 1, "it stays");
    }

    #[test]
    fn one_pitch_in_two_colours_is_one_leading_note() {
        let found = |lower| over_the_dominant("violin-1, violin-2", "1/1 B4", lower, "");
        assert_eq!(found("1/1 B4"), 0);
        assert_eq!(found("1/1 B3"), 1);
    }

    #[test]
    fn what_is_plucked_has_died_away() {
        let found = |how| over_the_dominant("violin-1, viola", "1/1 B4", "1/2 B3 B3", how);
        assert_eq!((found("pizz"), found("")), (0, 1));
    }

    #[test]
    fn without_declared_harmony_what_sounds_says_what_it_is() {
        let found = |key: &str, upper: &str, middle: &str, lower: &str| {
            let text = format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key {key}, tempo 1/4 at 96\n 1 end }}\n\
                 voice tune {{ 1: {upper} | }}\nvoice fill {{ 1: {middle} | }}\n\
                 voice low {{ 1: {lower} | }}\n\
                 ensemble few {{ era 1885\n violin-1 8 players, viola 6 players, cello 4 players }}\n\
                 scoring few for few {{\n violin-1 plays tune as melody\n\
                 viola plays fill as harmony\n cello plays low as bass\n}}\n"
            );
            findings(&text).iter().filter(|found| found.code == super::RULE.code).count()
        };
        let seventh = found("C major", "1/2 B4 C5", "1/2 F4&B3 E4", "1/2 G2 C3");
        assert_eq!(seventh, 1, "a dominant seventh");
        let secondary = found("C major", "1/2 F#5 G5", "1/2 C4&F#4 B3", "1/2 D3 G2");
        assert_eq!(secondary, 1, "of another key");
        let tritone = found("C major", "1/2 B4 C5", "1/2 D4&F4 E4", "1/2 B2 C3");
        assert_eq!(tritone, 1, "the seventh degree");
        let minor = found("A minor", "1/2 G#5 A5", "1/2 B3&G#4 A3", "1/2 E3 A2");
        assert_eq!(minor, 1, "the dominant of a minor key");
        let tonic = found("C major", "1/2 B4 G4", "1/2 D4&B3 B3", "1/2 G2 G2");
        assert_eq!(tonic, 0, "a triad may be the tonic of the next key");
        let sixth = found("C minor", "1/2 C5 B4", "1/2 F#4&C4 G4", "1/2 Ab2 G2");
        assert_eq!(sixth, 0, "an augmented sixth is spelled otherwise");
    }
}
