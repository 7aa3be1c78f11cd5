//! Draws one line of bars: the rows that all staves share, then the rows of each staff.

mod drawn;

use std::borrow::Cow;
use std::ops::Range;

use crate::edition::{
    DirectionKind, Edition, EditionDirection, EditionStaff, SpannerKind, StaffBar, VoiceBar,
};
use crate::music::Time;
use crate::notate::{ElementKind, FrameBar, Sign};

use super::brace::{self, StaffLines};
use super::canvas::{Row, Rows};
use super::cells::{self, Cell, CellKind};
use super::grid::{self, BarColumns, Chunk, Contents, beat_sign};
use super::words;
use drawn::{bar_line, draw_box, draw_bracket, draw_hairpin, push_unless_blank};

/// What is drawn, worked out once for all lines.
pub(super) struct Page<'e, 'a> {
    pub(super) edition: &'e Edition<'a>,
    /// The lines of notes, from the top down.
    pub(super) lines: Vec<TextLine<'e, 'a>>,
    pub(super) grids: Cow<'e, [BarColumns]>,
    /// Columns of the page.
    pub(super) width: usize,
    /// Columns before the first bar line.
    pub(super) gutter: usize,
    /// Is it one player's part? It has no name before the staff, and values where they are needed.
    pub(super) is_part: bool,
}

/// One line of notes: a player's staff, or one of two.
pub(super) struct TextLine<'e, 'a> {
    staff: &'e EditionStaff<'a>,
    /// What stands in each of the bars from `first` on.
    pub(super) cells: Vec<Vec<Cell>>,
    first: usize,
    /// Beginnings (with whether it grows) and ends of hairpins in each bar.
    hairpins: Vec<Vec<(Time, Option<bool>)>>,
    pub(super) brace: Brace,
}

impl<'e, 'a> TextLine<'e, 'a> {
    /// That of a staff, to be asked for some of its bars.
    pub(super) fn new(
        edition: &'e Edition<'a>,
        number: usize,
        is_part: bool,
        bars: Range<usize>,
    ) -> TextLine<'e, 'a> {
        let staff = &edition.staves[number];
        let staves = &edition.parts[staff.part].staves;
        let brace = match number - staves.start {
            _ if staves.len() < 2 => Brace::None,
            0 => Brace::Upper,
            _ => Brace::Lower,
        };
        let in_bar = |(bar, frame): (&StaffBar, &FrameBar)| {
            let Some(voice) = shown(bar) else { return Vec::new() };
            let mut cells = cells::of_voice(&voice.elements);
            if is_part {
                let marked = |at| grid::beat_sign(frame, at).is_some();
                cells::say_values(&mut cells, &voice.elements, frame.length, marked);
            }
            cells
        };
        let first = bars.start;
        let asked = staff.bars.iter().zip(edition.bars).take(bars.end).skip(first);
        let cells = asked.map(in_bar).collect();
        let mut hairpins = vec![Vec::new(); staff.bars.len()];
        for span in &staff.spans {
            if let SpannerKind::Hairpin { from, to, grows } = &span.kind {
                hairpins[from.0].push((from.1, Some(*grows)));
                hairpins[to.0].push((to.1, None));
            }
        }
        for ends in &mut hairpins {
            ends.sort_by_key(|(at, begins)| (*at, begins.is_some()));
        }
        TextLine { staff, cells, first, hairpins, brace }
    }

    /// What the columns of a bar need to know of it.
    pub(super) fn contents(&self, bar: usize) -> Contents<'_> {
        let said = self.staff.bars[bar].directions.iter().map(|direction| {
            let characters = match &direction.kind {
                DirectionKind::Dynamic(dynamic) => dynamic.letters().len(),
                _ => 0,
            };
            (direction.at, characters)
        });
        let hairpins = self.hairpins[bar].iter().map(|(at, _)| (*at, 0));
        (self.cells_of(bar), said.chain(hairpins).collect())
    }

    /// Has it anything but rests in a bar?
    fn is_heard(&self, bar: usize) -> bool {
        let rests = |cell: &Cell| matches!(cell.kind, CellKind::Rest | CellKind::BarRest);
        !self.cells_of(bar).iter().all(rests) || self.is_told(bar)
    }

    fn cells_of(&self, bar: usize) -> &[Cell] {
        &self.cells[bar - self.first]
    }

    fn is_told(&self, bar: usize) -> bool {
        !self.staff.bars[bar].directions.is_empty() || !self.hairpins[bar].is_empty()
    }
}

