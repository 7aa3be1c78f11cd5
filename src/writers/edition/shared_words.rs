//! What is said on a staff that two players share, and to which of them.

use crate::music::{Pitch, TempoWords, Time};
use crate::notate::{Element, ElementKind, Measure, Origin, Staff, StaffDirectionKind};
use crate::resolve::{Dynamic, HALVES};

use super::condensed::{Way, are_halves, number, of_a_kind, rests};
use super::levels::Place;
use super::{DirectionKind, EditionDirection, StaffBar, levels, staves};

/// What is said to both, each thing once; where they are told different dynamics at once, those of
/// the first stand above the staff (everywhere in a bar in which they play `apart` from one another).
/// What the first `stays` at while the second alone is told a dynamic stands there too.
/// The same dynamic within a half note stands once. Who alone is told to take something else is named, and who
/// alone is told to pluck, to bow or to put on a mute, while he rests or on a stem that both have.
pub(super) fn said(
    way: Way,
    measures: [&Measure; 2],
    (apart, stays): (bool, Option<(Time, Dynamic)>),
    names: &[String; 2],
) -> Vec<EditionDirection> {
    let of = |who: usize| -> Vec<EditionDirection> {
        let all = measures[who].directions.iter().filter_map(staves::direction);
        let other: Vec<EditionDirection> =
            measures[1 - who].directions.iter().filter_map(staves::direction).collect();
        let told_both = |said: &EditionDirection| {
            other.iter().any(|one| (one.at, &one.kind) == (said.at, &said.kind))
        };
        let not_by_place = rests(measures[who]) || matches!(way, Way::Unison | Way::Chords);
        all.map(|said| match &said.kind {
            _ if told_both(&said) => said,
            DirectionKind::Change(words) => {
                let kind = DirectionKind::Change(format!("{} {words}", names[who]));
                EditionDirection { kind, ..said }
            }
            DirectionKind::Technique(technique) if not_by_place => {
                let said_to = format!("{} {}", names[who], technique.printed());
                let kind = DirectionKind::Who(said_to);
                EditionDirection { kind, ..said }
            }
            _ => said,
        })
        .collect()
    };
    match way {
        Way::Alone(who) => {
            let mut all = of(who);
            // Orders are for him who rests too.
            let order = |said: &EditionDirection| {
                !matches!(said.kind, DirectionKind::Dynamic(_) | DirectionKind::Words(_))
            };
            all.extend(of(1 - who).into_iter().filter(order));
            all.sort_by_key(|said| (said.at, stands(&said.kind)));
            all.dedup_by(|a, b| (a.at, &a.kind) == (b.at, &b.kind));
            all
        }
        _ => {
            let mut all = of(0);
            all.extend(stays.map(|(at, dynamic)| EditionDirection {
                at,
                kind: DirectionKind::Dynamic(dynamic),
                above: true,
                origin: Origin::default(),
            }));
            let loud = |said: &EditionDirection| matches!(said.kind, DirectionKind::Dynamic(_));
            let same = |a: &EditionDirection, b: &EditionDirection| match a.kind {
                DirectionKind::Dynamic(level) if a.kind == b.kind => {
                    levels::is_one(level, a.at, b.at) && !sets_out(measures, a.at, b.at)
                }
                _ => (a.at, &a.kind) == (b.at, &b.kind),
            };
            let second = of(1);
            let differ = apart
                || second.iter().any(|said| loud(said) && !all.iter().any(|own| same(own, said)));
            for own in all.iter_mut().filter(|own| differ && loud(own)) {
                own.above = true;
            }
            // A stress is of its note: under both it would be read as the second's too.
            for own in all.iter_mut().filter(|own| is_stress(&own.kind)) {
                let both = second.iter().any(|said| same(own, said));
                own.above |= !both && plays_at(measures[1], own.at);
            }
            let mut of_both = Vec::new();
            // When the second alone is told how loud to play.
            let told =
                second.iter().filter(|said| loud(said) && !all.iter().any(|own| same(own, said)));
            let told: Vec<Time> = told.map(|said| said.at).collect();
            for said in second {
                // One sign says it to both, when the first of them begins; but over the staff it would be read by
                // the first alone.
                let other = all.iter().position(|other| same(other, &said));
                if let Some(other) = other
                    && !(loud(&said) && (differ || of_both.contains(&other)))
                {
                    all[other].at = all[other].at.min(said.at);
                    of_both.push(other);
                    continue;
                }
                // How the second alone plays stands with his notes and dynamics.
                let own =
                    says_how_to_play(&said.kind) && (way == Way::Apart || told.contains(&said.at));
                all.push(EditionDirection { above: said.above && !own, ..said });
            }
            all.sort_by_key(|said| (said.at, stands(&said.kind)));
            all
        }
    }
}

