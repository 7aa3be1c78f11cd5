//! The hairpins of two players who share a staff: which say it to both, and which to one of them.
//!
//! That what is said to the first alone stands above the staff with his notes, and to the second alone below, is common
//! practice; what each may read of the other's without harm is our heuristic.

use crate::music::Time;
use crate::notate::{ElementKind, Measure, Origin, Staff};
use crate::resolve::Dynamic;

use super::condensed::rests;
use super::levels::{self, Place, Told, ends, sounding};
use super::{DirectionKind, EditionDirection, Spanner, SpannerKind, StaffBar, spans};

/// The hairpins of two players.
pub(super) struct Pins {
    /// Of the first and of the second, in order.
    own: [Vec<Spanner>; 2],
    /// Between which places each alone grows or fades, while the other plays and does not.
    alone: [Vec<(Place, Place)>; 2],
    /// From where both grow or fade alike, and from one level.
    together: Vec<Place>,
}

impl Pins {
    pub(super) fn of(pair: [&Staff; 2]) -> Pins {
        let mut own = pair.map(|staff| spans::hairpins(&staff.measures));
        let told = pair.map(levels::dynamics);
        share(&mut own, pair, &told);
        let alone = |who: usize| -> Vec<(Place, Place)> {
            let pins = own[who].iter().filter_map(ends);
            let pins = pins.filter(|pin| !drops_out(*pin, who, pair, &told));
            let parts = pins.flat_map(|pin| beside(pin, &own[1 - who]));
            parts.filter(|part| sounds_from(pair[1 - who], *part).is_some()).collect()
        };
        let alone = [alone(0), alone(1)];
        let both = own[0].iter().filter_map(ends);
        let both = both.filter(|pin| own[1].iter().filter_map(ends).any(|other| other == *pin));
        let level = |who: usize, place: Place| level_at(&told[who], &own[who], place);
        let alike =
            |place: &Place| level(0, *place).is_some_and(|first| level(1, *place) == Some(first));
        let together = both.map(|pin| pin.0).filter(alike).collect();
        Pins { own, alone, together }
    }

    /// Do both grow or fade alike from a place on, and from one level?
    pub(super) fn set_out_together(&self, place: Place) -> bool {
        self.together.contains(&place)
    }

    /// Between which places the first or second alone grows or fades, while the other plays and does not.
    pub(super) fn alone(&self, who: usize) -> &[(Place, Place)] {
        &self.alone[who]
    }

    /// Names the second where he alone grows or fades and nothing above the staff tells the first how loud he stays:
    /// nobody knows it, behind a hairpin without a goal.
    pub(super) fn name_second(&self, name: &str, first: &Staff, bars: &mut [StaffBar]) {
        for &(from, to) in &self.alone[1] {
            let Some(plays) = sounds_from(first, (from, to)) else { continue };
            let told = (from.0..=plays.0).any(|bar| {
                bars[bar].directions.iter().any(|said| {
                    said.above
                        && (bar, said.at) <= plays
                        && matches!(said.kind, DirectionKind::Dynamic(_))
                })
            });
            let mut own = self.own[0].iter().filter_map(ends);
            let grows = own.any(|pin| pin.0 <= plays && plays < pin.1);
            if told || grows {
                continue;
            }
            say_who(name, from, bars);
        }
    }

    /// Does one of them alone grow or fade in a bar?
    pub(super) fn differ_in(&self, bar: usize) -> bool {
        self.alone
            .iter()
            .flatten()
            .any(|(from, to)| (from.0..=to.0).contains(&bar) && (to.0 > bar || to.1 > Time::ZERO))
    }

