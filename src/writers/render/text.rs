//! Parts and scores as plain text that can be read at a rehearsal.
//!
//! Time runs along the line: over the notes stand the beats, and each note stands under the beat
//! on which it begins. Its line `──` lasts as long as it sounds, rests are dotted `····`. Below
//! the notes stand slurs and marks, and in a part the values of a bar whose beats do not tell them. A brace at the left
//! joins the two staves of a harp or a keyboard, with the dynamics between them. Pitch is written
//! pitch, as names with every accidental. Lines are at most 80 columns wide in a part and 120 in a
//! score, in UTF-8, for letters of one width.

mod brace;
mod by_bar;
mod canvas;
mod cells;
mod grid;
mod system;
mod words;

#[cfg(test)]
mod tests;

use std::borrow::Cow;

use crate::edition::{self, rest_runs};
use crate::music::Interval;
use crate::notate::{ElementKind, Measure, Score, Staff};
use crate::resolve::{Mark, Marks};
use cells::Cell;
use grid::{BarColumns, Chunk};
use system::{Brace, Open, Page, TextLine};

/// How text is laid out.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Style {
    /// Notes under their beats: [`part`] and [`score`].
    #[default]
    Beats,
    /// A bar a line in words, to be read aloud: [`by_bar`].
    Words,
    /// A bar a line in signs, to compare versions: [`by_bar`].
    Lines,
}

impl Style {
    /// All styles with the word that names them.
    pub const ALL: [(Style, &'static str); 3] =
        [(Style::Beats, "beats"), (Style::Words, "words"), (Style::Lines, "lines")];
}

/// An edition, a line for each bar of a part, and in a score for each bar of each part that plays.
/// `style` is [`Style::Words`] or [`Style::Lines`].
#[must_use]
pub fn by_bar(edition: &edition::Edition, style: Style) -> String {
    by_bar::write(edition, style)
}

/// Columns of a name before the lines of a score; a longer one is cut.
const LONGEST_NAME: usize = 32;
/// Columns of a part.
const PART_WIDTH: usize = 80;
/// Columns of a score.
const SCORE_WIDTH: usize = 120;
/// Columns for the number of a bar in a part.
const PART_GUTTER: usize = 5;

/// "spa (spa-orchestra)", or the name alone if both are called the same.
fn scoring(scoring: &str, ensemble: &str) -> String {
    if scoring == ensemble { scoring.to_string() } else { format!("{scoring} ({ensemble})") }
}

/// One player's part; empty if the score has no such staff.
#[must_use]
pub fn part(score: &Score, staff: usize) -> String {
    let Some(player) = score.staves.get(staff) else { return String::new() };
    let mut out = String::new();
    head(score, &player.name, PART_WIDTH, &mut out);
    let key = player.measures.first().and_then(|measure| measure.key);
    let mut facts = vec![scoring(&score.scoring, &score.ensemble)];
    facts.extend((player.players > 1).then(|| format!("{} players", player.players)));
    facts.push(pitch_fact(player));
    facts.extend(frame_facts(score));
    if !player.instrument.unpitched {
        facts.push(key.map_or_else(|| "no key signature".to_string(), words::key));
    }
    paragraph(&facts.join(" · "), PART_WIDTH, &mut out);
    out.push('\n');
    let runs = rest_runs(&edition::part(score, staff));
    let page = page(score, &score.staves[staff..=staff], PART_WIDTH, PART_GUTTER, true);
    draw(&page, &runs, &mut out);
    let mut cells = page.lines.iter().flat_map(|line| line.cells.iter().flatten());
    legend(player, cells.any(|cell| !cell.value.is_empty()), &mut out);
    foot(score, &mut out);
    out
}

/// The full score: a row or more for each staff. In each line but the first, staves that only rest
/// are left out.
#[must_use]
pub fn score(score: &Score) -> String {
    let mut out = String::new();
    head(score, "Score", SCORE_WIDTH, &mut out);
    let mut facts = vec![scoring(&score.scoring, &score.ensemble)];
    facts.extend(frame_facts(score));
    facts.extend(score.frame.first().map(|bar| words::key(bar.key)));
    facts.push("written pitch".to_string());
    paragraph(&facts.join(" · "), SCORE_WIDTH, &mut out);
    out.push('\n');
    let gutter = gutter(score);
    for staff in &score.staves {
        let mut name = margin_name(&staff.abbreviation);
        for line in canvas::wrapped(&staff_fact(staff), SCORE_WIDTH - gutter) {
            out.push_str(&format!("{name:gutter$}{line}\n"));
            name = "".into();
        }
    }
    out.push('\n');
    let page = page(score, &score.staves, SCORE_WIDTH, gutter, false);
    draw(&page, &common_rests(score), &mut out);
    foot(score, &mut out);
    out
}

/// Some bars of the full score, with a head of their own: rows for each staff that plays in them.
#[must_use]
pub fn passage(whole: &Score, bars: std::ops::Range<usize>, style: Style) -> String {
    let some = whole.passage(bars).without_silent_staves();
    let (Some(first), Some(last)) = (some.frame.first(), some.frame.last()) else {
        return String::new();
    };
    let name = match (first.number, last.number) {
        (first, last) if first == last => format!("Bar {first}"),
        (first, last) => format!("Bars {first} to {last}"),
    };
    let some = Score { subtitle: Some(name), ..some };
    match style {
        Style::Beats => score(&some),
        style => by_bar(&edition::full_score(&some), style),
    }
}

/// One bar of the full score by its index, without head and foot: a row for each staff that plays
/// in it, or "All rest." Empty if the score has no such bar.
#[must_use]
pub fn bar(score: &Score, bar: usize) -> String {
    if bar >= score.frame.len() {
        return String::new();
    }
    let one = score.passage(bar..bar + 1).without_silent_staves();
    if one.staves.is_empty() {
        return "All rest.\n".to_string();
    }
    let mut out = String::new();
    draw(&page(&one, &one.staves, SCORE_WIDTH, gutter(&one), false), &[], &mut out);
    out
}

/// Columns before the lines of a score: the longest name, and a brace where one is needed.
fn gutter(score: &Score) -> usize {
    let abbreviations = score.staves.iter().flat_map(|staff| {
        staff.instruments.iter().map(|i| &i.abbreviation).chain([&staff.abbreviation])
    });
    let longest = abbreviations.map(|name| name.chars().count()).max();
    let brace = usize::from(score.staves.iter().any(Staff::is_braced));
    longest.unwrap_or(0).clamp(4, LONGEST_NAME) + 1 + brace
}

fn page<'a>(
    score: &'a Score,
    staves: &'a [Staff],
    width: usize,
    gutter: usize,
    is_part: bool,
) -> Page<'a> {
    let mut lines: Vec<TextLine> = Vec::with_capacity(staves.len());
    for staff in staves {
        let line = |measures: &'a [Measure], brace| {
            let mut cells: Vec<Vec<Cell>> = measures.iter().map(cells::of_measure).collect();
            if is_part {
                for ((cells, measure), bar) in cells.iter_mut().zip(measures).zip(&score.frame) {
                    let marked = |at| grid::beat_sign(bar, at).is_some();
                    cells::say_values(cells, measure, bar.length, marked);
                }
            }
            TextLine { staff, measures, cells, brace }
        };
        if staff.is_braced() {
            lines.push(line(&staff.measures, Brace::Upper));
            lines.push(line(&staff.lower, Brace::Lower));
        } else {
            lines.push(line(&staff.measures, Brace::None));
        }
    }
    let grids = score.frame.iter().enumerate().map(|(bar, frame)| {
        let in_bar: Vec<_> =
            lines.iter().map(|line| (&line.measures[bar], line.cells[bar].as_slice())).collect();
        BarColumns::new(frame, &in_bar)
    });
    let grids = grids.collect();
    Page { score, lines, grids, width, gutter, is_part }
}

