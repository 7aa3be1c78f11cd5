//! Draws one line of bars: the rows that all staves share, then the rows of each staff.

use crate::music::Time;
use crate::notate::{FrameBar, Measure, Score, Sign, Staff, StaffDirectionKind};
use crate::resolve::BarLine;

use super::brace::{self, StaffLines};
use super::canvas::{Row, Rows};
use super::cells::{Cell, CellKind};
use super::grid::{BarColumns, Chunk, beat_sign};
use super::words;

/// What is drawn, worked out once for all lines.
pub(super) struct Page<'a> {
    pub(super) score: &'a Score,
    /// The lines of notes, from the top down.
    pub(super) lines: Vec<TextLine<'a>>,
    pub(super) grids: Vec<BarColumns>,
    /// Columns of the page.
    pub(super) width: usize,
    /// Columns before the first bar line.
    pub(super) gutter: usize,
    /// Is it one player's part? It has no name before the staff, and values where they are needed.
    pub(super) is_part: bool,
}

/// One line of notes: a player's staff, or one of two.
pub(super) struct TextLine<'a> {
    pub(super) staff: &'a Staff,
    pub(super) measures: &'a [Measure],
    /// What stands in each of the measures.
    pub(super) cells: Vec<Vec<Cell>>,
    pub(super) brace: Brace,
}

/// Which staff of two a line is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Brace {
    /// The only one.
    None,
    /// The upper one; the lower one follows it.
    Upper,
    /// The lower one.
    Lower,
}

/// What goes on from one line to the next.
#[derive(Clone, Default)]
pub(super) struct Open {
    ending: bool,
    staves: Vec<OpenStaff>,
}

#[derive(Clone, Copy, Default)]
struct OpenStaff {
    slur: bool,
    /// A hairpin, and whether it grows.
    hairpin: Option<bool>,
}

/// A chunk with its place in the line.
struct Placed {
    chunk: Chunk,
    /// Column of the bar line before it, and the line.
    line_x: usize,
    line: &'static str,
    /// Column of its first time.
    x: usize,
    /// Times that it shows: first, one past last.
    times: (Time, Time),
}

impl Placed {
    fn end(&self) -> usize {
        self.x + self.chunk.width
    }

    /// Is a time of the bar shown in this chunk?
    fn shows(&self, at: Time, grid: &BarColumns) -> bool {
        let (from, to) = self.times;
        at >= from && (at < to || to == grid.length)
    }

    fn column(&self, at: Time, grid: &BarColumns) -> usize {
        let (from, to) = self.times;
        if at >= to {
            return self.end();
        }
        self.x + grid.x(at.max(from)) - grid.x(from)
    }
}

/// The text of a rest of several bars.
pub(super) fn long_rest(score: &Score, bar: usize, bars: usize) -> String {
    let first = score.frame[bar].number;
    let last = score.frame[(bar + bars - 1).min(score.frame.len() - 1)].number;
    format!("···· Rest {bars} bars ({first}–{last}) ····")
}

