//! Who is needed, and how much each of them plays.

use std::fmt;
use std::sync::Arc;

use serde::Serialize;

use super::line_up::{Doubling, line_up};
use super::{minutes, percent, rounded, table};
use crate::arrange::{Part, arrange};
use crate::instruments::{Family, Instrument, find};
use crate::music::Time;
use crate::resolve::{Clock, Ensemble, Form, Piece, Scoring, seconds_per_whole};

/// The forces of each ensemble.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct ForcesAdvice {
    /// How long the piece lasts, in seconds, with repeats.
    pub seconds: f64,
    /// The ensembles in order of declaration.
    pub ensembles: Vec<EnsembleForces>,
}

/// The forces of one ensemble.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct EnsembleForces {
    /// Its name.
    pub ensemble: String,
    /// The year whose customs hold.
    pub era: i32,
    /// The instrumentation in the librarians' order: `2.2.2.2 – 2.2.0.0 – timp – str (8.6.4.3.2)`.
    pub instrumentation: String,
    /// How many people play.
    pub players: u32,
    /// The scorings for this ensemble.
    pub scorings: Vec<ScoringForces>,
}

/// What the players of one scoring have to do.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct ScoringForces {
    /// Its name.
    pub scoring: String,
    /// Other instruments that players take, as the scoring says.
    pub taken: Vec<Doubling>,
    /// Players who could take over an instrument that never sounds together with their own.
    pub doublings: Vec<Doubling>,
    /// How long each player sounds.
    pub parts: Vec<PlayingTime>,
}

/// The instruments that a player takes beside his own.
fn taken(part: &Part) -> Vec<Doubling> {
    let others = part.instruments.iter().map(|(_, other)| &other.id);
    let mut others: Vec<&String> = others.filter(|id| **id != part.player.instrument.id).collect();
    others.sort();
    others.dedup();
    let player = &part.player.id;
    others.into_iter().map(|id| Doubling { player: player.clone(), takes: id.clone() }).collect()
}

/// How long a player sounds.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct PlayingTime {
    /// The player: `oboe.1`.
    pub player: String,
    /// How many share the part.
    pub count: u16,
    /// Sounding time with repeats as minutes and seconds: `1:24`.
    pub time: String,
    /// The same in seconds.
    pub seconds: f64,
    /// Share of the piece, 0 to 1.
    pub share: f64,
}

/// Counts the forces of every ensemble, or of one scoring and its ensemble, and works the scorings
/// out to see who plays how long.
#[must_use]
pub fn forces(piece: &Arc<Piece>, only: Option<&Scoring>) -> ForcesAdvice {
    let played = Played::of(&piece.form);
    let ensembles = piece
        .ensembles
        .iter()
        .enumerate()
        .filter(|(index, _)| only.is_none_or(|only| only.ensemble == *index))
        .map(|(index, ensemble)| {
            let scorings: Vec<ScoringForces> = piece
                .scorings
                .iter()
                .filter(|scoring| scoring.ensemble == index)
                .filter(|scoring| only.is_none_or(|only| only.name == scoring.name))
                .map(|scoring| {
                    let arrangement = arrange(piece, scoring);
                    ScoringForces {
                        scoring: scoring.name.clone(),
                        taken: arrangement.parts.iter().flat_map(|part| taken(part)).collect(),
                        doublings: doublings(&arrangement.parts, piece),
                        parts: arrangement.parts.iter().map(|part| played.times(part)).collect(),
                    }
                })
                .collect();
            let taken: Vec<Doubling> = scorings.iter().flat_map(|s| s.taken.clone()).collect();
            EnsembleForces {
                ensemble: ensemble.name.clone(),
                era: ensemble.era,
                instrumentation: line_up(ensemble, &taken),
                players: people(ensemble),
                scorings,
            }
        })
        .collect();
    ForcesAdvice { seconds: rounded(played.whole()), ensembles }
}

fn people(ensemble: &Ensemble) -> u32 {
    ensemble.players.iter().map(|player| u32::from(player.count.max(1))).sum()
}

/// How long each bar lasts in all, with its repeats.
struct Played<'a> {
    form: &'a Form,
    /// Seconds for each whole note of a bar, all times that it is played taken together.
    per_whole: Vec<f64>,
}

