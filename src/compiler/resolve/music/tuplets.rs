//! Tuplets.

use super::*;

impl Builder<'_> {
    /// The elements of a tuplet, and whether it is full.
    pub(super) fn tuplet(
        &mut self,
        bar: &mut BarState,
        ratio: (u32, u32),
        elements: &[Spanned<Element>],
        span: Span,
    ) {
        let (Ok(actual), Ok(normal)) = (u8::try_from(ratio.0), u8::try_from(ratio.1)) else {
            bar.counted = false;
            return self.cx.push(bad_tuplet(span, ratio));
        };
        if !(2..=16).contains(&actual) || !(1..=16).contains(&normal) {
            bar.counted = false;
            return self.cx.push(bad_tuplet(span, ratio));
        }
        let start = bar.at;
        let counted = std::mem::replace(&mut bar.counted, true);
        for element in elements {
            self.element(bar, element, Some((actual, normal)));
        }
        let length = bar.at - start;
        let written = length.scaled(i64::from(actual), i64::from(normal)).unwrap_or(length);
        let unit = written.scaled(1, i64::from(actual));
        let full = unit.is_some_and(|unit| {
            let (numerator, denominator) = unit.fraction();
            numerator == 1 && denominator.count_ones() == 1
        });
        // What is wrong with a value inside was told.
        if !full && bar.counted {
            self.cx.push(
                Diagnostic::error(
                    "bars/tuplet",
                    span,
                    format!("This tuplet of {actual} in the time of {normal} is not full: it holds {written}."),
                )
                .with_help(format!("It holds {actual} of one value, for example {actual} eighths."))
                .with_bars(bar.number, bar.number),
            );
            bar.counted = false;
        }
        bar.counted &= counted;
        let line = self.form.end_of_bar_at(start);
        if start + length > line && start + length <= bar.end {
            self.cx.push(
                Diagnostic::error(
                    "bars/up-beat",
                    span,
                    format!(
                        "The line before the up-beat of bar {} goes through this tuplet.",
                        bar.number + 1
                    ),
                )
                .with_help("Write what stands before and behind the line by itself, or let the up-beat begin before or behind the tuplet.")
                .with_bars(bar.number, bar.number),
            );
            return;
        }
        if length.is_positive() && start + length <= bar.end {
            push_slowly(&mut self.music.tuplets, Tuplet { start, length, actual, normal });
        }
    }
}

fn bad_tuplet(span: Span, (actual, normal): (u32, u32)) -> Diagnostic {
    Diagnostic::error(
        "bars/tuplet",
        span,
        format!("A tuplet of {actual} in the time of {normal} cannot be written."),
    )
    .with_help("Both numbers are at most 16: `3:2( … )`, `5:4( … )`, `7:8( … )`.")
}
