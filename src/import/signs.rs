//! Signs of the language that stand in more than one place of the writer.

use crate::music::Time;
use crate::resolve::Dynamic;

/// A rest inside a bar, or of a whole one.
pub(super) const REST: &str = "rest";
/// How long a line of the source becomes before its bar goes on in the next, in bytes; no line may
/// have more than [`LINE`](crate::limits::LINE).
pub(super) const FULL_LINE: usize = crate::limits::LINE / 2;
/// Small notes that are crossed.
pub(super) const CROSSED: &str = "crushed";

/// A tempo of the form: words first, then the count.
pub(super) fn tempo(beat: Option<(Time, f64)>, words: Option<&str>) -> String {
    let words = words.map(super::voice::quoted);
    let count = beat.map(|(value, count)| {
        let count = (count * 100.0).round() / 100.0;
        format!("{} at {count}", super::voice::value_text(value))
    });
    let both: Vec<String> = [words, count].into_iter().flatten().collect();
    format!("tempo {}", both.join(" "))
}

/// The dynamic of the language that is written with these letters.
pub(super) fn dynamic(letters: &str) -> Option<&'static str> {
    Dynamic::WORDS.into_iter().map(|(_, word)| word).find(|word| *word == letters)
}
