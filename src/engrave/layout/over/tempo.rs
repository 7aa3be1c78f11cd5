//! A tempo over the staff: its words and what is counted, in one line or in two.

use kurbo::{Point, Rect};
use ripieno_compiler::resolve::Tempo;
use ripieno_writers::notate::NoteValue;

use crate::glyphs::Glyph;
use crate::layout::canvas::Canvas;
use crate::layout::measures::{ABOVE, STEM};
use crate::page::{Kind, Mark, Shape};
use crate::text::{Face, Run, in_lines, shape};

/// Size of the words of a tempo, and from line to line where they have no room in one.
const TEMPO: f64 = 2.35;
const TEMPO_LINE: f64 = 2.7;

/// What is counted: the value of a note and how many of them there are in a minute.
fn counted(tempo: &Tempo) -> Option<(NoteValue, Run)> {
    let (beat, rate) = tempo.beat?;
    let value = NoteValue::of(beat)?;
    let rate = (rate * 10.0).round() / 10.0;
    let close = if tempo.words.is_some() { ")" } else { "" };
    Some((value, shape(&format!("= {rate}{close}"), Face::Roman, 2.1)))
}

/// How wide a tempo may be for which bars give way, in staff spaces, before it is set in two lines.
const ONE_LINE: f64 = 28.0;

/// Width that a tempo asks for.
pub(in crate::layout) fn tempo_width(tempo: &Tempo) -> f64 {
    let one = one_line(tempo).width;
    if one > ONE_LINE { two_lines(tempo).map_or(one, |two| two.width) } else { one }
}

/// Width of a tempo in one line.
pub(super) fn one_line_width(tempo: &Tempo) -> f64 {
    one_line(tempo).width
}

/// From the base line of a tempo down to a dynamic above the staff: the tails of its letters keep clear of that. Our
/// heuristic.
const OVER_DYNAMIC: f64 = 1.4;

/// How much higher a tempo stands for words that begin close behind it without touching it: by one line of
/// them, not by two. Our heuristic.
const ONE_HIGHER: f64 = 3.2;

/// The name of a cue that begins nearer than that behind a tempo, at its height, is read with it: the tempo
/// stands over it, unless that is higher by more than so. Our heuristic.
const FROM_NAME: f64 = 4.0;
const OVER_NAME: f64 = 4.5;

/// How far the words of a tempo reach over their base line and under it.
const RISE: f64 = 1.75;
const FALL: f64 = 0.3;

/// A tempo in its lines.
pub(super) struct SetTempo {
    words: Vec<Run>,
    counted: Option<(NoteValue, Run)>,
    /// Does what is counted stand in a line of its own?
    under: bool,
    pub x: f64,
    pub width: f64,
}

/// From the words to what is counted.
const AIR: f64 = 0.9;
/// What is counted with the note before it and the air between.
const COUNTED: f64 = 2.9;

fn figure_width(counted: Option<&(NoteValue, Run)>) -> f64 {
    counted.map_or(0.0, |(_, figure)| figure.width + COUNTED)
}

fn one_line(tempo: &Tempo) -> SetTempo {
    let words: Vec<Run> = tempo.words.iter().map(|words| shape(words, Face::Bold, TEMPO)).collect();
    let counted = counted(tempo);
    let width =
        words.iter().map(|run| run.width + AIR).sum::<f64>() + figure_width(counted.as_ref());
    SetTempo { words, counted, under: false, x: 0.0, width }
}

