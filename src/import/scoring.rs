//! Writes an ensemble and a scoring as the file has them: who plays which line, and who doubles
//! whom.

use std::collections::HashMap;
use std::fmt::Write;

use super::Error;
use super::passages::{self, Doubled};
use super::players::{self, Proposal};
use super::score::{Note, PartLine, Score};
use crate::instruments::Family;
use crate::limits;
use crate::music::{Interval, Pitch};
use crate::resolve::BarIndices;

/// The year of the proposed ensemble: most instruments of the catalogue are built by then.
const YEAR: i32 = 1885;

/// The highest number behind an instrument of an ensemble, as in `oboe-2`.
const MOST_ALIKE: usize = u8::MAX as usize;

/// A line with its player.
struct Seat {
    part: usize,
    /// Index of the line in its part.
    line: usize,
    proposal: Proposal,
    /// Name of the ensemble's line.
    section: String,
    /// The player's name.
    player: String,
    /// The player whose line this is, an octave or two away.
    doubles: Option<(usize, i32)>,
    /// Where the line goes with another player's for a while.
    passages: Vec<Doubled>,
}

/// A scoring of a piece.
pub(super) struct Scoring {
    seats: Vec<Seat>,
    /// The ensemble and the scoring as they stand in the source.
    text: String,
}

impl Scoring {
    /// Is the line played from another one's voice, so that it needs none of its own?
    pub(super) fn is_doubling(&self, part: usize, line: usize) -> bool {
        self.seats
            .iter()
            .any(|seat| seat.part == part && seat.line == line && seat.doubles.is_some())
    }

    /// Where the line is played from another one's voice for a while.
    pub(super) fn passages(&self, part: usize, line: usize) -> &[Doubled] {
        let seat = self.seats.iter().find(|seat| seat.part == part && seat.line == line);
        seat.map_or(&[], |seat| seat.passages.as_slice())
    }

    /// The ensemble and the scoring as they stand in the source.
    pub(super) fn text(&self) -> &str {
        &self.text
    }
}

/// Makes an ensemble and a scoring of the parts of a piece.
///
/// # Errors
/// Refuses more parts for one instrument than the language numbers.
pub(super) fn make(score: &Score, guesses: &mut Vec<String>) -> Result<Scoring, Error> {
    let mut seats = seats(score);
    name(&mut seats)?;
    for seat in seats.iter().filter(|seat| !seat.proposal.exact) {
        let part = &score.parts[seat.part];
        let stroke = part.lines[seat.line].stroke;
        let wanted = stroke.and_then(|index| part.instruments.get(usize::from(index)));
        let wanted = wanted.map(|i| i.name.clone()).filter(|name| !name.is_empty());
        let wanted = wanted.unwrap_or_else(|| match part.name.is_empty() {
            true => "a part without a name".to_string(),
            false => part.name.clone(),
        });
        let guess = format!(
            "{}: the catalogue has no such instrument; `{}` is proposed",
            wanted, seat.proposal.instrument.id
        );
        if !guesses.contains(&guess) {
            guesses.push(guess);
        }
    }
    for (index, part) in score.parts.iter().enumerate() {
        let lines = seats.iter().filter(|seat| seat.part == index);
        let one_player = part.lines.iter().all(|line| line.stroke.is_none()) && part.staves > 1;
        let count = lines.count();
        if one_player && count > 1 {
            let name = if part.name.is_empty() { "a part without a name" } else { &part.name };
            guesses.push(format!(
                "{name}: {count} voices on {} staves have a player each, for a player has one voice at a time",
                part.staves
            ));
        }
    }
    guesses.push(format!("the year of the ensemble: {YEAR} is proposed, write your own"));
    for index in 0..seats.len() {
        seats[index].doubles = doubled(score, &seats, index);
    }
    for index in 0..seats.len() {
        seats[index].passages = doubled_for_a_while(score, &seats, index);
    }
    let text = text(score, &seats);
    Ok(Scoring { seats, text })
}

fn seats(score: &Score) -> Vec<Seat> {
    let mut seats = Vec::new();
    for (part, in_part) in score.parts.iter().enumerate() {
        for (line, of_line) in in_part.lines.iter().enumerate() {
            // Hands of one player are judged together: what suits the first line suits all.
            let judged = if of_line.stroke.is_some() { of_line } else { &in_part.lines[0] };
            seats.push(Seat {
                part,
                line,
                proposal: players::propose(in_part, judged),
                section: String::new(),
                player: String::new(),
                doubles: None,
                passages: Vec::new(),
            });
        }
    }
    seats
}

