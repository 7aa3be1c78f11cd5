//! One system: all staves of some bars, from their notes to the brackets before them.

use std::ops::Range;

use kurbo::{Affine, Rect};
use ripieno_compiler::diagnostics::Span;
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::NudgedSign;
use ripieno_writers::edition::DirectionKind;

use super::canvas::{Canvas, Loud};
use super::chord::shorten_ledgers;
use super::directions::{self, Pin, Said};
use super::frame;
use super::measures::{FAMILY_GAP, STAFF_GAP};
use super::notes::{self, Placed};
use super::orders::{BEFORE_FIRST, BEHIND_NOTE, before_small, last_before, over_line};
use super::skyline::Skyline;
use super::spacing::{BarSpace, Line, PlacedBar, Shown, digits_width, is_bar_rest, place_line};
use super::{curves, hung, over, voices};
use crate::glyphs::{self, Glyph};
use crate::page::{Kind, Mark};
use crate::paper::Nudge;
use crate::rows::Stretch;
use crate::sheet::{Group, Sheet, SheetPlace, Span as SheetSpan, SpanKind, Staff, StaffBar};

mod across;
mod between;
mod leads;
mod lines;
mod nudges;
mod one_line;
mod places;
mod said;
mod spans;

pub(super) use across::SlurEnd;
pub(super) use lines::half_between;
pub(super) use one_line::granted;

use places::{place_at, with_graces};

/// How a system is to be set.
#[derive(Clone, Copy, Debug)]
pub(super) struct Setting {
    /// Width of the line with everything before it, in staff spaces.
    pub width: f64,
    /// Room before the staves for names, brackets and braces.
    pub indent: f64,
    /// Does the piece begin here?
    pub first: bool,
    /// May the line stay shorter than the others?
    pub ragged: bool,
    /// Millimetres in a staff space.
    pub space: f64,
}

/// A system whose staves are drawn but have no places below one another yet.
#[derive(Debug)]
pub(super) struct System {
    shown: Vec<usize>,
    canvases: Vec<Canvas>,
    placed: Vec<PlacedBar>,
    setting: Setting,
    right: f64,
    /// Does a heading stand over it?
    pub(super) headed: bool,
    /// The lines of layouts by which signs were moved.
    pub(super) nudged: Vec<Span>,
    /// Middle lines of the staves, counted from that of the uppermost one.
    ys: Vec<f64>,
    /// Whether each staff begins a family, so that more air is above it.
    begins: Vec<bool>,
}

/// Sets the given staves of some bars.
pub(super) fn system(
    sheet: &Sheet,
    spaces: &Stretch<BarSpace>,
    (bars, shown): (Range<usize>, &[usize]),
    setting: Setting,
    nudges: &[Nudge],
) -> System {
    let staves = Shown::new(sheet, shown);
    let line = Line { spaces, shown: &staves };
    let (placed, _) =
        place_line(line, bars.clone(), (setting.indent, setting.width), setting.ragged);
    let end = placed.last().map_or(setting.width, |bar| bar.end);
    let right = if spaces.get(bars.end).is_some_and(|next| next.courtesy.width() > 0.0) {
        setting.width
    } else {
        end
    };
    let mut canvases: Vec<Canvas> = Vec::with_capacity(shown.len());
    let mut nudged = Vec::new();
    for (row, &staff) in shown.iter().enumerate() {
        let mut canvas = Canvas::new(setting.width + 2.0);
        let line = SystemLine {
            sheet,
            spaces,
            placed: &placed,
            staff,
            open_above: row == 0 || !frame::share_bar_lines(sheet, shown[row - 1], staff),
            indent: setting.indent,
            right,
            width: setting.width,
        };
        line.draw(&mut canvas);
        if row == 0 || row > 3 && sheet.staves[staff].strings_begin {
            let half = line.bar(bars.start).half();
            let tip = frame::tip(sheet, shown, setting.indent, half).filter(|_| row == 0);
            over::over(&mut canvas, sheet, &placed, setting, (row == 0, tip));
        }
        for nudge in nudges {
            let own = nudge.players.as_ref();
            let players = &sheet.staves[staff].players;
            let is_whose = own.is_none_or(|own| players.iter().any(|player| own.contains(player)));
            if is_whose && line.nudge(&mut canvas, nudge) {
                nudged.push(nudge.line);
            }
        }
        line.give_origins(&mut canvas);
        let begins = placed.first().map(|first| &sheet.bars[first.bar]);
        if let Some(begins) = begins.filter(|_| row == 0) {
            frame::headings(&mut canvas, &begins.headings, setting.width);
        }
        if row + 1 == shown.len() && bars.end == sheet.bars.len() {
            frame::closing(&mut canvas, &sheet.closing, setting.width);
        }
        canvases.push(canvas);
    }
    let begins = begins(sheet, shown);
    let ys = places(sheet, shown, &canvases, &begins);
    let headed = sheet.bars.get(bars.start).is_some_and(|bar| !bar.headings.is_empty());
    System { shown: shown.to_vec(), canvases, placed, setting, right, ys, begins, headed, nudged }
}

