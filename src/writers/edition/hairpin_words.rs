//! Words that say how a hairpin goes stand on its side of the staff: away from it nobody could tell what goes so.

use crate::music::{Time, says_how_it_goes};
use crate::notate::{Staff, StaffDirectionKind};

use super::levels::{Place, ends};
use super::{DirectionKind, EditionDirection, EditionStaff};

/// Puts words such as “poco a poco” and “al niente” on the side of the hairpin under which they are said (common
/// practice). Of two who share the staff, and have a hairpin each there, each has his words with his own: the first
/// above the staff, the second below.
pub(super) fn join(staff: &mut EditionStaff, pair: Option<[&Staff; 2]>) {
    let pins: Vec<(Place, Place, bool)> = staff
        .spans
        .iter()
        .filter_map(|span| ends(span).map(|(from, to, _)| (from, to, span.above)))
        .collect();
    if pins.is_empty() {
        return;
    }
    for (bar, staff_bar) in staff.bars.iter_mut().enumerate() {
        let mut put_in = Vec::new();
        for said in &mut staff_bar.directions {
            let DirectionKind::Words(words) = &said.kind else { continue };
            if !says_how_it_goes(words) {
                continue;
            }
            let at = (bar, said.at);
            let over = |side: bool| {
                pins.iter().any(|&(from, to, above)| above == side && from <= at && at < to)
            };
            let tells =
                |who: usize| pair.is_none_or(|pair| is_told(pair[who], bar, said.at, words));
            said.above = match (over(true), over(false)) {
                (false, false) => said.above,
                (true, true) => {
                    if tells(0) && tells(1) {
                        put_in.push(EditionDirection { above: false, ..said.clone() });
                    }
                    tells(0)
                }
                (above, _) => above,
            };
        }
        for said in put_in {
            let place = staff_bar.directions.partition_point(|other| other.at <= said.at);
            if !staff_bar.directions.contains(&said) {
                staff_bar.directions.insert(place, said);
            }
        }
    }
}

/// Is a player told words at a time of a bar?
fn is_told(staff: &Staff, bar: usize, at: Time, words: &str) -> bool {
    staff.measures[bar].directions.iter().any(|said| {
        said.at == at
            && matches!(&said.kind, StaffDirectionKind::Words(own) if own.as_str() == words)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edition::{Edition, condensed_score, full_score};
    use crate::notate::testing::{Fixture, oboe};
    use crate::notate::{Origin, Score, StaffDirection};
    use crate::resolve::Dynamic;

    const ZERO: Time = Time::ZERO;

    /// Two oboes in two bars of 2/4, who grow or fade over the second with the same words.
    fn oboes(grow: [bool; 2]) -> Score {
        let mut score = Fixture::new(&["2/4"; 2])
            .notes("0/1 1/2 E5, 1/2 1/4 G5, 3/4 1/4 A5")
            .part(oboe())
            .notes("0/1 1/2 C5, 1/2 1/2 C5")
            .score();
        for ((staff, number), grows) in score.staves.iter_mut().zip(1..).zip(grow) {
            staff.id = format!("oboe.{number}");
            let all = [
                (0, ZERO, StaffDirectionKind::Dynamic(Dynamic::Mf)),
                (0, ZERO, StaffDirectionKind::Words("molto".into())),
                (1, ZERO, StaffDirectionKind::Words("poco a poco".into())),
                (1, ZERO, StaffDirectionKind::HairpinStarts { grows }),
                (1, Time::of(1, 2), StaffDirectionKind::HairpinEnds),
            ];
            for (bar, at, kind) in all {
                let said = StaffDirection { at, kind, origin: Origin::default() };
                staff.measures[bar].directions.push(said);
            }
        }
        score
    }

    /// The words of a bar of the first staff, and whether they stand above it.
    fn words(edition: &Edition, bar: usize) -> Vec<(String, bool)> {
        let said = edition.staves[0].bars[bar].directions.iter();
        let words = said.filter_map(|said| match &said.kind {
            DirectionKind::Words(words) => Some((words.to_string(), said.above)),
            _ => None,
        });
        words.collect()
    }

    fn poco(above: bool) -> (String, bool) {
        ("poco a poco".to_string(), above)
    }

    #[test]
    fn words_of_a_hairpin_stand_on_its_side() {
        let score = oboes([true, true]);
        for edition in [full_score(&score), condensed_score(&score)] {
            assert_eq!(words(&edition, 0), [("molto".to_string(), true)], "no hairpin is there");
            assert_eq!(words(&edition, 1), [poco(false)]);
        }
    }

    #[test]
    fn of_two_with_a_hairpin_each_on_one_staff_each_has_the_words_of_his_own() {
        let score = oboes([true, false]);
        assert_eq!(words(&condensed_score(&score), 1), [poco(true), poco(false)]);
    }
}
