//! Hairpins as one player has them.

use crate::arrange::{PackedNote, Part};
use crate::diagnostics::Span;
use crate::music::Time;
use crate::notate::FrameBar;
use crate::resolve::{DirectionKind, Dynamic, level_at};

use super::bar_at;

/// A hairpin as it is printed.
pub(super) struct Hairpin {
    pub(super) from: Time,
    pub(super) to: Time,
    pub(super) grows: bool,
    pub(super) source: Span,
}

/// Clips a hairpin to where the player sounds, and to the one before it; where they rest for a bar
/// or more it is broken. Who has less than half of one that grows, and then rests, is led nowhere by it
/// and does without (our heuristic). False if nothing is left.
pub(super) fn collect(
    hairpins: &mut Vec<Hairpin>,
    notes: &[PackedNote],
    frame: &[FrameBar],
    hairpin: &Hairpin,
) -> bool {
    let Hairpin { from, to, grows, source } = *hairpin;
    let first = notes.partition_point(|note| note.end() <= from);
    let after_last = notes.partition_point(|note| note.start() < to);
    let mut any = false;
    let mut index = first;
    while index < after_last {
        let mut last = index;
        while last + 1 < after_last && !rests_between(&notes[last], &notes[last + 1], frame) {
            last += 1;
        }
        let (begin, end) = (from.max(notes[index].start()), to.min(notes[last].end()));
        let breaks_off = || {
            let next = notes.get(after_last);
            let again = next.is_some_and(|next| !rests_between(&notes[last], next, frame));
            last + 1 == after_last && end < to && !again && (end - begin) * 2 < to - from
        };
        if grows && breaks_off() {
            break;
        }
        any |= begin < end && add(hairpins, Hairpin { from: begin, to: end, grows, source });
        index = last + 1;
    }
    any
}

/// Is there a rest of a bar or more between two notes?
fn rests_between(note: &PackedNote, next: &PackedNote, frame: &[FrameBar]) -> bool {
    let end = note.end();
    next.start() > end && next.start() - end >= frame[bar_at(frame, end)].length
}

fn add(hairpins: &mut Vec<Hairpin>, hairpin: Hairpin) -> bool {
    let Hairpin { from, to, grows, .. } = hairpin;
    if let Some(before) = hairpins.last_mut()
        && before.to > from
    {
        if before.grows == grows {
            before.to = before.to.max(to);
            return true;
        }
        before.to = from;
        if before.to <= before.from {
            hairpins.pop();
        }
    }
    hairpins.push(hairpin);
    true
}

/// The dynamic that holds where a hairpin begins to be played: who enters with it after a rest must know
/// from where it leads (common practice). `None` where another hairpin has led elsewhere meanwhile.
pub(super) fn level_before(part: &Part, at: Time) -> Option<(Dynamic, Span)> {
    let (level, said) = level_at(&part.directions, at)?;
    let led = part.directions.iter().any(|other| {
        matches!(other.kind, DirectionKind::Hairpin { to, .. } if other.at >= said.at && to <= at)
    });
    (!led).then_some((level, said.span))
}
