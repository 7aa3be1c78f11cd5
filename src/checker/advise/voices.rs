//! What each voice asks of whoever plays it, and who can.

use std::fmt;
use std::sync::Arc;

use serde::Serialize;

use super::{rounded, table};
use crate::instruments::{Limit, PartialClass};
use crate::music::Pitch;
use crate::resolve::{Clock, Ensemble, Form, Music, Piece, Player, Voice};

/// The voices of a piece.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct VoicesAdvice {
    /// The voices in order of declaration.
    pub voices: Vec<VoiceAdvice>,
}

/// What one voice asks.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct VoiceAdvice {
    /// Its name.
    pub voice: String,
    /// Lowest and highest sounding pitch; `None` where it has no note with pitch.
    pub range: Option<(String, String)>,
    /// Between which pitches the middle half of its sounding time lies.
    pub tessitura: Option<(String, String)>,
    /// The most notes in a second, over four notes that follow each other without a rest.
    pub fastest: f64,
    /// Number of the bar in which these begin.
    pub fastest_bar: Option<i32>,
    /// Who can take it, ensemble by ensemble.
    pub fits: Vec<Fits>,
}

/// Lines of an ensemble whose customary compass of the era (without valves: whose open notes)
/// holds every note of a voice.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Fits {
    /// The ensemble.
    pub ensemble: String,
    /// The year whose customs hold.
    pub era: i32,
    /// Who can take it at pitch.
    pub at_pitch: Vec<String>,
    /// Who can take it an octave higher (and is not among those at pitch).
    pub octave_up: Vec<String>,
    /// Who can take it an octave lower (and is not among those at pitch).
    pub octave_down: Vec<String>,
}

/// Describes every voice of a piece, or the one that is named.
#[must_use]
pub fn voices(piece: &Piece, only: Option<&Voice>) -> VoicesAdvice {
    let chosen = |voice: &&Arc<Voice>| only.is_none_or(|only| only.name == voice.name);
    VoicesAdvice {
        voices: piece.voices.iter().filter(chosen).map(|voice| describe(piece, voice)).collect(),
    }
}

fn describe(piece: &Piece, voice: &Voice) -> VoiceAdvice {
    let mut sounding: Vec<(Pitch, f64)> = Vec::new();
    for note in &voice.music.notes {
        let length = note.length.to_f64();
        sounding.extend(note.sound.pitches().iter().map(|pitch| (*pitch, length)));
    }
    sounding.sort_by_key(|(pitch, _)| *pitch);
    let range = sounding.first().zip(sounding.last()).map(|(low, high)| (low.0, high.0));
    let mut pitches: Vec<Pitch> = sounding.iter().map(|(pitch, _)| *pitch).collect();
    pitches.dedup();
    let (fastest, fastest_bar) = fastest(&voice.music, &piece.form);
    VoiceAdvice {
        voice: voice.name.clone(),
        range: range.map(words),
        tessitura: middle_half(&sounding).map(words),
        fastest: rounded(fastest),
        fastest_bar,
        // Strokes have no pitch that a compass could hold.
        fits: if pitches.is_empty() {
            Vec::new()
        } else {
            piece.ensembles.iter().map(|ensemble| fits(ensemble, &pitches)).collect()
        },
    }
}

fn words((low, high): (Pitch, Pitch)) -> (String, String) {
    (low.to_string(), high.to_string())
}

/// The pitches below which a quarter and three quarters of the sounding time lie; the notes are in
/// order of height.
fn middle_half(sounding: &[(Pitch, f64)]) -> Option<(Pitch, Pitch)> {
    let whole: f64 = sounding.iter().map(|(_, length)| length).sum();
    let below = |share: f64| {
        let mut sum = 0.0;
        let reached = sounding.iter().find(|(_, length)| {
            sum += length;
            sum >= share * whole
        });
        reached.or(sounding.last()).map(|(pitch, _)| *pitch)
    };
    below(0.25).zip(below(0.75))
}

/// How many notes a second are asked for a moment at least. Our heuristic.
const RUN: usize = 4;

