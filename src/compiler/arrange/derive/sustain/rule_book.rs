//! The rules of a published book of harmony (`tests/shared/part_writing.txt` names it), each with a
//! passage that keeps it and one that breaks it: to the solver the first is the cheaper one, and what it
//! finds itself is at least as cheap.

use std::fmt::Write;

use super::cost::{MOST, REST, Row};
use super::solve::{Stage, step, way};
use crate::arrange::arrange;
use crate::arrange::derive::tests::{piece, request};
use crate::music::Pitch;
use crate::narrow::Narrow;

const RULES: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/shared/part_writing.txt"));

/// What second violins and violas may hold between a tune and a bass, bar by bar.
fn passage([key, chords, tune, bass]: [&str; 4]) -> Vec<Stage> {
    let count = chords.split_whitespace().count();
    let mut text =
        format!("form {{\n 1 metre 4/4, key {key}, tempo 1/4 at 72\n {count} end\n}}\nharmony {{ ");
    for (bar, chord) in chords.split_whitespace().enumerate() {
        let _ = write!(text, "{}: {chord} | ", bar + 1);
    }
    for (name, notes) in [("tune", tune), ("bass", bass)] {
        let _ = write!(text, "}}\nvoice {name} {{ ");
        for (bar, note) in notes.split_whitespace().enumerate() {
            let _ = write!(text, "{}: 1/1 {note} | ", bar + 1);
        }
    }
    text.push_str(
        "}\nensemble few {\n era 1770\n violin-1 6 players, violin-2 6 players, viola 4 players, \
         cello 3 players\n}\nscoring few for few {\n violin-2, viola sustain\n \
         violin-1 plays tune as melody\n cello plays bass as bass\n}\n",
    );
    let piece = piece(&text);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    super::stages_of(&request(&piece, &arrangement))
}

/// What it costs to hold these notes; `None` where the solver would never take them.
fn cost(stages: &[Stage], inner: &str) -> Option<u32> {
    let heights = |part: &str| -> Vec<i16> {
        let pitches = part.split_whitespace().map(|note| match note.parse::<Pitch>() {
            Ok(pitch) => pitch.midi().narrow::<i16>(),
            Err(_) => panic!("{note} is no pitch"),
        });
        pitches.collect()
    };
    let (upper, lower) = inner.split_once(';')?;
    let (upper, lower) = (heights(upper), heights(lower));
    assert_eq!((upper.len(), lower.len()), (stages.len(), stages.len()), "{inner}");
    let mut total = 0;
    let mut before: Option<Row> = None;
    for (at, stage) in stages.iter().enumerate() {
        let mut row = [REST; MOST];
        (row[0], row[1]) = (upper[at], lower[at]);
        let (own, _) = stage.all_rows().find(|(_, known)| *known == row)?;
        total += own;
        if let Some(before) = before {
            total += step(&stages[at - 1], stage, &before, &row, u32::MAX)?;
        }
        before = Some(row);
    }
    Some(total)
}

#[test]
fn to_keep_a_rule_of_the_book_is_cheaper_than_to_break_it() {
    let rows = RULES.lines().filter(|line| !line.starts_with('#'));
    let (mut count, mut wrong) = (0, Vec::new());
    for row in rows {
        count += 1;
        let fields: Vec<&str> = row.split(" | ").map(str::trim).collect();
        let &[key, chords, tune, bass, kept, broken, _, rule] = &fields[..] else {
            panic!("eight fields: {row}");
        };
        let stages = passage([key, chords, tune, bass]);
        let best = way(&stages, None).0;
        let (kept, broken) = (cost(&stages, kept), cost(&stages, broken));
        println!("{rule} best {best}, kept {kept:?}, broken {broken:?}");
        if kept.is_none_or(|kept| broken.is_some_and(|broken| kept >= broken) || best > kept) {
            wrong.push(format!("{rule} best {best}, kept {kept:?}, broken {broken:?}"));
        }
    }
    assert!(count >= 20, "only {count} rules");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