/// In two lines, as narrow as can be: what is counted below the words, or these divided.
fn two_lines(tempo: &Tempo) -> Option<SetTempo> {
    let words = tempo.words.as_ref()?;
    let counted = counted(tempo);
    let figure = figure_width(counted.as_ref());
    let whole = shape(words, Face::Bold, TEMPO).width;
    let mut best: Option<SetTempo> = None;
    if counted.is_some() {
        let words = vec![shape(words, Face::Bold, TEMPO)];
        let counted = counted.clone();
        best = Some(SetTempo { words, counted, under: true, x: 0.0, width: whole.max(figure) });
    }
    for (at, _) in words.match_indices(' ').filter(|(at, _)| !hangs(&words[..*at])) {
        let runs = vec![
            shape(&words[..at], Face::Bold, TEMPO),
            shape(words[at..].trim_start(), Face::Bold, TEMPO),
        ];
        let width = runs[0].width.max(runs[1].width + AIR + figure);
        if best.as_ref().is_none_or(|best| width < best.width - 2.0) {
            best = Some(SetTempo {
                words: runs,
                counted: counted.clone(),
                under: false,
                x: 0.0,
                width,
            });
        }
    }
    best
}

/// Would the last of some words hang at the end of a line, as an article or a preposition does? Our
/// heuristic: up to three small letters.
fn hangs(words: &str) -> bool {
    let last = words.rsplit(' ').next().unwrap_or(words);
    last.chars().count() <= 3 && last.chars().all(char::is_lowercase)
}

/// By so much the room that bars make for words may be rounded.
const ROUNDED: f64 = 0.3;

/// A tempo from its place on, in one line if that ends before what follows, else in two; before its place
/// only where the line ends.
pub(super) fn set_tempo(tempo: &Tempo, x: f64, next: f64, right: f64) -> SetTempo {
    let one = one_line(tempo);
    let next = next + ROUNDED;
    if x + one.width <= next {
        return SetTempo { x, ..one };
    }
    if let Some(two) = two_lines(tempo).filter(|two| x + two.width <= next) {
        return SetTempo { x, ..two };
    }
    if x + one.width <= right {
        return SetTempo { x, ..one };
    }
    if let Some(two) = two_lines(tempo).filter(|two| x + two.width <= right) {
        return SetTempo { x, ..two };
    }
    if one.width <= right {
        return SetTempo { x: right - one.width, ..one };
    }
    // Longer than the line.
    let room = right - figure_width(one.counted.as_ref()) - 1.0;
    let words = tempo.words.iter().flat_map(|words| in_lines(words, Face::Bold, TEMPO, room));
    SetTempo { words: words.collect(), x: 0.0, width: right, ..one }
}

/// White between a tempo and an order behind it at one height, which is in letters like its own, and how far before
/// its place the tempo begins for that at most. Our heuristic.
const BEFORE_ORDER: f64 = 1.7;
const EARLIER: f64 = 1.0;

impl SetTempo {
    /// Begins a little earlier where an order follows so closely at its height that the two are read as one.
    pub(super) fn before_orders(&mut self, canvas: &Canvas) {
        let end = self.x + self.width - if self.counted.is_none() { AIR } else { 0.0 };
        let base = self.base_line(canvas);
        let level = |order: &&Rect| order.y0 < base + FALL && base - RISE < order.y1;
        let behind = canvas.orders.iter().filter(level).map(|order| order.x0 - end);
        let white = behind.filter(|white| *white >= 0.0).fold(f64::MAX, f64::min);
        let lack = BEFORE_ORDER - white;
        if lack > 0.0 && lack <= EARLIER.min(self.x) {
            self.x -= lack;
        }
    }

    /// How many lines stand over the lowest one.
    fn lines_above(&self) -> f64 {
        let lines = self.words.len() + usize::from(self.under);
        lines.saturating_sub(1) as f64
    }

    /// The lowest place for the base line of its last line.
    pub(super) fn base_line(&self, canvas: &Canvas) -> f64 {
        let top = |air: f64| {
            canvas.sky.top(self.x - 0.2, self.x + self.width + air).min(-2.6) - ABOVE - 0.45
        };
        let (clear, near) = (top(0.5), top(if self.counted.is_some() { 0.5 } else { 0.5 - AIR }));
        // What is only near it is no reason to stand far above.
        let base = if near - clear > ONE_HIGHER { near } else { clear };
        let dynamics = canvas.marks.iter().filter(|mark| mark.kind == Kind::Dynamic);
        let under = dynamics.map(Mark::bounds).filter(|sign| {
            sign.x0 < self.x + self.width && self.x < sign.x1 && sign.y1 < -2.0 && base < sign.y1
        });
        let base = under.map(|sign| sign.y0 - OVER_DYNAMIC).fold(base, f64::min);
        self.over_names(canvas, base)
    }

