//! Players beyond those who are voiced together: they share notes that may be doubled.

use super::cost::{self, REST, Wants};
use super::solve::{Chosen, Stage, along_voices};
use super::{Held, Slot, Supplies};
use crate::arrange::derive::{Request, findings};
use crate::diagnostics::Diagnostic;
use crate::music::Pitch;

/// The movements of all players into a slot, each once.
#[derive(Default)]
struct Moves(Vec<(i16, i16)>);

impl Moves {
    fn put(&mut self, moved: (i16, i16)) {
        if moved.0 != REST && moved.1 != REST && !self.0.contains(&moved) {
            self.0.push(moved);
        }
    }

    fn allow(&self, moved: (i16, i16)) -> bool {
        // From a unison either of two may go to the higher note.
        let parallel = |other| cost::parallel(moved, other) || cost::parallel(other, moved);
        !self.0.iter().any(|&other| parallel(other))
    }
}

fn height(pitch: Option<Pitch>) -> i16 {
    pitch.map_or(REST, |pitch| pitch.midi() as i16)
}

/// What each follower holds at each slot: the note of his leader; where that must not be doubled
/// or he has not got it, the nearest other note of the chord that makes no fault.
pub(super) fn shared(
    request: &Request,
    slots: &[Slot],
    stages: &[Stage],
    chosen: &[Chosen],
    followers: &[(usize, usize)],
    supplies: &[Supplies],
) -> Vec<Vec<Option<Pitch>>> {
    let mut shared: Vec<Vec<Option<Pitch>>> = Vec::with_capacity(slots.len());
    for (index, (slot, row)) in slots.iter().zip(chosen).enumerate() {
        let before = index.checked_sub(1).filter(|_| stages[index].joined);
        let bar = request.piece.form.index_at(slot.start);
        let wants = Wants::new(&slot.chord, slot.key);
        let mut moves = Moves::default();
        if let Some(before) = before {
            for (from, to) in chosen[before].iter().zip(row) {
                moves.put((height(*from), height(*to)));
            }
        }
        let mut now = Vec::with_capacity(followers.len());
        for (place, &(player, leader)) in followers.iter().enumerate() {
            let Some(of_leader) = row[leader].filter(|_| request.claims(player, bar)) else {
                now.push(None);
                continue;
            };
            let supply = supplies[player].at(slot.start);
            let from = before.map_or(REST, |before| height(shared[before][place]));
            let may = |&pitch: &Pitch| {
                let moved = (from, pitch.midi() as i16);
                let faultless = |before: usize| {
                    from == REST
                        || from == moved.1
                        || (moves.allow(moved)
                            && along_voices(&stages[before], &stages[index], moved).is_some())
                };
                supply.has(pitch) && !wants.tender(moved.1) && before.is_none_or(faultless)
            };
            let pitch = Some(of_leader).filter(may).or_else(|| {
                let held = || row.iter().flatten();
                let (low, high) = (held().min()?.midi(), held().max()?.midi());
                let mut others = supply.of_chord(&slot.chord);
                others.retain(|other| (low..=high).contains(&other.midi()));
                others.sort_by_key(|other| {
                    let far = (other.midi() - of_leader.midi()).abs();
                    (held().all(|held| held.midi() != other.midi()), far)
                });
                others.iter().find(|other| may(other)).copied()
            });
            moves.put((from, height(pitch)));
            now.push(pitch);
        }
        shared.push(now);
    }
    shared
}

/// Says once a line that its players are more than the notes of its chords, where they share them.
pub(super) fn tell(
    request: &Request,
    slots: &[Slot],
    followers: &[(usize, usize)],
    held: &[Vec<Held>],
    diagnostics: &mut Vec<Diagnostic>,
) {
    const CODE: &str = "arrange/too-many-players";
    let line = request.line.span;
    let most = slots.iter().map(|slot| slot.chord.members().len()).max().unwrap_or(0);
    let pitched = held.iter().filter(|held| !held.is_empty()).count();
    let sharing: Vec<usize> =
        followers.iter().map(|(player, _)| *player).filter(|&p| !held[p].is_empty()).collect();
    // Different instruments on one line are a tutti, which is meant to be strong.
    let mut kinds: Vec<&str> = (0..held.len())
        .filter(|&player| !held[player].is_empty())
        .map(|player| request.parts[player].player.line_name.as_str())
        .collect();
    kinds.dedup();
    let told = |d: &Diagnostic| d.code == CODE && d.primary.span == line;
    if sharing.is_empty() || kinds.len() > 1 || pitched <= most || diagnostics.iter().any(told) {
        return;
    }
    let (words, first, last) = findings::bars(request, &request.bars());
    let names = findings::names(request, &sharing);
    let shares = if sharing.len() == 1 { "shares" } else { "share" };
    let diagnostic = Diagnostic::advice(
        CODE,
        line,
        format!(
            "{pitched} players are more than the chords of {words} have notes for: {names} {shares} notes with the others."
        ),
    )
    .with_help(
        "Leave it so where these notes are to sound stronger; if not, name fewer players, give some of them a line of their own, or let them double another part.",
    );
    diagnostics.push(findings::finish(request, diagnostic, &sharing, first, last));
}