/// The voice of a bar that is shown: the cue, where there is one beside the player's own rests.
fn shown<'b>(bar: &'b StaffBar) -> Option<&'b VoiceBar<'b>> {
    let sounds = |voice: &&VoiceBar| {
        voice.elements.iter().any(|element| matches!(element.kind, ElementKind::Note(_)))
    };
    bar.voices.iter().find(sounds).or(bar.voices.first())
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
pub(super) fn long_rest(frame: &[FrameBar], bar: usize, bars: usize) -> String {
    let first = frame[bar].number;
    let last = frame[(bar + bars - 1).min(frame.len() - 1)].number;
    format!("···· Rest {bars} bars ({first}–{last}) ····")
}

impl Page<'_, '_> {
    /// Columns for the bars of a line: the last bar line and the first may be signs of repeats.
    pub(super) fn room(&self) -> usize {
        self.width - self.gutter - 2
    }

    pub(super) fn draw(&self, line: &[Chunk], open: &mut Open, first: bool, out: &mut String) {
        let beats = self.draw_frame(line, open, out);
        let all = first || !self.tops().any(|staff| self.is_heard(staff, line));
        self.draw_staves(line, open, all, &beats, out);
        out.push('\n');
    }

    /// Draws what stands over all staves, and gives back the row of the beats, which in a part stands
    /// over its notes.
    pub(super) fn draw_frame(&self, line: &[Chunk], open: &mut Open, out: &mut String) -> Row {
        let (placed, _) = self.place(line);
        let beats = self.frame_rows(&placed, open, out);
        if !self.is_part {
            beats.push_to(out);
        }
        beats
    }

    /// Draws the staves, all of them or those that do not only rest. (Nothing goes on in those that do:
    /// whether they are drawn or not, what was open before them is open behind them.)
    pub(super) fn draw_staves(
        &self,
        line: &[Chunk],
        open: &mut Open,
        all: bool,
        beats: &Row,
        out: &mut String,
    ) {
        open.staves.resize(self.lines.len(), OpenStaff::default());
        let (placed, end_line) = self.place(line);
        for staff in self.tops().filter(|&staff| all || self.is_heard(staff, line)) {
            let (texts, dynamics) =
                self.words_and_dynamics(staff, &placed, &mut open.staves[staff]);
            texts.push_to(out);
            let mut rows = |staff: usize| {
                let rows = self.staff_rows(staff, &placed, end_line, &mut open.staves[staff]);
                rows.into_lines(self.is_part)
            };
            // In a part, what is said stands over the beats, but dynamics of two staves between
            // them.
            let rows = if self.lines[staff].brace == Brace::Upper && self.is_there(staff + 1, line)
            {
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
    }

    /// Is a staff there in any bar of this line?
    fn is_there(&self, staff: usize, line: &[Chunk]) -> bool {
        line.iter().any(|chunk| !self.lines[staff].staff.bars[chunk.bar].absent)
    }

    /// The staves that are drawn by themselves or with the one below them.
    fn tops(&self) -> impl Iterator<Item = usize> {
        (0..self.lines.len()).filter(|&staff| self.lines[staff].brace != Brace::Lower)
    }

    /// Does anybody do more than rest in a bar?
    pub(super) fn is_heard_in(&self, bar: usize) -> bool {
        self.lines.iter().any(|line| line.is_heard(bar))
    }

    /// Has the staff, or the one that a brace joins with it, anything but rests in this line?
    fn is_heard(&self, staff: usize, line: &[Chunk]) -> bool {
        let lower = usize::from(self.lines[staff].brace == Brace::Upper);
        let staves = &self.lines[staff..=staff + lower];
        line.iter().any(|chunk| staves.iter().any(|staff| staff.is_heard(chunk.bar)))
    }

    /// Places the chunks, and says where the last bar line stands and what it is.
    fn place(&self, line: &[Chunk]) -> (Vec<Placed>, (usize, &'static str)) {
        let mut x = self.gutter;
        let mut placed: Vec<Placed> = Vec::with_capacity(line.len());
        for chunk in line {
            let grid = &self.grids[chunk.bar];
            let ends = placed.last().and_then(|last| self.last_bar(&last.chunk));
            let begins = (chunk.columns.0 == 0).then(|| &self.edition.bars[chunk.bar]);
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
        whole.then(|| self.edition.bars.get(chunk.bar + chunk.bars - 1)).flatten()
    }

    /// Draws what stands over all staves but the beats, which it gives back.
    fn frame_rows(&self, placed: &[Placed], open: &mut Open, out: &mut String) -> Row {
        let (mut boxes, mut texts, mut endings) =
            ([Row::default(), Row::default(), Row::default()], Rows::default(), Row::default());
        let mut beats = Row::default();
        for place in placed {
            let bar = &self.edition.bars[place.chunk.bar];
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
            let number = self.edition.bars[first.chunk.bar].number.to_string();
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
        let bar = &self.edition.bars[place.chunk.bar];
        if place.chunk.bar == 0 {
            return;
        }
        let mut said: Vec<String> = Vec::new();
        if bar.metre_shown {
            said.push(format!("Metre {}", bar.metre.name()));
        }
        if self.is_part {
            let staff = &self.lines[0].staff.bars[place.chunk.bar];
            if let Some(interval) = staff.transposition {
                said.push(format!("From here the part {}", words::transposition(interval)));
            }
            said.extend(staff.key.map(|key| format!("Key {}", words::key(key))));
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
        let first = &self.edition.bars[place.chunk.bar];
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
        let first = &self.edition.bars[place.chunk.bar];
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
        let bar = &self.edition.bars[place.chunk.bar];
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
            rows.notes.put(0, &super::margin_name(self.name_in(line.staff, bar)));
        }
        let mut slur_from = open.slur.then_some(self.gutter);
        for (index, place) in placed.iter().enumerate() {
            rows.notes.put(place.line_x, place.line);
            if place.chunk.bars > 1 {
                let text = long_rest(self.edition.bars, place.chunk.bar, place.chunk.bars);
                rows.notes.put(place.x, &text);
                continue;
            }
            let next_line = placed.get(index + 1).map_or(end_line.0, |next| next.line_x);
            let grid = &self.grids[place.chunk.bar];
            for cell in line.cells_of(place.chunk.bar) {
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

    /// The name before a line that begins with a bar: another instrument that the player has in hand
    /// there goes by its own.
    fn name_in(&self, staff: &EditionStaff, bar: usize) -> &str {
        let part = &self.edition.parts[staff.part];
        let Some(first) = self.edition.players[part.players.start].instruments.first() else {
            return &part.short;
        };
        let instrument = staff.instrument_in(bar, first);
        if std::ptr::eq(instrument, *first) { &part.short } else { &instrument.abbreviation }
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
        let line = &self.lines[staff];
        for place in placed {
            let (bar, grid) = (place.chunk.bar, &self.grids[place.chunk.bar]);
            let said = line.staff.bars[bar].directions.iter();
            for direction in said.filter(|direction| place.shows(direction.at, grid)) {
                let x = place.column(direction.at, grid);
                if let DirectionKind::Dynamic(dynamic) = &direction.kind {
                    dynamics.put(x, dynamic.letters());
                } else {
                    texts.place(x, &words_of(direction), self.gutter, self.width);
                }
            }
            for &(at, begins) in line.hairpins[bar].iter().filter(|(at, _)| place.shows(*at, grid))
            {
                let x = place.column(at, grid);
                match begins {
                    Some(grows) => hairpin = Some((x, grows)),
                    None => hairpins.extend(hairpin.take().map(|(from, grows)| (from, x, grows))),
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

/// What is said at a place, in words.
fn words_of(direction: &EditionDirection) -> String {
    match &direction.kind {
        DirectionKind::Dynamic(dynamic) => dynamic.letters().to_owned(),
        DirectionKind::Technique(technique) => technique.printed().to_owned(),
        DirectionKind::Chord(chord) => words::chord(*chord),
        DirectionKind::Figures(figures) => words::figures(figures),
        DirectionKind::CueName(name) => format!("cue: {name}"),
        DirectionKind::Words(words) | DirectionKind::Change(words) | DirectionKind::Who(words) => {
            words.clone()
        }
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
                self.notes.fill(from, to, if cell.cue { '┄' } else { '─' });
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
        // Of a slur over both staves each has the end that it has.
        let (leaves, arrives) = cell.slur_across;
        if arrives {
            self.slurs.fill(x.saturating_sub(2), x, '─');
            self.slurs.set(x, '╯');
        }
        if leaves {
            self.slurs.set(x, if arrives { '┴' } else { '╰' });
            self.slurs.fill(x + 1, x + 3, '─');
        }
        if cell.slur_starts {
            self.slurs.set(x, if ended.is_some() { '┴' } else { '╰' });
            *from = Some(x);
        }
    }
}
