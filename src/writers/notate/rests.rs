//! Rests of several bars, for parts.

use super::{ElementKind, Measure, Score, Staff, StaffDirection, StaffDirectionKind};
use crate::music::Time;
use crate::resolve::BarLine;

/// The staff as a part shows it: two or more bars of rest that follow each other are counted
/// together in [`Measure::multi_rest`] of the first. See [`rest_runs`].
///
/// # Panics
/// If the score has no staff of that index.
#[must_use]
pub fn multi_rests(score: &Score, staff: usize) -> Staff {
    let runs = rest_runs(score, staff);
    let mut part = score.staves[staff].clone();
    for (measure, run) in part.measures.iter_mut().zip(runs) {
        measure.multi_rest = (run >= 2).then_some(run);
    }
    part
}

/// For every bar, how many bars of rest begin with it that a part shows as one sign: 2 or more
/// where such a run begins, 0 everywhere else. Where the player reads two staves, both rest.
///
/// A player counts through nothing that he must see: a run is broken by rehearsal marks, tempos,
/// changes of metre, key, transposition or clef, repeats, endings, double bars, directions and
/// fermatas. Words at the very beginning of a bar, such as "take Piccolo", stand over the run that
/// begins with it. A pick-up is not counted.
///
/// # Panics
/// If the score has no staff of that index.
#[must_use]
pub fn rest_runs(score: &Score, staff: usize) -> Vec<u32> {
    let staff = &score.staves[staff];
    let mut runs = vec![0; staff.measures.len()];
    let mut first = None;
    for bar in 0..staff.measures.len() {
        let frame = &score.frame[bar];
        if !staff.in_bar(bar).all(is_silent) || frame.number == 0 {
            first = None;
            continue;
        }
        match first {
            Some(first) if !begins_anew(score, staff, bar) => runs[first] += 1,
            _ => {
                first = Some(bar);
                runs[bar] = 1;
            }
        }
        if frame.repeat_ends || frame.ending_ends.is_some() || frame.line != BarLine::Plain {
            first = None;
        }
    }
    for run in &mut runs {
        if *run < 2 {
            *run = 0;
        }
    }
    runs
}

/// Is this a bar of rest with nothing else in it but words at its beginning?
fn is_silent(measure: &Measure) -> bool {
    let rests = matches!(
        measure.elements.as_slice(),
        [element] if element.kind == ElementKind::BarRest { fermata: false }
    );
    let first_words = |direction: &StaffDirection| {
        let words = matches!(
            direction.kind,
            StaffDirectionKind::Words(_) | StaffDirectionKind::Technique(_)
        );
        words && direction.at == Time::ZERO
    };
    rests && measure.directions.iter().all(first_words)
}

/// Does something stand at the beginning of this bar that the player must see?
fn begins_anew(score: &Score, staff: &Staff, bar: usize) -> bool {
    let frame = &score.frame[bar];
    let told = |measure: &Measure| {
        measure.key.is_some()
            || measure.transposition.is_some()
            || !measure.clefs.is_empty()
            || !measure.directions.is_empty()
    };
    frame.mark.is_some()
        || frame.tempo.is_some()
        || frame.metre_shown
        || frame.key_shown
        || frame.repeat_starts
        || frame.ending_starts.is_some()
        || staff.in_bar(bar).any(told)
}

#[cfg(test)]
mod tests {
    use super::{StaffDirection, StaffDirectionKind};
    use crate::music::Time;
    use crate::notate::Origin;
    use crate::notate::multi_rests;
    use crate::notate::testing::{Fixture, form};
    use crate::resolve::BarLine;

    fn runs(fixture: Fixture) -> Vec<Option<u32>> {
        let score = fixture.score();
        let part = multi_rests(&score, 0);
        part.measures.iter().map(|measure| measure.multi_rest).collect()
    }

    #[test]
    fn bars_of_rest_are_counted_together() {
        let fixture = Fixture::new(&["4/4"; 5]).notes("3/1 1/1 C5");
        assert_eq!(runs(fixture), [Some(3), None, None, None, None]);
    }

    #[test]
    fn a_rehearsal_mark_breaks_a_rest() {
        let mut form = form(&["4/4"; 5]);
        form.bars[2].mark = Some("A".into());
        assert_eq!(runs(Fixture::of(form)), [Some(2), None, Some(3), None, None]);
    }

    #[test]
    fn a_change_of_metre_and_a_double_bar_break_a_rest() {
        let mut form = form(&["4/4", "4/4", "3/4", "3/4", "3/4", "3/4"]);
        form.bars[3].line = BarLine::Double;
        let expected = [Some(2), None, Some(2), None, Some(2), None];
        assert_eq!(runs(Fixture::of(form)), expected);
    }

    #[test]
    fn words_at_the_beginning_of_a_bar_stand_over_the_rest_that_begins_there() {
        let mut score = Fixture::new(&["4/4"; 6]).notes("5/1 1/1 C5").score();
        let mut say = |bar: usize, at: Time| {
            let kind = StaffDirectionKind::Words("take Piccolo".into());
            let origin = Origin::default();
            score.staves[0].measures[bar].directions.push(StaffDirection { at, kind, origin });
            multi_rests(&score, 0).measures.iter().map(|m| m.multi_rest).collect::<Vec<_>>()
        };
        assert_eq!(say(2, Time::ZERO), [Some(2), None, Some(3), None, None, None]);
        assert_eq!(say(3, Time::QUARTER), [Some(2), None, None, None, None, None]);
    }

    #[test]
    fn one_bar_of_rest_stays_as_it_is() {
        let fixture = Fixture::new(&["4/4"; 2]).notes("1/1 1/1 C5");
        assert_eq!(runs(fixture), [None, None]);
    }
}
