//! Entries after rests, at which a player is told again how loud he is to play.

use crate::arrange::Part;
use crate::diagnostics::Span;
use crate::music::Time;
use crate::notate::{FrameBar, Measure, StaffDirectionKind};
use crate::resolve::Dynamic;

use super::{Page, whole_bar};

/// Bars of rest after which an entry says the dynamic again that was told before them. Gould, Behind Bars, 2011,
/// from memory, has it repeated after a rest of some length; how long is our heuristic.
pub(super) const FORGOTTEN_LEVEL: i64 = 2;

/// Says the dynamic that holds again at each entry after a long rest that has none, unless a hairpin has led
/// elsewhere meanwhile.
pub(super) fn remind(part: &Part, frame: &[FrameBar], measures: &mut [Measure]) {
    let loudness = loudness(frame, measures);
    let mut page = Page { part, frame, measures };
    let mut end = None;
    for note in &part.notes {
        let at = note.start();
        let rested =
            end.is_some_and(|end| at > end && at - end >= whole_bar(frame, at) * FORGOTTEN_LEVEL);
        end = end.max(Some(note.end()));
        if !rested {
            continue;
        }
        let last = loudness.partition_point(|(told, _)| *told <= at).checked_sub(1);
        if let Some((_, Some((level, source)))) = last.map(|last| loudness[last])
            && !page.is_told_loudness(at)
        {
            page.print(at, StaffDirectionKind::Dynamic(level), source);
        }
    }
}

/// What is printed of loudness, in order of time: the dynamic from there on, and none from a hairpin on.
fn loudness(frame: &[FrameBar], measures: &[Measure]) -> Vec<(Time, Option<(Dynamic, Span)>)> {
    let mut printed: Vec<_> = frame
        .iter()
        .zip(measures)
        .flat_map(|(bar, measure)| {
            measure.directions.iter().filter_map(|said| {
                let level = match &said.kind {
                    StaffDirectionKind::Dynamic(level) => {
                        Some((level.lasting()?, said.origin.source?))
                    }
                    StaffDirectionKind::HairpinStarts { .. } => None,
                    _ => return None,
                };
                Some((bar.start + said.at, level))
            })
        })
        .collect();
    // A dynamic at the place of a hairpin stands before it.
    printed.sort_by_key(|(at, level)| (*at, level.is_none()));
    printed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, directions};
    use crate::resolve::DirectionKind;

    #[test]
    fn an_entry_after_two_bars_of_rest_says_the_dynamic_again() {
        let told = |notes: &str, more: &[(&str, DirectionKind)]| {
            let fixture = Fixture::new(&["4/4"; 5]).notes(notes);
            let fixture = fixture.direction("0/1", DirectionKind::Dynamic(Dynamic::P));
            let more = more.iter().cloned();
            directions(&more.fold(fixture, |all, (at, said)| all.direction(at, said)).score(), 0)
        };
        let long = "0/1 1/1 C5, 3/1 1/1 D5";
        assert_eq!(told(long, &[]), "1 0/1 p, 4 0/1 p");
        assert_eq!(told("0/1 1/1 C5, 11/4 1/1 D5", &[]), "1 0/1 p", "seven beats of rest");
        let sforzato = DirectionKind::Dynamic(Dynamic::Sf);
        assert_eq!(told(long, &[("3/1", sforzato)]), "1 0/1 p, 4 0/1 sf");
        let pin = DirectionKind::Hairpin { grows: true, to: Time::of(1, 1) };
        assert_eq!(told(long, &[("0/1", pin)]), "1 0/1 p, 1 0/1 <, 1 1/1 end", "led elsewhere");
        assert_eq!(
            told(long, &[("0/1", DirectionKind::Dynamic(Dynamic::Fp))]),
            "1 0/1 fp, 4 0/1 p"
        );
    }
}