impl Page<'_> {
    pub(super) fn draw(&self, line: &[Chunk], open: &mut Open, first: bool, out: &mut String) {
        open.staves.resize(self.lines.len(), OpenStaff::default());
        let (placed, end_line) = self.place(line);
        let beats = self.frame_rows(&placed, open, out);
        if !self.is_part {
            beats.push_to(out);
        }
        let heard = |staff: usize| {
            let lower = usize::from(self.lines[staff].brace == Brace::Upper);
            (staff..=staff + lower).any(|staff| self.is_heard(staff, line))
        };
        let tops = (0..self.lines.len()).filter(|&staff| self.lines[staff].brace != Brace::Lower);
        let all = first || !tops.clone().any(heard);
        for staff in tops.filter(|&staff| all || heard(staff)) {
            let (texts, dynamics) =
                self.words_and_dynamics(staff, &placed, &mut open.staves[staff]);
            texts.push_to(out);
            let mut rows = |staff: usize| {
                let rows = self.staff_rows(staff, &placed, end_line, &mut open.staves[staff]);
                rows.into_lines(self.is_part)
            };
            // In a part, what is said stands over the beats, but dynamics of two staves between
            // them.
            let rows = if self.lines[staff].brace == Brace::Upper {
                let (upper, lower) = (rows(staff), rows(staff + 1));
                brace::joined(upper, dynamics, lower, self.gutter - 1)
            } else {
                push_unless_blank(&dynamics, out);
                rows(staff).rows
            };
            if self.is_part {
                beats.push_to(out);
            }
            rows.iter().for_each(|row| row.push_to(out));
        }
        out.push('\n');
    }

    /// Has the staff anything but rests in this line?
    fn is_heard(&self, staff: usize, line: &[Chunk]) -> bool {
        let staff = &self.lines[staff];
        line.iter().any(|chunk| {
            let rests = staff.cells[chunk.bar]
                .iter()
                .all(|cell| matches!(cell.kind, CellKind::Rest | CellKind::BarRest));
            !rests || !staff.measures[chunk.bar].directions.is_empty()
        })
    }

    /// Places the chunks, and says where the last bar line stands and what it is.
    fn place(&self, line: &[Chunk]) -> (Vec<Placed>, (usize, &'static str)) {
        let mut x = self.gutter;
        let mut placed: Vec<Placed> = Vec::with_capacity(line.len());
        for chunk in line {
            let grid = &self.grids[chunk.bar];
            let ends = placed.last().and_then(|last| self.last_bar(&last.chunk));
            let begins = (chunk.columns.0 == 0).then(|| &self.score.frame[chunk.bar]);
            let drawn = bar_line(ends, begins);
            let times = match chunk.bars {
                1 => {
                    let to = grid.columns.get(chunk.columns.1).map_or(grid.length, |(at, _)| *at);
                    (grid.columns[chunk.columns.0].0, to)
                }
                _ => (Time::ZERO, grid.length),
            };
            let line_x = x;
            x += drawn.chars().count() + 1;
            placed.push(Placed { chunk: *chunk, line_x, line: drawn, x, times });
            x += chunk.width;
        }
        let ends = placed.last().and_then(|last| self.last_bar(&last.chunk));
        (placed, (x, if ends.is_some() { bar_line(ends, None) } else { "┆" }))
    }

    /// The bar that ends with a chunk; `None` where the bar goes on.
    fn last_bar(&self, chunk: &Chunk) -> Option<&FrameBar> {
        let whole = chunk.bars > 1 || chunk.columns.1 >= self.grids[chunk.bar].columns.len();
        whole.then(|| self.score.frame.get(chunk.bar + chunk.bars - 1)).flatten()
    }

    /// Draws what stands over all staves but the beats, which it gives back.
    fn frame_rows(&self, placed: &[Placed], open: &mut Open, out: &mut String) -> Row {
        let (mut boxes, mut texts, mut endings) =
            ([Row::default(), Row::default(), Row::default()], Rows::default(), Row::default());
        let mut beats = Row::default();
        for place in placed {
            let bar = &self.score.frame[place.chunk.bar];
            let begins = place.chunk.columns.0 == 0 && place.times.0 == Time::ZERO;
            if begins {
                if let Some(mark) = &bar.mark {
                    draw_box(&mut boxes, place.line_x, mark);
                }
                self.changes(place, &mut texts);
            }
            self.signs(place, begins, &mut texts);
            self.ending(place, begins, open, &mut endings);
            if place.chunk.bars == 1 {
                self.beats(place, &mut beats);
            }
        }
        if let Some(first) = placed.first() {
            let number = self.score.frame[first.chunk.bar].number.to_string();
            beats.put((self.gutter).saturating_sub(number.chars().count() + 1), &number);
        }
        for row in &boxes {
            push_unless_blank(row, out);
        }
        texts.push_to(out);
        push_unless_blank(&endings, out);
        beats
    }

    /// Tempo, metre and key where they change; at the beginning the head of the page says them.
    fn changes(&self, place: &Placed, texts: &mut Rows) {
        let bar = &self.score.frame[place.chunk.bar];
        if place.chunk.bar == 0 {
            return;
        }
        let mut said: Vec<String> = Vec::new();
        if bar.metre_shown {
            said.push(format!("Metre {}", bar.metre.name()));
        }
        if self.is_part {
            let measure = &self.lines[0].measures[place.chunk.bar];
            if let Some(interval) = measure.transposition {
                said.push(format!("From here the part {}", words::transposition(interval)));
            }
            said.extend(measure.key.map(|key| format!("Key {}", words::key(key))));
        } else if bar.key_shown {
            said.push(format!("Key {}", words::key(bar.key)));
        }
        said.extend(bar.tempo.as_ref().map(words::tempo));
        for text in said {
            texts.place(place.x, &text, self.gutter, self.width);
        }
    }

    /// Signs that tell where to go on.
    fn signs(&self, place: &Placed, begins: bool, texts: &mut Rows) {
        let first = &self.score.frame[place.chunk.bar];
        for sign in first.signs.iter().filter(|sign| begins && !sign.stands_at_end()) {
            let text = if *sign == Sign::Segno { "Segno" } else { "Coda" };
            texts.place(place.x, text, self.gutter, self.width);
        }
        let Some(last) = self.last_bar(&place.chunk) else { return };
        for text in last.signs.iter().filter_map(|sign| sign.words()) {
            let x = place.end().saturating_sub(text.chars().count());
            texts.place(x, text, self.gutter, self.width);
        }
    }

    fn ending(&self, place: &Placed, begins: bool, open: &mut Open, row: &mut Row) {
        let first = &self.score.frame[place.chunk.bar];
        let starts = first.ending_starts.filter(|_| begins);
        open.ending |= starts.is_some();
        if !open.ending {
            return;
        }
        row.fill(place.line_x, place.end(), '─');
        if let Some(ending) = starts {
            row.put(place.line_x, &format!("┌─ {ending} "));
        }
        if self.last_bar(&place.chunk).is_some_and(|bar| bar.ending_ends.is_some()) {
            row.set(place.end().saturating_sub(1), '┐');
            open.ending = false;
        }
    }

    /// The row over the notes that shows the beats.
    fn beats(&self, place: &Placed, row: &mut Row) {
        let bar = &self.score.frame[place.chunk.bar];
        let grid = &self.grids[place.chunk.bar];
        for (at, _) in &grid.columns[place.chunk.columns.0..place.chunk.columns.1] {
            if let Some(sign) = beat_sign(bar, *at) {
                row.put(place.column(*at, grid), &sign);
            }
        }
    }

    fn staff_rows(
        &self,
        staff: usize,
        placed: &[Placed],
        end_line: (usize, &str),
        open: &mut OpenStaff,
    ) -> StaffRows {
        let line = &self.lines[staff];
        let mut rows = StaffRows::default();
        if !self.is_part && line.brace != Brace::Lower {
            let bar = placed.first().map_or(0, |place| place.chunk.bar);
            rows.notes.put(0, &super::margin_name(line.staff.abbreviation_in(bar)));
        }
        let mut slur_from = open.slur.then_some(self.gutter);
        for (index, place) in placed.iter().enumerate() {
            rows.notes.put(place.line_x, place.line);
            if place.chunk.bars > 1 {
                let text = long_rest(self.score, place.chunk.bar, place.chunk.bars);
                rows.notes.put(place.x, &text);
                continue;
            }
            let next_line = placed.get(index + 1).map_or(end_line.0, |next| next.line_x);
            let grid = &self.grids[place.chunk.bar];
            for cell in &line.cells[place.chunk.bar] {
                if cell.end > place.times.0 && cell.at < place.times.1 {
                    rows.cell(cell, place, grid, (index == 0, next_line), &mut slur_from);
                }
            }
        }
        rows.notes.put(end_line.0, end_line.1);
        open.slur = slur_from.is_some();
        if let Some(from) = slur_from {
            rows.slurs.fill(from, end_line.0, '─');
        }
        rows
    }

    fn words_and_dynamics(
        &self,
        staff: usize,
        placed: &[Placed],
        open: &mut OpenStaff,
    ) -> (Rows, Row) {
        let (mut texts, mut dynamics) = (Rows::default(), Row::default());
        let mut hairpins: Vec<(usize, usize, bool)> = Vec::new();
        let mut hairpin = open.hairpin.map(|grows| (self.gutter + 2, grows));
        let measures = self.lines[staff].measures;
        for place in placed {
            let grid = &self.grids[place.chunk.bar];
            let directions = measures[place.chunk.bar].directions.iter();
            for direction in directions.filter(|direction| place.shows(direction.at, grid)) {
                let x = place.column(direction.at, grid);
                match &direction.kind {
                    StaffDirectionKind::Dynamic(dynamic) => dynamics.put(x, dynamic.letters()),
                    StaffDirectionKind::HairpinStarts { grows } => hairpin = Some((x, *grows)),
                    StaffDirectionKind::HairpinEnds => {
                        hairpins.extend(hairpin.take().map(|(from, grows)| (from, x, grows)));
                    }
                    StaffDirectionKind::Technique(technique) => {
                        texts.place(x, technique.printed(), self.gutter, self.width);
                    }
                    StaffDirectionKind::Words(words) | StaffDirectionKind::Change(words) => {
                        texts.place(x, words, self.gutter, self.width);
                    }
                    StaffDirectionKind::Chord(chord) => {
                        let symbol = words::chord(*chord);
                        texts.place(x, &symbol, self.gutter, self.width);
                    }
                    StaffDirectionKind::Figures(figures) => {
                        texts.place(x, &words::figures(figures), self.gutter, self.width);
                    }
                    StaffDirectionKind::Who(who) => {
                        texts.place(x, who, self.gutter, self.width);
                    }
                }
            }
        }
        open.hairpin = hairpin.map(|(_, grows)| grows);
        let end = placed.last().map_or(self.gutter, Placed::end);
        hairpins.extend(hairpin.map(|(from, grows)| (from, end, grows)));
        for (from, to, grows) in hairpins {
            draw_hairpin(&mut dynamics, from, to, grows);
        }
        (texts, dynamics)
    }
}