    /// The hairpins of both, each once. What the first alone is to grow or fade by stands above the staff; so does
    /// what has a level above the staff before it in its bar or in its course, or such a hairpin before it in its bar,
    /// what sets out where the second is named, and what goes on while the second is told something else. But he who
    /// comes in amid the crescendo of the first, who was alone so far, and goes on with it has it with him from there:
    /// his level stands in it, with the `name` of him. With a hairpin of the first alone stands the level from which it
    /// sets out.
    pub(super) fn placed(
        self,
        pair: [&Staff; 2],
        name: &str,
        bars: &mut [StaffBar],
    ) -> Vec<Spanner> {
        let dynamics = levels::dynamics;
        // What the second alone is told, with whether one sign says it to both.
        let first = dynamics(pair[0]);
        let is_own = |&(bar, at, dynamic): &Told| {
            first
                .iter()
                .any(|own| (own.0, own.2) == (bar, dynamic) && levels::is_one(dynamic, own.1, at))
        };
        let told = dynamics(pair[1]).into_iter().filter(|said| !first.contains(said));
        let told: Vec<(Place, bool)> = told.map(|said| ((said.0, said.1), is_own(&said))).collect();
        let [mut all, others] = self.own;
        let entered = divide(&mut all, &others, pair[1], &told);
        for &at in &entered {
            say_who(name, at, bars);
        }
        // The end of the last one above the staff.
        let mut before: Option<Place> = None;
        for own in &mut all {
            let Some((from, to, grows)) = ends(own) else { continue };
            // He who comes in later may grow as far.
            let joins =
                |at: Place| others.iter().filter_map(ends).any(|pin| pin == (at, to, grows));
            let cut = told.iter().any(|&(at, one)| from < at && at < to && !(one && joins(at)));
            let crossed = others.iter().filter_map(ends).any(|(begin, end, also)| {
                begin < to && from < end && (also != grows || begin < from || end > to)
            });
            let alone = self.alone[0].iter().any(|part| from <= part.0 && part.1 <= to);
            let bars_of = bars.iter().enumerate().take(to.0 + 1).skip(from.0);
            let mut said =
                bars_of.flat_map(|(bar, said)| said.directions.iter().map(move |s| (bar, s)));
            let set_apart = said.any(|(bar, said)| match said.kind {
                DirectionKind::Dynamic(_) => said.above && (bar, said.at) < to,
                // What stands with "2." would be read as his alone.
                DirectionKind::Who(_) => {
                    !said.above && (bar, said.at) == from && !entered.contains(&from)
                }
                _ => false,
            });
            // A hairpin of the second that sets out where it ends would seem to go on with it.
            let goes_on = !entered.contains(&to)
                && others
                    .iter()
                    .filter_map(ends)
                    .any(|(begin, _, also)| (begin, also) == (to, grows));
            let behind = before.is_some_and(|end| end.0 == from.0 && end.1 > Time::ZERO);
            own.above |= cut || crossed || alone || set_apart || behind || goes_on;
            if own.above {
                before = Some(to);
                if rests(&pair[1].measures[from.0]) {
                    let said = bars[from.0].directions.iter_mut();
                    let level = |said: &&mut EditionDirection| {
                        said.at == from.1 && matches!(said.kind, DirectionKind::Dynamic(_))
                    };
                    said.filter(level).for_each(|said| said.above = true);
                }
            }
        }
        for other in others {
            let Some((from, to, grows)) = ends(&other) else { continue };
            // What stands above the staff is said to the first alone.
            let covered = all
                .iter()
                .filter(|own| !own.above)
                .filter_map(ends)
                .any(|(begin, end, also)| also == grows && begin <= from && to <= end);
            if !covered {
                all.push(other);
            }
        }
        all
    }
}

/// Names the second at a place, below the staff.
fn say_who(name: &str, (bar, at): Place, bars: &mut [StaffBar]) {
    let said = &mut bars[bar].directions;
    let place = said.partition_point(|said| said.at < at);
    let (kind, origin) = (DirectionKind::Who(name.into()), Origin::default());
    let named = EditionDirection { at, kind, above: false, origin };
    if !said.contains(&named) {
        said.insert(place, named);
    }
}

/// The level that a player was told last before a place or at it, where no hairpin has led away from it.
fn level_at(told: &[Told], pins: &[Spanner], place: Place) -> Option<Dynamic> {
    let so_far = told.iter().take_while(|(bar, at, _)| (*bar, *at) <= place);
    let lasting = so_far.filter_map(|(bar, at, level)| Some(((*bar, *at), level.lasting()?)));
    let (since, level) = lasting.last()?;
    let led = pins.iter().filter_map(ends).any(|(from, ..)| since <= from && from < place);
    (!led).then_some(level)
}

