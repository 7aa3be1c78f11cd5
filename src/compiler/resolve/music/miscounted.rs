//! Many bars that miss their metre by the same amount: then it is the metre that is wrong, and it
//! is told once.

use crate::diagnostics::{BarNumbers, Crowd, Diagnostic, Span};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::{BarIndices, Form};

/// The code of a bar that is too long for its metre.
pub(in crate::resolve) const TOO_LONG: &str = "bars/too-long";
/// The code of a bar that is too short for its metre.
pub(in crate::resolve) const TOO_SHORT: &str = "bars/too-short";

/// So many bars of one stretch must agree. (Our heuristic.)
const FEWEST: usize = 4;

/// The bars that were counted.
#[derive(Default)]
pub(in crate::resolve) struct Counted {
    /// Those that are wrong.
    bars: Vec<CountedBar>,
    /// Those that are right, in runs as they came.
    right: Vec<BarIndices>,
}

#[derive(Clone, Copy)]
struct CountedBar {
    /// Index of the bar.
    bar: usize,
    /// By how much it is longer than its metre; negative for shorter.
    over: Time,
    finding: Option<Finding>,
    /// Is it a bar of chords, of which only the overflow is known?
    chords: bool,
}

/// What there is of the finding of a bar.
#[derive(Clone, Copy)]
pub(in crate::resolve) enum Finding {
    /// It is told: its index.
    Told(u32),
    /// It is one of so many that it is only counted: its place.
    Counted(Span),
}

impl Finding {
    /// What there is of a finding that is told under an index, or else only counted.
    pub(in crate::resolve) fn of(told: Option<usize>, place: Span) -> Finding {
        told.map_or(Finding::Counted(place), |index| Finding::Told(index.narrow()))
    }
}

impl CountedBar {
    /// The code of its finding.
    fn code(&self) -> &'static str {
        if self.chords || self.over.is_positive() { TOO_LONG } else { TOO_SHORT }
    }
}

/// The findings of a piece, with those that others stand for.
struct Findings<'a> {
    told: &'a mut Vec<Diagnostic>,
    crowd: &'a mut Crowd,
    gone: Vec<usize>,
}

impl Findings<'_> {
    /// Forgets the finding of a bar.
    fn forget(&mut self, bar: &CountedBar) {
        match bar.finding {
            Some(Finding::Told(index)) => self.gone.push(index as usize),
            Some(Finding::Counted(_)) => self.crowd.take_beyond(bar.code()),
            None => {}
        }
    }

    /// The finding of a bar, told now if it was only counted.
    fn told(&mut self, bar: &CountedBar) -> Option<&mut Diagnostic> {
        match bar.finding? {
            Finding::Told(index) => self.told.get_mut(index as usize),
            Finding::Counted(place) => {
                self.crowd.take_beyond(bar.code());
                self.told.push(Diagnostic::error(bar.code(), place, ""));
                self.told.last_mut()
            }
        }
    }
}

impl Counted {
    /// Notes a bar of a voice with what it is too long, and its finding.
    pub(in crate::resolve) fn voice(&mut self, bar: usize, over: Time, finding: Option<Finding>) {
        if over != Time::ZERO || finding.is_some() {
            self.bars.push(CountedBar { bar, over, finding, chords: false });
            return;
        }
        match self.right.last_mut().filter(|run| run.after == bar) {
            Some(run) => run.after += 1,
            None => self.right.push(BarIndices::one(bar)),
        }
    }

    /// Adds what was counted elsewhere among other findings: `told` says where each of them is told.
    pub(in crate::resolve) fn extend(
        &mut self,
        other: &Counted,
        told: impl Fn(usize) -> Option<usize>,
        findings: &[Diagnostic],
    ) {
        let moved = |finding: Finding| match finding {
            Finding::Told(index) => {
                Finding::of(told(index as usize), findings[index as usize].primary.span)
            }
            Finding::Counted(_) => finding,
        };
        let bars = other.bars.iter();
        self.bars.extend(bars.map(|bar| CountedBar { finding: bar.finding.map(moved), ..*bar }));
        self.right.extend_from_slice(&other.right);
    }