/// Is it a dynamic of one note, as `sf` is, and `fp`?
fn is_stress(kind: &DirectionKind) -> bool {
    matches!(kind, DirectionKind::Dynamic(level) if level.lasting() != Some(*level))
}

/// Is one of two stressed alone while the other plays? On one stem nobody could tell who it is.
pub(super) fn stressed_alone(pair: [&Staff; 2], bar: usize) -> bool {
    let measures = pair.map(|staff| &staff.measures[bar]);
    let stresses = |measure: &Measure| -> Vec<(Time, DirectionKind)> {
        let said = measure.directions.iter().filter_map(staves::direction);
        said.filter(|said| is_stress(&said.kind)).map(|said| (said.at, said.kind)).collect()
    };
    let all = measures.map(stresses);
    (0..2).any(|who| {
        let of_both = |stress| all[1 - who].contains(stress);
        let alone = all[who].iter().filter(|stress| !of_both(stress));
        alone.into_iter().any(|(at, _)| plays_at(measures[1 - who], *at))
    })
}

/// Does a player begin a note or hold one at a time of a bar?
fn plays_at(measure: &Measure, at: Time) -> bool {
    measure.elements.iter().any(|element| {
        let over = element.at <= at && at < element.at + element.length;
        matches!(element.kind, ElementKind::Note(_)) && over
    })
}

/// Is it of a player's own way to play, not of everybody's tempo?
fn says_how_to_play(kind: &DirectionKind) -> bool {
    match kind {
        DirectionKind::Technique(_) => true,
        DirectionKind::Words(words) => TempoWords::said(words).is_none(),
        _ => false,
    }
}

/// At one place orders stand first, then who plays and in what way, then words of expression together, as in a part.
fn stands(kind: &DirectionKind) -> u8 {
    match kind {
        DirectionKind::Change(_) | DirectionKind::CueName(_) => 0,
        DirectionKind::Who(_) => 1,
        DirectionKind::Technique(_) => 2,
        DirectionKind::Words(_) | DirectionKind::Chord(_) | DirectionKind::Figures(_) => 3,
        DirectionKind::Dynamic(_) => 4,
    }
}

/// Of two who are told the same, does the later one come to it by a hairpin that sets out where the first is told it,
/// or thereafter?
fn sets_out(measures: [&Measure; 2], first: Time, second: Time) -> bool {
    let (measure, span) = match first < second {
        true => (measures[1], first..second),
        false => (measures[0], second..first),
    };
    measure.directions.iter().any(|said| {
        matches!(said.kind, StaffDirectionKind::HairpinStarts { .. }) && span.contains(&said.at)
    })
}

/// What tells two players apart who share a staff: "1.", "2."; "Vc.", "Db."
pub(super) fn names(pair: [&Staff; 2]) -> [String; 2] {
    if are_halves(pair[0], pair[1]) {
        return HALVES.map(str::to_owned);
    }
    let kind = of_a_kind(pair[0], pair[1]);
    pair.map(|staff| match kind {
        true => format!("{}.", number(staff).unwrap_or(1)),
        false => staff.abbreviation.clone(),
    })
}

