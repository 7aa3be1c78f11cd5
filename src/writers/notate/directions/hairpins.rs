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
    /// Where it ends for those who play all of it.
    pub(super) until: Time,
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
    let Hairpin { from, to, until, grows, source } = *hairpin;
    let first = notes.partition_point(|note| note.end() <= from);
    let after_last = notes.partition_point(|note| note.start() < to);
    let mut any = false;
    let mut index = first;
    while index < after_last {
        let mut last = index;
        while last + 1 < after_last && !rests_between(&notes[last], &notes[last + 1], frame) {
            last += 1;
        }
        let begin = from.max(notes[index].start());
        let end = match notes.get(after_last) {
            Some(next) if last + 1 == after_last && is_goal(&notes[last], next, to, frame) => to,
            _ => to.min(notes[last].end()),
        };
        let breaks_off = || {
            let next = notes.get(after_last);
            let again = next.is_some_and(|next| !rests_between(&notes[last], next, frame));
            last + 1 == after_last && end < to && !again && (end - begin) * 2 < to - from
        };
        if grows && breaks_off() {
            break;
        }
        let played = Hairpin { from: begin, to: end, until, grows, source };
        any |= begin < end && add(hairpins, played);
        index = last + 1;
    }
    any
}

/// Does the second of two notes stand where a hairpin leads, after a rest of a beat at the most? The hairpin goes on
/// over so short a rest.
fn is_goal(note: &PackedNote, next: &PackedNote, to: Time, frame: &[FrameBar]) -> bool {
    let beat = frame[bar_at(frame, next.start())].metre.beat();
    next.start() == to && to > note.end() && to - note.end() <= beat
}

/// Is there a rest of a bar or more between two notes?
fn rests_between(note: &PackedNote, next: &PackedNote, frame: &[FrameBar]) -> bool {
    let end = note.end();
    next.start() > end && next.start() - end >= frame[bar_at(frame, end)].length
}

