//! Measures of engraving, in staff spaces unless said otherwise, each with its source.
//!
//! Ross is Ted Ross, The Art of Music Engraving and Processing, 1970; Gould is Elaine Gould, Behind
//! Bars, 2011; both from memory. What has no source is our heuristic.

/// Thickness of a staff line. Ross: an eighth of a space or a little less.
pub const STAFF_LINE: f64 = 0.11;
/// Thickness of a ledger line: a little heavier than a staff line (Gould, chapter 1).
pub const LEDGER_LINE: f64 = 0.16;
/// How far a ledger line reaches beyond a head (Gould: about a third of a head's width).
pub const LEDGER_REACH: f64 = 0.34;
/// The same beside an accidental, where a ledger line is shortened (Gould, chapter 1). How much of it is left is our
/// heuristic.
pub const LEDGER_LEAST: f64 = 0.17;
/// Air between an accidental and a ledger line. Our heuristic.
pub const LEDGER_AIR: f64 = 0.15;
/// Thickness of a stem; not more than a staff line by much (Ross, stems).
pub const STEM: f64 = 0.125;
/// Length of a stem on a single note: an octave (Ross, stems; Gould, chapter 1).
pub const STEM_LENGTH: f64 = 3.5;
/// The shortest stem of a note that lies far outside the staff and points away from it: a sixth
/// (Ross, stems; Gould, chapter 1).
pub const SHORTEST_STEM: f64 = 2.5;
/// The shortest stem with a flag, which is not to reach its own head (Gould, chapter 1, from memory).
pub const SHORTEST_FLAGGED: f64 = 3.25;
/// What each flag or beam beyond the second adds to a stem (Gould, chapter 1).
pub const STEM_PER_FLAG: f64 = 0.75;
/// Thickness of a beam: half a space (Ross, beams; Gould, chapter 1).
pub const BEAM: f64 = 0.5;
/// From beam to beam: thickness and a gap of a quarter space (Gould, chapter 1).
pub const BEAM_STEP: f64 = 0.75;
/// Length of a stub of a secondary beam: about the width of a head (Gould, chapter 1).
pub const BEAM_STUB: f64 = 1.1;
/// The shortest stem from a head to the far edge of its beam.
pub const BEAMED_STEM: f64 = 2.6;
/// Thin line of a bar; thicker than a staff line (Gould, chapter 1).
pub const BAR_LINE: f64 = 0.17;
/// Thick line of a bar: a beam's thickness (Ross, bar-lines).
pub const THICK_LINE: f64 = 0.5;
/// Gap between the lines of a bar line.
pub const BAR_LINE_GAP: f64 = 0.4;
/// Space that a quarter takes to the next note. Gould, chapter 1, "Spacing symbols": three and a
/// half spaces.
pub const QUARTER: f64 = 3.5;
/// By how much a note of twice the length takes more space. Gould, chapter 1: from a quarter (3.5)
/// to a half (5) and a whole note (7); Ross, spacing, has steps alike.
pub const SPACING_RATIO: f64 = std::f64::consts::SQRT_2;
/// From the bar line to the first note.
pub const AFTER_BAR_LINE: f64 = 1.25;
/// The least air between what stands side by side on one staff.
pub const AIR: f64 = 0.3;
/// From an accidental to its head.
pub const ACCIDENTAL_GAP: f64 = 0.22;
/// From a head to its first dot (Gould: half a space), and from dot to dot.
pub const DOT_GAP: f64 = 0.42;
/// How small grace and cue notes are. Gould, chapter 5: two thirds to three quarters.
pub const SMALL: f64 = 0.68;
/// How small a clef is that changes within the line: two thirds of its size (Gould, chapter 1).
pub const SMALL_CLEF: f64 = 0.75;
/// Thickness of a slur or tie in the middle, and at its ends.
pub const SLUR_MIDDLE: f64 = 0.24;
/// Thickness of a slur or tie at its ends.
pub const SLUR_END: f64 = 0.07;
/// Opening of a hairpin.
pub const HAIRPIN: f64 = 1.3;
/// Thickness of the lines of hairpins, brackets of tuplets and endings.
pub const THIN_LINE: f64 = 0.14;
/// The least air between what stands above or below one another.
pub const ABOVE: f64 = 0.45;
/// Gap between two staves of a system, from line to line, at least.
pub const STAFF_GAP: f64 = 4.2;
/// What is added to it between families.
pub const FAMILY_GAP: f64 = 1.4;
/// Gap between systems, from line to line, at least.
pub const SYSTEM_GAP: f64 = 5.0;

/// Air between what stands over the heading of a movement and the heading: more than between the heading
/// and its music, to which it belongs.
pub const HEADING_GAP: f64 = 4.0;

/// Space from one onset to the next, for a length in quarters.
#[must_use]
pub fn space(quarters: f64) -> f64 {
    QUARTER * SPACING_RATIO.powf(quarters.max(1.0 / 64.0).log2())
}

/// By how much a beam of two notes so many steps apart (a second is 1) rises, before it is held
/// back by the room there is. Ross, beams: a second rises by a quarter or half a space, larger
/// intervals by little more, never above one and a quarter or so.
#[must_use]
pub fn beam_rise(steps: i32) -> f64 {
    match steps.abs() {
        0 => 0.0,
        1 => 0.25,
        2 => 0.5,
        3 => 0.75,
        4 => 1.0,
        5 | 6 => 1.0,
        _ => 1.25,
    }
}

/// How high a slur rises over a span of so many spaces. Ross, slurs: flat for its length, and the
/// flatter the longer it is.
#[must_use]
pub fn slur_height(span: f64) -> f64 {
    (0.55 + 0.5 * span.max(0.0).sqrt() * 0.62).min(3.2)
}

/// How high a tie rises.
#[must_use]
pub fn tie_height(span: f64) -> f64 {
    (0.36 + 0.045 * span.max(0.0)).min(0.95)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gould, chapter 1, "Spacing symbols", from memory: 2.5 for an eighth, 3.5 for a quarter, 5
    /// for a half, 7 for a whole note.
    #[test]
    fn notes_take_the_space_that_the_table_gives_them() {
        for (quarters, spaces) in [(0.5, 2.5), (1.0, 3.5), (2.0, 5.0), (4.0, 7.0)] {
            assert!((space(quarters) - spaces).abs() < 0.06, "{quarters}: {}", space(quarters));
        }
    }

    /// Ross, beams, from memory: never more than a space and a quarter.
    #[test]
    fn beams_stay_flat() {
        assert!((0..30).all(|steps| beam_rise(steps) <= 1.25));
        assert!((1..30).all(|steps| beam_rise(steps) >= beam_rise(steps - 1)));
        assert!(beam_rise(1) <= 0.5);
    }

    #[test]
    fn slurs_are_the_flatter_the_longer_they_are() {
        let lean = |span: f64| slur_height(span) / span;
        assert!((2..80).all(|span| lean(f64::from(span)) < lean(f64::from(span - 1))));
        assert!(slur_height(1000.0) < 4.0);
    }
}
