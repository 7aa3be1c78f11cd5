//! Fermatas: who has one of a voice or of a `writes` line has it with everybody.

use super::{GivenLine, Part, Wait};
use crate::diagnostics::Span;
use crate::music::Time;
use crate::resolve::{Direction, DirectionKind, Fermata, Form, Mark, Piece, Verb};

/// The fermatas under which all wait: those of the voices, and those of `writes` lines where these are played,
/// but for what lies across one of a voice, which is one and the same for all. In order, each once.
pub(super) fn held<'a>(
    piece: &Piece,
    lines: &[GivenLine],
    parts: impl Iterator<Item = &'a Part>,
) -> Vec<Fermata> {
    let mut held = piece.fermatas();
    let voices = held.len();
    let written: Vec<Vec<Fermata>> = lines
        .iter()
        .map(|given| match &given.line.verb {
            Verb::Writes(music) => music.fermatas(&piece.form),
            _ => Vec::new(),
        })
        .collect();
    if written.iter().all(Vec::is_empty) {
        return held;
    }
    for claim in parts.flat_map(|part| &part.claims) {
        for fermata in &written[claim.line.index()] {
            let played = (claim.from..claim.to).contains(&fermata.from);
            let same = |voice: &Fermata| voice.from < fermata.to && fermata.from < voice.to;
            if played && !held[..voices].iter().any(same) {
                held.push(Fermata { to: fermata.to.min(claim.to), ..*fermata });
            }
        }
    }
    held.sort_unstable();
    held.dedup();
    held
}

/// From when to when who rests waits: once, however many voices hold on to the same end, and in the
/// shortest of them.
pub(super) fn pauses(held: &[Fermata]) -> Vec<(Time, Time)> {
    let mut pauses: Vec<(Time, Time)> =
        held.iter().map(|fermata| (fermata.from, fermata.to)).collect();
    pauses.sort_by_key(|&(start, end)| (end, start));
    pauses.reverse();
    pauses.dedup_by_key(|(_, end)| *end);
    pauses.reverse();
    pauses
}

/// A fermata holds for everybody: every part that sounds or rests at a fermata of others gets one
/// too. A note that is held on beyond it is written as two that are tied, and the first of them
/// has the fermata ([`Wait`]): over the note itself it would stand at its end, where nobody waits any
/// more.
pub(super) fn put(
    form: &Form,
    held: &[Fermata],
    pauses: &[(Time, Time)],
    part: &mut Part,
    span: Span,
) {
    for &(from, to) in pauses {
        let index = part.notes.partition_point(|note| note.end() < to);
        let in_tuplet = part
            .tuplets
            .iter()
            .any(|tuplet| tuplet.start < to && to < tuplet.start + tuplet.length);
        let note = part.notes.get_mut(index).filter(|note| note.start() < to);
        match note {
            // A plain value cannot end where only a tuplet of another voice reaches.
            Some(note) if note.end() > to && !in_tuplet && to % Time::of(1, 1024) == Time::ZERO => {
                part.waits.push(Wait { from, to, sounds: true, on_rest: false });
            }
            Some(note) => note.change(|note| note.attached.marks.insert(Mark::Fermata)),
            None => {
                // A part that falls silent before the end waits in its rest, in the bar of the end.
                let before = index.checked_sub(1).map(|before| part.notes[before].end());
                let start = before.map_or(from, |end| end.max(from)).max(form.bar_of_end(to));
                let at = part.directions.partition_point(|d| d.at <= start);
                let there = part.directions.iter().any(|d| {
                    let same = d.at == start
                        || held.iter().any(|fermata| (fermata.from, fermata.to) == (d.at, to));
                    d.kind == DirectionKind::FermataOnRest && same
                });
                if !there {
                    let kind = DirectionKind::FermataOnRest;
                    part.directions.insert(at, Direction { at: start, kind, span });
                    let on_rest =
                        held.iter().any(|fermata| fermata.on_rest && fermata.from == from);
                    part.waits.push(Wait { from, to, sounds: false, on_rest });
                }
            }
        }
    }
}
