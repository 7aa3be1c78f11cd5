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
mod by_parts;
mod canvas;
mod cells;
mod grid;
mod system;
mod words;

#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::io;
use std::ops::Range;

use crate::edition::{self, Edition, EditionPart, Halves, Kind, rest_runs};
use crate::music::Interval;
use crate::notate::{ElementKind, Score};
use crate::resolve::{Mark, Marks};
use cells::CellKind;
use grid::{BarColumns, Chunk, Wanted};
use system::{Open, Page, TextLine};

/// How text is laid out.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Style {
    /// Notes under their beats: [`part`] and [`score`].
    #[default]
    Beats,
    /// A bar a line in words, to be read aloud.
    Words,
    /// A bar a line in signs, to compare versions.
    Lines,
}

impl Style {
    /// All styles with the word that names them.
    pub const ALL: [(Style, &'static str); 3] =
        [(Style::Beats, "beats"), (Style::Words, "words"), (Style::Lines, "lines")];
}

/// An edition as text: in [`Style::Beats`] notes under their beats, else a line for each bar of a part,
/// and in a score for each bar of each part that plays.
#[must_use]
pub fn write(edition: &Edition, style: Style) -> String {
    match (style, edition.kind) {
        (Style::Beats, Kind::Part(_)) => part_of(edition),
        (Style::Beats, _) => score_of(edition),
        _ => by_bar::write(edition, style),
    }
}

/// A score of which no more than one part is held at a time. `one` gives the edition of a part, to be
/// looked at; it is asked more than once for each.
///
/// # Errors
///
/// What `out` answers.
pub fn write_by_parts(
    parts: usize,
    one: impl Fn(usize, &mut dyn FnMut(Edition) -> io::Result<()>) -> io::Result<()>,
    style: Style,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    match style {
        Style::Beats => by_parts::beats(parts, &one, out),
        _ => by_bar::write_by_parts(parts, &one, style, out),
    }
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

/// One player's part without cues, notes under their beats; empty if the score has no such staff.
#[must_use]
pub fn part(score: &Score, staff: usize) -> String {
    if staff >= score.staves.len() {
        return String::new();
    }
    write(&edition::part_with(score, staff, Halves::Apart), Style::Beats)
}

/// The full score, notes under their beats: a row or more for each staff. In each line but the first,
/// staves that only rest are left out.
#[must_use]
pub fn score(score: &Score) -> String {
    write(&edition::full_score_with(score, Halves::Apart), Style::Beats)
}

fn part_of(edition: &Edition) -> String {
    let (Some(part), Some(player)) = (edition.parts.first(), edition.players.first()) else {
        return String::new();
    };
    let head = &edition.head;
    let mut out = String::new();
    // Two halves of a section have one part, with its name.
    let name = if edition.players.len() > 1 { &head.name } else { &player.name };
    self::head(edition, name, PART_WIDTH, &mut out);
    let first = edition.staves.first().and_then(|staff| staff.bars.first());
    let mut facts = vec![scoring(&head.scoring, &head.ensemble)];
    facts.extend((head.readers > 1).then(|| format!("{} players", head.readers)));
    facts.push(pitch_fact(edition, part));
    facts.extend(frame_facts(edition));
    if !player.instruments.first().is_some_and(|instrument| instrument.unpitched) {
        let key = first.and_then(|bar| bar.key);
        facts.push(key.map_or_else(|| "no key signature".to_string(), words::key));
    }
    paragraph(&facts.join(" · "), PART_WIDTH, &mut out);
    out.push('\n');
    let runs: Vec<u32> = edition
        .staves
        .first()
        .map(|staff| staff.bars.iter().map(|bar| bar.multi_rest).collect())
        .unwrap_or_default();
    // The two halves of a section have a row each, with its name.
    let gutter = if edition.parts.len() > 1 { gutter(edition) } else { PART_GUTTER };
    let page = page(edition, PART_WIDTH, gutter);
    draw(&page, &runs, &mut out);
    if !edition.is_tacet() {
        legend(edition, &page, &mut out);
    }
    foot(edition, &mut out);
    out
}

/// A row or more for each staff. In each line but the first, staves that only rest are left out.
fn score_of(edition: &Edition) -> String {
    let facts: Vec<String> = edition.parts.iter().map(|part| part_fact(edition, part)).collect();
    let gutter = gutter(edition);
    let mut out = String::new();
    score_head(edition, &facts, gutter, &mut out);
    let page = page(edition, SCORE_WIDTH, gutter);
    draw(&page, &rest_runs(edition), &mut out);
    foot(edition, &mut out);
    out
}

/// What stands over the first line of a score; `facts` say what each part is.
fn score_head(edition: &Edition, facts: &[String], gutter: usize, out: &mut String) {
    let head = &edition.head;
    self::head(edition, &head.name, SCORE_WIDTH, out);
    let mut said = vec![scoring(&head.scoring, &head.ensemble)];
    said.extend(frame_facts(edition));
    said.extend(edition.bars.first().map(|bar| words::key(bar.key)));
    let concert = edition.kind == Kind::ConcertScore;
    said.push(if concert { "sounding pitch" } else { "written pitch" }.to_string());
    paragraph(&said.join(" · "), SCORE_WIDTH, out);
    out.push('\n');
    for (part, fact) in edition.parts.iter().zip(facts) {
        let mut name = margin_name(&part.short);
        for line in canvas::wrapped(fact, SCORE_WIDTH - gutter) {
            out.push_str(&format!("{name:gutter$}{line}\n"));
            name = "".into();
        }
    }
    out.push('\n');
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
    write(&edition::full_score_with(&some, Halves::Apart), style)
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
    let edition = edition::full_score_with(&one, Halves::Apart);
    draw(&page(&edition, SCORE_WIDTH, gutter(&edition)), &[], &mut out);
    out
}

/// Columns before the lines of a score: the longest name, and a brace where one is needed.
fn gutter(edition: &Edition) -> usize {
    let instruments = edition.players.iter().flat_map(|player| &player.instruments);
    let abbreviations = instruments.map(|instrument| &instrument.abbreviation);
    let names = abbreviations.chain(edition.parts.iter().map(|part| &part.short));
    let longest = names.map(|name| name.chars().count()).max();
    let brace = usize::from(edition.parts.iter().any(|part| part.staves.len() > 1));
    longest.unwrap_or(0).clamp(4, LONGEST_NAME) + 1 + brace
}

fn page<'e, 'a>(edition: &'e Edition<'a>, width: usize, gutter: usize) -> Page<'e, 'a> {
    let is_part = matches!(edition.kind, Kind::Part(_)) && edition.parts.len() == 1;
    let lines = text_lines(edition, is_part, 0..edition.bars.len());
    let grids = edition.bars.iter().enumerate().map(|(bar, frame)| {
        let mut wanted = Wanted::default();
        lines.iter().for_each(|line| wanted.take(frame, &line.contents(bar)));
        wanted.columns(frame)
    });
    let grids = grids.collect();
    Page { edition, lines, grids: Cow::Owned(grids), width, gutter, is_part }
}

fn text_lines<'e, 'a>(
    edition: &'e Edition<'a>,
    is_part: bool,
    bars: Range<usize>,
) -> Vec<TextLine<'e, 'a>> {
    let line = |staff| TextLine::new(edition, staff, is_part, bars.clone());
    (0..edition.staves.len()).map(line).collect()
}

/// Draws all bars. `runs` says for each bar how many bars of rest begin there that are shown as
/// one; it is empty where none are.
fn draw(page: &Page, runs: &[u32], out: &mut String) {
    let edition = page.edition;
    if edition.is_tacet() {
        out.push_str("Tacet\n");
        return;
    }
    let mut open = Open::default();
    let mut headings = Headings::new(edition, page.width);
    for (index, line) in in_lines(edition, &page.grids, runs, page.room()).iter().enumerate() {
        headings.before(line, out);
        page.draw(line, &mut open, index == 0, out);
    }
    headings.left(out);
}

/// Which bars stand in which line.
fn in_lines(edition: &Edition, grids: &[BarColumns], runs: &[u32], room: usize) -> Vec<Vec<Chunk>> {
    let mut chunks = Vec::new();
    let mut bar = 0;
    while bar < edition.bars.len() {
        let movement = edition.movements.get(edition.movement_of(bar));
        if let Some(tacet) = movement.filter(|movement| movement.tacet && movement.title.is_some())
        {
            bar = tacet.bars.end.max(bar + 1);
            continue;
        }
        let bars = runs.get(bar).map_or(1, |&run| run.max(1) as usize);
        if bars > 1 {
            let width = system::long_rest(edition.bars, bar, bars).chars().count() + 1;
            chunks.push(Chunk { bar, bars, columns: (0, 0), width });
        } else {
            grid::chunks(bar, &edition.bars[bar], &grids[bar], room, &mut chunks);
        }
        bar += bars;
    }
    let titled = edition.movements.iter().filter(|movement| movement.title.is_some());
    let begins = |chunk: &Chunk| {
        let movement = || titled.clone().any(|movement| movement.bars.start == chunk.bar);
        chunk.columns.0 == 0 && (edition.bars[chunk.bar].mark.is_some() || movement())
    };
    grid::lines(chunks, room, begins)
}

/// The headings of movements, each on a line of its own before its first bar.
struct Headings<'m> {
    /// Those that do not stand yet.
    to_come: &'m [edition::Movement],
    width: usize,
}

impl<'m> Headings<'m> {
    fn new(edition: &'m Edition, width: usize) -> Headings<'m> {
        Headings { to_come: &edition.movements, width }
    }

    /// Those that stand before a line of bars.
    fn before(&mut self, line: &[Chunk], out: &mut String) {
        let first = line.first().map_or(0, |chunk| chunk.bar);
        let end = self.to_come.iter().take_while(|movement| movement.bars.start <= first).count();
        let (here, later) = self.to_come.split_at(end);
        here.iter().for_each(|movement| heading(movement, self.width, out));
        self.to_come = later;
    }

    /// Those behind the last line.
    fn left(self, out: &mut String) {
        self.to_come.iter().for_each(|movement| heading(movement, self.width, out));
    }
}

/// The heading of a movement, on a line of its own; nothing where it has no title.
fn heading(movement: &edition::Movement, width: usize, out: &mut String) {
    let Some(heading) = movement.heading() else { return };
    paragraph(&heading, width, out);
    out.push('\n');
}

fn head(edition: &Edition, right: &str, width: usize, out: &mut String) {
    let head = &edition.head;
    let (title, right_length) = (head.title.chars().count(), right.chars().count());
    if title + 3 + right_length <= width {
        let between = width - title - right_length;
        out.push_str(&format!("{}{}{right}\n", head.title, " ".repeat(between)));
    } else {
        paragraph(&head.title, width, out);
        for line in canvas::wrapped(right, width) {
            out.push_str(&format!("{line:>width$}\n"));
        }
    }
    if let Some(subtitle) = &head.subtitle {
        paragraph(subtitle, width, out);
    }
    let arranger = head.arranger.as_ref().map(|arranger| format!("arranged by {arranger}"));
    let people: Vec<String> = head.composer.iter().cloned().chain(arranger).collect();
    paragraph(&people.join(", "), width, out);
    out.push_str(&"─".repeat(width));
    out.push('\n');
}

/// A name as it stands before the lines of a score.
fn margin_name(name: &str) -> Cow<'_, str> {
    match name.char_indices().nth(LONGEST_NAME - 1) {
        Some((cut, c)) if cut + c.len_utf8() < name.len() => format!("{}…", &name[..cut]).into(),
        _ => name.into(),
    }
}

/// The way from written to sounding pitch in the first bar of a part.
fn first_transposition(edition: &Edition, part: &EditionPart) -> Option<Interval> {
    edition.staves[part.staves.clone()].first()?.bars.first()?.transposition
}

/// "Horn 1 in D: sounds a minor seventh lower than written".
fn part_fact(edition: &Edition, part: &EditionPart) -> String {
    let count: u16 = edition.players[part.players.clone()].iter().map(|one| one.count).sum();
    let several = edition.players[part.players.clone()].iter().any(|one| one.count > 1);
    let players = if several { format!(", {count} players") } else { String::new() };
    let interval = first_transposition(edition, part);
    let sounds = interval.filter(|interval| *interval != Interval::UNISON);
    let sounds = sounds.map_or_else(String::new, |by| format!(": {}", words::transposition(by)));
    format!("{}{players}{sounds}", part.name.replace('\n', " "))
}

/// "in D: sounds a minor seventh lower than written".
fn pitch_fact(edition: &Edition, part: &EditionPart) -> String {
    let player = &edition.players[part.players.start];
    let unpitched = player.instruments.first().is_some_and(|instrument| instrument.unpitched);
    let sounds = match first_transposition(edition, part) {
        _ if unpitched => "no pitch".to_string(),
        Some(interval) => words::transposition(interval),
        None => "sounds as written".to_string(),
    };
    // The name of the part ends with the key in which it begins.
    match part.name.strip_prefix(player.name.as_str()).map(str::trim) {
        Some(key) if !key.is_empty() => format!("{key}: {sounds}"),
        _ => sounds,
    }
}

fn frame_facts(edition: &Edition) -> Vec<String> {
    let Some(bar) = edition.bars.first() else { return Vec::new() };
    let tempo = bar.tempo.as_ref().map(words::tempo);
    std::iter::once(format!("metre {}", bar.metre.name())).chain(tempo).collect()
}

fn paragraph(text: &str, width: usize, out: &mut String) {
    for line in canvas::wrapped(text, width) {
        out.push_str(&line);
        out.push('\n');
    }
}

/// How to read the part, with the signs that occur in it, and values and cues where there are any.
fn legend(edition: &Edition, page: &Page, out: &mut String) {
    let cells = || page.lines.iter().flat_map(|line| line.cells.iter().flatten());
    let values = cells().any(|cell| !cell.value.is_empty());
    let cue = cells().any(|cell| cell.cue && cell.kind == CellKind::Struck);
    let mut used = Marks::NONE;
    let (mut graces, mut tremolo, mut chords, mut paired) = (false, false, false, false);
    let mut touched = false;
    let voices = edition.staves.iter().flat_map(|staff| &staff.bars).flat_map(|bar| &bar.voices);
    for element in voices.flat_map(|voice| voice.elements.iter()) {
        match &element.kind {
            ElementKind::Note(note) => {
                note.marks.iter().for_each(|mark| used.insert(mark));
                graces |= note.grace.is_some();
                tremolo |= note.tremolo > 0 || note.paired.is_some();
                paired |= note.paired.is_some();
                chords |= note.heads.len() > 1;
                touched |= note.harmonic.is_some();
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
    let instruments = || edition.players.iter().flat_map(|player| &player.instruments);
    let unpitched = |of: bool| instruments().any(|i| i.unpitched == of);
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
    if edition.parts.iter().any(|part| part.staves.len() > 1) {
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
    said.extend(touched.then(|| {
        format!("{} where the finger touches the string of an artificial harmonic", words::TOUCHED)
    }));
    said.extend(cue.then(|| "┄┄ a cue, which somebody else plays".to_string()));
    said.extend(tremolo.then(|| "/ // /// tremolo in eighths, 16ths, 32nds".to_string()));
    said.extend(paired.then(|| "/~ … / tremolo between two notes".to_string()));
    out.push_str(&"─".repeat(PART_WIDTH));
    out.push('\n');
    paragraph(&text, PART_WIDTH, out);
    paragraph(&said.join(";  "), PART_WIDTH, out);
}

fn foot(edition: &Edition, out: &mut String) {
    if let Some(licence) = &edition.head.licence {
        paragraph(&format!("Licence: {licence}"), PART_WIDTH, out);
    }
    if let Some(revision) = &edition.head.revision {
        paragraph(&format!("Revision: {revision}"), PART_WIDTH, out);
    }
}
