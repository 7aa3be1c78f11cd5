//! How loud two players are who share a staff: where they are told different things, and where one
//! hairpin says it to both.

use std::borrow::Cow;
use std::ops::Range;

use crate::music::Time;
use crate::notate::{ElementKind, Measure, Staff, StaffDirectionKind};
use crate::resolve::Dynamic;

use super::{Spanner, SpannerKind, spans};

/// A dynamic with its bar and its time in it.
pub(super) type Told = (usize, Time, Dynamic);

/// The dynamics of a player, in order.
pub(super) fn dynamics(staff: &Staff) -> Vec<Told> {
    let bars = staff.measures.iter().enumerate();
    bars.flat_map(|(bar, measure)| {
        measure.directions.iter().filter_map(move |said| match said.kind {
            StaffDirectionKind::Dynamic(dynamic) => Some((bar, said.at, dynamic)),
            _ => None,
        })
    })
    .collect()
}

/// A bar and a time in it.
pub(super) type Place = (usize, Time);

/// Does a dynamic at two times of a bar stand once, for both players? Within a half note (our heuristic), unless it is
/// a stress: that is of its note.
pub(super) fn is_one(dynamic: Dynamic, a: Time, b: Time) -> bool {
    a == b || dynamic.lasting() == Some(dynamic) && a.max(b) - a.min(b) <= Time::QUARTER * 2
}

/// A hairpin's beginning, end and way.
pub(super) fn ends(span: &Spanner) -> Option<(Place, Place, bool)> {
    match span.kind {
        SpannerKind::Hairpin { from, to, grows } => Some((from, to, grows)),
        _ => None,
    }
}

/// For each bar, do both play at once in it at levels that differ, as far as they were told any? What a
/// hairpin has come to is not known until the next dynamic.
pub(super) fn told_apart(pair: [&Staff; 2]) -> Vec<bool> {
    let mut levels: [Option<Dynamic>; 2] = [None; 2];
    let bars = pair[0].measures.iter().zip(&pair[1].measures);
    bars.map(|(first, second)| {
        let mut said: Vec<(Time, usize, Option<Dynamic>)> = Vec::new();
        for (who, measure) in [first, second].into_iter().enumerate() {
            said.extend(measure.directions.iter().filter_map(|said| match said.kind {
                StaffDirectionKind::Dynamic(dynamic) => {
                    Some((said.at, who, Some(dynamic.lasting()?)))
                }
                StaffDirectionKind::HairpinStarts { .. } | StaffDirectionKind::HairpinEnds => {
                    Some((said.at, who, None))
                }
                _ => None,
            }));
        }
        said.sort_by_key(|(at, who, _)| (*at, *who));
        let mut apart = false;
        let mut play = |levels: [Option<Dynamic>; 2], span: Range<Time>| {
            let play = [first, second].iter().all(|measure| sounds(measure, &span));
            apart |= matches!(levels, [Some(a), Some(b)] if a != b) && play;
        };
        let first_told = said.first().map_or(Time::MAX, |said| said.0);
        play(levels, Time::ZERO..first_told);
        let mut places = said.chunk_by(|a, b| a.0 == b.0).peekable();
        while let Some(place) = places.next() {
            // Whoever is told a dynamic from which a hairpin sets out begins at it.
            let mut begin = levels;
            for &(_, who, level) in place {
                begin[who] = level.or(begin[who]);
                levels[who] = level;
            }
            let until = places.peek().map_or(Time::MAX, |next| next[0].0);
            let told = place.iter().any(|(_, _, level)| level.is_some());
            play(if told { begin } else { levels }, place[0].0..until);
        }
        apart
    })
    .collect()
}