/// One line of the ensemble for each part, or for each instrument of a player of percussion.
fn name(seats: &mut [Seat]) -> Result<(), Error> {
    // A part with more lines than a line of the ensemble may have players has several of them.
    let mut groups: Vec<(usize, String, usize)> = Vec::new();
    let mut counts: HashMap<(usize, String), usize> = HashMap::new();
    let of_seats: Vec<(usize, String, usize)> = seats
        .iter()
        .map(|seat| {
            let (part, id) = (seat.part, seat.proposal.instrument.id.clone());
            let count = counts.entry((part, id.clone())).or_default();
            *count += 1;
            (part, id, (*count - 1) / limits::PLAYERS as usize)
        })
        .collect();
    for group in &of_seats {
        if !groups.contains(group) {
            groups.push(group.clone());
        }
    }
    for (seat, own) in seats.iter_mut().zip(of_seats) {
        let alike: Vec<_> = groups.iter().filter(|(_, id, _)| *id == own.1).collect();
        if alike.len() > MOST_ALIKE {
            return Err(Error::new(format!(
                "the file has {} parts for `{}`, and an ensemble may have {MOST_ALIKE}; import single parts with `--part`, or voices alone with `--as voices`",
                alike.len(),
                own.1
            )));
        }
        let place = alike.iter().position(|other| **other == own).unwrap_or(0);
        seat.section = match alike.len() {
            0 | 1 => own.1,
            _ => format!("{}-{}", own.1, place + 1),
        };
    }
    let sections: Vec<String> = seats.iter().map(|seat| seat.section.clone()).collect();
    for (index, seat) in seats.iter_mut().enumerate() {
        let count = sections.iter().filter(|other| **other == seat.section).count();
        let place = sections[..=index].iter().filter(|other| **other == seat.section).count();
        seat.player = match count {
            1 => seat.section.clone(),
            _ => format!("{}.{place}", seat.section),
        };
    }
    Ok(())
}

/// The seat whose line this one doubles, and in how many octaves: note for note, with all marks
/// and directions.
fn doubled(score: &Score, seats: &[Seat], index: usize) -> Option<(usize, i32)> {
    let line = |seat: &Seat| &score.parts[seat.part].lines[seat.line];
    let own = line(&seats[index]);
    if own.notes.is_empty() || own.stroke.is_some() {
        return None;
    }
    (0..index).filter(|other| seats[*other].doubles.is_none()).find_map(|other| {
        [0, 1, -1, 2, -2]
            .into_iter()
            .find(|octaves| same(line(&seats[other]), own, *octaves))
            .map(|octaves| (other, octaves))
    })
}

/// Passages that the player of a seat plays with an earlier one, from its own voice and no third.
fn doubled_for_a_while(score: &Score, seats: &[Seat], index: usize) -> Vec<Doubled> {
    // Hands of one player and voices of one staff are no doubling.
    let alone = |seat: &Seat| {
        let part = &score.parts[seat.part];
        part.lines.len() == 1 && part.lines[0].stroke.is_none() && seat.doubles.is_none()
    };
    let own = &seats[index];
    let is_doubled = seats.iter().any(|s| s.doubles.is_some_and(|(other, _)| other == index));
    if !alone(own) || is_doubled {
        return Vec::new();
    }
    let line = |seat: &Seat| &score.parts[seat.part].lines[seat.line];
    let others = (0..index).filter(|other| alone(&seats[*other]));
    let found = others.flat_map(|other| {
        let taken = &seats[other].passages;
        passages::between(line(&seats[other]), line(own), &score.bars)
            .into_iter()
            .filter(move |found| !taken.iter().any(|passage| passage.bars.meets(found.bars)))
            .map(move |found| Doubled { other, ..found })
    });
    passages::longest(found.collect(), line(own), &score.bars)
}

fn same(one: &PartLine, two: &PartLine, octaves: i32) -> bool {
    one.notes.len() == two.notes.len()
        && one.directions == two.directions
        && one.notes.iter().zip(&two.notes).all(|(one, two)| alike(one, two, octaves))
}

/// Are two notes the same, with all signs, but for octaves?
pub(super) fn alike(one: &Note, two: &Note, octaves: i32) -> bool {
    let moved = |pitch: &Pitch| pitch.transposed(Interval::octaves(octaves));
    (
        one.start,
        one.end,
        one.marks,
        one.tremolo,
        one.of_two,
        one.slur_starts,
        one.slur_ends,
        one.touch,
    ) == (
        two.start,
        two.end,
        two.marks,
        two.tremolo,
        two.of_two,
        two.slur_starts,
        two.slur_ends,
        two.touch,
    ) && one.lyrics == two.lyrics
        && one.graces.is_none()
        && two.graces.is_none()
        && one.pitches.len() == two.pitches.len()
        && one.pitches.iter().zip(&two.pitches).all(|(a, b)| moved(a) == Some(*b))
}