    /// Over the row of the name of a cue that would be read with it, from a base line on.
    fn over_names(&self, canvas: &Canvas, base: f64) -> f64 {
        let end = self.x + self.width;
        let beside =
            canvas.names.iter().filter(|name| (end - 0.5..end + FROM_NAME).contains(&name.x0));
        let level = beside.filter(|name| name.y0 < base + FALL && base - RISE < name.y1);
        let over = level.map(|name| name.y0 - ABOVE - FALL).fold(base, f64::min);
        if base - over > OVER_NAME { base } else { over }
    }

    /// Words in bold, and the note that is counted; the last line stands at `y`.
    pub(super) fn draw(self, canvas: &mut Canvas, y: f64) {
        let (x, top) = (self.x, y - self.lines_above() * TEMPO_LINE);
        // The stem of what is counted rises over the words.
        let rise = if self.counted.is_some() { 2.6 } else { RISE };
        canvas.sky.add((x, x + self.width), ((top - RISE).min(y - rise), y + FALL));
        let bracketed = !self.words.is_empty();
        let mut at = x;
        for (n, run) in self.words.into_iter().enumerate() {
            let y = top + n as f64 * TEMPO_LINE;
            at = x + if self.under { 0.0 } else { run.width + AIR };
            canvas.put(Kind::Text, None, Shape::Text { at: Point::new(x, y), run });
        }
        let Some((value, figure)) = self.counted else { return };
        if bracketed {
            let run = shape("(", Face::Roman, 2.1);
            let width = run.width;
            canvas.put(Kind::Text, None, Shape::Text { at: Point::new(at, y), run });
            at += width + 0.1;
        }
        at = draw_value(canvas, value, (at, y));
        canvas.put(Kind::Text, None, Shape::Text { at: Point::new(at + 0.55, y), run: figure });
    }
}

/// A note as it is counted, small, on a base line; gives where it ends.
fn draw_value(canvas: &mut Canvas, value: NoteValue, (x, y): (f64, f64)) -> f64 {
    let scale = 0.62;
    let head = match value.log2 {
        i8::MIN..=-1 => Glyph::NoteheadDoubleWhole,
        0 => Glyph::NoteheadWhole,
        1 => Glyph::NoteheadHalf,
        2.. => Glyph::NoteheadBlack,
    };
    let y = y - 0.32;
    let put = |canvas: &mut Canvas, glyph: Glyph, x: f64, y: f64| {
        canvas.put(Kind::Text, None, Shape::Glyph { glyph, at: Point::new(x, y), scale });
    };
    put(canvas, head, x, y);
    let mut right = x + head.width() * scale;
    if value.log2 >= 1 {
        let stem = right - STEM / 2.0;
        let (from, to) = (Point::new(stem, y - 0.1), Point::new(stem, y - 2.1));
        canvas.put(Kind::Text, None, Shape::Line { from, to, width: 0.1 });
        if value.log2 >= 3 {
            let flag = Glyph::ALL[Glyph::Flag8thUp as usize + (value.log2 as usize - 3).min(4)];
            put(canvas, flag, stem - 0.05, y - 2.1);
            right += 0.5;
        }
    }
    // So small a head has a dot that is large for it, or it would be overlooked.
    for _ in 0..value.dots {
        let (at, scale) = (Point::new(right + 0.28, y - 0.1), scale * DOT);
        let glyph = Glyph::AugmentationDot;
        canvas.put(Kind::Text, None, Shape::Glyph { glyph, at, scale });
        right += 0.55;
    }
    right
}

/// By how much the dot of a metronome mark is larger than that of a note of its size.
const DOT: f64 = 1.4;