/// Which staves begin a family: those that share neither a bracket nor their players with the one above.
fn begins(sheet: &Sheet, shown: &[usize]) -> Vec<bool> {
    let joins = |upper: usize, lower: usize| {
        let both = |group: &Group| group.staves.contains(&upper) && group.staves.contains(&lower);
        sheet.staves[upper].part == sheet.staves[lower].part || sheet.groups.iter().any(both)
    };
    let begins = |row: usize| row > 0 && !joins(shown[row - 1], shown[row]);
    (0..shown.len()).map(begins).collect()
}

/// Where the staves of a system stand at the least.
fn places(sheet: &Sheet, shown: &[usize], canvases: &[Canvas], begins: &[bool]) -> Vec<f64> {
    let mut ys: Vec<f64> = Vec::with_capacity(shown.len());
    for (row, canvas) in canvases.iter().enumerate() {
        let Some(above) = row.checked_sub(1) else {
            ys.push(0.0);
            continue;
        };
        let joined = sheet.staves[shown[above]].part == sheet.staves[shown[row]].part;
        let apart = if begins[row] { FAMILY_GAP } else { 0.0 };
        let least = 4.0 + if joined { STAFF_GAP + 1.2 } else { STAFF_GAP } + apart;
        let clear = canvases[above].sky.clearance(&canvas.sky, 0.8);
        let owned = owned(&canvases[above], canvas);
        ys.push(ys[above] + least.max(clear).max(owned));
    }
    ys
}

/// By how much what is said below a staff stands nearer to it than to the next one, and from which distance on
/// it need not. Our heuristic.
const NEARER: f64 = 0.5;
const MOST: f64 = 2.5;
/// The same for figures, which an accidental alone over the note of another staff would be read with. Our heuristic.
const FIGURES_OFF: f64 = 1.2;

/// How far a staff lies below another at least, so that dynamics of both stand nearer to what they belong
/// to than to the other one.
fn owned(above: &Canvas, below: &Canvas) -> f64 {
    let mut least = f64::MIN;
    for Loud { bounds: dynamic, away, .. } in below_staff(above) {
        let next = below.sky.top(dynamic.x0 - 0.4, dynamic.x1 + 0.4);
        least = least.max(dynamic.y1 + away.clamp(0.0, MOST) + NEARER - next);
    }
    let over = below.dynamics.iter().filter(|loud| loud.bounds.y1 < 0.0);
    for Loud { bounds: dynamic, away, .. } in over {
        let next = above.sky.bottom(dynamic.x0 - 0.4, dynamic.x1 + 0.4);
        least = least.max(next + away.clamp(0.0, MOST) + NEARER - dynamic.y0);
    }
    least
}

/// The dynamics of a staff that stand below it.
fn below_staff(canvas: &Canvas) -> impl Iterator<Item = &Loud> {
    canvas.dynamics.iter().filter(|loud| loud.bounds.y0 > 0.0)
}

impl System {
    /// Does it have that staff?
    pub(super) fn shows(&self, staff: usize) -> bool {
        self.shown.contains(&staff)
    }

    /// From where to where its staves reach.
    fn reach(&self) -> (f64, f64) {
        (self.setting.indent, self.right)
    }

    /// How many gaps between staves it has.
    pub(super) fn gaps(&self) -> usize {
        self.ys.len().saturating_sub(1)
    }

    /// Moves the staves farther apart, each gap by what it is given.
    pub(super) fn open(&mut self, given: &[f64]) {
        let mut down = 0.0;
        for (y, given) in self.ys.iter_mut().skip(1).zip(given) {
            down += given;
            *y += down;
        }
    }

    /// The gaps between its staves, from line to line.
    pub(super) fn between_staves(&self) -> impl Iterator<Item = f64> {
        self.ys.windows(2).map(|pair| pair[1] - pair[0] - 4.0)
    }

