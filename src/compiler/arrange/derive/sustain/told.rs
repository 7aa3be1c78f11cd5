//! What is told of a solution: faults that no other choice of notes avoids, and players who share
//! their notes.

use std::collections::HashSet;

use super::Held;
use super::board::Board;
use super::cost::{self, REST};
use crate::arrange::derive::{Request, findings};
use crate::diagnostics::{BarNumbers, Diagnostic};
use crate::music::{Pitch, Time};

/// A fault that is left.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fault {
    Rests,
    Parallels,
    Twice,
}

impl Fault {
    fn words(self) -> &'static str {
        match self {
            Fault::Rests => "a rest",
            Fault::Parallels => "parallel fifths or octaves",
            Fault::Twice => "a leading note or a seventh twice in one choir",
        }
    }
}

/// Says in one sentence a passage which faults were the least evil, in which bars, and whom they
/// touch.
pub(super) fn faults(requests: &[Request], board: &Board, diagnostics: &mut Vec<Diagnostic>) {
    let Some(request) = requests.first() else { return };
    let form = &request.piece.form;
    let mut found: Vec<(Fault, usize, usize)> = Vec::new();
    for (at, slot) in board.slots.iter().enumerate() {
        let bar = form.index_at(slot.start);
        for (seat, own) in board.seats.iter().enumerate().filter(|(seat, _)| slot.active[*seat]) {
            let height = board.heights.of(at, seat);
            let rests =
                height == REST && own.resting() == cost::RESTING && !own.heights(slot).is_empty();
            if rests {
                found.push((Fault::Rests, bar, seat));
            }
            if height == REST {
                continue;
            }
            let twice = (0..seat).any(|other| {
                let theirs = board.heights.of(at, other);
                board.seats[other].choir == own.choir
                    && theirs != REST
                    && (theirs - height) % 12 == 0
                    && board.wants[at].tender(height)
            });
            if twice {
                found.push((Fault::Twice, bar, seat));
            }
            let Some(before) = at.checked_sub(1).filter(|_| slot.joined) else { continue };
            let moved = (board.heights.of(before, seat), height);
            if moved.0 == REST || moved.0 == moved.1 {
                continue;
            }
            let ground = board.ears[at].leans_on_bass(own) || at_the_bottom(board, at, seat);
            let tendency = board.wants[before].tendencies[usize::from(moved.0.unsigned_abs() % 12)];
            let voices = board.voices(at);
            let along = match board.ears[at].is_tutti_for(own.choir) {
                true => voices.along_in_tutti(moved, ground, tendency),
                false => voices.along(moved, ground),
            };
            let with_voice = along >= cost::PARALLEL;
            let few = slot
                .active
                .iter()
                .enumerate()
                .filter(|(other, active)| **active && board.seats[*other].choir == own.choir);
            let few = few.count() <= cost::MOST;
            let with_other = few
                && (0..seat).any(|other| {
                    let theirs = (board.heights.of(before, other), board.heights.of(at, other));
                    board.seats[other].choir == own.choir
                        && theirs.0 != REST
                        && theirs.1 != REST
                        && cost::parallel(moved, theirs)
                });
            if with_voice || with_other {
                found.push((Fault::Parallels, bar, seat));
            }
        }
    }
    if found.is_empty() {
        return;
    }
    let mut bars: Vec<usize> = found.iter().map(|(_, bar, _)| *bar).collect();
    bars.sort_unstable();
    bars.dedup();
    let numbers: Vec<String> = bars.iter().map(|&bar| form.bars[bar].number.to_string()).collect();
    let bar_words = match numbers.len() {
        1 => format!("bar {}", and(&numbers)),
        _ => format!("bars {}", and(&numbers)),
    };
    let mut kinds: Vec<Fault> = found.iter().map(|(fault, ..)| *fault).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let kinds: Vec<&str> = kinds.into_iter().map(Fault::words).collect();
    let mut names: Vec<&str> = Vec::new();
    let player_of = |seat: usize| {
        let seat = &board.seats[seat];
        &requests[seat.line].parts[seat.player].player
    };
    for &(.., seat) in &found {
        let name = player_of(seat).name.as_str();
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let names = and(&names);
    let seat = &board.seats[found[0].2];
    let player = player_of(found[0].2);
    let (first, last) = (form.bars[bars[0]].number, form.bars[bars[bars.len() - 1]].number);
    diagnostics.push(
        Diagnostic::advice(
            "arrange/no-note-fits",
            requests[seat.line].line.span,
            format!(
                "No notes for {names} keep all rules of part-writing in {bar_words}: the best solution found has {}.",
                kinds.join(" and ")
            ),
        )
        .with_help("Leave it so if it sounds well, compare the harmony of these bars with the voices, or write them with `writes`.")
        .with_bars(first, last)
        .with_label(player.span, "the player")
        .with_player(&player.id),
    );
}

/// Is he the lowest of a choir of a tutti that goes down to the bass, and goes with it?
fn at_the_bottom(board: &Board, at: usize, seat: usize) -> bool {
    let (own, slot) = (&board.seats[seat], &board.slots[at]);
    let fellows = || {
        let of_choir =
            |other: &usize| board.seats[*other].choir == own.choir && slot.active[*other];
        (0..board.seats.len()).filter(of_choir)
    };
    board.ears[at].tutti
        && fellows().count() >= cost::COMPLETE
        && fellows().next_back() == Some(seat)
        && own.supplies.at(slot.start).is_deep()
}

/// Says of a harp which notes it leaves out because its pedals cannot be set in time.
pub(super) fn left_out(
    request: &Request,
    player: usize,
    notes: &[(Time, Pitch)],
    diagnostics: &mut Vec<Diagnostic>,
) {
    let (Some((first, _)), Some((last, _))) = (notes.first(), notes.last()) else { return };
    let form = &request.piece.form;
    let mut places: Vec<String> =
        notes.iter().map(|(at, pitch)| format!("{pitch} in {}", form.place(*at))).collect();
    places.dedup();
    let more = places.len().saturating_sub(MOST_NAMED);
    places.truncate(MOST_NAMED);
    let mut words = and(&places);
    if more > 0 {
        words = format!("{} and {more} more", places.join(", "));
    }
    let name = &request.parts[player].player.name;
    let diagnostic = Diagnostic::advice(
        "arrange/no-time-for-pedals",
        request.line.span,
        format!("{name}: the pedals cannot be set in time, so the harp leaves out {words}."),
    )
    .with_help("Leave it so if others have these notes; if not, let the harp strike less often, or write the bars with `writes`.");
    let numbers = BarNumbers { first: form.bar_at(*first).number, last: form.bar_at(*last).number };
    diagnostics.push(findings::finish(request, diagnostic, &[player], numbers));
}

/// So many places are named one by one (our heuristic).
const MOST_NAMED: usize = 3;

/// "A", "A and B", "A, B and C".
fn and<T: AsRef<str>>(all: &[T]) -> String {
    let all: Vec<&str> = all.iter().map(AsRef::as_ref).collect();
    match all.as_slice() {
        [] => String::new(),
        [one] => (*one).to_string(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// Who of a line has the notes of others of it, player after player.
pub(super) struct Sharing {
    /// When each note begins that somebody has, and how high it is.
    had: HashSet<(Time, i32)>,
    /// For each player how many notes he has, and how many of them another has before him.
    players: Vec<(usize, usize)>,
}

impl Sharing {
    /// Nobody yet; `None` for a line of which it is not told: of a few, and of different instruments, which
    /// are a tutti that is meant to be strong.
    pub(super) fn asked_of(request: &Request) -> Option<Sharing> {
        let kinds = request.parts.iter().map(|part| part.player.line_name.as_str());
        let (mut kinds, first) = (kinds.clone(), kinds.clone().next());
        let told = request.parts.len() > cost::MOST && kinds.all(|kind| Some(kind) == first);
        told.then(|| Sharing { had: HashSet::new(), players: Vec::new() })
    }

    /// The next player, and what he holds.
    pub(super) fn add(&mut self, held: &[Held]) {
        let place = |note: &Held| (note.start, note.pitch.midi());
        let shared = held.iter().filter(|note| self.had.contains(&place(note))).count();
        self.had.extend(held.iter().map(place));
        self.players.push((held.len(), shared));
    }
}

/// Says once a line that its players are more than the notes of its chords, where they share them.
pub(super) fn sharing(request: &Request, shared: &Sharing, diagnostics: &mut Vec<Diagnostic>) {
    const CODE: &str = "arrange/too-many-players";
    let line = request.line.span;
    let told = |d: &Diagnostic| d.code == CODE && d.primary.span == line;
    if diagnostics.iter().any(told) {
        return;
    }
    let players = shared.players.iter().enumerate();
    let sharing: Vec<usize> = players
        .filter(|(_, (notes, shared))| shared * 2 > *notes)
        .map(|(player, _)| player)
        .collect();
    if sharing.is_empty() {
        return;
    }
    let pitched = shared.players.iter().filter(|(notes, _)| *notes > 0).count();
    let (words, numbers) = findings::bars(request, &request.bars());
    let names = findings::names(request, &sharing);
    let shares = if sharing.len() == 1 { "shares" } else { "share" };
    let diagnostic = Diagnostic::advice(
        CODE,
        line,
        format!(
            "There are more players ({pitched}) than chord tones in {words}: {names} {shares} notes with the others."
        ),
    )
    .with_help(
        "Leave it so where these notes are to sound stronger; if not, name fewer players, give some of them a line of their own, or let them double another part.",
    );
    diagnostics.push(findings::finish(request, diagnostic, &sharing, numbers));
}