/// Draws all bars. `runs` says for each bar how many bars of rest begin there that are shown as
/// one; it is empty where none are.
fn draw(page: &Page, runs: &[u32], out: &mut String) {
    // The last bar line and the first may be signs of repeats.
    let room = page.width - page.gutter - 2;
    let mut chunks = Vec::new();
    let mut bar = 0;
    while bar < page.score.frame.len() {
        let bars = runs.get(bar).map_or(1, |&run| run.max(1) as usize);
        if bars > 1 {
            let width = system::long_rest(page.score, bar, bars).chars().count() + 1;
            chunks.push(Chunk { bar, bars, columns: (0, 0), width });
        } else {
            grid::chunks(bar, &page.score.frame[bar], &page.grids[bar], room, &mut chunks);
        }
        bar += bars;
    }
    let begins = |chunk: &Chunk| chunk.columns.0 == 0 && page.score.frame[chunk.bar].mark.is_some();
    let mut open = Open::default();
    for (index, line) in grid::lines(chunks, room, begins).iter().enumerate() {
        page.draw(line, &mut open, index == 0, out);
    }
}

fn head(score: &Score, right: &str, width: usize, out: &mut String) {
    let (title, right_length) = (score.title.chars().count(), right.chars().count());
    if title + 3 + right_length <= width {
        let between = width - title - right_length;
        out.push_str(&format!("{}{}{right}\n", score.title, " ".repeat(between)));
    } else {
        paragraph(&score.title, width, out);
        for line in canvas::wrapped(right, width) {
            out.push_str(&format!("{line:>width$}\n"));
        }
    }
    if let Some(subtitle) = &score.subtitle {
        paragraph(subtitle, width, out);
    }
    let arranger = score.arranger.as_ref().map(|arranger| format!("arranged by {arranger}"));
    let people: Vec<String> = score.composer.iter().cloned().chain(arranger).collect();
    paragraph(&people.join(", "), width, out);
    out.push_str(&"─".repeat(width));
    out.push('\n');
}