    /// What each of these gaps should be before others are opened, for the figures in it, which belong to the bass
    /// above them.
    pub(super) fn for_figures(&self) -> impl Iterator<Item = f64> {
        let rows = 1..self.ys.len();
        self.between_staves().zip(rows).map(|(gap, row)| gap + self.figures_lack(row))
    }

    /// The same, for the figures and that none be narrower than `eased`, or than that with the air before a family.
    pub(super) fn lacks(&self, eased: f64) -> impl Iterator<Item = f64> {
        let begins = self.begins.iter().skip(1);
        let eased = begins.map(move |begins| eased + if *begins { FAMILY_GAP } else { 0.0 });
        let wanted = self.for_figures().zip(eased).map(|(figures, eased)| figures.max(eased));
        self.between_staves().zip(wanted).map(|(gap, wanted)| wanted - gap)
    }

    /// How much farther a staff should lie below the one above it for the figures of that.
    fn figures_lack(&self, row: usize) -> f64 {
        let below = &self.canvases[row].sky;
        let stacks = self.canvases[row - 1].stacks.iter().map(|(figures, away)| {
            let next = below.top(figures.x0 - 0.4, figures.x1 + 0.4);
            figures.y1 + away.clamp(FIGURES_OFF, MOST) + NEARER - next
        });
        (stacks.fold(0.0, f64::max) - (self.ys[row] - self.ys[row - 1])).max(0.0)
    }

    /// The mean gap between its staves, from line to line.
    pub(super) fn mean_gap(&self) -> f64 {
        let last = self.ys.last().copied().unwrap_or(0.0);
        if self.gaps() == 0 { 0.0 } else { last / self.gaps() as f64 - 4.0 }
    }

    /// How far its uppermost staff must lie below the line above it, so that no rehearsal mark stands
    /// nearer to that than to its own staff.
    pub(super) fn framed(&self) -> f64 {
        const NEARER: f64 = 0.6;
        let marks = self.canvases.first().map(|canvas| canvas.framed.as_slice());
        let need = |&(head, foot): &(f64, f64)| (-2.0 - foot) + NEARER - head;
        marks.unwrap_or_default().iter().map(need).fold(0.0, f64::max)
    }

    /// Bottom line of the lowest staff.
    pub(super) fn last_line(&self) -> f64 {
        self.ys.last().copied().unwrap_or(0.0) + 2.0
    }

    /// An edge along its line on which nothing stands.
    pub(super) fn empty_sky(&self) -> Skyline {
        Skyline::new(self.setting.width + 2.0)
    }

    /// The edge of all that stands there.
    pub(super) fn sky(&self) -> Skyline {
        let mut sky = self.empty_sky();
        for (canvas, &y) in self.canvases.iter().zip(&self.ys) {
            sky.add((self.setting.indent, self.right), (y - 2.0, y + 2.0));
            sky.take(&canvas.sky, y);
        }
        // A mark between two figures at their height would be read with them.
        for (canvas, y) in self.canvases.last().into_iter().zip(self.ys.last()) {
            canvas.rows.iter().for_each(|row| sky.add((row.x0, row.x1), (y + row.y0, y + row.y1)));
        }
        sky
    }

    /// All marks, and what joins the staves. `floor` is the edge of what is below the system.
    pub(super) fn marks(
        mut self,
        sheet: &Sheet,
        spaces: &Stretch<BarSpace>,
        floor: &Skyline,
    ) -> Vec<Mark> {
        let mut marks = Vec::new();
        let mut lines = Canvas::new(1.0);
        for (&staff, &y) in self.shown.iter().zip(&self.ys) {
            for run in lines::runs(&sheet.staves[staff], &self.placed, self.reach()) {
                run.draw(&mut lines, y);
            }
        }
        marks.append(&mut lines.marks);
        self.spreads(&mut marks, sheet, spaces);
        self.center_dynamics(sheet);
        self.level_dynamics(sheet, floor);
        self.slurs_across(&mut marks, sheet);
        let canvases = self.canvases.into_iter().zip(&self.ys);
        let own: Vec<Mark> = canvases
            .flat_map(|(canvas, &y)| canvas.marks.into_iter().map(move |mark| mark.moved(0.0, y)))
            .collect();
        let words: Vec<Rect> =
            own.iter().filter(|mark| mark.kind == Kind::Text).map(Mark::bounds).collect();
        let rows = (&self.shown[..], &self.ys[..]);
        frame::joins(&mut marks, sheet, rows, &words, &self.placed, self.setting);
        marks.extend(own);
        marks
    }
}

