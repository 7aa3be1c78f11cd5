//! Tuplets.

use smallvec::{SmallVec, smallvec};

use super::*;
use crate::music::Metre;

/// The most notes of a tuplet, and the most in whose time they stand.
const MOST: u8 = 16;

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
        if !(2..=MOST).contains(&actual) || !(1..=MOST).contains(&normal) {
            bar.counted = false;
            return self.cx.push(bad_tuplet(span, ratio));
        }
        let start = bar.at;
        let counted = std::mem::replace(&mut bar.counted, true);
        let mut borders: SmallVec<[Time; 16]> = smallvec![start];
        for element in elements {
            self.element(bar, element, Some((actual, normal)));
            borders.push(bar.at);
        }
        borders.dedup();
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
            let frame = self.form.bar_at(start);
            // Where the metre has it, in a bar that may be an up-beat.
            let missing = (frame.metre.bar_length() - frame.length).max(Time::ZERO);
            let begins = frame.start - if frame.leads_in() { missing } else { Time::ZERO };
            let parts = |at: Time| parts_at(frame.metre, at - begins);
            let whole = Tuplet { start, length, actual, normal };
            let tuplets = &mut self.music.tuplets;
            divide(whole, &borders, &parts, &mut |tuplet| push_slowly(tuplets, tuplet));
        }
    }
}

/// Can a tuplet be divided at a place in the bar? At a beat, and at every quarter of longer ones.
fn parts_at(metre: Metre, at: Time) -> bool {
    let beat = match metre.is_compound() {
        true => metre.beat(),
        false => metre.beat().min(Time::QUARTER),
    };
    at % beat == Time::ZERO
}

/// A tuplet as it is read: one whose notes are all shorter than its unit (six eighths in the time of two
/// quarters) is two of the smaller unit where a note ends at the middle and a beat begins there, 3:2 and 3:2, and
/// so on; else it counts the smaller unit: 6:4. Common practice.
fn divide(
    whole: Tuplet,
    borders: &[Time],
    parts: &dyn Fn(Time) -> bool,
    push: &mut dyn FnMut(Tuplet),
) {
    let Tuplet { start, length, actual, normal } = whole;
    let inside = |time: &Time| (start..=start + length).contains(time);
    let of = borders.iter().copied().filter(inside).collect::<SmallVec<[Time; 16]>>();
    let longest = of.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(length);
    // A half that is printed in half the units is a whole number of them; a third is not.
    let half = length.scaled(1, 2).filter(|_| normal.is_power_of_two());
    let Some(half) = half.filter(|_| longest * i64::from(actual) < length) else {
        return push(whole);
    };
    if of.contains(&(start + half)) && parts(start + half) {
        divide(Tuplet { length: half, ..whole }, borders, parts, push);
        let second = Tuplet { start: start + half, length: half, ..whole };
        divide(second, borders, parts, push);
    } else if actual <= MOST / 2 {
        divide(
            Tuplet { actual: actual * 2, normal: normal * 2, ..whole },
            borders,
            &|_| false,
            push,
        );
    } else {
        push(whole);
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
