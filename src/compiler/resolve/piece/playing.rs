//! The order in which the bars of a form are played: repeats with their endings, da capo, dal
//! segno, coda and fine.

use super::Form;
use crate::music::Sign;

/// A repeated section.
#[derive(Clone, Copy)]
struct Section {
    /// Index of its first bar.
    first: usize,
    /// How often it is played.
    times: u8,
}

/// What the player looks out for after a jump.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Until {
    /// Nothing: the music goes on to its end.
    End,
    /// The word "Fine".
    Fine,
    /// "To Coda".
    Coda,
}

impl Form {
    /// Indices of the bars in the order in which they are played.
    ///
    /// A repeated section is played as often as it says, each time with its ending. A jump is
    /// taken once, when its bar has been played for the last time; after it, sections are played
    /// once, with their last ending, until the place is reached from which the jump was made or
    /// where the coda begins (common practice: *senza repetizione*). A plain da capo or dal segno
    /// ends at the fine too, if there is one.
    #[must_use]
    pub fn playing_order(&self) -> Vec<usize> {
        if self.movements.is_empty() {
            return self.order_of_one();
        }
        // No jump leads out of a movement.
        let movements = self.movement_bars().into_iter().flat_map(|bars| {
            let first = bars.start;
            let alone = Form { bars: self.bars[bars].to_vec(), ..Form::default() };
            alone.order_of_one().into_iter().map(move |bar| first + bar)
        });
        movements.collect()
    }

    /// The same of a piece in one movement.
    fn order_of_one(&self) -> Vec<usize> {
        let bars = &self.bars;
        let sections = self.sections();
        let mut order = Vec::with_capacity(bars.len());
        let mut taken = vec![false; bars.len()];
        // After a jump: what to look out for, and the bar from which it was made.
        let mut jumped: Option<(Until, usize)> = None;
        let (mut index, mut section, mut time) = (0, None::<Section>, 1);
        while let Some(bar) = bars.get(index) {
            let here = sections[index];
            if here.map(|here| here.first) != section.map(|section| section.first) {
                section = here;
                time = if jumped.is_some() { here.map_or(1, |here| here.times) } else { 1 };
            }
            if bar.ending.is_some_and(|ending| !ending.holds(time)) {
                index += 1;
                continue;
            }
            order.push(index);
            if let Some(section) = section
                && bar.repeat_ends
                && time < section.times
            {
                time += 1;
                index = section.first;
                continue;
            }
            if let Some((until, _)) = jumped {
                if until != Until::Coda && bar.signs.contains(&Sign::Fine) {
                    break;
                }
                if until == Until::Coda
                    && bar.signs.contains(&Sign::ToCoda)
                    && let Some(coda) = self.coda_after(index)
                {
                    (jumped, section, index) = (None, None, coda);
                    continue;
                }
            }
            if let Some((target, until)) = self.jump_from(index).filter(|_| !taken[index]) {
                taken[index] = true;
                (jumped, section, index) = (Some((until, index)), None, target);
                continue;
            }
            if jumped.is_some_and(|(_, from)| from == index) {
                jumped = None;
            }
            index += 1;
        }
        order
    }

    /// The repeated section to which each bar belongs, its endings with it.
    fn sections(&self) -> Vec<Option<Section>> {
        let mut sections = vec![None; self.bars.len()];
        let mut index = 0;
        while index < self.bars.len() {
            if !self.bars[index].repeat_starts {
                index += 1;
                continue;
            }
            let ends = |bar: usize| self.bars[bar].repeat_ends;
            let Some(mut last) = (index..self.bars.len()).find(|bar| ends(*bar)) else { break };
            let mut times = self.bars[last].times;
            let mut ending = self.bars[last].ending;
            if let Some(first) = ending {
                times = first.last;
            }
            while let Some(before) = ending
                && let Some(next) = self.bars.get(last + 1)
                && let Some(after) = next.ending
                && !next.repeat_starts
                && (after == before && !ends(last) || after.first > before.last)
            {
                last += 1;
                times = times.max(after.last);
                ending = Some(after);
            }
            sections[index..=last].fill(Some(Section { first: index, times }));
            index = last + 1;
        }
        sections
    }