impl System {
    /// The signs of chords that are broken over both staves of a player.
    fn spreads(&self, marks: &mut Vec<Mark>, sheet: &Sheet, spaces: &Stretch<BarSpace>) {
        let mut canvas = Canvas::new(self.setting.width + 2.0);
        for row in 0..self.shown.len().saturating_sub(1) {
            let (upper, lower) =
                (&sheet.staves[self.shown[row]], &sheet.staves[self.shown[row + 1]]);
            if upper.part != lower.part {
                continue;
            }
            for placed in &self.placed {
                let space = &spaces[placed.bar];
                let of = |staff: &Staff| {
                    let lanes = staff.lanes.clone();
                    lanes.flat_map(|lane| space.chords[lane].iter().zip(&space.column_of[lane]))
                };
                for (above, column) in of(upper).filter(|(chord, _)| chord.joined) {
                    let Some(x) = placed.columns.get(*column) else { continue };
                    let partner = of(lower).find(|(chord, of)| chord.joined && *of == column);
                    let (Some((below, _)), Some(spread)) = (partner, above.spread) else {
                        continue;
                    };
                    let top = self.ys[row] - f64::from(above.span().1) / 2.0;
                    let bottom = self.ys[row + 1] - f64::from(below.span().0) / 2.0;
                    let at = x + above.shift + spread;
                    notes::spread(&mut canvas, above.origin(), at, (top, bottom));
                }
            }
        }
        marks.append(&mut canvas.marks);
    }
}

/// How near to a beat what is nudged must stand, in beats: a third of a triplet may be rounded.
const NEAR: f64 = 0.04;

/// One staff in one line.
struct SystemLine<'a> {
    sheet: &'a Sheet,
    spaces: &'a Stretch<BarSpace<'a>>,
    placed: &'a [PlacedBar],
    staff: usize,
    /// Do no bar lines come down to it from the staff above?
    open_above: bool,
    indent: f64,
    right: f64,
    /// Where the lines of the page end, as this one need not.
    width: f64,
}