    /// Notes an overfull bar of chords.
    pub(in crate::resolve) fn chords(&mut self, bar: usize, finding: Finding) {
        self.bars.push(CountedBar { bar, over: Time::ZERO, finding: Some(finding), chords: true });
    }

    /// Puts one finding in the place of many where a metre does not fit its bars.
    pub(in crate::resolve) fn gather(
        &self,
        form: &Form,
        told: &mut Vec<Diagnostic>,
        crowd: &mut Crowd,
    ) {
        let mut findings = Findings { told, crowd, gone: Vec::new() };
        let mut first = 0;
        while first < form.bars.len() {
            let alike = |bar: &usize| {
                form.bars[*bar].metre == form.bars[first].metre
                    && form.is_sure(*bar) == form.is_sure(first)
            };
            let after = first + (first..form.bars.len()).take_while(alike).count();
            self.stretch(form, BarIndices::new(first, after), &mut findings);
            first = after;
        }
        findings.gone.sort_unstable();
        for index in findings.gone.into_iter().rev() {
            findings.told.remove(index);
        }
    }

    fn stretch(&self, form: &Form, bars: BarIndices, findings: &mut Findings) {
        let first = bars.first;
        let here = || self.bars.iter().filter(|bar| bars.contains(bar.bar));
        let right: usize = self.right.iter().map(|run| run.common(bars)).sum();
        let counted = right + here().filter(|bar| !bar.chords).count();
        // Where the form could not be read, the metre before it is taken to go on if most bars
        // agree; otherwise nothing can be said of them.
        if !form.is_sure(first) && (!form.is_sure(0) || right * 2 <= counted) {
            return here().for_each(|bar| findings.forget(bar));
        }
        let wrong = || here().filter(|bar| !bar.chords && bar.over != Time::ZERO);
        let Some(over) = wrong().map(|bar| bar.over).next() else { return };
        let agree: Vec<&CountedBar> = wrong().filter(|bar| bar.over == over).collect();
        if agree.len() < FEWEST || agree.len() * 2 <= counted {
            bars.range().for_each(|bar| self.one_bar(form, bar, findings));
            return;
        }
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
        let Some(finding) = findings.told(agree[0]) else { return };
        finding.message = format!("Bars {from} to {to} are {by} too {how} for {metre}.");
        finding.primary.text = format!("the first of {} such bars", agree.len());
        finding.help = Some(mend);
        finding.bars = Some(BarNumbers::new(from, to));
        let follow = here().filter(|bar| bar.chords || bar.over == over);
        follow.filter(|bar| !std::ptr::eq(*bar, agree[0])).for_each(|bar| findings.forget(bar));
    }

    /// A bar that all voices miss alike: told once.
    fn one_bar(&self, form: &Form, bar: usize, findings: &mut Findings) {
        // Where it is right in one of them, there is nothing that all have.
        if self.right.iter().any(|run| run.contains(bar)) {
            return;
        }
        let mut here = self.bars.iter().filter(|counted| counted.bar == bar && !counted.chords);
        let Some(first) = here.next() else { return };
        let others: Vec<&CountedBar> = here.collect();
        let alike = |other: &&CountedBar| other.over == first.over;
        if others.is_empty() || first.finding.is_none() || !others.iter().all(alike) {
            return;
        }
        others.iter().for_each(|other| findings.forget(other));
        // One that is only counted stands for the others without words.
        let Some(Finding::Told(told)) = first.finding else { return };
        let number = form.bars[bar].number;
        let (start, end) = form.times_of(form.whole(bar));
        let length = end - start + first.over;
        let finding = &mut findings.told[told as usize];
        let whose = match others.len() {
            1 => "both voices".to_string(),
            more => format!("all {} voices", more + 1),
        };
        finding.message = format!("{}, in {whose}.", finding.message.trim_end_matches('.'));
        let help = finding.help.take().unwrap_or_default();
        finding.help = Some(format!(
            "{help} For a bar of that length, write `{number} length {length}` in the form."
        ));
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
