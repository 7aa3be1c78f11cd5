//! Who plays each voice in each scoring, bar by bar: who has it, who doubles it, and where nobody
//! does.

use std::collections::HashMap;
use std::fmt;
use std::sync::Arc;

use serde::Serialize;

use super::table;
use crate::arrange::{Arrangement, LineId, PackedNote, Part, arrange, coverage_again};
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
    /// Players who have notes of it by chance, in what they hold, signal or strike, where nobody plays
    /// it.
    pub met_by: Vec<String>,
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
    let ways: HashMap<Span, Way> = piece
        .layers(scoring)
        .iter()
        .flat_map(|layer| &layer.lines)
        .map(|line| (line.span, Way::of(&line.verb)))
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
                    met_by: Vec::new(),
                    nobody: true,
                    gaps: false,
                };
                let here = |(note, _): &(Note, &[u16])| piece.form.index_at(note.start) == bar;
                // Who has which notes: all of them, and those that come from the voice.
                let mut having: Vec<Having> = Vec::new();
                let mut count = 0;
                while let Some((note, players)) = notes.next_if(here) {
                    count += 1;
                    let mut played = false;
                    for &player in players {
                        let part = &arrangement.parts[usize::from(player)];
                        let own = sounding(part, &note);
                        let comes = own.is_some_and(|own| own.source() == note.span);
                        let way = own.map(|own| way(&arrangement, part.line_of(own), &ways));
                        let way = way.unwrap_or(Way::Plays);
                        played |= way != Way::Computes;
                        match having.iter_mut().find(|of| (of.player, of.way) == (player, way)) {
                            Some(of) => {
                                of.notes += 1;
                                of.from_voice += usize::from(comes);
                            }
                            None => having.push(Having {
                                player,
                                way,
                                notes: 1,
                                from_voice: usize::from(comes),
                            }),
                        }
                    }
                    passage.nobody &= !played;
                    passage.gaps |= !played;
                }
                let plays = |of: &Having| of.way != Way::Computes;
                // Whoever meets a note of it by chance does not play the voice, unless he has it all.
                let from_voice = having.iter().any(|of| plays(of) && of.from_voice > 0);
                for of in &having {
                    if plays(of)
                        && from_voice
                        && of.from_voice == 0
                        && (of.notes < count || count < 2)
                    {
                        continue;
                    }
                    let list = match of.way {
                        Way::Doubles => &mut passage.doubled_by,
                        Way::Plays => &mut passage.played_by,
                        Way::Computes if passage.nobody => &mut passage.met_by,
                        Way::Computes => continue,
                    };
                    list.push(arrangement.parts[usize::from(of.player)].player.id.clone());
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
fn sounding<'p>(part: &'p Part, note: &Note) -> Option<&'p PackedNote> {
    part.notes.get(part.notes.partition_point(|own| own.end() <= note.start))
}

/// Who has notes of a voice in a bar: how many, and how many that come from it.
struct Having {
    player: u16,
    way: Way,
    notes: usize,
    from_voice: usize,
}

/// How a line comes to a note of a voice.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    /// It plays, realises or writes it.
    Plays,
    /// It doubles somebody.
    Doubles,
    /// It holds, signals or strikes notes of the harmony, and meets a note of the voice by chance.
    Computes,
}

impl Way {
    fn of(verb: &Verb) -> Way {
        match verb {
            Verb::Doubles { .. } => Way::Doubles,
            Verb::Sustains { .. } | Verb::Signals { .. } | Verb::Highlights { .. } => Way::Computes,
            _ => Way::Plays,
        }
    }
}

fn way(arrangement: &Arrangement, line: LineId, ways: &HashMap<Span, Way>) -> Way {
    let line = arrangement.lines.get(line.index());
    line.and_then(|line| ways.get(&line.span)).copied().unwrap_or(Way::Plays)
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
                    let mut played = if passage.nobody && !passage.met_by.is_empty() {
                        format!("nobody (by chance {})", passage.met_by.join(", "))
                    } else if passage.nobody {
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