#[derive(Default)]
struct StaffRows {
    tuplets: Row,
    notes: Row,
    values: Row,
    slurs: Row,
    signs: Row,
    /// Syllables, a row for each verse.
    lyrics: Vec<Row>,
    /// A tuplet that has begun: its column and its number.
    tuplet: Option<(usize, String)>,
}

impl StaffRows {
    /// The rows with something on them; values only in a part.
    fn into_lines(self, is_part: bool) -> StaffLines {
        let notes = usize::from(!self.tuplets.is_blank());
        let values = if is_part { self.values } else { Row::default() };
        let mut rows = vec![self.tuplets, self.notes, values, self.slurs, self.signs];
        rows.extend(self.lyrics);
        rows.retain(|row| !row.is_blank());
        StaffLines { rows, notes }
    }

    fn cell(
        &mut self,
        cell: &Cell,
        place: &Placed,
        grid: &BarColumns,
        (first_of_line, next_line): (bool, usize),
        slur_from: &mut Option<usize>,
    ) {
        let x = place.column(cell.at, grid);
        let end = place.column(cell.end, grid);
        let begins_here = cell.at >= place.times.0;
        match cell.kind {
            CellKind::BarRest => {
                self.notes.fill(x, end - 1, '·');
                self.notes.put(x + end.saturating_sub(x + 5) / 2, "rest");
            }
            CellKind::Rest => self.notes.fill(x, end - 1, '·'),
            CellKind::Struck | CellKind::Held => {
                let goes_on = cell.tie_to || cell.end > place.times.1;
                let at_bar_line = goes_on && end == place.end();
                let to = if at_bar_line { next_line } else { end - usize::from(!goes_on) };
                let mut from = x;
                if cell.kind == CellKind::Struck && begins_here {
                    self.notes.put(x, &cell.name);
                    from += cell.name.chars().count();
                } else if first_of_line && x == place.x && begins_here {
                    self.notes.put(x, &cell.held_name);
                } else if x == place.x {
                    from = x - 1;
                }
                self.notes.fill(from, to, '─');
            }
        }
        if !begins_here {
            return;
        }
        self.values.put(x, &cell.value);
        self.signs.put(x, &cell.signs);
        for (verse, text) in &cell.lyrics {
            let row = usize::from(*verse) - 1;
            self.lyrics.resize_with(self.lyrics.len().max(row + 1), Row::default);
            self.lyrics[row].put(x, text);
        }
        self.slur(cell, x, slur_from);
        if let Some(number) = &cell.tuplet_starts {
            self.tuplet = Some((x, number.clone()));
        }
        if cell.tuplet_ends
            && let Some((from, number)) = self.tuplet.take()
        {
            draw_bracket(&mut self.tuplets, from, end - 1, &number);
        }
    }