    /// Where a jump from the end of a bar leads, and what to look out for then.
    fn jump_from(&self, bar: usize) -> Option<(usize, Until)> {
        let sign = self.bars[bar].signs.iter().copied().find(|sign| sign.is_jump())?;
        let target = if sign.is_dal_segno() { self.segno_before(bar)? } else { 0 };
        let until = if sign.is_al_coda() {
            Until::Coda
        } else if sign.is_al_fine() || self.bars.iter().any(|b| b.signs.contains(&Sign::Fine)) {
            Until::Fine
        } else {
            Until::End
        };
        Some((target, until))
    }

    /// The last bar with a segno up to and with this one (indices).
    #[must_use]
    pub fn segno_before(&self, bar: usize) -> Option<usize> {
        self.bars[..=bar].iter().rposition(|bar| bar.signs.contains(&Sign::Segno))
    }

    /// The first bar behind this one (indices) with which a coda begins.
    #[must_use]
    pub fn coda_after(&self, bar: usize) -> Option<usize> {
        let behind = self.bars.get(bar + 1..)?;
        Some(bar + 1 + behind.iter().position(|bar| bar.signs.contains(&Sign::Coda))?)
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// The numbers of the bars as they are played, from the lines of a form in 2/4.
    fn played(lines: &str, last: u32) -> String {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{\n 1 metre 2/4, key C major\n{lines}\n {last} end\n}}\n\
             voice tune {{ 1: rest {last} | }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        let codes: Vec<_> = findings.iter().map(|finding| finding.code).collect();
        assert!(codes.is_empty(), "{codes:?}");
        let form = &piece.form;
        let numbers = form.playing_order().into_iter().map(|bar| form.bars[bar].number.to_string());
        numbers.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn three_endings_follow_three_times_through() {
        let lines = "1..3 repeat\n3 ending 1\n4..5 ending 2\n6 ending 3";
        assert_eq!(played(lines, 7), "1 2 3 1 2 4 5 1 2 6 7");
    }

    #[test]
    fn an_ending_may_hold_for_several_times() {
        let lines = "1..3 repeat\n3 ending 1..2\n4 ending 3";
        assert_eq!(played(lines, 4), "1 2 3 1 2 3 1 2 4");
    }

    #[test]
    fn a_section_may_be_played_more_than_twice() {
        assert_eq!(played("2..3 repeat 3 times", 4), "1 2 3 2 3 2 3 4");
    }

    #[test]
    fn two_sections_with_endings_side_by_side_keep_apart() {
        let lines = "1..2 repeat\n2 ending 1\n3 ending 2\n4..5 repeat\n5 ending 1\n6 ending 2";
        assert_eq!(played(lines, 6), "1 2 1 3 4 5 4 6");
    }

    #[test]
    fn da_capo_al_fine_leaves_repeats_out_the_second_time() {
        let lines = "1..2 repeat\n2 fine\n3..4 repeat\n4 da capo al fine";
        assert_eq!(played(lines, 4), "1 2 1 2 3 4 3 4 1 2");
    }

    #[test]
    fn after_a_jump_the_last_ending_is_played() {
        let lines = "1..2 repeat\n2 ending 1\n3 ending 2, fine\n5 da capo al fine";
        assert_eq!(played(lines, 5), "1 2 1 3 4 5 1 3");
    }

    #[test]
    fn dal_segno_al_coda_goes_by_the_signs() {
        let lines = "2 segno\n3 to coda\n5 dal segno al coda\n6 coda\n6..7 repeat";
        assert_eq!(played(lines, 7), "1 2 3 4 5 2 3 6 7 6 7");
    }

    #[test]
    fn a_plain_da_capo_is_taken_once_and_goes_on() {
        assert_eq!(played("2 da capo", 3), "1 2 1 2 3");
        assert_eq!(played("1 fine\n3 da capo", 3), "1 2 3 1");
    }

    #[test]
    fn each_dal_segno_goes_to_the_segno_before_it() {
        let lines = "1 segno\n2 dal segno\n3 segno\n4 dal segno";
        assert_eq!(played(lines, 5), "1 2 1 2 3 4 3 4 5");
    }
}
