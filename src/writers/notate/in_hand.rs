//! What a player has in hand, as he reads it.
//!
//! A scoring says from which bar on somebody has another instrument, key or crook; he is told to take it
//! where he can, in the rest before his next note ([`names::changes_told`]). From there on his pages are
//! those of what he has then: a signature that changed later would change unexplained, and one that
//! belongs to what he has put down would be read by nobody. (Common practice.)

use std::borrow::Cow;

use crate::arrange::Part;
use crate::music::Time;

use super::{FrameBar, jumps, names};

/// A part with its instruments, keys and crooks from where on its player has them in hand: from the place at
/// which he is told to take them, or from the beginning where he has played nothing before. What he puts down again
/// without having played on it, or takes after his last note, he never has in hand. The first instrument stays
/// that which he is called by, even where he takes another at once.
pub(crate) fn as_read<'a>(part: &'a Part, frame: &[FrameBar]) -> Cow<'a, Part> {
    let changes: Vec<Time> = names::changes(part);
    if changes.is_empty() {
        return Cow::Borrowed(part);
    }
    let mut instruments = vec![(Time::ZERO, part.first_instrument())];
    let mut tunings: Vec<_> =
        part.tuning_at(Time::ZERO).map(|tuning| (Time::ZERO, tuning)).into_iter().collect();
    let mut changes = &changes[..];
    while let [at, ..] = *changes {
        let next = part.notes.partition_point(|note| note.start() < at);
        let before = next.checked_sub(1).map(|last| part.notes[last].end());
        let held = before.is_some_and(|free| at < free);
        let enters = part.notes.get(next).map(|note| note.start());
        let (from, sounds) = match (before, enters) {
            (_, None) if !held => break,
            // He changes within a note, as he is told to.
            (_, _) if held => (at, at),
            (None, enters) => (Time::ZERO, enters.unwrap_or(at)),
            (Some(free), enters) => {
                let enters = enters.unwrap_or(at);
                (taken_from(part, frame, (free, at, enters)), enters)
            }
        };
        changes = &changes[changes.partition_point(|again| *again <= sounds)..];
        let hand = part.instrument_at(sounds);
        let changed = instruments.last().is_none_or(|(_, old)| !std::ptr::eq(*old, hand));
        if changed {
            instruments.push((from, hand));
        }
        let Some(tuning) = part.tuning_at(sounds) else { continue };
        if from == Time::ZERO {
            tunings.clear();
        }
        if changed || tunings.last().is_none_or(|(_, old)| !std::ptr::eq(*old, tuning)) {
            tunings.push((from, tuning));
        }
    }
    Cow::Owned(Part { instruments, tunings, ..part.clone() })
}

/// From when on a player has what he takes with a bar, between the end of a note and the next one: from where he
/// is told. What is played again is played in the old way, so not before the end of a repeat; and on the way to
/// a coda that is played in the old way, not before that way is left.
fn taken_from(part: &Part, frame: &[FrameBar], (free, at, enters): (Time, Time, Time)) -> Time {
    let told = names::resting_place(frame, free, enters);
    let told = match jumps::leaves(part, frame, (told, enters)) {
        Some((left, _)) => names::resting_place(frame, left, enters),
        None => told,
    };
    match names::replayed(frame, free, enters) {
        Some(ends) if ends > enters => at,
        Some(ends) => told.max(ends),
        None => told,
    }
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, clarinet, natural_horn};
    use crate::notate::{Score, Staff};

    /// Bars with another transposition or instrument, and the signatures, in order.
    fn read(score: &Score) -> String {
        let Staff { measures, instrument, .. } = &score.staves[0];
        let mut said = vec![instrument.name.clone()];
        for (measure, bar) in measures.iter().zip(1..) {
            let taken = measure.instrument.map(|taken| taken.name.clone());
            let moved = measure.transposition.map(|by| by.semitones.to_string());
            let key = measure.key.map(|key| format!("key {}", key.fifths()));
            let all: Vec<String> = taken.into_iter().chain(moved).chain(key).collect();
            if !all.is_empty() {
                said.push(format!("{bar}: {}", all.join(" ")));
            }
        }
        said.join(", ")
    }

    #[test]
    fn what_is_taken_is_in_hand_from_where_the_player_is_told() {
        let score =
            |notes: &str| Fixture::new(&["4/4"; 8]).takes("5/1", clarinet()).notes(notes).score();
        // He rests from the second bar on, and is told there.
        let told = score("0/1 1/1 C5, 7/1 1/1 C5");
        assert_eq!(read(&told), "Oboe, 1: 0 key 0, 2: Clarinet -2 key 2");
        // No bar of rest.
        assert_eq!(
            read(&score("0/1 5/1 C5, 5/1 1/1 C5")),
            "Oboe, 1: 0 key 0, 6: Clarinet -2 key 2"
        );
        // Nothing is played before, or after.
        assert_eq!(read(&score("7/1 1/1 C5")), "Oboe, 1: Clarinet -2 key 2");
        assert_eq!(read(&score("0/1 1/1 C5")), "Oboe, 1: 0 key 0");
    }

    #[test]
    fn who_may_leave_for_the_coda_has_the_new_one_behind_that_way_alone() {
        let mut form = crate::notate::testing::form(&["4/4"; 5]);
        form.bars[1].signs.push(crate::music::Sign::ToCoda);
        form.bars[3].signs.push(crate::music::Sign::DaCapoAlCoda);
        form.bars[4].signs.push(crate::music::Sign::Coda);
        let fixture =
            Fixture::of(form).takes("2/1", clarinet()).takes("4/1", crate::notate::testing::oboe());
        let score = fixture.notes("0/1 1/1 C5, 2/1 2/1 C5, 4/1 1/1 C5").score();
        assert_eq!(read(&score), "Oboe, 1: 0 key 0, 3: Clarinet -2 key 2, 5: Oboe 0 key 0");
    }

    #[test]
    fn what_is_put_down_unplayed_is_never_in_hand() {
        let horn = Fixture::new(&["4/4"; 8]).instrument(natural_horn());
        let horn = horn.crook("0/1", "D").crook("3/1", "F").crook("5/1", "G");
        let score = horn.notes("0/1 2/1 D4, 6/1 1/1 D4").score();
        assert_eq!(read(&score), "Horn, 1: -10, 3: -5");
    }

    #[test]
    fn what_is_played_again_is_read_in_the_old_way() {
        let mut fixture = Fixture::new(&["4/4"; 8]).takes("3/1", clarinet());
        fixture.form.bars[4].repeat_ends = true;
        let score = fixture.notes("0/1 1/1 C5, 7/1 1/1 C5").score();
        assert_eq!(read(&score), "Oboe, 1: 0 key 0, 6: Clarinet -2 key 2");
    }
}
