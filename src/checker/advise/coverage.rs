//! Who plays each voice in each scoring, bar by bar: who has it, who doubles it, and where nobody
//! does.

use std::collections::HashMap;
use std::fmt;
use std::sync::Arc;

use serde::Serialize;

use super::table;
use crate::arrange::{Arrangement, LineId, Part, SoundingNote, arrange, coverage_again};
use crate::diagnostics::{BarNumbers, Span};
use crate::resolve::{Note, Piece, Scoring, Verb};

/// Who plays the voices of a piece.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct CoverageAdvice {
    /// The scorings in order of declaration.
    pub scorings: Vec<ScoringCoverage>,
}

/// Who plays the voices in one scoring.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct ScoringCoverage {
    /// The scoring.
    pub scoring: String,
    /// The voices in order of declaration.
    pub voices: Vec<VoiceBars>,
}

/// Who plays one voice.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct VoiceBars {
    /// The voice.
    pub voice: String,
    /// Its bars in order, those with the same players together; bars in which it rests are left
    /// out.
    pub passages: Vec<PlayedBars>,
}

/// Bars of a voice with the same players.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct PlayedBars {
    /// Numbers of the first and the last bar.
    pub bars: BarNumbers,
    /// Players who have the voice from a line that plays or writes it.
    pub played_by: Vec<String>,
    /// Players who double somebody who has it.
    pub doubled_by: Vec<String>,
    /// Does nobody play any note of it?
    pub nobody: bool,
    /// Are there notes in these bars that nobody plays, although others are played?
    pub gaps: bool,
}

/// Says of every scoring, or of the one that is named, who plays which voice where.
#[must_use]
pub fn coverage(piece: &Arc<Piece>, only: Option<&Scoring>) -> CoverageAdvice {
    let chosen = piece.scorings.iter().filter(|s| only.is_none_or(|only| only.name == s.name));
    let scorings = chosen
        .map(|scoring| ScoringCoverage {
            scoring: scoring.name.clone(),
            voices: of_scoring(piece, scoring),
        })
        .collect();
    CoverageAdvice { scorings }
}

fn of_scoring(piece: &Arc<Piece>, scoring: &Arc<Scoring>) -> Vec<VoiceBars> {
    let arrangement = arrange(piece, scoring);
    let doubling: HashMap<Span, bool> = piece
        .layers(scoring)
        .iter()
        .flat_map(|layer| &layer.lines)
        .map(|line| (line.span, matches!(line.verb, Verb::Doubles { .. })))
        .collect();
    coverage_again(&arrangement, &[], None)
        .into_iter()
        .map(|found| {
            let voice = &piece.voices[found.voice];
            let mut passages: Vec<PlayedBars> = Vec::new();
            let mut notes = voice.music.notes.iter().zip(found.notes()).peekable();
            while let Some((note, _)) = notes.peek() {
                let bar = piece.form.index_at(note.start);
                let number = piece.form.bars[bar].number;
                let mut passage = PlayedBars {
                    bars: BarNumbers::one(number),
                    played_by: Vec::new(),
                    doubled_by: Vec::new(),
                    nobody: true,
                    gaps: false,
                };
                let here = |(note, _): &(Note, &[u16])| piece.form.index_at(note.start) == bar;
                // Who has which notes: all of them, and those that come from the voice.
                let mut having: Vec<(u16, usize, usize, bool)> = Vec::new();
                let mut count = 0;
                while let Some((note, players)) = notes.next_if(here) {
                    passage.nobody &= players.is_empty();
                    passage.gaps |= players.is_empty();
                    count += 1;
                    for &player in players {
                        let part = &arrangement.parts[usize::from(player)];
                        let own = sounding(part, &note);
                        let comes = own.is_some_and(|own| own.source == note.span);
                        let doubles = own
                            .is_some_and(|own| doubles(&arrangement, part.line_of(own), &doubling));
                        match having.iter_mut().find(|(other, ..)| *other == player) {
                            Some((_, all, from_voice, _)) => {
                                *all += 1;
                                *from_voice += usize::from(comes);
                            }
                            None => having.push((player, 1, usize::from(comes), doubles)),
                        }
                    }
                }
                // Whoever meets a note of it by chance does not play the voice, unless he has it all.
                let from_voice = having.iter().any(|(_, _, from_voice, _)| *from_voice > 0);
                for (player, all, own, doubles) in having {
                    if from_voice && own == 0 && (all < count || count < 2) {
                        continue;
                    }
                    let part = &arrangement.parts[usize::from(player)];
                    let list =
                        if doubles { &mut passage.doubled_by } else { &mut passage.played_by };
                    list.push(part.player.id.clone());
                }
                passage.gaps &= !passage.nobody;
                match passages.last_mut().filter(|last| same(last, &passage)) {
                    Some(last) => last.bars.last = number,
                    None => passages.push(passage),
                }
            }
            VoiceBars { voice: voice.name.clone(), passages }
        })
        .collect()
}

fn same(one: &PlayedBars, other: &PlayedBars) -> bool {
    PlayedBars { bars: other.bars, ..one.clone() } == *other
}

/// What a part sounds where a note of a voice begins.
fn sounding<'p>(part: &'p Part, note: &Note) -> Option<&'p SoundingNote> {
    part.notes.get(part.notes.partition_point(|own| own.end() <= note.start))
}

/// Is it a line that doubles?
fn doubles(arrangement: &Arrangement, line: LineId, doubling: &HashMap<Span, bool>) -> bool {
    let line = arrangement.lines.get(line.index());
    line.is_some_and(|line| doubling.get(&line.span).copied().unwrap_or(false))
}

impl fmt::Display for CoverageAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, scoring) in self.scorings.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            writeln!(f, "Who plays the voices in `{}`", scoring.scoring)?;
            let head = ["voice", "bars", "played by", "doubled by"].map(str::to_string);
            let mut rows = vec![head.to_vec()];
            for voice in &scoring.voices {
                for (place, passage) in voice.passages.iter().enumerate() {
                    let name = if place == 0 { voice.voice.clone() } else { String::new() };
                    let BarNumbers { first, last } = passage.bars;
                    let bars =
                        if first == last { first.to_string() } else { format!("{first}–{last}") };
                    let mut played = if passage.nobody {
                        "nobody".to_string()
                    } else {
                        passage.played_by.join(", ")
                    };
                    if passage.gaps {
                        played += " (not every note)";
                    }
                    rows.push(vec![name, bars, played, passage.doubled_by.join(", ")]);
                }
                if voice.passages.is_empty() {
                    rows.push(vec![voice.voice.clone(), "–".to_string(), "rests".to_string()]);
                }
            }
            write!(f, "{}", table(&rows))?;
        }
        Ok(())
    }
}