/// For each bar, how many bars of rest begin there that all players share and that are shown as
/// one.
fn common_rests(score: &Score) -> Vec<u32> {
    let mut common = vec![u32::MAX; score.frame.len()];
    for staff in 0..score.staves.len() {
        let mut left = 0;
        for (bar, run) in rest_runs(&edition::part(score, staff)).into_iter().enumerate() {
            left = if run > 0 { run } else { u32::saturating_sub(left, 1) };
            common[bar] = common[bar].min(left);
        }
    }
    if score.staves.is_empty() { Vec::new() } else { common }
}

/// A name as it stands before the lines of a score.
fn margin_name(name: &str) -> Cow<'_, str> {
    match name.char_indices().nth(LONGEST_NAME - 1) {
        Some((cut, c)) if cut + c.len_utf8() < name.len() => format!("{}…", &name[..cut]).into(),
        _ => name.into(),
    }
}

/// "Horn 1 in D: sounds a minor seventh lower than written".
fn staff_fact(staff: &Staff) -> String {
    let key = staff.key_name.as_ref().map_or_else(String::new, |key| format!(" {key}"));
    let players = match staff.players {
        0 | 1 => String::new(),
        players => format!(", {players} players"),
    };
    let interval = staff.measures.first().and_then(|measure| measure.transposition);
    let sounds = interval.filter(|interval| *interval != Interval::UNISON);
    let sounds = sounds.map_or_else(String::new, |by| format!(": {}", words::transposition(by)));
    format!("{}{key}{players}{sounds}", staff.name)
}

/// "in D: sounds a minor seventh lower than written".
fn pitch_fact(staff: &Staff) -> String {
    let interval = staff.measures.first().and_then(|measure| measure.transposition);
    let sounds = match interval {
        _ if staff.instrument.unpitched => "no pitch".to_string(),
        Some(interval) => words::transposition(interval),
        None => "sounds as written".to_string(),
    };
    match &staff.key_name {
        Some(key) => format!("{key}: {sounds}"),
        None => sounds,
    }
}

fn frame_facts(score: &Score) -> Vec<String> {
    let Some(bar) = score.frame.first() else { return Vec::new() };
    let tempo = bar.tempo.as_ref().map(words::tempo);
    std::iter::once(format!("metre {}", bar.metre.name())).chain(tempo).collect()
}

fn paragraph(text: &str, width: usize, out: &mut String) {
    for line in canvas::wrapped(text, width) {
        out.push_str(&line);
        out.push('\n');
    }
}

/// How to read the part, with the signs that occur in it, and values where there are any.
fn legend(staff: &Staff, values: bool, out: &mut String) {
    let mut used = Marks::NONE;
    let (mut graces, mut tremolo, mut chords) = (false, false, false);
    for element in staff.all_measures().flat_map(|measure| &measure.elements) {
        match &element.kind {
            ElementKind::Note(note) => {
                note.marks.iter().for_each(|mark| used.insert(mark));
                graces |= note.grace.is_some();
                tremolo |= note.tremolo > 0;
                chords |= note.heads.len() > 1;
            }
            ElementKind::Rest { fermata: true } | ElementKind::BarRest { fermata: true } => {
                used.insert(Mark::Fermata);
            }
            ElementKind::Rest { .. } | ElementKind::BarRest { .. } => {}
        }
    }
    let mut text = String::from(
        "Each note stands under its beat and lasts as long as its line ──; dots ···· are a rest.",
    );
    if values {
        text.push_str(
            " Where the beats do not tell a value, it stands below and holds until the next one in \
             the bar: 1/16 a sixteenth, 1/8. a dotted eighth.",
        );
    }
    let unpitched = |of: bool| staff.instruments.iter().any(|i| i.unpitched == of);
    if unpitched(true) {
        text.push_str(" × is a stroke.");
    }
    if unpitched(false) {
        text.push_str(
            " Every accidental is written at its note: a plain letter is natural, whatever the \
             key. The octave (C4 is middle C) stands at the first note of a bar and where it \
             changes; … goes before a note that is still held.",
        );
    }
    if staff.is_braced() {
        text.push_str(
            " The brace ⎧⎨⎩ joins two staves, for the right hand and the left; dynamics between \
             them are for both.",
        );
    }
    if chords {
        text.push_str(" & joins the notes of a chord, the lowest first.");
    }
    if graces {
        text.push_str(" (Names in brackets) are grace notes, (/ crossed ones.");
    }
    let signs = words::SIGNS.iter().filter(|(mark, ..)| used.has(*mark));
    let mut said: Vec<String> =
        signs.map(|(_, sign, meaning)| format!("{sign} {meaning}")).collect();
    said.extend(tremolo.then(|| "/ // /// tremolo in eighths, 16ths, 32nds".to_string()));
    out.push_str(&"─".repeat(PART_WIDTH));
    out.push('\n');
    paragraph(&text, PART_WIDTH, out);
    paragraph(&said.join(";  "), PART_WIDTH, out);
}

fn foot(score: &Score, out: &mut String) {
    if let Some(licence) = &score.licence {
        paragraph(&format!("Licence: {licence}"), PART_WIDTH, out);
    }
}