/// Divides hairpins of the first of two where the second, who rested since their beginning and a bar line at least,
/// comes in with a level of his own and a hairpin that goes on as they do (our heuristic); `told` is what the second
/// alone is told, with whether one sign says it to both. Gives where.
fn divide(
    all: &mut Vec<Spanner>,
    others: &[Spanner],
    second: &Staff,
    told: &[(Place, bool)],
) -> Vec<Place> {
    let mut entered = Vec::new();
    for place in (0..all.len()).rev() {
        let Some((from, to, grows)) = ends(&all[place]) else { continue };
        let joins = others.iter().filter_map(ends).find(|&(begin, end, also)| {
            from.0 < begin.0 && (end, also) == (to, grows) && told.contains(&(begin, false))
        });
        let Some((at, ..)) = joins else { continue };
        let alone = told.iter().all(|(other, _)| *other == at || *other <= from || to <= *other);
        if !alone || sounds_from(second, (from, at)).is_some() {
            continue;
        }
        let mut rest = all[place].clone();
        if let SpannerKind::Hairpin { from, .. } = &mut rest.kind {
            *from = at;
        }
        if let SpannerKind::Hairpin { to, .. } = &mut all[place].kind {
            *to = at;
        }
        all.insert(place + 1, rest);
        entered.push(at);
    }
    entered
}

/// Notes struck so long after the end of a hairpin may stand under that of the other, as far as a dynamic may stand
/// from where one of two is told it.
const TOGETHER: Time = Time::of(1, 2);

/// Brings hairpins that begin together and go the same way to one end, the later one, where the player
/// of the shorter one is told nothing until then and has come to a rest, or holds what he reached; a note on
/// which he comes to it, or one that follows at once, is no reason to part them (our heuristic).
fn share(own: &mut [Vec<Spanner>; 2], pair: [&Staff; 2], told: &[Vec<Told>; 2]) {
    let begin = |pins: &Vec<Spanner>| -> Vec<Place> {
        pins.iter().filter_map(ends).map(|pin| pin.0).collect()
    };
    let begins = [begin(&own[0]), begin(&own[1])];
    let [first, second] = own;
    for own in first.iter_mut() {
        for other in second.iter_mut() {
            let (Some(a), Some(b)) = (ends(own), ends(other)) else { continue };
            if (a.0, a.2) != (b.0, b.2) || a.1 == b.1 {
                continue;
            }
            let (short, end, until, who) =
                if a.1 < b.1 { (&mut *own, a.1, b.1, 0) } else { (&mut *other, b.1, a.1, 1) };
            let is_told =
                told[who].iter().any(|&(bar, at, _)| a.0 < (bar, at) && (bar, at) < until);
            let again = begins[who].iter().any(|at| end <= *at && *at < until);
            if is_told || again || strikes_on(pair[who], end, until) {
                continue;
            }
            if let SpannerKind::Hairpin { to, .. } = &mut short.kind {
                *to = until;
            }
        }
    }
}

/// Does a player strike notes on between two places, longer than for a moment and other than at the first of them?
fn strikes_on(staff: &Staff, from: Place, to: Place) -> bool {
    let length = |measure: &Measure| {
        measure.elements.last().map_or(Time::ZERO, |last| last.at + last.length)
    };
    let between = &staff.measures[from.0..to.0];
    let apart = between.iter().map(length).fold(to.1 - from.1, |sum, length| sum + length);
    let strikes = |bar: usize| {
        staff.measures[bar].elements.iter().any(|element| {
            let at = (bar, element.at);
            matches!(&element.kind, ElementKind::Note(note) if !note.tie_from)
                && from < at
                && at < to
        })
    };
    apart > TOGETHER && (from.0..=to.0).any(strikes)
}

/// The parts of a hairpin that lie under none of the other player's that go the same way.
fn beside((from, to, grows): (Place, Place, bool), others: &[Spanner]) -> Vec<(Place, Place)> {
    let (mut parts, mut since) = (Vec::new(), from);
    for (begin, end, also) in others.iter().filter_map(ends) {
        if also == grows && begin < to && end > since {
            if since < begin {
                parts.push((since, begin));
            }
            since = end;
        }
    }
    if since < to {
        parts.push((since, to));
    }
    parts
}

