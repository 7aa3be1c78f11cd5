//! Which chords the voices spell, as a block ready to paste.

use std::fmt;

use serde::Serialize;

use super::rounded;
use crate::harmony::infer;
use crate::resolve::{HarmonyEvent, Piece};

/// The harmony that the voices spell, bar by bar.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct HarmonyAdvice {
    /// Where the piece declares its harmony: the share of time (0 to 1) in which the inferred
    /// root is the declared one.
    pub agrees_with_declared: Option<f64>,
    /// The bars in order; empty where no voice has a note with pitch.
    pub bars: Vec<HarmonyBar>,
}

/// The chords of one bar.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct HarmonyBar {
    /// Number of the bar.
    pub bar: i32,
    /// How sure its roots are, 0 to 1.
    pub certainty: f64,
    /// Its chords in order.
    pub chords: Vec<ChordAt>,
}

/// A chord with its place in the bar.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct ChordAt {
    /// Where it begins, counted from the bar line: a fraction of a whole note.
    pub at: String,
    /// How long it holds: a fraction of a whole note.
    pub length: String,
    /// The chord symbol.
    pub chord: String,
}

/// Infers the harmony of a piece from its voices, whether or not it declares one.
#[must_use]
pub fn harmony(piece: &Piece) -> HarmonyAdvice {
    let inferred = infer(piece);
    let mut bars: Vec<HarmonyBar> = Vec::new();
    for event in &inferred.events {
        let index = piece.form.index_at(event.start);
        let bar = &piece.form.bars[index];
        if bars.last().is_none_or(|last| last.bar != bar.number) {
            let certainty = rounded(inferred.certainty[index]);
            bars.push(HarmonyBar { bar: bar.number, certainty, chords: Vec::new() });
        }
        if let Some(last) = bars.last_mut() {
            last.chords.push(ChordAt {
                at: (event.start - bar.start).to_string(),
                length: event.length.to_string(),
                chord: event.chord.to_string(),
            });
        }
    }
    let agrees_with_declared = (!piece.harmony.is_empty() && !bars.is_empty())
        .then(|| rounded(agreement(&piece.harmony, &inferred.events)));
    HarmonyAdvice { agrees_with_declared, bars }
}

/// Share of the declared time in which both have the same root.
fn agreement(declared: &[HarmonyEvent], inferred: &[HarmonyEvent]) -> f64 {
    let (mut same, mut all) = (0.0, 0.0);
    let mut first = 0;
    for chord in declared {
        let end = chord.start + chord.length;
        while first < inferred.len()
            && inferred[first].start + inferred[first].length <= chord.start
        {
            first += 1;
        }
        for other in inferred[first..].iter().take_while(|other| other.start < end) {
            let from = chord.start.max(other.start);
            let to = end.min(other.start + other.length);
            all += (to - from).to_f64();
            if other.chord.root.class() == chord.chord.root.class() {
                same += (to - from).to_f64();
            }
        }
    }
    if all > 0.0 { same / all } else { 0.0 }
}

/// The block as the language writes it: four bars a line, and behind each line how sure its bars
/// are.
impl fmt::Display for HarmonyAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.bars.is_empty() {
            return writeln!(f, "No voice has a note, so there is no harmony to be found.");
        }
        if let Some(share) = self.agrees_with_declared {
            writeln!(
                f,
                "// As the voices spell it; the same roots as the declared harmony in {:.0}% of the time.",
                100.0 * share
            )?;
        }
        writeln!(f, "harmony {{")?;
        let lines = self.bars.chunk_by(|one, _| one.bar % 4 != 0);
        for bars in lines {
            let chords: Vec<String> = bars.iter().map(HarmonyBar::written).collect();
            let sure: Vec<String> =
                bars.iter().map(|bar| format!("{:.0}%", 100.0 * bar.certainty)).collect();
            writeln!(f, "  {}   // sure: {}", chords.join(" "), sure.join(", "))?;
        }
        writeln!(f, "}}")
    }
}

impl HarmonyBar {
    /// `12: 1/2 Dm 1/4 A7 |`
    fn written(&self) -> String {
        let mut text = format!("{}:", self.bar);
        for chord in &self.chords {
            if self.chords.len() > 1 {
                text.push_str(&format!(" {}", chord.length));
            }
            text.push_str(&format!(" {}", chord.chord));
        }
        text.push_str(" |");
        text
    }
}
