//! How to tune the drums.

use std::fmt;

use serde::Serialize;

use super::weigh::{self, Weighed};
use super::{WEIGHED, percent, rounded, table};
use crate::instruments::{Drum, Instrument, catalogue};
use crate::music::{Key, Pitch};
use crate::narrow::Narrow;
use crate::resolve::Piece;

/// Tunings ranked, the best first.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct TimpaniAdvice {
    /// Tunings of a large and a small drum.
    pub two_drums: Vec<TimpaniChoice>,
    /// Tunings of three drums: large, small, and one of either size between them.
    pub three_drums: Vec<TimpaniChoice>,
}

/// A tuning with what it offers.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct TimpaniChoice {
    /// The notes, sounding, from the lowest up.
    pub tuning: Vec<String>,
    /// How well the notes cover the harmony, 0 to 1; less where the tonic or the dominant of the
    /// first key has no drum.
    pub coverage: f64,
    /// Why, in one sentence.
    pub reason: String,
}

/// What a unit of metre weight adds to a chord's duration: drums mark strong beats (our heuristic).
const METRE: f64 = 1.0;
/// What a drum is worth on the members of a chord, from the root up: drums sound as a bass, so the
/// root comes first and the third hardly counts (our heuristic).
const MEMBERS: [f64; 5] = [1.0, 0.2, 0.7, 0.1, 0.1];
/// What a tuning is worth that lacks the dominant of the piece, and one that lacks the tonic: drums
/// stand in tonic and dominant (common practice; the figures are our heuristic).
const WITHOUT_DOMINANT: f64 = 0.6;
const WITHOUT_TONIC: f64 = 0.5;
/// Nearest interval of two drums, in semitones (our heuristic).
const NEAREST: i32 = 2;
/// What the last chord of the piece weighs besides: it is where the drums must not fail. Our heuristic.
const LAST: f64 = 0.05;

/// Ranks the tunings of two and of three drums for a piece, within the compass of each drum.
#[must_use]
pub fn timpani(piece: &Piece) -> TimpaniAdvice {
    let mut advice = TimpaniAdvice { two_drums: Vec::new(), three_drums: Vec::new() };
    let mut chords = weigh::chords(piece, METRE);
    let drums = |instrument: &&Instrument| !instrument.drums.is_empty();
    let Some(timpani) = catalogue().iter().find(drums) else { return advice };
    let [large, small] = timpani.drums.as_slice() else { return advice };
    let Some(last) = chords.last_mut() else { return advice };
    last.share += LAST;
    chords.iter_mut().for_each(|weighed| weighed.share /= 1.0 + LAST);
    let key = piece.form.bars.first().map_or(Key::C_MAJOR, |bar| bar.key);
    let spelled = |height: i32| -> Pitch {
        let name = key.spelling(height.rem_euclid(12));
        let octave = height.div_euclid(12) - 1;
        // B# and Cb belong to the neighbouring octave number.
        let near = name.at(octave.narrow::<i8>());
        near.octaves_up(((height - near.midi()) / 12).narrow::<i8>())
    };
    let within = |drum: &Drum| drum.low.midi()..=drum.high.midi();
    for low in within(large) {
        for high in within(small).filter(|high| *high >= low + NEAREST) {
            advice.two_drums.push(choice(&chords, key, &[spelled(low), spelled(high)]));
            for middle in (low + NEAREST)..=(high - NEAREST) {
                let notes = [spelled(low), spelled(middle), spelled(high)];
                advice.three_drums.push(choice(&chords, key, &notes));
            }
        }
    }
    ranked(&mut advice.two_drums);
    ranked(&mut advice.three_drums);
    advice
}

fn choice(chords: &[Weighed], key: Key, notes: &[Pitch]) -> TimpaniChoice {
    let classes: Vec<i32> = notes.iter().map(|note| note.name().class()).collect();
    let (mut coverage, mut roots, mut members) = (0.0, 0.0, 0.0);
    for weighed in chords {
        let worth = weighed
            .chord
            .members()
            .iter()
            .zip(MEMBERS)
            .filter(|(member, _)| classes.contains(&member.class()))
            .map(|(_, worth)| worth)
            .fold(0.0, f64::max);
        coverage += weighed.share * worth;
        if worth >= MEMBERS[0] {
            roots += weighed.share;
        }
        if worth > 0.0 {
            members += weighed.share;
        }
    }
    let has = |degree: i32| classes.contains(&key.degree(degree).class());
    let practice = match (has(1), has(5)) {
        (true, true) => 1.0,
        (true, false) => WITHOUT_DOMINANT,
        (false, _) => WITHOUT_TONIC,
    };
    let coverage = coverage * practice;
    TimpaniChoice {
        tuning: notes.iter().map(ToString::to_string).collect(),
        coverage: rounded(coverage),
        reason: format!(
            "A drum has the root in {} of the harmony and some chord note in {}.",
            percent(roots),
            percent(members)
        ),
    }
}

/// Best first; equal ones with the narrower span first, because drums near the middle of their
/// compass sound best, then by name.
fn ranked(choices: &mut [TimpaniChoice]) {
    let span = |choice: &TimpaniChoice| {
        let heights: Vec<i32> = choice
            .tuning
            .iter()
            .filter_map(|note| note.parse::<Pitch>().ok())
            .map(Pitch::midi)
            .collect();
        heights.last().unwrap_or(&0) - heights.first().unwrap_or(&0)
    };
    choices.sort_by(|a, b| {
        b.coverage
            .total_cmp(&a.coverage)
            .then_with(|| span(a).cmp(&span(b)))
            .then_with(|| a.tuning.cmp(&b.tuning))
    });
}

/// Rows that the tables show of each ranking; the data hold all.
const SHOWN: usize = 6;

impl fmt::Display for TimpaniAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.two_drums.is_empty() {
            return writeln!(
                f,
                "No voice has a note and no harmony is declared: nothing to go by."
            );
        }
        let sections = [("Two drums", &self.two_drums), ("Three drums", &self.three_drums)];
        for (index, (title, choices)) in sections.into_iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            let mut rows = vec![["tuned", "coverage", "why"].map(String::from).to_vec()];
            rows.extend(choices.iter().take(SHOWN).map(|choice| {
                vec![
                    choice.tuning.join(", "),
                    format!("{:.2}", choice.coverage),
                    choice.reason.clone(),
                ]
            }));
            write!(f, "{title}\n{}", table(&rows))?;
        }
        write!(f, "\n{WEIGHED}\n")
    }
}