fn add(hairpins: &mut Vec<Hairpin>, hairpin: Hairpin) -> bool {
    let Hairpin { from, to, until, grows, .. } = hairpin;
    if let Some(before) = hairpins.last_mut()
        && before.to > from
    {
        if before.grows == grows {
            before.to = before.to.max(to);
            before.until = before.until.max(until);
            return true;
        }
        before.to = from;
        before.until = from;
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

/// Is what is told at a time the goal of a hairpin that an instrument without shades does not have, and does it hold
/// for less than a bar? Nobody would know what it is for.
pub(super) fn is_passing_goal(part: &Part, frame: &[FrameBar], at: Time) -> bool {
    if part.instrument_at(at).grades() {
        return false;
    }
    let said = part.directions.iter();
    let leads = said.clone().any(
        |said| matches!(said.kind, DirectionKind::Hairpin { to, .. } if to == at && said.at < at),
    );
    let mut next =
        said.filter(|said| matches!(said.kind, DirectionKind::Dynamic(_)) && said.at > at);
    let soon = next.next().is_some_and(|next| next.at - at < frame[bar_at(frame, at)].length);
    leads && soon
}

/// A level that is told exactly there.
fn level_told(part: &Part, at: Time) -> Option<(Dynamic, Span)> {
    let (level, said) = level_at(&part.directions, at)?;
    (said.at == at).then_some((level, said.span))
}

/// What a hairpin that grows has come to, under the last note before a rest.
pub(super) struct Goal {
    pub(super) at: Time,
    pub(super) level: Dynamic,
    pub(super) source: Span,
}

/// The goal of a hairpin that grows, for whoever rests where the others read it and is not told it at his next
/// note soon after: it stands under his last note, which does not grow any more, so that he knows how
/// far he has to go (our heuristic). `None` if it leads to no louder level, if that note is longer than a quarter
/// of it, or if a rest of a bar or more parts him from it.
pub(super) fn goal_before_rest(part: &Part, frame: &[FrameBar], pin: &Hairpin) -> Option<Goal> {
    let notes = &part.notes;
    let (level, source) = level_told(part, pin.until).filter(|_| pin.grows)?;
    if level_at(&part.directions, pin.from).is_some_and(|(before, _)| before >= level) {
        return None;
    }
    let next = notes.get(notes.partition_point(|note| note.end() <= pin.until));
    if next.is_some_and(|next| next.start() <= pin.until) {
        return None;
    }
    let last = &notes[notes.partition_point(|note| note.start() < pin.until).checked_sub(1)?];
    if (last.end() - last.start()) * 4 > pin.until - pin.from
        || pin.until - last.end() >= frame[bar_at(frame, last.start())].length
    {
        return None;
    }
    let soon = next.filter(|next| !rests_between(last, next, frame));
    let told = soon.and_then(|next| level_at(&part.directions, next.start()));
    let told = told.is_some_and(|(told, _)| told == level);
    (!told).then_some(Goal { at: last.start(), level, source })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, directions};

    /// Four bars: p, a hairpin through the second and third, mf.
    fn told(notes: &str, grows: bool, more: Option<(&str, DirectionKind)>) -> String {
        let (start, goal) =
            if grows { (Dynamic::P, Dynamic::Mf) } else { (Dynamic::Mf, Dynamic::P) };
        let fixture = Fixture::new(&["4/4"; 5]).notes(notes);
        let fixture = fixture.direction("0/1", DirectionKind::Dynamic(start));
        let pin = DirectionKind::Hairpin { grows, to: Time::of(3, 1) };
        let fixture = fixture.direction("1/1", pin);
        let fixture = match more {
            Some((at, kind)) => fixture.direction(at, kind),
            None => fixture,
        };
        let fixture = fixture.direction("3/1", DirectionKind::Dynamic(goal));
        directions(&fixture.score(), 0)
    }

    #[test]
    fn a_hairpin_goes_on_over_a_rest_of_a_beat_to_the_note_where_it_leads() {
        let beat = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 3/1 1/1 F5";
        assert_eq!(told(beat, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end, 4 0/1 mf");
        let half = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/2 E5, 3/1 1/1 F5";
        assert_eq!(told(half, true, None), "1 0/1 p, 2 0/1 <, 3 1/2 end, 4 0/1 mf");
    }

    #[test]
    fn who_rests_where_a_hairpin_arrives_reads_its_goal_under_his_last_note() {
        let rests = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/4 F5, 9/2 1/4 G5";
        assert_eq!(told(rests, true, None), "1 0/1 p, 2 0/1 <, 3 3/4 end, 3 3/4 mf");
        assert_eq!(told(rests, false, None), "1 0/1 mf, 2 0/1 >, 3 1/1 end, 5 1/2 p", "it fades");
        // Who is there, or soon enters at that level, is told it there.
        let stays = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/4 F5, 3/1 1/4 G5";
        assert_eq!(told(stays, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end, 4 0/1 mf");
        let soon = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 3/4 E5, 11/4 1/8 F5, 13/4 1/4 G5";
        assert_eq!(told(soon, true, None), "1 0/1 p, 2 0/1 <, 3 7/8 end, 4 1/4 mf");
        // On a long note he goes on growing.
        let long = "0/1 1/1 C5, 1/1 1/1 D5, 2/1 1/1 E5";
        assert_eq!(told(long, true, None), "1 0/1 p, 2 0/1 <, 3 1/1 end");
    }

    #[test]
    fn a_harpsichord_is_not_told_a_goal_that_passes() {
        let notes = "0/1 1/1 C4&E5, 1/1 1/1 D4&F5, 2/1 1/2 C4&E5, 5/2 1/2 D4&F5, 3/1 1/1 C4&E5";
        let told = |next: &str| {
            let fixture = Fixture::new(&["4/4"; 5]).part(crate::notate::testing::harpsichord());
            let pin = DirectionKind::Hairpin { grows: true, to: Time::of(5, 2) };
            let said = [
                ("0/1", DirectionKind::Dynamic(Dynamic::P)),
                ("1/1", pin),
                ("5/2", DirectionKind::Dynamic(Dynamic::Mp)),
                (next, DirectionKind::Dynamic(Dynamic::P)),
            ];
            let fixture = fixture.notes(notes);
            let all = said.into_iter().fold(fixture, |all, (at, said)| all.direction(at, said));
            directions(&all.score(), 1)
        };
        assert_eq!(told("3/1"), "1 0/1 p");
        assert_eq!(told("4/1"), "1 0/1 p, 3 1/2 mp");
    }
}