/// Says who plays where that changes: "1.", "2.", "a 2". Chords and two voices say it themselves, but
/// for those of cello and bass, who are named where they part, and for him who comes in on a note that the
/// other has already: one head would be all that is seen of him. Where the second does, and from there both go on
/// `together`, as loud and with one hairpin, "a 2" says that this is for both.
pub(super) fn label(
    pair: [&Staff; 2],
    ways: &[Way],
    together: &dyn Fn(Place) -> bool,
    bars: &mut [StaffBar],
) {
    let kind = of_a_kind(pair[0], pair[1]);
    let [one, two] = names(pair);
    let both = if kind { "a 2".to_string() } else { format!("{one}, {two}") };
    let numbers = [one, two];
    // What stands before the staff says that cellos and basses play it.
    let mut before = if kind { Way::Rest } else { Way::Unison };
    let mut rested = 0;
    for (index, (way, bar)) in ways.iter().zip(bars).enumerate() {
        if *way == Way::Rest {
            rested += 1;
            continue;
        }
        let words = match way {
            Way::Alone(who) => Some(numbers[*who].as_str()),
            Way::Unison => Some(both.as_str()),
            _ => None,
        };
        // After a bar of rest or more it is said again.
        let anew = *way != before || (rested > 0 && (kind || *way != Way::Unison));
        let first = bar.voices.iter().flat_map(|voice| voice.elements.iter());
        let mut first = first.filter(|element| matches!(element.kind, ElementKind::Note(_)));
        let at = first.next().map_or(Time::ZERO, |element| element.at);
        // What stands before the staff says it of cellos and basses in every system.
        let stands = !kind && *way == Way::Unison;
        bar.who = words.filter(|_| !stands).map(|words| (at, DirectionKind::Who(words.to_owned())));
        let joins = match (before, way) {
            (Way::Alone(other), Way::Apart) if kind => joins_at(bar, 1 - other),
            _ => None,
        };
        let as_one =
            joins.is_some_and(|(at, who)| who == 1 && together((index, at)) && same_from(bar, at));
        let mut say = |at: Time, words: &str, above: bool| {
            let place = bar.directions.partition_point(|said| said.at < at);
            let kind = DirectionKind::Who(words.into());
            let said = EditionDirection { at, kind, above, origin: Origin::default() };
            bar.directions.insert(place, said);
        };
        if let Some(words) = words.filter(|_| anew) {
            say(at, words, true);
        }
        if *way == Way::Apart && anew && !kind {
            for (place, (name, voice)) in numbers.iter().zip(&bar.voices).enumerate() {
                let sounds = |one: &&Element| matches!(one.kind, ElementKind::Note(_));
                let first = voice.elements.iter().find(sounds).map(|element| element.at);
                say(first.unwrap_or(at), name, place == 0);
            }
        }
        before = *way;
        if let Some((at, who)) = joins.filter(|_| rested == 0) {
            if as_one {
                say(at, &both, true);
                before = Way::Unison;
            } else {
                say(at, &numbers[who], who == 0);
            }
        }
        rested = 0;
    }
}

/// When one of two voices of a bar begins on the same written note as the other has at that time, and which one.
fn joins_at(bar: &StaffBar, who: usize) -> Option<(Time, usize)> {
    let heads = |element: &Element| match &element.kind {
        ElementKind::Note(note) => note.heads.iter().map(|head| head.pitch).collect(),
        _ => Vec::new(),
    };
    let sounds = |one: &&Element| matches!(one.kind, ElementKind::Note(_));
    let first = bar.voices.get(who)?.elements.iter().find(sounds)?;
    let covers = |one: &&Element| one.at <= first.at && first.at < one.at + one.length;
    let other = bar.voices.get(1 - who)?.elements.iter().filter(covers).find(sounds)?;
    (heads(first) == heads(other)).then_some((first.at, who))
}

/// Have both voices of a bar the same notes from a time on, struck or held, and go on with them alike?
fn same_from(bar: &StaffBar, from: Time) -> bool {
    let notes = |who: usize| {
        let elements = bar.voices.get(who).map_or(&[][..], |voice| &voice.elements[..]);
        elements.iter().filter(|one| one.at + one.length > from).map(|one| {
            let (heads, goes_on): (Vec<Pitch>, bool) = match &one.kind {
                ElementKind::Note(note) => {
                    (note.heads.iter().map(|head| head.pitch).collect(), note.tie_to)
                }
                _ => (Vec::new(), false),
            };
            (one.at.max(from), one.at + one.length, heads, goes_on)
        })
    };
    notes(0).eq(notes(1))
}
