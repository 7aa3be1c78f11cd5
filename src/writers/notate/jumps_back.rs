//! What a player has to take where the music goes back: at a da capo, a dal segno and a repeat he is told to take
//! again what he had where it goes on, in the rest before or, without one, at the end of the bar. Common practice.

use crate::arrange::Part;
use crate::music::Sign;

use super::FrameBar;
use super::names::{Announced, change, changes, changes_told, resting_place};

/// A way back: the bar at whose end the music leaves, that with which it goes on, and whether it is a repeat, which
/// is left out the last time.
type Back = (usize, usize, bool);

/// The ways back of a movement, in order.
fn ways_back(frame: &[FrameBar]) -> impl Iterator<Item = Back> {
    frame.iter().enumerate().flat_map(move |(index, bar)| {
        let since = |begins: &dyn Fn(&FrameBar) -> bool| {
            frame[..=index].iter().rposition(begins).unwrap_or_default()
        };
        let jump = bar.signs.iter().find_map(|sign| match sign {
            Sign::DaCapo | Sign::DaCapoAlFine | Sign::DaCapoAlCoda => Some((index, 0, false)),
            Sign::DalSegno | Sign::DalSegnoAlFine | Sign::DalSegnoAlCoda => {
                Some((index, since(&|bar| bar.signs.contains(&Sign::Segno)), false))
            }
            _ => None,
        });
        let repeat = bar.repeat_ends.then(|| (index, since(&|bar| bar.repeat_starts), true));
        repeat.into_iter().chain(jump)
    })
}

/// What a player is told where the music goes back to something that he had before.
pub(super) fn told(part: &Part, frame: &[FrameBar]) -> Vec<Announced> {
    let mut all: Vec<Announced> = Vec::new();
    if changes(part).is_empty() {
        return all;
    }
    let on_the_way = changes_told(part, frame, &[]);
    for (from, to, repeats) in ways_back(frame) {
        let (begin, end) = (frame[to].start, frame[from].start + frame[from].length);
        let next = part.notes.partition_point(|note| note.start() < begin);
        let last = part.notes.partition_point(|note| note.start() < end).checked_sub(1);
        let (Some(first), Some(last)) = (part.notes.get(next), last) else { continue };
        if first.start() >= end {
            continue;
        }
        let last = &part.notes[last];
        let Some((order, _)) = change(part, last.start(), first.start()) else { continue };
        // What is told in the rest before his first note he reads again.
        let again = |told: &Announced| {
            (begin..=first.start()).contains(&told.at) && told.words.ends_with(&order)
        };
        if on_the_way.iter().any(again) {
            continue;
        }
        let free = last.end().min(end);
        let at_end = free >= end;
        let at = if at_end { end } else { resting_place(frame, free, end).min(end) };
        let words = if repeats { format!("for the repeat: {order}") } else { order };
        if !all.iter().any(|told| told.at == at && told.words == words) {
            all.push(Announced { at, words, taken: last.start(), at_end });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use crate::music::Sign;
    use crate::notate::testing::{Fixture, directions, form, natural_horn};

    /// What a horn is told that takes another crook in the third of four bars, at the end of which a sign stands.
    fn told(notes: &str, sign: Option<Sign>) -> String {
        let mut form = form(&["4/4"; 4]);
        match sign {
            Some(sign) => form.bars[3].signs.push(sign),
            None => form.bars[3].repeat_ends = true,
        }
        let fixture = Fixture::of(form).instrument(natural_horn());
        directions(&fixture.crook("0/1", "D").crook("2/1", "F").notes(notes).score(), 0)
    }

    #[test]
    fn who_goes_back_to_another_crook_is_told_to_change_in_the_rest_before() {
        let before = "1 0/1 \"in D\", 2 0/1 \"change to F\", 3 0/1 \"in F\"";
        let rests = "0/1 1/1 D4, 2/1 1/1 C4";
        assert_eq!(told(rests, Some(Sign::DaCapo)), format!("{before}, 4 0/1 \"change to D\""));
        assert_eq!(told(rests, None), format!("{before}, 4 0/1 \"for the repeat: change to D\""));
        // Without a rest at the end of the bar.
        let plays = "0/1 1/1 D4, 2/1 2/1 C4";
        let told_at_end = told(plays, Some(Sign::DaCapoAlFine));
        assert_eq!(told_at_end, format!("{before}, 4 1/1 \"change to D\""));
    }

    #[test]
    fn who_goes_back_to_what_he_has_in_hand_is_told_nothing() {
        let told = told("0/1 1/1 D4, 1/1 1/1 D4", Some(Sign::DaCapo));
        assert!(!told.contains("change to D"), "{told}");
    }
}