fn text(score: &Score, seats: &[Seat]) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "\nensemble players {{\n  era {YEAR}");
    let mut written: Vec<&str> = Vec::new();
    for seat in seats {
        if written.contains(&seat.section.as_str()) {
            continue;
        }
        written.push(&seat.section);
        let count = seats.iter().filter(|other| other.section == seat.section).count();
        let _ = write!(out, "  {}", seat.section);
        if count > 1 {
            let _ = write!(out, " {count}");
        }
        let instrument = seat.proposal.instrument;
        let part = &score.parts[seat.part];
        if let Some(key) = players::key(instrument, part.transposition, seat.proposal.exact) {
            let _ = write!(out, " in {}", key.name);
        }
        if !instrument.drums.is_empty() {
            let lines: Vec<&PartLine> = seats
                .iter()
                .filter(|other| other.section == seat.section)
                .map(|other| &score.parts[other.part].lines[other.line])
                .collect();
            let notes: Vec<String> =
                players::drum_notes(&lines).iter().map(ToString::to_string).collect();
            if !notes.is_empty() {
                let _ = write!(out, " tuned {}", notes.join(", "));
            }
        }
        if !seat.proposal.exact && !part.name.is_empty() && instrument.drums.is_empty() {
            let _ = write!(out, " as {}", super::voice::quoted(&part.name));
        }
        out.push('\n');
    }
    out.push_str("}\n\nscoring as-in-the-file for players {\n");
    let width = seats.iter().map(|seat| seat.player.len()).max().unwrap_or(0);
    let bass = lowest(score, seats);
    // A selection may have none of them, and one may stand behind the last note.
    let harmony = score.chords.iter().any(|(at, _)| *at < score.end());
    for (index, seat) in seats.iter().enumerate() {
        let line = &score.parts[seat.part].lines[seat.line];
        let _ = write!(out, "  {:width$}  ", seat.player);
        // Singers have their lyrics without a word.
        let sung = line.notes.iter().any(|note| note.lyrics.is_some())
            && seat.proposal.instrument.family != Family::Voice;
        let lyrics = if sung { " with lyrics" } else { "" };
        let has_chords = harmony && score.parts[seat.part].has_chords && seat.line == 0;
        let chords = if has_chords { " with chords" } else { "" };
        let with = format!("{lyrics}{chords}");
        if let Some((other, octaves)) = seat.doubles {
            let _ = writeln!(out, "{}{with}", doubles(&seats[other], octaves));
            continue;
        }
        let role = match () {
            () if line.stroke.is_some() => "rhythm",
            () if index == 0 => "melody",
            () if Some(index) == bass => "bass",
            () => "harmony",
        };
        let bars = |runs: &[BarIndices]| passages::bars(runs, &score.bars);
        if seat.passages.is_empty() {
            let _ = writeln!(out, "plays {}{with} as {role}", line.name);
            continue;
        }
        let own = passages::between_them(&seat.passages, score.bars.len());
        let _ = writeln!(out, "plays {}{with} as {role} bars {}", line.name, bars(&own));
        for (other, octaves, runs) in passages::by_player(&seat.passages) {
            let doubles = doubles(&seats[other], octaves);
            let _ = writeln!(out, "  {:width$}  {doubles}{with} bars {}", seat.player, bars(&runs));
        }
    }
    out.push_str("}\n");
    out
}

/// Whom a player doubles, and where.
fn doubles(other: &Seat, octaves: i32) -> String {
    let word = [" 15mb", " 8vb", "", " 8va", " 15ma"][(octaves + 2) as usize];
    format!("doubles {}{word}", other.player)
}

/// The seat that plays lowest on the whole.
fn lowest(score: &Score, seats: &[Seat]) -> Option<usize> {
    let mean = |seat: &Seat| {
        let notes = &score.parts[seat.part].lines[seat.line].notes;
        let heights = notes.iter().filter_map(|note| note.pitches.first()).map(|p| p.midi());
        let (sum, count) = heights.fold((0i64, 0i64), |(s, n), m| (s + i64::from(m), n + 1));
        (count > 0).then(|| sum * 100 / count)
    };
    let means = seats.iter().enumerate().filter_map(|(i, seat)| Some((mean(seat)?, i)));
    means.min().map(|(_, index)| index)
}