impl SystemLine<'_> {
    /// Does a brace join it with the staff below it?
    fn is_braced(&self) -> bool {
        self.placed.first().is_some_and(|first| self.sheet.is_braced(self.staff, first.bar))
    }

    fn bar(&self, bar: usize) -> &StaffBar {
        &self.sheet.staves[self.staff].bars[bar]
    }

    fn staff(&self) -> &Staff {
        &self.sheet.staves[self.staff]
    }

    fn draw(&self, canvas: &mut Canvas) {
        // On one line as far as its bar lines reach.
        for run in lines::runs(self.staff(), self.placed, (self.indent, self.right)) {
            canvas.sky.add_staff((run.from, run.to), (-run.half, run.half));
        }
        self.leads(canvas);
        let mut voices: Vec<Vec<Placed>> =
            self.staff().lanes.clone().map(|lane| self.notes(lane)).collect();
        if let [cues, rests] = &mut voices[..] {
            voices::level_cue_rests(cues, rests);
        }
        for notes in &mut voices {
            notes::draw(canvas, notes);
        }
        self.multi_rests(canvas);
        let begin = self.placed.first().map_or(self.indent, |bar| bar.body - bar.lead.carried);
        let key = self.placed.first().map_or(0, |bar| self.bar(bar.bar).key);
        let end = self.placed.last().map_or(self.right, |bar| bar.end) - 0.3;
        let mut written = voices.iter().flatten().filter_map(|note| note.chord.note());
        let sung = written.any(|note| !note.lyrics.is_empty());
        let accented = |span: &&SheetSpan| spans::is_under_accent(span, &voices);
        let (inner, spans): (Vec<_>, Vec<_>) = self.spans().into_iter().partition(accented);
        self.slurs(canvas, &inner, &voices, (begin, end));
        for notes in &voices {
            notes::paired_tremolos(canvas, notes);
            hung::articulations(canvas, notes, &voices);
            curves::ties(canvas, notes, (begin, end), key);
            hung::tuplets(canvas, notes, sung);
        }
        shorten_ledgers(canvas);
        self.slurs(canvas, &spans, &voices, (begin, end));
        for notes in &voices {
            let ends = |n: usize| self.trill_end(notes, n, end);
            hung::ornaments(canvas, notes, &voices, &ends);
        }
        self.trills_go_on(canvas, &spans, &voices, end);
        self.octave_lines(canvas, &spans, (begin, end));
        for notes in &voices {
            directions::lyrics(canvas, notes, end);
        }
        let mut said = self.said();
        let words_end = {
            // The last bar line of a score goes through what stands between its staves.
            let line = self.placed.last().map_or(0.0, |last| self.spaces[last.bar].line);
            if self.sheet.is_part { self.right } else { self.right - line - 0.4 }
        };
        // Whose the notes are that hang below stands by them, before the dynamic.
        let is_number = |one: &Said| !one.above && matches!(one.kind, DirectionKind::Who(_));
        let numbers: Vec<Said> = said.extract_if(.., |one| is_number(one)).collect();
        directions::words(canvas, &numbers, words_end);
        let pins = self.hairpins(&spans, (begin, end));
        directions::dynamics(
            canvas,
            &mut said,
            &pins,
            (begin, self.right),
            &directions::Ground {
                between: self.is_braced(),
                half: &|x| self.half_at(x),
                in_part: self.sheet.is_part,
                first: self.placed.first().map_or(0, |bar| bar.bar),
                silent: &|bar| self.bar(bar).is_silent(),
            },
        );
        directions::chord_symbols(canvas, &said, self.right);
        directions::figures(canvas, &said, self.right);
        directions::words(canvas, &said, words_end);
    }

    /// Where the wavy line of a trill ends: before the next note, or behind those that are tied on, and
    /// before the bar line in any case.
    fn trill_end(&self, notes: &[Placed], n: usize, end: f64) -> f64 {
        let mut last = n;
        while let Some(note) = notes[last].chord.note()
            && note.tie_to
            && !note.tie_parts
            && last + 1 < notes.len()
        {
            last += 1;
        }
        let next = notes.get(last + 1).map_or(end, |next| next.x - next.chord.left);
        let bar = self.placed.iter().find(|placed| placed.bar == notes[last].bar);
        let line = bar.map_or(end, |placed| placed.end - self.spaces[placed.bar].line - 0.3);
        next.min(line)
    }

    /// Notes and rests of one voice with their places.
    fn notes(&self, lane: usize) -> Vec<Placed<'_>> {
        let mut notes = Vec::new();
        for bar in self.placed {
            let space = &self.spaces[bar.bar];
            if self.sheet.bars[bar.bar].count > 1 {
                continue;
            }
            let lines = self.bar(bar.bar).lines;
            for (n, chord) in space.chords[lane].iter().enumerate() {
                let x = if is_bar_rest(chord) {
                    let width = Glyph::RestWhole.width();
                    f64::midpoint(bar.body, bar.end - space.line) - width / 2.0
                } else {
                    match bar.columns.get(space.column_of[lane][n]) {
                        Some(x) => *x + chord.shift,
                        None => continue,
                    }
                };
                notes.push(Placed { chord, bar: bar.bar, x, lines, stem_end: 0.0, lowered: 0.0 });
            }
        }
        notes
    }

    /// The sign of several bars of rest: a thick line with the number over it.
    fn multi_rests(&self, canvas: &mut Canvas) {
        for placed in self.placed {
            let count = self.sheet.bars[placed.bar].count;
            if count < 2 {
                continue;
            }
            let voice = self.bar(placed.bar).voices.first();
            let origin = voice.and_then(|voice| voice.events.first()).map(|event| event.origin);
            // A clef that changes with the next bar stands behind it.
            let BarSpace { line, tail, .. } = self.spaces[placed.bar];
            let (from, to) = (placed.body + 1.3, placed.end - line - tail - 1.3);
            let middle = f64::midpoint(from, to);
            // On one line lower than the bar lines are.
            let half = if self.bar(placed.bar).lines == 5 { 1.0 } else { 0.6 };
            let sign = glyphs::several_bars_of_rest(to - from, half);
            canvas.path(Kind::Rest, origin, Affine::translate((middle, 0.0)) * sign);
            let mut x = middle - digits_width(count) / 2.0;
            // Words and metronome marks beside the number would be read with it: they stand above.
            canvas.sky.add((from + 0.6, to - 0.6), (-4.6, -2.5));
            canvas.counts.push(Rect::new(x, -4.6, x + digits_width(count), -2.5));
            for digit in Glyph::digits(count) {
                canvas.glyph((Kind::Rest, origin), digit, (x, -3.55), 1.0);
                x += digit.width() + 0.08;
            }
        }
    }
}
