//! Fermatas over rests: who rests while others hold has his fermata at the same moment.
//!
//! A rest is divided so that a value of it begins where the fermata stands, and another one where it ends (Elaine
//! Gould, Behind Bars, 2011, from memory): over a rest of a bar it would seem to hold the whole bar. It stands where the
//! others have theirs: over the last value of a note that is written as several, over the first of a rest.
//! Under a fermata that holds the whole bar, a rest of the bar stays one.

use crate::arrange::Part;
use crate::music::Time;
use crate::resolve::{DirectionKind, Mark};

use super::directions::bar_at;
use super::staff::Bars;
use super::{ElementKind, FrameBar, Measure};

/// The shortest value: where no value begins, a rest cannot be divided.
const FINEST: Time = Time::of(1, 1024);

/// A fermata over the rest of a player, in written time.
struct Hold {
    /// Where it stands.
    at: Time,
    /// Where all go on, if that is known.
    to: Option<Time>,
}

/// The fermatas over the rests of a player, in order.
fn holds<'a>(part: &'a Part, bars: &'a Bars) -> impl Iterator<Item = Hold> + 'a {
    let rests = part.directions.iter().filter(|said| said.kind == DirectionKind::FermataOnRest);
    rests.map(|said| {
        let at = said.at;
        let wait = part.waits_after(at).next().filter(|wait| !wait.sounds && wait.from <= at);
        let Some(wait) = wait else {
            let own = part.rest_at(at).filter(|rest| rest.start == at);
            return Hold { at, to: own.map(|rest| rest.start + rest.length) };
        };
        let bar = &bars.frame[bar_at(bars.frame, at)];
        let whole = bar.length == bar.metre.bar_length()
            && wait.from <= bar.start
            && wait.to >= bar.start + bar.length;
        if wait.on_rest || (whole && at == bar.start && rests_at(part, at)) {
            return Hold { at, to: Some(wait.to) };
        }
        let there = bars.last_piece((wait.from, wait.to));
        let at = there.max(at);
        let within = at - bar.start + bar.missing();
        if within % FINEST == Time::ZERO {
            return Hold { at, to: Some(wait.to) };
        }
        // Heuristic: where only a tuplet of the others reaches, the rest is divided at the beat before.
        let beat = at - within % Time::of(1, i64::from(bar.metre.unit));
        let played = part.notes.partition_point(|note| note.end() <= at);
        let rested = played.checked_sub(1).map_or(beat, |last| part.notes[last].end());
        Hold { at: beat.max(rested), to: Some(wait.to) }
    })
}

fn rests_at(part: &Part, at: Time) -> bool {
    let next = part.notes.partition_point(|note| note.end() <= at);
    part.notes.get(next).is_none_or(|note| note.start() > at)
}

/// Where the rests of a player are divided for fermatas, in order of written time.
pub(super) fn borders(part: &Part, bars: &Bars) -> Vec<Time> {
    let held = holds(part, bars).filter(|hold| rests_at(part, hold.at));
    let mut borders: Vec<Time> = held
        .flat_map(|hold| [Some(hold.at), hold.to])
        .flatten()
        .filter(|time| *time % FINEST == Time::ZERO)
        .collect();
    borders.sort_unstable();
    borders.dedup();
    borders
}

/// Puts the fermatas over the rests of a player, where the others have theirs.
pub(super) fn hold_rests(part: &Part, bars: &Bars, measures: &mut [Measure]) {
    for Hold { at, .. } in holds(part, bars) {
        hold(at, bars.frame, measures);
    }
}

/// Puts a fermata over what stands at a time: a rest, or the note of a player who sounds there
/// while the others rest.
fn hold(at: Time, frame: &[FrameBar], measures: &mut [Measure]) {
    let bar = bar_at(frame, at);
    let within = at - frame[bar].start;
    let element =
        measures[bar].elements.iter_mut().find(|element| within < element.at + element.length);
    match element.map(|element| &mut element.kind) {
        Some(ElementKind::Rest { fermata } | ElementKind::BarRest { fermata }) => *fermata = true,
        Some(ElementKind::Note(note)) => note.marks.insert(Mark::Fermata),
        None => {}
    }
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, cello, dump};

    #[test]
    fn a_rest_of_a_bar_is_divided_where_the_others_hold() {
        let score = Fixture::new(&["4/4"; 5])
            .notes("4/1 1/1 C5")
            .part(cello())
            .wait("1/2", "1/1", false)
            .wait("3/2", "7/4", false)
            .wait("2/1", "3/1", false)
            .wait("3/1", "13/4", false)
            .score();
        let bars = [
            "rest:1/2 rest:1/2+fermata",
            "rest:1/2 rest:1/4+fermata rest:1/4",
            "rest+fermata",
            "rest:1/4+fermata rest:1/4 rest:1/2",
            "rest",
        ];
        assert_eq!(dump(&score, 1), bars.join(" | "));
    }

    #[test]
    fn in_a_bar_of_several_rests_the_last_has_the_fermata_of_the_bar() {
        let mut fixture = Fixture::new(&["4/4"; 2]);
        fixture.form.bars[0].length = crate::music::Time::of(5, 4);
        fixture.form.bars[1].start = crate::music::Time::of(5, 4);
        let score = fixture.wait("0/1", "5/4", false).score();
        assert_eq!(dump(&score, 0), "rest:1/1 rest:1/4+fermata | rest");
    }

    #[test]
    fn the_rest_of_a_free_bar_is_one_that_waits() {
        let free = |length| {
            let mut fixture = Fixture::new(&["3/4", "3/4"]);
            fixture.form.bars[0].length = length;
            fixture.form.bars[1].start = length;
            let score = fixture.wait("1/1", "3/2", false).score();
            dump(&score, 0)
        };
        assert_eq!(free(crate::music::Time::of(22, 4)), "rest+fermata | rest");
        // A longer bar that one counts.
        assert!(free(crate::music::Time::of(5, 4)).matches("rest").count() > 1);
    }

    #[test]
    fn a_longer_rest_is_divided_where_the_others_hold() {
        let score = Fixture::new(&["4/4", "3/4"])
            .notes("0/1 1/4 C5")
            .wait("3/4", "1/1", false)
            .wait("9/8", "5/4", false)
            .score();
        let bars = [
            "C5:1/4 rest:1/4 rest:1/4 rest:1/4+fermata",
            "rest:1/8 rest:1/8+fermata rest:1/4 rest:1/4",
        ];
        assert_eq!(dump(&score, 0), bars.join(" | "));
    }

    #[test]
    fn where_only_a_tuplet_reaches_a_rest_is_divided_at_the_beat_before() {
        let score = Fixture::new(&["4/4", "4/4"])
            .wait("5/6", "1/1", false)
            .part(cello())
            .notes("1/1 3/4 C3")
            .wait("11/6", "2/1", false)
            .score();
        assert_eq!(dump(&score, 0), "rest:1/2 rest:1/4 rest:1/4+fermata | rest");
        assert_eq!(dump(&score, 1), "rest | C3:3/4 rest:1/4+fermata");
    }
}
