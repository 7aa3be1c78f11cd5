//! Advice before writing: what the music of a piece says about crooks, drums, forces, voices,
//! harmony and coverage.
//!
//! Each kind of advice is a value that serde can write as data and that [`std::fmt::Display`]
//! shows as a table for people. Nothing here changes the piece.

use crate::narrow::Narrow;

mod coverage;
mod crooks;
mod forces;
mod harmony;
mod line_up;
#[cfg(test)]
mod tests;
mod timpani;
mod voices;
mod weigh;

pub use coverage::{CoverageAdvice, PlayedBars, ScoringCoverage, VoiceBars, coverage};
pub use crooks::{CrookChoice, CrooksAdvice, crooks};
pub use forces::{EnsembleForces, ForcesAdvice, PlayingTime, ScoringForces, forces};
pub use harmony::{ChordAt, HarmonyAdvice, HarmonyBar, harmony};
pub use line_up::Doubling;
pub use timpani::{TimpaniAdvice, TimpaniChoice, timpani};
pub use voices::{Fits, VoiceAdvice, VoicesAdvice, voices};

/// What shares of the harmony mean, told under the tables.
const WEIGHED: &str = "Chords are weighed by how long they hold and where in the bar they begin; tonic and dominant count double.";

/// A share rounded to three places, so that data files stay readable.
fn rounded(share: f64) -> f64 {
    (share * 1000.0).round() / 1000.0
}

/// A share in words: "83%".
fn percent(share: f64) -> String {
    // An empty sum of floating-point numbers is a negative zero; nobody wants to read `-0%`.
    format!("{:.0}%", 100.0 * share + 0.0)
}

/// Seconds as minutes and seconds: `1:24`.
#[must_use]
pub fn minutes(seconds: f64) -> String {
    // Half a second must not fall on one side here and on the other there.
    let whole = rounded(seconds).round().narrow::<u64>();
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// Rows in columns, two spaces apart; every table on the terminal is set by it.
#[must_use]
pub fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> =
            row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text
}
