//! Signs of the language that stand in more than one place of the writer.

use crate::music::Time;

/// A rest inside a bar.
pub(super) const REST: &str = "_";
/// Small notes that are crossed.
pub(super) const CROSSED: &str = "acciaccatura";

/// A tempo of the form.
pub(super) fn tempo(beat: Option<(Time, f64)>, words: Option<&str>) -> String {
    let words = words.map(super::voice::quoted);
    let beat = beat.map(|(value, count)| {
        let count = (count * 100.0).round() / 100.0;
        (super::voice::value_text(value), count)
    });
    let count = beat.map(|(value, count)| format!("{value} = {count}"));
    let both: Vec<String> = [count, words].into_iter().flatten().collect();
    format!("tempo {}", both.join(" "))
}