/// For each bar, what the first of two is to play on at, and from which of his notes on, where the second alone
/// is told another level, or alone grows or fades: under both, that would be read as the first's too; on a note that he
/// holds, where the second is told it. Nothing where the first is in a hairpin, or rests from there on. It stands with
/// his notes, as what he alone is told does (our heuristic).
pub(super) fn first_stays(
    pair: [&Staff; 2],
    alone: &[(Place, Place)],
) -> Vec<Option<(Time, Dynamic)>> {
    let mut level = None;
    // Where the first was told last what the second was not.
    let mut own_since: Option<Place> = None;
    let bars = pair[0].measures.iter().zip(&pair[1].measures).enumerate();
    bars.map(|(bar, (first, second))| {
        let told = |measure: &Measure| -> Vec<(Time, Option<Dynamic>)> {
            let told = measure.directions.iter().filter_map(|said| match said.kind {
                StaffDirectionKind::Dynamic(dynamic) => Some((said.at, Some(dynamic.lasting()?))),
                StaffDirectionKind::HairpinStarts { .. } | StaffDirectionKind::HairpinEnds => {
                    Some((said.at, None))
                }
                _ => None,
            });
            told.collect()
        };
        let (own, other) = (told(first), told(second));
        let held = level;
        level = own.last().map_or(held, |last| last.1);
        let until_own = own.first().map_or(Time::MAX, |told| told.0);
        let stays = held.and_then(|held| {
            // What he would read as his: from when, until when. In a hairpin, or at what it has come to, he may
            // well be as loud.
            let levels = other.iter().enumerate().filter_map(|(place, &(at, level))| {
                level.filter(|level| *level != held)?;
                let again = other[place..].iter().find(|told| told.1 == Some(held));
                Some((at, again.map_or(Time::MAX, |told| told.0)))
            });
            let pins = alone.iter().filter_map(|&(from, to)| {
                let here = (from.0..=to.0).contains(&bar);
                let known = from.0 < bar && own_since.is_some_and(|since| since >= from);
                let until = if to.0 == bar { to.1 } else { Time::MAX };
                let since = if from.0 == bar { from.1 } else { Time::ZERO };
                (here && !known).then_some((since, until))
            });
            let mut wrong: Vec<(Time, Time)> = levels.chain(pins).collect();
            wrong.sort();
            let at = wrong.into_iter().find_map(|(at, until)| {
                let since = sounding(first, &(at..until.min(until_own))).next();
                since.map(|since| since.max(at))
            });
            at.map(|at| (at, held))
        });
        let since = own.last().map(|told| told.0).max(stays.map(|stays| stays.0));
        own_since = since.map(|at| (bar, at)).or(own_since);
        stays
    })
    .collect()
}

/// When the notes begin that a player begins or holds somewhere between two times of a bar.
pub(super) fn sounding<'a>(
    measure: &'a Measure,
    span: &Range<Time>,
) -> impl Iterator<Item = Time> + use<'a> {
    let Range { start, end } = *span;
    let notes = measure.elements.iter().filter(move |element| {
        let over = element.at < end && element.at + element.length > start;
        matches!(element.kind, ElementKind::Note(_)) && over && start < end
    });
    notes.map(|element| element.at)
}

/// Does a player begin a note or hold one somewhere between two times of a bar?
fn sounds(measure: &Measure, span: &Range<Time>) -> bool {
    sounding(measure, span).next().is_some()
}

