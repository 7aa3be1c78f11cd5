//! Bars, lists and places in a musician's words.

use crate::diagnostics::BarNumbers;
use crate::resolve::Player;

/// "a", "a and b", "a, b and c".
pub(super) fn list(words: &[impl AsRef<str>], joint: &str) -> String {
    match words {
        [] => String::new(),
        [one] => one.as_ref().to_string(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} {joint} {}", first.join(", "), last.as_ref())
        }
    }
}

/// How many ranges of bars are told before a list ends with "and more".
const RANGES: usize = 6;

/// "bar 3", "bars 3 to 5", "bars 3 to 5, 9 and 12".
pub(super) fn bars(ranges: &[BarNumbers]) -> String {
    let said: Vec<String> = ranges
        .iter()
        .take(RANGES)
        .flat_map(|BarNumbers { first, last }| match last - first {
            0 => vec![first.to_string()],
            1 => vec![first.to_string(), last.to_string()],
            _ => vec![format!("{first} to {last}")],
        })
        .collect();
    let word = match ranges {
        [one] if one.first == one.last => "bar",
        _ => "bars",
    };
    if ranges.len() > RANGES {
        return format!("{word} {} and later", said.join(", "));
    }
    format!("{word} {}", list(&said, "and"))
}

/// "an oboe", "a flute".
pub(super) fn a(noun: &str) -> String {
    let vowel = noun.starts_with(['a', 'e', 'i', 'o', 'u', 'A', 'E', 'I', 'O', 'U']);
    format!("{} {noun}", if vowel { "an" } else { "a" })
}

/// Is a player named in the plural: "Violins I have", "Cymbals have"?
pub(super) fn is_plural(player: &Player) -> bool {
    player.section || player.instrument.name == player.instrument.plural
}

/// Seconds that somebody has, rounded down, so that they never look like those that he needs.
pub(super) fn tenths(seconds: f64) -> String {
    format!("{:.1}", (seconds * 10.0 + 1e-6).floor() / 10.0)
}

/// "an octave higher", "two octaves lower".
pub(super) fn octaves(up: i8) -> String {
    let way = if up > 0 { "higher" } else { "lower" };
    match up.unsigned_abs() {
        1 => format!("an octave {way}"),
        2 => format!("two octaves {way}"),
        many => format!("{many} octaves {way}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_listed_as_one_says_them() {
        let said = |ranges: &[(i32, i32)]| {
            bars(&ranges.iter().map(|(a, b)| BarNumbers::new(*a, *b)).collect::<Vec<_>>())
        };
        assert_eq!(said(&[(3, 3)]), "bar 3");
        assert_eq!(said(&[(3, 5)]), "bars 3 to 5");
        assert_eq!(said(&[(3, 5), (9, 9), (12, 13)]), "bars 3 to 5, 9, 12 and 13");
    }

    #[test]
    fn seconds_that_are_too_few_look_too_few() {
        assert_eq!([tenths(5.96), tenths(6.0), tenths(0.3)], ["5.9", "6.0", "0.3"]);
    }
}