/// From where on a player sounds between two places.
fn sounds_from(staff: &Staff, (from, to): (Place, Place)) -> Option<Place> {
    (from.0..=to.0).find_map(|bar| {
        let since = if bar == from.0 { from.1 } else { Time::ZERO };
        let until = if bar == to.0 { to.1 } else { Time::MAX };
        let first = sounding(&staff.measures[bar], &(since..until)).next()?;
        Some((bar, first.max(since)))
    })
}

/// Does the other begin as loud under a player's hairpin, and fall silent before its end without having been told
/// anything? His own part does without a beginning that leads nowhere; beside him who goes on he may well have it.
fn drops_out(
    (from, to, _): (Place, Place, bool),
    who: usize,
    pair: [&Staff; 2],
    told: &[Vec<Told>; 2],
) -> bool {
    let level = |who: usize| -> Option<Dynamic> {
        let so_far = told[who].iter().take_while(|(bar, at, _)| (*bar, *at) <= from);
        so_far.filter_map(|(.., dynamic)| dynamic.lasting()).last()
    };
    let other = pair[1 - who];
    let is_told = told[1 - who].iter().any(|&(bar, at, _)| from < (bar, at) && (bar, at) <= to);
    let last = other.measures[to.0].elements.iter().rev().find(|element| element.at < to.1);
    let silent = last.is_some_and(|last| !matches!(last.kind, ElementKind::Note(_)));
    !is_told && silent && level(who) == level(1 - who)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edition::{Edition, condensed_score};
    use crate::notate::testing::{Fixture, oboe};
    use crate::notate::{Score, StaffDirection, StaffDirectionKind};

    const ZERO: Time = Time::ZERO;
    const HALF: Time = Time::of(1, 2);
    const BELOW: &str = "0/1 1/2 C5, 1/2 1/2 E5, 1/1 1/2 C5, 3/2 1/2 E5";

    type Said = (usize, Time, StaffDirectionKind);

    /// Two oboes in four bars of 2/4.
    fn oboes(below: &str, said: [&[Said]; 2]) -> Score {
        let notes = "0/1 1/2 E5, 1/2 1/2 G5, 1/1 1/2 E5, 3/2 1/2 G5";
        let mut score = Fixture::new(&["2/4"; 4]).notes(notes).part(oboe()).notes(below).score();
        for ((staff, number), said) in score.staves.iter_mut().zip(1..).zip(said) {
            staff.id = format!("oboe.{number}");
            for (bar, at, kind) in said.iter().cloned() {
                let said = StaffDirection { at, kind, origin: Origin::default() };
                staff.measures[bar].directions.push(said);
            }
        }
        score
    }

    fn says(bar: usize, level: Dynamic) -> Said {
        (bar, ZERO, StaffDirectionKind::Dynamic(level))
    }

    /// A crescendo over whole bars.
    fn grows(from: usize, to: usize) -> [Said; 2] {
        let starts = StaffDirectionKind::HairpinStarts { grows: true };
        [(from, ZERO, starts), (to, HALF, StaffDirectionKind::HairpinEnds)]
    }

    /// The bars in which each begins and ends, and whether it stands above.
    fn pins(edition: &Edition) -> Vec<(usize, usize, bool)> {
        let spans = edition.staves[0].spans.iter();
        spans.filter_map(|one| ends(one).map(|(from, to, _)| (from.0, to.0, one.above))).collect()
    }

    /// What is said in a bar, when, and whether it stands above.
    fn told(edition: &Edition, bar: usize) -> Vec<(Time, DirectionKind, bool)> {
        let said = edition.staves[0].bars[bar].directions.iter();
        said.map(|said| (said.at, said.kind.clone(), said.above)).collect()
    }

    fn voices(edition: &Edition) -> Vec<usize> {
        edition.staves[0].bars.iter().map(|bar| bar.voices.len()).collect()
    }

    #[test]
    fn who_alone_grows_has_stems_and_a_hairpin_of_his_own() {
        let first = [&[says(0, Dynamic::P)][..], &grows(1, 2)].concat();
        let score = oboes(BELOW, [&first, &[says(0, Dynamic::P)]]);
        let edition = condensed_score(&score);
        assert_eq!(voices(&edition), [1, 2, 2, 1]);
        assert_eq!(pins(&edition), [(1, 2, true)]);
    }

    #[test]
    fn the_first_is_told_to_stay_where_the_second_alone_grows() {
        let second = [&[says(0, Dynamic::P)][..], &grows(1, 2)].concat();
        let score = oboes(BELOW, [&[says(0, Dynamic::P)], &second]);
        let edition = condensed_score(&score);
        assert_eq!(voices(&edition), [1, 2, 2, 1]);
        assert_eq!(pins(&edition), [(1, 2, false)]);
        assert_eq!(told(&edition, 1), [(ZERO, DirectionKind::Dynamic(Dynamic::P), true)]);
        assert!(told(&edition, 2).is_empty(), "it is said once");
    }

    #[test]
    fn who_alone_grows_is_named_where_nobody_knows_how_loud_the_other_is() {
        let score = oboes(BELOW, [&[], &grows(1, 2)]);
        let edition = condensed_score(&score);
        assert_eq!(told(&edition, 1), [(ZERO, DirectionKind::Who("2.".into()), false)]);
    }

    #[test]
    fn who_is_told_his_own_level_has_the_hairpin_that_sets_out_from_it() {
        let said = |level| [&[says(1, level)][..], &grows(1, 2)].concat();
        let score = oboes(BELOW, [&said(Dynamic::P), &said(Dynamic::Mf)]);
        assert_eq!(pins(&condensed_score(&score)), [(1, 2, true), (1, 2, false)]);
    }

    #[test]
    fn a_hairpin_that_ends_while_its_player_plays_on_ends_for_him_alone() {
        let score = oboes(BELOW, [&grows(0, 3), &grows(0, 1)]);
        assert_eq!(pins(&condensed_score(&score)), [(0, 3, true), (0, 1, false)]);
        // Who rests from there on may read that of the other.
        let score = oboes("0/1 1/2 C5, 1/2 1/2 E5", [&grows(0, 3), &grows(0, 1)]);
        assert_eq!(pins(&condensed_score(&score)), [(0, 3, false)]);
    }

    #[test]
    fn who_drops_out_amid_the_hairpin_of_the_other_may_read_it() {
        let p = || says(0, Dynamic::P);
        let first = [&[p()][..], &grows(1, 3)].concat();
        let pins_beside = |second: &[Said]| {
            let score = oboes("0/1 1/2 C5, 1/2 1/2 E5", [&first, second]);
            pins(&condensed_score(&score))
        };
        assert_eq!(pins_beside(&[p()]), [(1, 3, false)]);
        assert_eq!(pins_beside(&[says(0, Dynamic::F)]), [(1, 3, true)], "at another level");
    }

    #[test]
    fn on_a_note_that_he_holds_the_first_is_told_to_stay_where_the_second_begins_to_grow() {
        let starts = StaffDirectionKind::HairpinStarts { grows: true };
        let late = [(1, Time::QUARTER, starts), (1, HALF, StaffDirectionKind::HairpinEnds)];
        let second = [&[says(0, Dynamic::P)][..], &late].concat();
        let score = oboes(BELOW, [&[says(0, Dynamic::P)], &second]);
        let edition = condensed_score(&score);
        let keeps = (Time::QUARTER, DirectionKind::Dynamic(Dynamic::P), true);
        assert_eq!(told(&edition, 1), [keeps]);
    }

    #[test]
    fn who_alone_grows_is_named_where_the_other_is_told_a_level_later_only() {
        let later = says(2, Dynamic::P);
        let second = [&grows(1, 3)[..1], std::slice::from_ref(&later), &grows(1, 3)[1..]].concat();
        let score = oboes(BELOW, [std::slice::from_ref(&later), &second]);
        let edition = condensed_score(&score);
        assert_eq!(told(&edition, 1), [(ZERO, DirectionKind::Who("2.".into()), false)]);
    }

    #[test]
    fn both_halves_of_a_swell_stand_above_where_the_first_is_his_alone() {
        let fades = [
            (1, Time::QUARTER, StaffDirectionKind::HairpinStarts { grows: false }),
            (1, HALF, StaffDirectionKind::HairpinEnds),
        ];
        let starts = StaffDirectionKind::HairpinStarts { grows: true };
        let own = [(1, ZERO, starts), (1, Time::QUARTER, StaffDirectionKind::HairpinEnds)];
        let score = oboes(BELOW, [&[&own[..], &fades].concat(), &fades]);
        assert_eq!(pins(&condensed_score(&score)), [(1, 1, true), (1, 1, true), (1, 1, false)]);
    }

    #[test]
    fn the_first_has_his_hairpin_above_where_the_second_is_named_or_he_has_a_level_amid_it() {
        // The second comes in on the note that the first has already.
        let second = [&[says(1, Dynamic::P)][..], &grows(1, 2)].concat();
        let first = [&[says(0, Dynamic::P)][..], &grows(1, 2)].concat();
        let score = oboes("1/2 1/4 G5, 3/4 1/4 E5, 1/1 1/2 C5", [&first, &second]);
        assert_eq!(pins(&condensed_score(&score)), [(1, 2, true), (1, 2, false)]);
        // Both are told a level amid it; the second sets out from another.
        let amid = (1, Time::QUARTER, StaffDirectionKind::Dynamic(Dynamic::P));
        let swell = [&grows(1, 2)[..1], &[amid][..], &grows(1, 2)[1..]].concat();
        let second = [&[says(1, Dynamic::F)][..], &swell].concat();
        let score = oboes(BELOW, [&swell, &second]);
        assert_eq!(pins(&condensed_score(&score)), [(1, 2, true), (1, 2, false)]);
    }

    #[test]
    fn who_joins_in_a_held_note_as_loud_has_the_hairpin_with_him_who_holds_it() {
        let joined = |of| {
            let first = [&[says(1, Dynamic::Mf)][..], &grows(2, 3)].concat();
            let second = [&[says(2, of)][..], &grows(2, 3)].concat();
            let mut score = oboes("1/1 1/2 E5, 3/2 1/2 G5", [&first, &second]);
            if let ElementKind::Note(held) = &mut score.staves[0].measures[2].elements[0].kind {
                held.tie_from = true;
            }
            score
        };
        let score = joined(Dynamic::Mf);
        let edition = condensed_score(&score);
        assert_eq!(pins(&edition), [(2, 3, false)]);
        let both = (ZERO, DirectionKind::Who("a 2".into()), true);
        let mf = (ZERO, DirectionKind::Dynamic(Dynamic::Mf), false);
        assert_eq!(told(&edition, 2), [both, mf]);
        assert!(told(&edition, 3).is_empty(), "it is said once");
        assert_eq!(
            pins(&condensed_score(&joined(Dynamic::P))),
            [(2, 3, true), (2, 3, false)],
            "at another level"
        );
        // Who then strikes again while the other holds is no more one with him.
        let mut score = joined(Dynamic::Mf);
        let first = &mut score.staves[0].measures;
        if let ElementKind::Note(held) = &mut first[2].elements[0].kind {
            held.tie_to = true;
        }
        let second = (ZERO, DirectionKind::Who("2.".into()), false);
        assert_eq!(told(&condensed_score(&score), 2)[0], second);
    }

    #[test]
    fn who_comes_in_amid_the_crescendo_of_the_first_has_its_rest_with_him() {
        let first = [&[says(0, Dynamic::Pp)][..], &grows(1, 3)].concat();
        let second = [&[says(2, Dynamic::P)][..], &grows(2, 3)].concat();
        let score = oboes("1/1 1/2 C5, 3/2 1/2 E5", [&first, &second]);
        let edition = condensed_score(&score);
        assert_eq!(pins(&edition), [(1, 2, false), (2, 3, false)]);
        let second = (ZERO, DirectionKind::Who("2.".into()), false);
        let p = (ZERO, DirectionKind::Dynamic(Dynamic::P), false);
        assert_eq!(told(&edition, 2), [second, p], "the level is his alone");
    }

    #[test]
    fn with_a_hairpin_above_the_staff_stands_the_level_from_which_it_sets_out() {
        let first = [&[says(1, Dynamic::P)][..], &grows(1, 3)].concat();
        let score = oboes("1/1 1/2 C5, 3/2 1/2 E5", [&first, &[says(2, Dynamic::P)]]);
        let edition = condensed_score(&score);
        assert_eq!(pins(&edition), [(1, 3, true)]);
        assert_eq!(told(&edition, 1), [(ZERO, DirectionKind::Dynamic(Dynamic::P), true)]);
    }
}