/// The most notes a second over a run, and the bar in which it begins.
fn fastest(music: &Music, form: &Form) -> (f64, Option<i32>) {
    let mut best = (0.0, None);
    let clock = Clock::new(form);
    let notes = music.notes.to_vec();
    let starts: Vec<f64> = notes.iter().map(|note| clock.seconds_at(note.start)).collect();
    for first in 0..notes.len().saturating_sub(RUN - 1) {
        let run = &notes[first..first + RUN];
        let joined = run.windows(2).all(|two| two[0].start + two[0].length == two[1].start);
        let last = &run[RUN - 1];
        let end = starts
            .get(first + RUN)
            .copied()
            .filter(|_| notes[first + RUN].start == last.start + last.length);
        let end = end.unwrap_or_else(|| clock.seconds_at(last.start + last.length));
        let seconds = end - starts[first];
        if joined && seconds > 0.0 && RUN as f64 / seconds > best.0 {
            best = (RUN as f64 / seconds, Some(form.bar_at(run[0].start).number));
        }
    }
    best
}

fn fits(ensemble: &Ensemble, pitches: &[Pitch]) -> Fits {
    let mut fits = Fits {
        ensemble: ensemble.name.clone(),
        era: ensemble.era,
        at_pitch: Vec::new(),
        octave_up: Vec::new(),
        octave_down: Vec::new(),
    };
    let mut seen: Vec<&str> = Vec::new();
    for player in &ensemble.players {
        if seen.contains(&player.line_name.as_str()) || pitches.is_empty() {
            continue;
        }
        seen.push(&player.line_name);
        let name = player.line_name.clone();
        if can_play(player, ensemble.era, pitches, 0) {
            fits.at_pitch.push(name);
            continue;
        }
        if can_play(player, ensemble.era, pitches, 1) {
            fits.octave_up.push(name.clone());
        }
        if can_play(player, ensemble.era, pitches, -1) {
            fits.octave_down.push(name);
        }
    }
    fits
}

fn can_play(player: &Player, era: i32, pitches: &[Pitch], octaves: i8) -> bool {
    let instrument = player.instrument;
    if instrument.unpitched {
        return false;
    }
    let Some(compass) = instrument.compass(Limit::Custom, era) else { return false };
    let way = player.transposition();
    pitches.iter().all(|pitch| {
        let sounding = pitch.octaves_up(octaves);
        let written = sounding.transposed_or_respelled(-way);
        let told = if instrument.compass_is_written { written } else { sounding };
        let height = told.midi();
        let within = (compass.low.midi()..=compass.high.midi()).contains(&height)
            && compass.missing.iter().all(|missing| missing.midi() != height);
        let open = instrument.natural.as_ref().is_none_or(|series| {
            matches!(series.classify(written, era), PartialClass::OpenInTune(_))
        });
        let tuned = instrument.drums.is_empty()
            || player.drums.iter().any(|drum| drum.midi() == sounding.midi());
        within && open && tuned
    })
}

impl fmt::Display for VoicesAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.voices.is_empty() {
            return writeln!(f, "No voice is declared, so there is nothing to measure.");
        }
        let mut rows = vec![
            ["voice", "range", "mostly", "fastest (notes a second)"].map(String::from).to_vec(),
        ];
        let span = |range: &Option<(String, String)>| {
            range.as_ref().map_or("–".to_string(), |(low, high)| format!("{low} to {high}"))
        };
        for voice in &self.voices {
            let fastest = match voice.fastest_bar {
                Some(bar) => format!("{:.1} (bar {bar})", voice.fastest),
                None => "–".to_string(),
            };
            rows.push(vec![
                voice.voice.clone(),
                span(&voice.range),
                span(&voice.tessitura),
                fastest,
            ]);
        }
        write!(f, "{}", table(&rows))?;
        for voice in self.voices.iter().filter(|voice| !voice.fits.is_empty()) {
            let mut rows = vec![["ensemble", "at pitch", "8va", "8vb"].map(String::from).to_vec()];
            let list = |names: &[String]| {
                if names.is_empty() { "–".to_string() } else { names.join(", ") }
            };
            rows.extend(voice.fits.iter().map(|fits| {
                vec![
                    format!("{} ({})", fits.ensemble, fits.era),
                    list(&fits.at_pitch),
                    list(&fits.octave_up),
                    list(&fits.octave_down),
                ]
            }));
            write!(f, "\nWho can take `{}`\n{}", voice.voice, table(&rows))?;
        }
        Ok(())
    }
}
