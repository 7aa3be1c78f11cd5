//! Lengths of time in words.

use crate::music::{Metre, Time};

/// How much time it is, as a value and in beats: "1 beat (1/4)", "half a beat (1/8)", in compound
/// metres the value first: "1/8 (a third of a beat)".
pub(in crate::resolve) fn amount(time: Time, metre: Metre) -> String {
    let Some(beats) = beats(time, metre.beat()) else { return time.to_string() };
    let (numerator, denominator) = metre.beat().fraction();
    if numerator == 1 && denominator.count_ones() == 1 {
        format!("{beats} ({time})")
    } else {
        format!("{time} ({beats})")
    }
}

/// A time in the values that the metre counts, where it is a whole number of them: 5/8 in 6/8, and
/// a full bar of 4/4 as 4/4.
pub(in crate::resolve) fn in_units(time: Time, metre: Metre) -> String {
    match time.ratio(Time::of(1, i64::from(metre.unit))) {
        Some((count, 1)) => format!("{count}/{}", metre.unit),
        _ => time.to_string(),
    }
}

/// A time in beats, as a musician says it; `None` where it is no simple part of a beat.
fn beats(time: Time, beat: Time) -> Option<String> {
    let (numerator, denominator) = time.ratio(beat)?;
    let (whole, rest) = (numerator / denominator, numerator % denominator);
    let part = match (rest, denominator) {
        (0, _) => "",
        (1, 2) => "half a beat",
        (1, 3) => "a third of a beat",
        (2, 3) => "two thirds of a beat",
        (1, 4) => "a quarter of a beat",
        (3, 4) => "three quarters of a beat",
        (1, 6) => "a sixth of a beat",
        (1, 8) => "an eighth of a beat",
        _ => return None,
    };
    Some(match (whole, part) {
        (1, "") => "1 beat".to_string(),
        (_, "") => format!("{whole} beats"),
        (0, part) => part.to_string(),
        (1, "half a beat") => "1 1/2 beats".to_string(),
        (1, part) => format!("1 beat and {part}"),
        (_, "half a beat") => format!("{whole} 1/2 beats"),
        (_, part) => format!("{whole} beats and {part}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn simple_metres_count_in_beats_and_compound_ones_in_values() {
        let says = |count, unit, time| amount(time, Metre::new(count, unit).unwrap());
        assert_eq!(says(4, 4, Time::of(1, 8)), "half a beat (1/8)");
        assert_eq!(says(4, 4, Time::of(1, 4)), "1 beat (1/4)");
        assert_eq!(says(3, 4, Time::of(5, 8)), "2 1/2 beats (5/8)");
        assert_eq!(says(2, 2, Time::of(1, 8)), "a quarter of a beat (1/8)");
        assert_eq!(says(4, 4, Time::of(3, 64)), "3/64");
        assert_eq!(says(6, 8, Time::of(1, 8)), "1/8 (a third of a beat)");
        assert_eq!(says(9, 8, Time::of(1, 4)), "1/4 (two thirds of a beat)");
        assert_eq!(says(12, 8, Time::of(3, 8)), "3/8 (1 beat)");
        assert_eq!(says(6, 8, Time::of(1, 2)), "1/2 (1 beat and a third of a beat)");
        assert_eq!(says(3, 8, Time::of(1, 8)), "1 beat (1/8)");
    }

    #[test]
    fn what_a_bar_holds_is_said_in_the_values_that_its_metre_counts() {
        let holds = |count, unit, time| in_units(time, Metre::new(count, unit).unwrap());
        assert_eq!(holds(6, 8, Time::of(3, 4)), "6/8");
        assert_eq!(holds(4, 4, Time::of(1, 1)), "4/4");
        assert_eq!(holds(3, 4, Time::of(7, 8)), "7/8");
    }
}