impl Played<'_> {
    fn of(form: &Form) -> Played<'_> {
        let mut times = vec![0u32; form.bars.len()];
        for index in form.playing_order() {
            times[index] += 1;
        }
        let mut tempo = seconds_per_whole(None);
        let per_whole = form
            .bars
            .iter()
            .zip(times)
            .map(|(bar, times)| {
                if let Some(beat) = bar.tempo.as_ref().and_then(|tempo| tempo.beat) {
                    tempo = seconds_per_whole(Some(beat));
                }
                tempo * f64::from(times)
            })
            .collect();
        Played { form, per_whole }
    }

    fn whole(&self) -> f64 {
        self.form.bars.iter().zip(&self.per_whole).map(|(bar, per)| bar.length.to_f64() * per).sum()
    }

    /// Seconds that a stretch of written time sounds.
    fn seconds(&self, from: Time, to: Time) -> f64 {
        let mut seconds = 0.0;
        let first = self.form.index_at(from);
        for (bar, per) in self.form.bars.iter().zip(&self.per_whole).skip(first) {
            if bar.start >= to {
                break;
            }
            let (from, to) = (from.max(bar.start), to.min(bar.start + bar.length));
            seconds += (to - from).max(Time::ZERO).to_f64() * per;
        }
        seconds
    }

    fn times(&self, part: &Part) -> PlayingTime {
        let seconds: f64 =
            part.notes.iter().map(|note| self.seconds(note.start(), note.end())).sum();
        let whole = self.whole();
        PlayingTime {
            player: part.player.id.clone(),
            count: part.player.count.max(1),
            time: minutes(seconds),
            seconds: rounded(seconds),
            share: if whole > 0.0 { rounded(seconds / whole) } else { 0.0 },
        }
    }
}

/// The instrument whose players usually have this one with them too: the leader of its desk.
fn usual(companion: &Instrument) -> Option<&'static Instrument> {
    let desk = companion.desk.as_ref().filter(|_| companion.family == Family::Woodwind)?;
    find(&desk.of).filter(|leader| leader.id != companion.id)
}

fn doublings(parts: &[Arc<Part>], piece: &Piece) -> Vec<Doubling> {
    let mut doublings = Vec::new();
    for part in parts {
        let Some(usual) = usual(part.player.instrument) else { continue };
        // The last of a desk is the one who changes.
        let free = parts.iter().rev().find(|other| {
            other.player.instrument.id == usual.id && apart(part, other, &piece.form)
        });
        if let Some(free) = free.filter(|_| !part.notes.is_empty()) {
            doublings
                .push(Doubling { player: free.player.id.clone(), takes: part.player.id.clone() });
        }
    }
    doublings
}

/// Do two parts never sound together, with time to change between them?
fn apart(one: &Part, other: &Part, form: &Form) -> bool {
    let clock = Clock::new(form);
    let mut notes: Vec<(f64, f64, bool)> = Vec::new();
    for (part, mine) in [(one, true), (other, false)] {
        notes.extend(
            part.notes
                .iter()
                .map(|note| (clock.seconds_at(note.start()), clock.seconds_at(note.end()), mine)),
        );
    }
    notes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let time = |part: &Part| f64::from(part.player.instrument.seconds_to_take);
    let needed = time(one).max(time(other));
    notes.windows(2).all(|pair| pair[0].2 == pair[1].2 || pair[0].1 + needed <= pair[1].0)
}

impl fmt::Display for ForcesAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.ensembles.is_empty() {
            return writeln!(f, "No ensemble is declared, so there are no forces to count.");
        }
        writeln!(f, "Length with repeats {}", minutes(self.seconds))?;
        for forces in &self.ensembles {
            writeln!(f, "\n{} ({})", forces.ensemble, forces.era)?;
            writeln!(f, "{}", forces.instrumentation)?;
            match forces.players {
                1 => writeln!(f, "1 player")?,
                players => writeln!(f, "{players} players")?,
            }
            for scoring in &forces.scorings {
                writeln!(f, "\nscoring {}", scoring.scoring)?;
                for taken in &scoring.taken {
                    writeln!(f, "{} takes the {} as well", taken.player, taken.takes)?;
                }
                for doubling in &scoring.doublings {
                    writeln!(f, "{} could take the {} as well", doubling.player, doubling.takes)?;
                }
                let mut rows =
                    vec![["part", "players", "sounds", "share"].map(String::from).to_vec()];
                rows.extend(scoring.parts.iter().map(|part| {
                    vec![
                        part.player.clone(),
                        part.count.to_string(),
                        part.time.clone(),
                        percent(part.share),
                    ]
                }));
                write!(f, "{}", table(&rows))?;
            }
        }
        Ok(())
    }
}