/// Two players as they are read on one staff: who rests at the end of a crescendo is not told its goal under his last
/// note, where the other is told the same a bar later at the most. One sign says it to both.
pub(super) fn read_together<'a>(pair: [&'a Staff; 2]) -> [Cow<'a, Staff>; 2] {
    let pins = pair.map(|staff| spans::hairpins(&staff.measures));
    let told = pair.map(dynamics);
    let early = |who: usize| -> Vec<Told> {
        let others: Vec<_> = pins[1 - who].iter().filter_map(ends).collect();
        let is_early = |&(bar, at, level): &Told| {
            pins[who].iter().filter_map(ends).any(|(from, to, grows)| {
                let later = |&(begin, end, also): &(Place, Place, bool)| {
                    let on = (begin, also) == (from, grows) && end > to && end.0 <= bar + 1;
                    // At the bar line it stands in the bar that ends there.
                    let goal = |said: &Told| {
                        said.2 == level && (said.0, said.1) > (bar, at) && said.0 <= end.0 + 1
                    };
                    on && told[1 - who].iter().any(goal)
                };
                grows && to == (bar, at) && others.iter().any(later)
            })
        };
        told[who].iter().filter(|said| is_early(said)).copied().collect()
    };
    let read = |who: usize| {
        let early = early(who);
        if early.is_empty() {
            return Cow::Borrowed(pair[who]);
        }
        let mut staff = pair[who].clone();
        for (bar, at, level) in early {
            let goal = StaffDirectionKind::Dynamic(level);
            staff.measures[bar].directions.retain(|said| said.at != at || said.kind != goal);
        }
        Cow::Owned(staff)
    };
    [read(0), read(1)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edition::{Edition, condensed_score};
    use crate::notate::testing::{Fixture, oboe};
    use crate::notate::{Origin, Score, StaffDirection};

    fn oboes(said: [&[(usize, Time, StaffDirectionKind)]; 2]) -> Score {
        let notes = "0/1 1/2 E5, 1/2 1/2 G5, 1/1 1/2 E5, 3/2 1/2 G5";
        let below = "0/1 1/2 C5, 1/2 1/2 E5, 1/1 1/2 C5, 3/2 1/2 E5";
        let mut score = Fixture::new(&["2/4"; 4]).notes(notes).part(oboe()).notes(below).score();
        for ((staff, number), said) in score.staves.iter_mut().zip(1..).zip(said) {
            staff.id = format!("oboe.{number}");
            for (bar, at, kind) in said {
                staff.measures[*bar].directions.push(StaffDirection {
                    at: *at,
                    kind: kind.clone(),
                    origin: Origin::default(),
                });
            }
        }
        score
    }

    fn voices(edition: &Edition) -> Vec<usize> {
        edition.staves[0].bars.iter().map(|bar| bar.voices.len()).collect()
    }

    #[test]
    fn who_is_told_another_dynamic_has_a_stem_of_his_own() {
        use StaffDirectionKind::Dynamic as Says;
        let zero = Time::ZERO;
        let score = oboes([
            &[(0, zero, Says(Dynamic::P)), (1, zero, Says(Dynamic::F))],
            &[(0, zero, Says(Dynamic::P)), (3, zero, Says(Dynamic::F))],
        ]);
        let edition = condensed_score(&score);
        assert_eq!(voices(&edition), [1, 2, 2, 1]);
        let above: Vec<bool> =
            edition.staves[0].bars[1].directions.iter().map(|said| said.above).collect();
        assert_eq!(above, [true], "what the first alone is told stands with his notes");
    }

    #[test]
    fn what_both_are_told_stands_with_each_where_they_part_in_the_bar() {
        use StaffDirectionKind::Dynamic as Says;
        let (zero, late) = (Time::ZERO, Time::of(1, 2));
        let loud = |first: &[(usize, Time, StaffDirectionKind)], second: &[_]| -> Vec<_> {
            let score = oboes([first, second]);
            let edition = condensed_score(&score);
            let said = edition.staves[0].bars[0].directions.iter();
            said.map(|said| (said.at, said.kind.clone(), said.above)).collect()
        };
        let dynamic = crate::edition::DirectionKind::Dynamic;
        let p = (0, zero, Says(Dynamic::P));
        let first = [p.clone(), (0, Time::QUARTER, Says(Dynamic::F))];
        assert_eq!(
            loud(&first, std::slice::from_ref(&p)),
            [
                (zero, dynamic(Dynamic::P), true),
                (zero, dynamic(Dynamic::P), false),
                (Time::QUARTER, dynamic(Dynamic::F), true)
            ]
        );
        // Stresses are of their notes.
        let stress = |at| [(0, at, Says(Dynamic::Sf))];
        let sf = dynamic(Dynamic::Sf);
        assert_eq!(loud(&stress(zero), &stress(zero)), [(zero, sf.clone(), false)]);
        let each = [(zero, sf.clone(), true), (late, sf, false)];
        assert_eq!(loud(&stress(zero), &stress(late)), each);
    }

    #[test]
    fn who_plays_on_as_before_is_told_so_where_the_other_alone_is_told_something() {
        use StaffDirectionKind::Dynamic as Says;
        let zero = Time::ZERO;
        let score = oboes([
            &[(0, zero, Says(Dynamic::P))],
            &[(0, zero, Says(Dynamic::P)), (2, zero, Says(Dynamic::F))],
        ]);
        let edition = condensed_score(&score);
        let said: Vec<_> = edition.staves[0].bars[2]
            .directions
            .iter()
            .map(|said| (said.kind.clone(), said.above))
            .collect();
        let dynamic = crate::edition::DirectionKind::Dynamic;
        assert_eq!(said, [(dynamic(Dynamic::P), true), (dynamic(Dynamic::F), false)]);
    }

    #[test]
    fn the_first_keeps_his_level_whatever_the_second_is_told_before_and_behind_it() {
        use StaffDirectionKind::Dynamic as Says;
        let zero = Time::ZERO;
        let told = |notes: &str, level, second: &[(usize, Time, StaffDirectionKind)]| {
            let below = "0/1 1/2 C5, 1/2 1/2 E5, 1/1 1/4 C5, 5/4 1/4 D5, 3/2 1/2 E5";
            let fixture = Fixture::new(&["2/4"; 4]).notes(notes).part(oboe()).notes(below);
            let mut score = fixture.score();
            for (staff, number) in score.staves.iter_mut().zip(1..) {
                staff.id = format!("oboe.{number}");
                let own = (0, zero, Says(level));
                let said = if number == 1 { &[][..] } else { second };
                for (bar, at, kind) in std::iter::once(&own).chain(said).cloned() {
                    let said = StaffDirection { at, kind, origin: Origin::default() };
                    staff.measures[bar].directions.push(said);
                }
            }
            let edition = condensed_score(&score);
            let above = edition.staves[0].bars[2].directions.iter().filter(|said| said.above);
            above.map(|said| (said.at, said.kind.clone())).collect::<Vec<_>>()
        };
        let dynamic = |at, level| [(at, crate::edition::DirectionKind::Dynamic(level))];
        // The second comes back to the level of the first within the bar.
        let there = [(2, zero, Says(Dynamic::P)), (2, Time::QUARTER, Says(Dynamic::Mf))];
        let notes = "0/1 1/2 E5, 1/2 1/2 G5, 1/1 1/4 E5, 5/4 1/4 F5, 3/2 1/2 G5";
        assert_eq!(told(notes, Dynamic::Mf, &there), dynamic(zero, Dynamic::Mf));
        // The first enters where the second grows already.
        let starts = StaffDirectionKind::HairpinStarts { grows: true };
        let eighth = Time::of(1, 8);
        let ends = StaffDirectionKind::HairpinEnds;
        let grows = [(2, zero, Says(Dynamic::P)), (2, eighth, starts), (3, Time::of(1, 2), ends)];
        let enters = "0/1 1/2 E5, 5/4 1/4 F5, 3/2 1/2 G5";
        assert_eq!(told(enters, Dynamic::Pp, &grows), dynamic(Time::QUARTER, Dynamic::Pp));
    }

    #[test]
    fn who_enters_at_once_or_soon_as_loud_as_the_other_is_told_by_one_sign() {
        use StaffDirectionKind::Dynamic as Says;
        let told = |first: &str, second: &str, at: (usize, Time)| -> Vec<Vec<bool>> {
            let fixture = Fixture::new(&["4/4"; 4]).notes(first).part(oboe()).notes(second);
            let mut score = fixture.score();
            for (staff, number) in score.staves.iter_mut().zip(1..) {
                staff.id = format!("oboe.{number}");
            }
            for (staff, (bar, at)) in score.staves.iter_mut().zip([(0, Time::ZERO), at]) {
                let (kind, origin) = (Says(Dynamic::Mf), Origin::default());
                staff.measures[bar].directions.push(StaffDirection { at, kind, origin });
            }
            let edition = condensed_score(&score);
            let bars = edition.staves[0].bars.iter();
            bars.map(|bar| {
                let loud = |said: &&crate::edition::EditionDirection| {
                    matches!(said.kind, crate::edition::DirectionKind::Dynamic(_))
                };
                bar.directions.iter().filter(loud).map(|said| said.above).collect()
            })
            .collect()
        };
        let held = "0/1 3/1 G5";
        let none = Vec::new();
        let half = (0, Time::QUARTER * 2);
        let once = [vec![false], none.clone(), none.clone(), none.clone()];
        assert_eq!(told(held, "1/2 1/2 E5", half), once);
        // Later each has his own, the first above his notes.
        let late = (0, Time::QUARTER * 3);
        let each = [vec![true, false], none.clone(), none.clone(), none.clone()];
        assert_eq!(told(held, "3/4 1/4 E5", late), each);
        // In another bar, the second has his.
        let each = [vec![false], vec![false], none.clone(), none];
        assert_eq!(told(held, "1/1 1/2 E5", (1, Time::ZERO)), each);
    }

    #[test]
    fn who_enters_while_the_other_grows_has_a_dynamic_and_a_hairpin_of_his_own() {
        let grows = StaffDirectionKind::HairpinStarts { grows: true };
        let zero = Time::ZERO;
        let says = |bar, dynamic| (bar, zero, StaffDirectionKind::Dynamic(dynamic));
        let pin = |bar| {
            [(bar, zero, grows.clone()), (2, Time::of(1, 2), StaffDirectionKind::HairpinEnds)]
        };
        let first = [&[says(0, Dynamic::P)][..], &pin(1)].concat();
        let second = [&[says(2, Dynamic::P)][..], &pin(2)].concat();
        let score = oboes([&first, &second]);
        let edition = condensed_score(&score);
        let pins = edition.staves[0].spans.iter();
        let pins: Vec<_> =
            pins.filter_map(|pin| super::ends(pin).map(|(from, ..)| (from.0, pin.above))).collect();
        assert_eq!(pins, [(1, true), (2, false)]);
    }

    #[test]
    fn hairpins_that_begin_together_are_one() {
        let (starts, ends) =
            (StaffDirectionKind::HairpinStarts { grows: false }, StaffDirectionKind::HairpinEnds);
        let zero = Time::ZERO;
        let half = Time::of(1, 2);
        let said = |to: usize| vec![(0, zero, starts.clone()), (to, half, ends.clone())];
        let (long, short) = (said(3), said(2));
        let score = oboes([&short, &long]);
        let edition = condensed_score(&score);
        let pins: Vec<_> = edition.staves[0].spans.iter().filter_map(super::ends).collect();
        assert_eq!(pins, [((0, zero), (3, half), false)]);
        assert!(edition.staves[0].spans.iter().all(|span| !span.above));
        let mut told = long.clone();
        told.insert(1, (1, zero, StaffDirectionKind::Dynamic(Dynamic::P)));
        let score = oboes([&told, &short]);
        assert_eq!(condensed_score(&score).staves[0].spans.len(), 1, "only the second is longer");
    }

    #[test]
    fn a_goal_that_one_reads_before_his_rest_and_the_other_soon_after_stands_once() {
        let zero = Time::ZERO;
        let says = |bar, at, dynamic| (bar, at, StaffDirectionKind::Dynamic(dynamic));
        let pin = |bar, at| {
            let grows = StaffDirectionKind::HairpinStarts { grows: true };
            [(1, zero, grows), (bar, at, StaffDirectionKind::HairpinEnds)]
        };
        let half = Time::of(1, 2);
        let long = [&[says(0, zero, Dynamic::P)][..], &pin(2, half), &[says(3, zero, Dynamic::F)]];
        let short = |goal| {
            let quarter = Time::of(1, 4);
            let pin = pin(2, quarter);
            [&[says(0, zero, Dynamic::P)][..], &pin, &[says(2, quarter, goal)]].concat()
        };
        let told = |goal| {
            let score = oboes([&long.concat(), &short(goal)]);
            let edition = condensed_score(&score);
            let staff = &edition.staves[0];
            let bars = staff.bars.iter().enumerate();
            let said = bars.flat_map(|(bar, measure)| {
                let loud = measure
                    .directions
                    .iter()
                    .filter(|said| matches!(said.kind, crate::edition::DirectionKind::Dynamic(_)));
                loud.map(move |_| bar)
            });
            (said.collect::<Vec<_>>(), staff.spans.iter().filter_map(super::ends).count())
        };
        assert_eq!(told(Dynamic::F), (vec![0, 3], 1));
        assert_eq!(told(Dynamic::Mf), (vec![0, 2, 3], 2), "they come to different levels");
    }
}
