//! Some bars of a score by themselves.

use std::ops::Range;

use super::{ElementKind, Measure, Score, Staff, StaffDirection, StaffDirectionKind};
use crate::music::Time;

impl Score {
    /// The bars of those indices by themselves, with what is in force where they begin: metre, key,
    /// tempo, transposition, instrument and clef. Bars that the score does not have are left out.
    #[must_use]
    pub fn passage(&self, bars: Range<usize>) -> Score {
        let bars = bars.start.min(self.frame.len())..bars.end.min(self.frame.len());
        let mut frame: Vec<_> = self.frame.get(bars.clone()).unwrap_or_default().to_vec();
        if let Some(first) = frame.first_mut() {
            (first.metre_shown, first.key_shown) = (true, true);
            let so_far = self.frame.iter().take(bars.start + 1).rev();
            first.tempo = so_far.filter_map(|bar| bar.tempo.clone()).next();
        }
        let cut = |staff: &Staff| {
            let measures = |all: &[Measure]| {
                let mut cut: Vec<Measure> = all.get(bars.clone()).unwrap_or_default().to_vec();
                if let Some(first) = cut.first_mut() {
                    carry(all.get(..bars.start).unwrap_or_default(), first);
                }
                cut
            };
            let [upper, lower] = [&staff.measures, &staff.lower].map(|all| measures(all));
            let instrument = staff.instrument_in(bars.start);
            let taken = upper.iter().filter_map(|measure| measure.instrument);
            let mut instruments = vec![instrument];
            for other in taken {
                if !instruments.iter().any(|known| std::ptr::eq(*known, other)) {
                    instruments.push(other);
                }
            }
            // Behind a change the name of the first key would be wrong.
            let is_change =
                |said: &StaffDirection| matches!(said.kind, StaffDirectionKind::Change(_));
            let changed = staff.measures.iter().take(bars.start).flat_map(|bar| &bar.directions);
            let key_name = staff.key_name.clone().filter(|_| !changed.into_iter().any(is_change));
            Staff {
                measures: upper,
                lower,
                abbreviation: staff.abbreviation_in(bars.start).to_owned(),
                instrument,
                instruments,
                key_name,
                ..staff.clone()
            }
        };
        Score { staves: self.staves.iter().map(cut).collect(), frame, ..self.clone() }
    }

    /// The same without players who have nothing to play.
    #[must_use]
    pub fn without_silent_staves(mut self) -> Score {
        self.staves.retain(Staff::plays);
        self
    }
}

impl Staff {
    /// Has the player a note anywhere?
    #[must_use]
    pub fn plays(&self) -> bool {
        let mut elements = self.all_measures().flat_map(|measure| &measure.elements);
        elements.any(|element| matches!(element.kind, ElementKind::Note(_)))
    }
}

/// Brings what is in force after some measures into the one that follows them.
fn carry(before: &[Measure], first: &mut Measure) {
    let clef = before.iter().rev().find_map(|measure| measure.clefs.last());
    if let Some((_, clef)) = clef
        && first.clefs.first().is_none_or(|(at, _)| at.is_positive())
    {
        first.clefs.insert(0, (Time::ZERO, *clef));
    }
    let transposition = before.iter().rev().find_map(|measure| measure.transposition);
    first.transposition = first.transposition.or(transposition);
    first.key = first.key.or_else(|| before.iter().rev().find_map(|measure| measure.key));
}

#[cfg(test)]
mod tests {
    use crate::notate::Score;
    use crate::notate::testing::{Fixture, natural_horn, oboe};

    fn whole() -> Score {
        Fixture::new(&["3/4", "3/4", "2/4", "2/4", "2/4"])
            .instrument(natural_horn())
            .crook("0/4", "D")
            .crook("6/4", "F")
            .notes("0/4 3/4 D4, 8/4 1/2 F4, 10/4 1/2 F4")
            .part(oboe())
            .notes("0/4 3/4 D5, 3/4 3/4 G5, 8/4 1/2 G5, 10/4 1/2 G5")
            .score()
    }

    #[test]
    fn a_passage_begins_with_what_is_in_force_there() {
        let whole = whole();
        let passage = whole.passage(4..5);
        assert_eq!(passage.frame.len(), 1);
        assert!(passage.frame[0].metre_shown && passage.frame[0].key_shown);
        let horn = &passage.staves[0];
        // In F it sounds a fifth lower; the crook of the beginning is not named.
        assert_eq!(whole.staves[0].key_name.as_deref(), Some("in D"));
        assert_eq!(horn.key_name, None);
        assert_eq!(horn.measures[0].transposition.unwrap().semitones, -7);
        assert_eq!(horn.measures[0].clefs.len(), 1);
        assert_eq!(whole.passage(9..20).frame.len(), 0);
    }

    #[test]
    fn those_who_rest_can_be_left_out() {
        let passage = whole().passage(1..2).without_silent_staves();
        assert_eq!(passage.staves.len(), 1);
        assert_eq!(whole().passage(2..3).without_silent_staves().staves.len(), 0);
    }
}
