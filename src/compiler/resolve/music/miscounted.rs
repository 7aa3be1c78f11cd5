//! Many bars that miss their metre by the same amount: then it is the metre that is wrong, and it
//! is told once.

use crate::diagnostics::{BarNumbers, Diagnostic};
use crate::music::Time;
use crate::resolve::{BarIndices, Form};

/// So many bars of one stretch must agree. (Our heuristic.)
const FEWEST: usize = 4;

/// The bars that were counted.
#[derive(Default)]
pub(in crate::resolve) struct Counted {
    bars: Vec<CountedBar>,
}

#[derive(Clone, Copy)]
struct CountedBar {
    /// Index of the bar.
    bar: usize,
    /// By how much it is longer than its metre; negative for shorter.
    over: Time,
    /// Index of the finding, where there is one.
    finding: Option<usize>,
    /// Is it a bar of chords, of which only the overflow is known?
    chords: bool,
}

impl Counted {
    /// Notes a bar of a voice with what it is too long, and the index of its finding.
    pub(in crate::resolve) fn voice(&mut self, bar: usize, over: Time, finding: Option<usize>) {
        self.bars.push(CountedBar { bar, over, finding, chords: false });
    }

    /// Adds what was counted elsewhere, where so many findings stand before its own.
    pub(in crate::resolve) fn extend(&mut self, other: &Counted, findings: usize) {
        let moved = |finding: Option<usize>| finding.map(|index| index + findings);
        let bars = other.bars.iter();
        self.bars.extend(bars.map(|bar| CountedBar { finding: moved(bar.finding), ..*bar }));
    }

    /// Notes an overfull bar of chords.
    pub(in crate::resolve) fn chords(&mut self, bar: usize, finding: usize) {
        self.bars.push(CountedBar { bar, over: Time::ZERO, finding: Some(finding), chords: true });
    }

    /// Puts one finding in the place of many where a metre does not fit its bars.
    pub(in crate::resolve) fn gather(&self, form: &Form, findings: &mut Vec<Diagnostic>) {
        let mut gone: Vec<usize> = Vec::new();
        let mut first = 0;
        while first < form.bars.len() {
            let alike = |bar: &usize| {
                form.bars[*bar].metre == form.bars[first].metre
                    && form.is_sure(*bar) == form.is_sure(first)
            };
            let after = first + (first..form.bars.len()).take_while(alike).count();
            self.stretch(form, BarIndices::new(first, after), findings, &mut gone);
            first = after;
        }
        gone.sort_unstable();
        for index in gone.into_iter().rev() {
            findings.remove(index);
        }
    }

    fn stretch(
        &self,
        form: &Form,
        bars: BarIndices,
        findings: &mut [Diagnostic],
        gone: &mut Vec<usize>,
    ) {
        let first = bars.first;
        let here = || self.bars.iter().filter(|bar| bars.contains(bar.bar));
        let counted = here().filter(|bar| !bar.chords).count();
        let right = here().filter(|bar| !bar.chords && bar.over == Time::ZERO).count();
        // Where the form could not be read, the metre before it is taken to go on if most bars
        // agree; otherwise nothing can be said of them.
        if !form.is_sure(first) && (!form.is_sure(0) || right * 2 <= counted) {
            gone.extend(here().filter_map(|bar| bar.finding));
            return;
        }
        let wrong = || here().filter(|bar| !bar.chords && bar.over != Time::ZERO);
        let Some(over) = wrong().map(|bar| bar.over).next() else { return };
        let agree: Vec<&CountedBar> = wrong().filter(|bar| bar.over == over).collect();
        if agree.len() < FEWEST || agree.len() * 2 <= counted {
            bars.range().for_each(|bar| self.one_bar(form, bar, findings, gone));
            return;
        }
        let Some(told) = agree[0].finding else { return };
        let number = |bar: usize| form.bars[bar].number;
        let from = agree.iter().map(|bar| number(bar.bar)).min().unwrap_or(0);
        let to = agree.iter().map(|bar| number(bar.bar)).max().unwrap_or(0);
        let metre = form.bars[first].metre;
        let how = if over.is_positive() { "long" } else { "short" };
        let by = super::words::amount(if over.is_positive() { over } else { -over }, metre);
        let meant = (metre.bar_length() + over).ratio(Time::of(1, i64::from(metre.unit)));
        let mend = match meant {
            Some((beats, 1)) => format!(
                "Are they in {beats}/{}? Then write `{} metre {beats}/{}` in the form.",
                metre.unit,
                number(first),
                metre.unit
            ),
            _ => "Check the metre in the form.".to_string(),
        };
        let finding = &mut findings[told];
        finding.message = format!("Bars {from} to {to} are {by} too {how} for {metre}.");
        finding.primary.text = format!("the first of {} such bars", agree.len());
        finding.help = Some(mend);
        finding.bars = Some(BarNumbers::new(from, to));
        let follow = here().filter(|bar| bar.chords || bar.over == over);
        gone.extend(follow.filter_map(|bar| bar.finding).filter(|&index| index != told));
    }

