//! Counts bars against the numbers that stand before them.

use super::Resolver;
use super::form::inside;
use super::piece::Form;
use crate::diagnostics::{Diagnostic, Span};
use crate::narrow::Narrow;
use crate::syntax::Number;

/// How the bars of a piece of music are counted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Counting {
    /// A voice: it begins with the piece and leaves no bar out.
    Whole,
    /// A `writes` line: any bars, in order.
    Chosen,
}

/// Where the count stands.
///
/// One slip makes one finding: numbers that go on from a wrong one are not told again.
pub(super) struct BarCount {
    counting: Counting,
    /// Index of the next bar.
    pub(super) next: usize,
    /// By how much the last number that was told differed from the count; 0 where it agreed.
    told: i64,
}

impl BarCount {
    pub(super) fn new(counting: Counting) -> BarCount {
        BarCount { counting, next: 0, told: 0 }
    }

    /// The index of the next bar, from its number and that of the bar that follows; `None` if there
    /// is no such bar.
    ///
    /// A number that is too high leaves bars out, and counting goes on from there, unless the next
    /// bar falls back: then it was a slip. A number that is too low is told, and its bar counted.
    pub(super) fn index(
        &mut self,
        cx: &mut Resolver,
        form: &Form,
        (number, following): (Option<&Number>, Option<&Number>),
        bar: Span,
    ) -> Option<usize> {
        if let Some(number) = number {
            let beyond = || form.bars.last().map_or(1, |bar| bar.number + 1);
            let past = self.next.saturating_sub(form.bars.len()).narrow::<i32>();
            let expected = match form.bars.get(self.next) {
                Some(bar) => bar.number,
                None => beyond() + past,
            };
            let difference = i64::from(number.value) - i64::from(expected);
            if difference == 0 {
                self.told = 0;
            } else if difference != self.told {
                self.differs(cx, form, number, following, expected, difference);
                // A bar chosen outside the piece was told; nothing of it stands anywhere.
                if self.counting == Counting::Chosen && !holds(form, number) {
                    return None;
                }
            }
        }
        if self.next < form.bars.len() {
            return Some(self.next);
        }
        // A bar that stands there twice was told; that there is one too many follows from it.
        if self.told == 0 && form.unsure_from.is_none() {
            cx.push(beyond(form, bar));
        }
        None
    }
}

impl BarCount {
    /// Do the numbers say something else than the count?
    pub(super) fn is_off(&self) -> bool {
        self.told != 0
    }

    /// Tells what is wrong with a number, and decides where the count goes on.
    fn differs(
        &mut self,
        cx: &mut Resolver,
        form: &Form,
        number: &Number,
        following: Option<&Number>,
        expected: i32,
        difference: i64,
    ) {
        let Some(written) = inside(cx, form, number.value, number.span) else {
            self.told = difference;
            return;
        };
        let chosen = self.counting == Counting::Chosen;
        if chosen && difference > 0 {
            self.next = written;
            return;
        }
        cx.push(misnumbered(number, expected, difference));
        let goes_on = following.is_none_or(|following| following.value > number.value);
        if difference > 0 && goes_on {
            self.next = written;
        } else {
            self.told = difference;
        }
    }
}

fn holds(form: &Form, number: &Number) -> bool {
    i32::try_from(number.value).is_ok_and(|number| form.index_of(number).is_some())
}

fn misnumbered(number: &Number, expected: i32, difference: i64) -> Diagnostic {
    let written = i32::try_from(number.value).unwrap_or(expected);
    Diagnostic::error(
        "bars/number",
        number.span,
        format!("This is bar {expected}, but it is numbered {}.", number.value),
    )
    .with_text(format!("this is bar {expected}"))
    .with_help(if difference > 0 {
        format!("Is a bar missing before it? Bars of rest are written too: `rest {difference} |`.")
    } else {
        "Is a bar here twice?".to_string()
    })
    .with_bars(expected.min(written), expected.max(written))
    .with_fix(format!("number it {expected}"), number.span, format!("{expected}:"), false)
}

/// A rest of so many bars from a bar on, where only so many are left.
pub(super) fn no_such_rest(bar: i32, span: Span, (count, room): (u32, usize)) -> Diagnostic {
    Diagnostic::error(
        "bars/outside",
        span,
        format!("There are {room} bars left from bar {bar} on, not {count}."),
    )
    .with_bars(bar, bar)
}

fn beyond(form: &Form, bar: Span) -> Diagnostic {
    let last = form.bars.last().map_or(0, |bar| bar.number);
    Diagnostic::error(
        "bars/outside",
        bar,
        format!("The piece ends at bar {last}, but this voice has another bar."),
    )
    .with_help(format!("Remove it, or let the form `end` later than bar {last}."))
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// The codes of what is wrong with a voice of eight bars in 2/4.
    fn findings(voice: &str) -> Vec<&'static str> {
        let source = format!(
            "piece \"Count\" {{ }}\nform {{\n  1 metre 2/4, key C major\n  8 end\n}}\n\
             voice tune {{ {voice} }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("count.ripieno", source);
        let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
        findings.iter().map(|finding| finding.code).collect()
    }

    #[test]
    fn a_slip_in_one_number_is_told_once() {
        for slip in ["1", "2", "6", "40"] {
            let voice =
                format!("1: 1/2 C4 | 2: C | {slip}: C | 4: C | 5: C | 6: C | 7: C | 8: C |");
            let code = if slip == "40" { "bars/outside" } else { "bars/number" };
            assert_eq!(findings(&voice), [code], "{slip} for 3");
        }
    }

    #[test]
    fn a_bar_that_stands_there_twice_is_told_once() {
        let voice = "1: 1/2 C4 | 2: C | 2: C | 3: C | 4: C | 5: C | 6: C | 7: C | 8: C |";
        assert_eq!(findings(voice), ["bars/number"]);
    }

    #[test]
    fn bars_left_out_are_told_once_and_the_count_goes_on_behind_them() {
        assert_eq!(findings("1: 1/2 C4 | 4: C | 5: C | 6: C | 7: C | 8: C |"), ["bars/number"]);
    }

    #[test]
    fn a_written_bar_outside_the_piece_is_told_and_nothing_else_of_it() {
        let rest = "1: rest 8 | }\nensemble few { era 1810\n flute }\n\
                    scoring s for few {\n flute writes as melody { 9: 1/1 D5 | }\n";
        assert_eq!(findings(rest), ["bars/outside"]);
    }
}
