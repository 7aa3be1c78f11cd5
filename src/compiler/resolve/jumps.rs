//! Signs that tell where to go on: da capo, dal segno, coda, fine, and what they need of each
//! other.

use super::Resolver;
use super::form::inside;
use super::piece::{BarLine, Form};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::Sign;

/// Puts signs (each with its bar number) into the bars, and tells of those that lead nowhere or
/// that nobody looks for.
pub(super) fn jumps(cx: &mut Resolver, signs: &[(u32, Sign, Span)], form: &mut Form) {
    let mut placed: Vec<(usize, Sign, Span)> = Vec::new();
    for (number, sign, span) in signs {
        if let Some(index) = inside(cx, form, *number, *span) {
            let index = if sign.stands_at_end() { index } else { form.with_up_beat(index) };
            placed.push((index, *sign, *span));
        }
    }
    placed.sort_by_key(|(index, sign, _)| (*index, *sign));
    for (index, sign, _) in &placed {
        let bar = &mut form.bars[*index];
        bar.signs.push(*sign);
        bar.signs.sort_unstable();
        // A double line shows where the music may end or turn (common practice).
        let turns = *sign == Sign::Fine || sign.is_jump();
        if turns && bar.line == BarLine::Plain && !bar.repeat_ends {
            bar.line = BarLine::Double;
        }
    }
    if form.unsure_from.is_some() {
        return;
    }
    let findings: Vec<Diagnostic> =
        placed.iter().filter_map(|place| contradiction(form, &placed, *place)).collect();
    let clean = findings.is_empty();
    for finding in findings {
        cx.push(finding);
    }
    if clean && !placed.is_empty() {
        never_played(cx, form, &placed);
    }
}

/// What is wrong with one sign.
fn contradiction(
    form: &Form,
    placed: &[(usize, Sign, Span)],
    (index, sign, span): (usize, Sign, Span),
) -> Option<Diagnostic> {
    let number = form.bars[index].number;
    let word = sign.in_source();
    let told = |message: String, help: String| {
        Some(
            Diagnostic::error("bars/jump", span, message).with_help(help).with_bars(number, number),
        )
    };
    let any = |is: &dyn Fn(Sign) -> bool| placed.iter().any(|(_, sign, _)| is(*sign));
    let within = |from: usize, to: usize, wanted: Sign| {
        placed.iter().any(|(at, sign, _)| *sign == wanted && (from..to).contains(at))
    };
    if sign.is_jump() {
        let target = if sign.is_dal_segno() { form.segno_before(index) } else { Some(0) };
        let Some(target) = target else {
            return told(
                format!("`{word}` has no segno before it."),
                "Write `segno` at the bar to which it leads.".to_string(),
            );
        };
        if sign.is_al_fine() && !within(target, index, Sign::Fine) {
            return told(
                format!("`{word}` has no fine before it."),
                format!(
                    "Write `fine` at the bar with which the piece ends, one of the bars {} to {}.",
                    form.bars[target].number,
                    number - 1
                ),
            );
        }
        if sign.is_al_coda() {
            if !within(target, index, Sign::ToCoda) {
                return told(
                    format!("`{word}` has no `to coda` before it."),
                    format!(
                        "Write `to coda` at the bar after which the coda follows, one of the bars {} to {}.",
                        form.bars[target].number,
                        number - 1
                    ),
                );
            }
            if form.coda_after(index).is_none() {
                return told(
                    format!("No coda follows `{word}`."),
                    "Write `coda` at the bar with which the coda begins.".to_string(),
                );
            }
        }
        return None;
    }
    match sign {
        Sign::Segno if !any(&Sign::is_dal_segno) => told(
            "No `dal segno` leads to this segno.".to_string(),
            "Write `dal segno` at the bar from which to go back to it, or remove the segno.".to_string(),
        ),
        Sign::Fine if !any(&|sign| sign.is_jump() && !sign.is_al_coda()) => told(
            "Nothing leads back to this fine.".to_string(),
            "Write `da capo al fine` at the last bar that is written, or `end` where the piece ends.".to_string(),
        ),
        Sign::ToCoda if !any(&Sign::is_al_coda) => told(
            "`to coda` holds after a jump `al coda`, and there is none.".to_string(),
            "Write `da capo al coda` or `dal segno al coda` at the bar before the coda.".to_string(),
        ),
        Sign::Coda if !any(&|sign| sign == Sign::ToCoda) => told(
            "Nothing leads to this coda.".to_string(),
            "Write `to coda` at the bar from which it follows, and `da capo al coda` or `dal segno al coda` at the bar before it.".to_string(),
        ),
        _ => None,
    }
}

/// Tells of bars to which nobody comes.
fn never_played(cx: &mut Resolver, form: &Form, placed: &[(usize, Sign, Span)]) {
    let mut played = vec![false; form.bars.len()];
    for index in form.playing_order() {
        played[index] = true;
    }
    let Some(first) = played.iter().position(|played| !played) else { return };
    let after = played[first..].iter().position(|played| *played);
    let last = after.map_or(form.bars.len() - 1, |after| first + after - 1);
    // The jump that leads away from them.
    let mut jumps = placed.iter().filter(|(at, sign, _)| *at < first && sign.is_jump());
    let Some((_, sign, span)) = jumps.next_back().or(placed.last()) else { return };
    let (first, last) = (form.bars[first].number, form.bars[last].number);
    let which = if first == last {
        format!("Bar {first} is")
    } else {
        format!("Bars {first} to {last} are")
    };
    cx.push(
        Diagnostic::error("bars/jump", *span, format!("{which} never played."))
            .with_text("the music leaves here")
            .with_help(format!(
                "`{}` leads away before them: write it at a later bar, or let a coda begin with bar {first}.",
                sign.in_source()
            ))
            .with_bars(first, last),
    );
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// What is said of the lines of a form of eight bars.
    fn told(lines: &str) -> Vec<String> {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{\n 1 metre 2/4, key C major\n{lines}\n 8 end\n}}\n\
             voice tune {{ 1: rest 8 | }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
        findings.into_iter().map(|finding| finding.message).collect()
    }

    #[test]
    fn signs_that_belong_together_are_not_told() {
        for lines in [
            "4 fine\n8 da capo al fine",
            "2 segno\n4 fine\n8 dal segno al fine",
            "3 to coda\n5 da capo al coda\n6 coda",
            "2 segno\n3 to coda\n5 dal segno al coda\n6 coda",
            "4 da capo",
        ] {
            assert_eq!(told(lines), [""; 0], "{lines}");
        }
    }

    #[test]
    fn what_contradicts_itself_is_told() {
        for (lines, message) in [
            ("8 dal segno", "`dal segno` has no segno before it."),
            ("8 da capo al fine", "`da capo al fine` has no fine before it."),
            (
                "5 da capo al coda\n6 coda\n7 to coda",
                "`da capo al coda` has no `to coda` before it.",
            ),
            ("3 to coda\n8 da capo al coda", "No coda follows `da capo al coda`."),
            ("2 segno", "No `dal segno` leads to this segno."),
            ("4 fine", "Nothing leads back to this fine."),
            ("4 to coda", "`to coda` holds after a jump `al coda`, and there is none."),
            ("4 coda", "Nothing leads to this coda."),
            ("2 fine\n5 da capo al fine", "Bars 6 to 8 are never played."),
            ("3 to coda\n5 da capo al coda\n7 coda", "Bar 6 is never played."),
            ("2 da capo, dal segno", "Bar 2 has a second `da capo` or `dal segno`."),
        ] {
            assert_eq!(told(lines).first().map(String::as_str), Some(message), "{lines}");
        }
    }
}