    /// A bar that all voices miss alike: told once.
    fn one_bar(&self, form: &Form, bar: usize, findings: &mut [Diagnostic], gone: &mut Vec<usize>) {
        let mut here = self.bars.iter().filter(|counted| counted.bar == bar && !counted.chords);
        let Some(first) = here.next() else { return };
        let others: Vec<&CountedBar> = here.collect();
        let alike = |other: &&CountedBar| other.over == first.over;
        let Some(told) = first.finding.filter(|_| !others.is_empty()) else { return };
        if !others.iter().all(alike) {
            return;
        }
        let number = form.bars[bar].number;
        let (start, end) = form.times_of(form.whole(bar));
        let length = end - start + first.over;
        let finding = &mut findings[told];
        let whose = match others.len() {
            1 => "both voices".to_string(),
            more => format!("all {} voices", more + 1),
        };
        finding.message = format!("{}, in {whose}.", finding.message.trim_end_matches('.'));
        let help = finding.help.take().unwrap_or_default();
        finding.help = Some(format!(
            "{help} For a bar of that length, write `{number} length {length}` in the form."
        ));
        gone.extend(others.iter().filter_map(|other| other.finding));
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// What is told of two voices of six bars in a metre.
    fn told(metre: &str, upper: &str, lower: &str) -> Vec<String> {
        let source = format!(
            "piece \"Count\" {{ }}\nform {{\n 1 metre {metre}, key C major\n 6 end\n}}\n\
             voice upper {{ {upper} }}\nvoice lower {{ {lower} }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("count.ripieno", source);
        let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
        findings.into_iter().map(|finding| finding.message).collect()
    }

    const THREE: &str = "1: 3/4 C4 | 2: C | 3: C | 4: C | 5: C | 6: C |";

    #[test]
    fn a_metre_that_no_bar_fits_is_told_once() {
        assert_eq!(told("3/4", THREE, THREE), [""; 0]);
        assert_eq!(told("4/4", THREE, THREE), ["Bars 1 to 6 are 1 beat (1/4) too short for 4/4."]);
    }

    #[test]
    fn a_bar_that_all_voices_miss_alike_is_told_once() {
        let slip = THREE.replace("4: C", "4: 1/2 C").replace("5: C", "5: 3/4 C");
        let both = ["Bar 4 is 1 beat (1/4) too short, in both voices."];
        assert_eq!(told("3/4", &slip, &slip), both);
    }

    #[test]
    fn slips_of_one_voice_are_told_one_by_one() {
        let slips = THREE.replace("2: C", "2: 1/2 C").replace("3: C", "3: 1/4 C C C C");
        let slips = slips.replace("4: C", "4: 3/4 C");
        let each = ["Bar 2 is 1 beat (1/4) too short.", "Bar 3 is 1 beat (1/4) too long."];
        assert_eq!(told("3/4", &slips, THREE), each);
    }
}