    fn slur(&mut self, cell: &Cell, x: usize, from: &mut Option<usize>) {
        let ended = if cell.slur_ends { from.take() } else { None };
        if let Some(from) = ended {
            self.slurs.fill(from, x, '─');
            self.slurs.set(x, '╯');
        }
        if cell.slur_starts {
            self.slurs.set(x, if ended.is_some() { '┴' } else { '╰' });
            *from = Some(x);
        }
    }
}

/// The line between two bars; `None` for a side that does not count.
fn bar_line(ends: Option<&FrameBar>, begins: Option<&FrameBar>) -> &'static str {
    let ends_repeat = ends.is_some_and(|bar| bar.repeat_ends);
    let begins_repeat = begins.is_some_and(|bar| bar.repeat_starts);
    match (ends_repeat, begins_repeat, ends.map(|bar| bar.line)) {
        (true, true, _) => ":║:",
        (true, false, _) => ":║",
        (false, true, _) => "║:",
        (_, _, Some(BarLine::Double)) => "║",
        (_, _, Some(BarLine::Final)) => "┃",
        _ if begins.is_none() && ends.is_none() => "┆",
        _ => "│",
    }
}

fn draw_box(rows: &mut [Row; 3], x: usize, mark: &str) {
    let edge = "─".repeat(mark.chars().count() + 2);
    rows[0].put(x, &format!("┌{edge}┐"));
    rows[1].put(x, &format!("│ {mark} │"));
    rows[2].put(x, &format!("└{edge}┘"));
}

fn draw_bracket(row: &mut Row, from: usize, to: usize, number: &str) {
    let inside = to.saturating_sub(from + 2);
    let length = number.chars().count();
    if inside < length {
        row.put(from, number);
        return;
    }
    let before = (inside - length) / 2;
    let after = inside - length - before;
    row.put(from, &format!("┌{}{number}{}┐", "─".repeat(before), "─".repeat(after)));
}

/// A growing hairpin is `<────`, a waning one `────>`.
fn draw_hairpin(row: &mut Row, from: usize, to: usize, grows: bool) {
    let mut start = from;
    while start < to && !row.is_free(start, start + 1) {
        start += 1;
    }
    // A space after the dynamic from which it sets out, and before the one that it reaches.
    start += usize::from(start > from && start + 1 < to);
    let end = to.saturating_sub(1).max(start + 1);
    row.fill(start, end, '─');
    if grows {
        row.set(start, '<');
    } else {
        row.set(end - 1, '>');
    }
}

fn push_unless_blank(row: &Row, out: &mut String) {
    if !row.is_blank() {
        row.push_to(out);
    }
}
