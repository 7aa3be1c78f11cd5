//! Signs that stand over bars and between notes, moved by hand, and the notes that they know.

use ripieno_compiler::arrange::arrange;
use ripieno_compiler::diagnostics::{Sources, Span};
use ripieno_compiler::resolve::{self, NoFiles, NudgedSign, resolve};
use ripieno_writers::edition::{self, Edition};
use ripieno_writers::notate::notate;

use super::pages;
use super::tests::part_of;
use crate::page::{Kind, Mark, Pages, Shape};
use crate::paper::{Nudge, Setup};
use crate::reading;

/// A cello that goes up into another clef, with figures below it.
fn source() -> String {
    let tune: String = (1..=24)
        .map(|bar| match bar {
            5..=8 => format!("{bar}: 1/4 A4 B4 C5 D5 | "),
            _ => format!("{bar}: 1/4 C3 D3 E3 G2 | "),
        })
        .collect();
    format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo \"Allegro\" 1/4 at 96\n 1..10 repeat\n 10 ending 1\n \
         11 ending 2\n 13 mark \"B\", tempo \"Adagio\" 1/4 at 60\n 24 end }}\n\
         voice low {{ {tune} }}\nensemble few {{ era 1885\n cello\n }}\n\
         scoring all for few {{\n cello plays low as bass, with figures\n}}\n"
    )
}

/// The same for a flute that goes very high.
fn high() -> String {
    let tune: String = (1..=8).map(|bar| format!("{bar}: 1/4 C7 D7 C7 D7 | ")).collect();
    format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major\n 8 end }}\nvoice tune {{ {tune} }}\n\
         ensemble few {{ era 1885\n piano\n }}\nscoring all for few {{\n piano plays tune as melody\n}}\n"
    )
}

fn boxes(pages: &Pages) -> Vec<(f64, f64)> {
    let marks = pages.pages.iter().flat_map(|page| &page.marks);
    marks.map(|mark| (mark.bounds().x0, mark.bounds().y0)).collect()
}

/// How many marks move where a layout says so of a sign of a bar, each by that much.
fn moved(text: &str, sign: NudgedSign, bar: usize) -> usize {
    let before = part_of(text, &Setup::default());
    let what = resolve::Nudge { sign, of: None, bar, beat: None, right: 0.25, up: -0.125 };
    let nudges = vec![Nudge { what, players: None, line: Span::default() }];
    let after = part_of(text, &Setup { nudges, ..Setup::default() });
    let (before, places) = (boxes(&before), boxes(&after));
    assert_eq!(before.len(), places.len());
    let mut moved = 0;
    for (before, after) in before.into_iter().zip(places) {
        let by = (after.0 - before.0, after.1 - before.1);
        let moves = (by.0 - 0.25).abs() < 1e-9 && (by.1 - 0.125).abs() < 1e-9;
        assert!(moves || by.0.abs() < 1e-9 && by.1.abs() < 1e-9, "{sign:?}: {by:?}");
        moved += usize::from(moves);
    }
    assert_eq!(after.nudged.len(), usize::from(moved > 0), "{sign:?}");
    moved
}

#[test]
fn what_stands_over_a_bar_or_between_notes_moves_alone() {
    let text = source();
    let second = part_of(&text, &Setup::default()).lines[1];
    for (sign, bar, marks) in [
        // Words, and a note with its stem and number in parentheses.
        (NudgedSign::Tempo, 12, 5),
        // With its frame.
        (NudgedSign::Mark, 12, 2),
        // Its bracket is three lines.
        (NudgedSign::Ending, 9, 4),
        (NudgedSign::BarNumber, second, 1),
        (NudgedSign::Clef, 4, 1),
    ] {
        assert_eq!(moved(&text, sign, bar), marks, "{sign:?}");
    }
    assert!(moved(&text, NudgedSign::Figures, 0) > 0);
    assert!(moved(&high(), NudgedSign::Octave, 0) > 3);
    for sign in [
        NudgedSign::Tempo,
        NudgedSign::Mark,
        NudgedSign::Ending,
        NudgedSign::BarNumber,
        NudgedSign::Clef,
        NudgedSign::Octave,
    ] {
        let bar = second + 1;
        assert_eq!(moved(&text, sign, bar), 0, "{sign:?} where none stands");
    }
}

/// The pages of every part and score of all scorings of a sample, without title or heads.
fn sample(text: &str, look: &mut dyn FnMut(&Edition, &Pages)) {
    let forces = include_str!("../../../samples/forces.ripieno");
    let mut sources = Sources::new();
    let root = sources.add("sample", text.replace("use \"forces.ripieno\"", forces));
    let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
    assert!(piece.scorings.len() > 1);
    for scoring in &piece.scorings {
        let arrangement = arrange(&piece, scoring);
        let score = notate(&arrangement);
        let parts = arrangement.desks().map(|desk| edition::part(&score, desk.start));
        let scores = [edition::full_score(&score), edition::condensed_score(&score)];
        for edition in scores.into_iter().chain(parts) {
            let setup = Setup { bare: true, ..Setup::default() };
            look(&edition, &pages(&reading::sheet_for(&edition, &setup), &setup));
        }
    }
}

/// Is it neither of a note nor of a place in the music: lines, brackets, names?
fn is_frame(edition: &Edition, mark: &Mark) -> bool {
    match (&mark.kind, &mark.shape) {
        (Kind::StaffLine | Kind::BarLine | Kind::Bracket, _) => true,
        (Kind::Text, Shape::Text { run, .. }) => edition.parts.iter().any(|part| {
            let within = |name: &str| name.split_whitespace().any(|word| run.text.contains(word));
            within(&part.name) || within(&part.short)
        }),
        _ => false,
    }
}

#[test]
fn every_sign_of_a_page_knows_a_note_that_there_is() {
    let samples = [
        include_str!("../../../samples/mill-race.ripieno"),
        include_str!("../../../samples/after-the-last-boat.ripieno"),
    ];
    for text in samples {
        sample(text, &mut |edition, pages| {
            for mark in pages.pages.iter().flat_map(|page| &page.marks) {
                let Some(origin) = mark.origin else {
                    assert!(is_frame(edition, mark), "{mark:?}");
                    continue;
                };
                let staff = &edition.staves[usize::from(origin.staff)];
                assert!((origin.bar as usize) < staff.bars.len());
            }
        });
    }
}
