//! What two who share a staff have in hand, bar by bar.
//!
//! Each of two players has what he takes from where he is told to take it, in a rest of his own, and those may
//! begin in different bars. On one staff both have the new instrument, key or crook from one bar on, before
//! which the one who has it already rests, and from which the other rests.

use crate::instruments::Instrument;
use crate::music::{Interval, Key};
use crate::notate::{Measure, Staff};

/// What a player has in hand in a bar.
#[derive(Clone, Copy)]
struct Hand {
    instrument: &'static Instrument,
    transposition: Option<Interval>,
    key: Option<Key>,
}

impl PartialEq for Hand {
    fn eq(&self, other: &Hand) -> bool {
        self.instrument.id == other.instrument.id
            && self.transposition == other.transposition
            && self.key == other.key
    }
}

fn hands(staff: &Staff) -> Vec<Hand> {
    let first = Hand { instrument: staff.instrument, transposition: None, key: None };
    let taken = |hand: &mut Hand, measure: &Measure| {
        hand.instrument = measure.instrument.unwrap_or(hand.instrument);
        hand.transposition = measure.transposition.or(hand.transposition);
        hand.key = measure.key.or(hand.key);
        Some(*hand)
    };
    staff.measures.iter().scan(first, taken).collect()
}

/// What is printed of a bar of a shared staff before its notes.
#[derive(Clone, Copy, Default, PartialEq, Debug)]
pub(super) struct Taken {
    pub(super) instrument: Option<&'static Instrument>,
    pub(super) transposition: Option<Interval>,
    pub(super) key: Option<Key>,
}

impl Taken {
    fn of(measure: &Measure) -> Taken {
        let Measure { instrument, transposition, key, .. } = *measure;
        Taken { instrument, transposition, key }
    }
}

/// What one player takes, bar by bar.
pub(super) fn own(staff: &Staff) -> Vec<Taken> {
    staff.measures.iter().map(Taken::of).collect()
}

/// What two players who read the same instruments in the same keys take, bar by bar; `None` if they do not.
pub(super) fn taken(pair: [&Staff; 2]) -> Option<Vec<Taken>> {
    let [first, second] = pair.map(|staff| &staff.measures);
    let alike = |(a, b): (&Measure, &Measure)| {
        a.key == b.key
            && a.transposition == b.transposition
            && a.instrument.map(|i| &*i.id) == b.instrument.map(|i| &*i.id)
    };
    if !std::ptr::eq(pair[0].instrument, pair[1].instrument) {
        return None;
    }
    if first.iter().zip(second).all(alike) {
        return Some(own(pair[0]));
    }
    let hands = pair.map(hands);
    let whose = whose(pair, [&hands[0], &hands[1]])?;
    let bars = whose.iter().enumerate().map(|(bar, &who)| {
        let before = bar.checked_sub(1).filter(|before| whose[*before] != who);
        let Some(before) = before else { return Taken::of(&pair[who].measures[bar]) };
        // From one player's pages to the other's.
        let (old, new) = (hands[whose[before]][before], hands[who][bar]);
        let other = !std::ptr::eq(old.instrument, new.instrument);
        Taken {
            instrument: other.then_some(new.instrument),
            transposition: new.transposition.filter(|_| old.transposition != new.transposition),
            key: new.key.filter(|_| old.key != new.key),
        }
    });
    Some(bars.collect())
}

/// By whose pages (0 or 1) each bar of a shared staff goes: where they differ, by those of the one who has yet to
/// take something, up to the first bar from which on he rests, or in which the other plays.
fn whose(pair: [&Staff; 2], hands: [&[Hand]; 2]) -> Option<Vec<usize>> {
    let bars = hands[0].len().min(hands[1].len());
    let rests = |who: usize, bar: usize| super::condensed::rests(&pair[who].measures[bar]);
    let mut whose = vec![0; bars];
    let mut bar = 0;
    while bar < bars {
        if hands[0][bar] == hands[1][bar] {
            bar += 1;
            continue;
        }
        let end = (bar..bars).find(|at| hands[0][*at] == hands[1][*at]).unwrap_or(bars);
        let before = bar.checked_sub(1)?;
        let changes = |who: usize| hands[who][bar] != hands[who][before];
        let early = match [changes(0), changes(1)] {
            [true, false] => 0,
            [false, true] => 1,
            _ => return None,
        };
        let late = 1 - early;
        let from = (bar..end).find(|at| !rests(early, *at)).unwrap_or(end);
        if !(from..end).all(|at| rests(late, at)) {
            return None;
        }
        whose[bar..from].fill(late);
        whose[from..end].fill(early);
        // Alike again, by the pages of either.
        bar = end;
    }
    Some(whose)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, clarinet, oboe};

    /// Instruments, transpositions and signatures of a shared staff, where they change.
    fn shared(first: &str, second: &str) -> Option<String> {
        let score = Fixture::new(&["4/4"; 8]).takes("5/1", clarinet()).notes(first);
        let score = score.part(oboe()).takes("5/1", clarinet()).notes(second).score();
        let taken = taken([&score.staves[0], &score.staves[1]])?;
        let told = taken.iter().zip(1..).filter(|(taken, _)| **taken != Taken::default());
        let told = told.map(|(taken, bar)| {
            let (by, key) = (taken.transposition.unwrap(), taken.key.unwrap());
            format!("{bar}: {} {}", by.semitones, key.fifths())
        });
        Some(told.collect::<Vec<_>>().join(", "))
    }

    #[test]
    fn two_who_take_the_same_in_different_bars_have_it_from_one_bar_on() {
        let alike = "0/1 1/1 C5, 6/1 1/1 C5";
        assert_eq!(shared(alike, alike).unwrap(), "1: 0 0, 2: -2 2");
        // The second plays on, then takes it too.
        let longer = "0/1 4/1 C5, 6/1 1/1 C5";
        assert_eq!(shared(alike, longer).unwrap(), "1: 0 0, 5: -2 2");
        assert_eq!(shared(longer, alike).unwrap(), "1: 0 0, 5: -2 2");
        // The first plays on it while the second plays on the other.
        let score = Fixture::new(&["4/4"; 8]).takes("5/1", clarinet()).notes(alike);
        let score = score.part(oboe()).notes("0/1 8/1 C5").score();
        assert!(taken([&score.staves[0], &score.staves[1]]).is_none());
    }
}
