//! Breaks and turns of layouts with which no line or page begins.

use std::collections::HashSet;

use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::{Diagnostic, Span};
use ripieno_compiler::resolve::{Override, Pages};

use super::{named, pages};
use crate::outputs::{Of, Printed};

/// Where a line or a page is to begin, as a line of a layout says it.
#[derive(Clone, Copy)]
pub(super) enum Begins {
    Line,
    Page,
}

impl Begins {
    fn word(self) -> &'static str {
        match self {
            Begins::Line => "line",
            Begins::Page => "page",
        }
    }

    /// Does one of a printed part or score begin with a bar?
    fn with(self, bar: usize, printed: &Printed) -> bool {
        match self {
            Begins::Line => printed.lines.contains(&bar),
            Begins::Page => printed.first_bars.contains(&bar) && !printed.lines.is_empty(),
        }
    }
}

/// What is told of bars with which a line or page is to begin, each with its place: of those with which
/// none does on any of the pages concerned, and of those players for whom none of them does. The places
/// of all others go into `effective`.
pub(super) fn findings(
    arrangement: &Arrangement,
    (line, concerned): (&Override, &[&Printed]),
    (begins, bars): (Begins, &[(usize, Span)]),
    effective: &mut HashSet<Span>,
) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let mut some = Vec::new();
    for &(bar, span) in bars {
        if concerned.iter().any(|one| begins.with(bar, one)) {
            effective.insert(span);
            some.push(bar);
        } else {
            let help = match bars {
                [_] => "Remove the line, or name a part in which the bar is printed.",
                _ => "Remove the bar, or name a part in which it is printed.",
            };
            found.push(told(arrangement, concerned, (begins, bar), span).with_help(help));
        }
    }
    let (Pages::Players(names), Some(&bar)) = (&line.pages, some.first()) else { return found };
    for (name, span) in names {
        let desks: Vec<usize> = named(arrangement, name)
            .into_iter()
            .map(|player| arrangement.desk(player).start)
            .collect();
        let own = |one: &&Printed| matches!(one.of, Of::Part(part) if desks.contains(&part));
        let own: Vec<&Printed> = concerned.iter().copied().filter(own).collect();
        if own.iter().any(|one| some.iter().any(|&bar| begins.with(bar, one))) {
            effective.insert(*span);
        } else if !own.is_empty() {
            let told = told(arrangement, &own, (begins, bar), *span);
            found.push(told.with_help("Leave the name out."));
        }
    }
    found
}

/// That no line or page of these pages begins with a bar.
fn told(
    arrangement: &Arrangement,
    concerned: &[&Printed],
    (begins, bar): (Begins, usize),
    span: Span,
) -> Diagnostic {
    let number = arrangement.piece.form.bars.get(bar).map_or(0, |bar| bar.number);
    let word = begins.word();
    let tacet = concerned.iter().all(|one| one.lines.is_empty());
    let message = match concerned {
        [one] if tacet => format!(
            "The {} is tacet, so no {word} of it begins with bar {number}.",
            pages(arrangement, one.of)
        ),
        [one] => format!(
            "No {word} of the {} begins with bar {number}: it is not printed there.",
            pages(arrangement, one.of)
        ),
        _ if tacet => {
            format!("These parts are tacet, so no {word} of them begins with bar {number}.")
        }
        _ => format!("No {word} of these pages begins with bar {number}: it is not printed there."),
    };
    Diagnostic::warning("layout/no-effect", span, message)
}

#[cfg(test)]
mod tests {
    use crate::overrides::tests::told_with;

    fn told(layout: &str) -> Vec<String> {
        told_with(", bassoon", layout)
    }

    #[test]
    fn a_break_or_turn_of_a_part_that_is_tacet_is_told() {
        let tacet = |word| {
            format!("The part for `bassoon` is tacet, so no {word} of it begins with bar 9.")
        };
        assert_eq!(told("bassoon break before 9"), [tacet("line")]);
        assert_eq!(told("bassoon turn before 9"), [tacet("page")]);
        assert_eq!(told("flute, bassoon turn before 9, 20"), [tacet("page")], "the name is told");
        assert!(told("parts break before 9").is_empty(), "some parts have it");
    }

    #[test]
    fn a_break_or_turn_that_divides_a_rest_fits() {
        assert!(told("flute turn before 20").is_empty());
        assert!(told("flute break before 9, 20").is_empty());
        assert!(told("score break before 20").is_empty());
    }
}
