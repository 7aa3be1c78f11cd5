//! What all staves of a system share: bar lines, brackets, braces and names; over the top staff
//! bar numbers, tempos, rehearsal marks and endings.

use kurbo::{BezPath, Point, Rect};
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::{BarLine, Tempo};
use ripieno_writers::edition::GroupSign;
use ripieno_writers::notate::{NoteValue, Sign};

use super::canvas::Canvas;
use super::measures::{ABOVE, BAR_LINE, BAR_LINE_GAP, STEM, THICK_LINE, THIN_LINE};
use super::spacing::PlacedBar;
use super::system::Setting;
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Shape};
use crate::sheet::{Bar, Heading, Sheet};
use crate::text::{Face, Run, in_lines, in_one_line, shape};

/// Size of names before a system.
const NAME: f64 = 2.2;
/// How wide a name before a system may be, in staff spaces, before it goes on in another line.
const NAME_ROOM: f64 = 17.0;
/// How many lines it may have.
const NAME_LINES: usize = 3;
/// Size of the words of a tempo, and from line to line where they have no room in one.
const TEMPO: f64 = 2.35;
const TEMPO_LINE: f64 = 2.7;
/// Size of the headings of movements.
const HEADING: f64 = 3.0;
/// Size of the headings of tacet ones.
const TACET: f64 = 2.4;
/// Their size where they are long.
const SMALL_HEADING: f64 = 2.2;

/// Bar number, endings, tempos and rehearsal marks over a staff.
pub(super) fn over(
    canvas: &mut Canvas,
    sheet: &Sheet,
    placed: &[PlacedBar],
    setting: Setting,
    top: bool,
) {
    endings(canvas, sheet, placed);
    for (n, bar) in placed.iter().enumerate() {
        let what = &sheet.bars[bar.bar];
        let x = if n == 0 { bar.x } else { bar.body.min(bar.x + 0.4) };
        if let Some(tempo) = &what.tempo {
            let x = if n == 0 { (bar.body - bar.lead.behind_key()).max(bar.x) } else { x };
            // Beside a rehearsal mark it keeps its distance.
            let mark = what.mark.as_ref().filter(|_| n == 0);
            let mark = mark.map(|mark| mark_begins(sheet, bar) + mark_run(mark).1);
            let x = mark.filter(|end| (-0.2..1.0).contains(&(x - end))).map_or(x, |end| end + 1.0);
            let beside = if n > 0 { beside_mark(sheet, &placed[n..], setting.width) } else { None };
            let x = beside.unwrap_or(x);
            draw_tempo(canvas, tempo, x, setting.width);
        }
    }
    signs(canvas, sheet, placed);
    let begun = placed.first().map(|first| &sheet.bars[first.bar]);
    // The first bar of a movement needs no number.
    let begins = begun.is_some_and(|bar| !bar.headings.is_empty() && bar.number < 2);
    if top
        && !setting.first
        && !begins
        && let Some(first) = placed.first()
    {
        let number = sheet.bars[first.bar].number;
        // In parentheses where the bar began in the line before.
        let begun = sheet.bars[first.bar].begins_at > Time::ZERO;
        let number = if begun { format!("({number})") } else { number.to_string() };
        let run = shape(&number, Face::Italic, 1.75);
        let x = first.x - 0.1;
        let y = canvas.sky.top(x, x + run.width + 0.3).min(-2.0) - 0.5;
        canvas.text(Kind::Text, None, run, (x, y));
    }
    for (n, bar) in placed.iter().enumerate() {
        let Some(mark) = &sheet.bars[bar.bar].mark else { continue };
        let (run, width) = mark_run(mark);
        let beginning = mark_begins(sheet, bar);
        let centred = (bar.x - BAR_LINE / 2.0 - width / 2.0).max(setting.indent);
        let x = if n == 0 { beginning } else { centred };
        let x = x.min(setting.width - width - 0.2).max(0.0);
        let foot = canvas.sky.top(x - 0.2, x + width + 0.2).min(-2.6) - ABOVE - 0.1;
        let head = foot - 2.75;
        let mut path = BezPath::new();
        for (grow, turned) in [(0.0, false), (-0.18, true)] {
            let (x0, x1, y0, y1) = (x - grow, x + width + grow, head - grow, foot + grow);
            path.move_to((x0, y0));
            if turned {
                path.line_to((x0, y1));
                path.line_to((x1, y1));
                path.line_to((x1, y0));
            } else {
                path.line_to((x1, y0));
                path.line_to((x1, y1));
                path.line_to((x0, y1));
            }
            path.close_path();
        }
        canvas.path(Kind::Frame, None, path);
        let at = (x + (width - run.width) / 2.0, foot - 0.48);
        canvas.text(Kind::Text, None, run, at);
    }
}

/// Where the tempo of the first of some bars begins beside the rehearsal mark over its bar line, as far
/// as it has room there: over the tempo the mark would hang at the line above.
fn beside_mark(sheet: &Sheet, placed: &[PlacedBar], width: f64) -> Option<f64> {
    let (bar, later) = placed.split_first()?;
    let what = &sheet.bars[bar.bar];
    let (mark, tempo) = (what.mark.as_ref()?, what.tempo.as_ref()?);
    let x = bar.x - BAR_LINE / 2.0 + up_to_tempo(mark);
    let next = later.iter().find_map(|bar| {
        let what = &sheet.bars[bar.bar];
        let mark = what.mark.as_ref().map(|mark| bar.x - up_to_tempo(mark));
        mark.or(what.tempo.as_ref().map(|_| bar.x))
    });
    (x + tempo_width(tempo) <= next.unwrap_or(width)).then_some(x)
}

/// From the middle of a rehearsal mark to the tempo beside it.
pub(super) fn up_to_tempo(mark: &str) -> f64 {
    const AIR: f64 = 0.7;
    mark_run(mark).1 / 2.0 + AIR
}

/// A rehearsal mark, and how wide its frame is.
fn mark_run(mark: &str) -> (Run, f64) {
    let run = shape(mark, Face::Bold, 2.7);
    let width = run.width.max(1.2) + 1.1;
    (run, width)
}

/// Where the frame of a rehearsal mark begins at the head of a line: in a score the line before the system
/// must not go through it.
fn mark_begins(sheet: &Sheet, bar: &PlacedBar) -> f64 {
    bar.x + if sheet.is_part { 0.0 } else { 0.8 }
}

/// A heading in its face and size: of a tacet movement it must not look like the title of what follows.
fn heading_run(heading: &Heading, width: f64) -> Run {
    if heading.tacet {
        return in_one_line(&heading.words, Face::Italic, (TACET, SMALL_HEADING), width);
    }
    in_one_line(&heading.words, Face::Bold, (HEADING, SMALL_HEADING), width)
}

/// Headings of movements over all that stands on a staff, the last one nearest, in the middle of the
/// line.
pub(super) fn headings(canvas: &mut Canvas, headings: &[Heading], width: f64) {
    for heading in headings.iter().rev() {
        let run = heading_run(heading, width);
        let x = ((width - run.width) / 2.0).max(0.0);
        let y = canvas.sky.top(0.0, width).min(-2.6) - ABOVE - 1.1 - run.fall();
        canvas.text(Kind::Text, None, run, (x, y));
    }
}

/// The same below, behind the last bar.
pub(super) fn closing(canvas: &mut Canvas, headings: &[Heading], width: f64) {
    for heading in headings {
        let run = heading_run(heading, width);
        let x = ((width - run.width) / 2.0).max(0.0);
        let y = canvas.sky.bottom(0.0, width).max(2.6) + ABOVE + 1.1 + run.rise();
        canvas.text(Kind::Text, None, run, (x, y));
    }
}

/// How far the number of a rest of several bars reaches above the middle line.
const REST_NUMBER: f64 = 4.6;

/// Segno, coda and the words that send a player there.
fn signs(canvas: &mut Canvas, sheet: &Sheet, placed: &[PlacedBar]) {
    for (n, bar) in placed.iter().enumerate() {
        // The number of a rest beside the words would be read with them: they stand higher.
        let rests = |bar: Option<&PlacedBar>| bar.is_some_and(|one| sheet.bars[one.bar].count > 1);
        let beside = rests(Some(bar)) || rests(placed.get(n + 1));
        let least = if beside { -REST_NUMBER } else { -2.4 };
        for sign in &sheet.bars[bar.bar].signs {
            if let Some(words) = sign.words() {
                let run = shape(words, Face::BoldItalic, 2.2);
                let x = (bar.end - run.width - 0.7).max(0.0);
                let y = canvas.sky.top(x - 0.2, x + run.width).min(least) - ABOVE - run.fall();
                canvas.text(Kind::Text, None, run, (x, y));
                continue;
            }
            let glyph = if *sign == Sign::Segno { Glyph::Segno } else { Glyph::Coda };
            let x = bar.body;
            let y = canvas.sky.top(x, x + glyph.width()).min(-2.4) - ABOVE - 0.1;
            canvas.glyph((Kind::Text, None), glyph, (x, y), 1.0);
        }
    }
}

/// What is counted: the value of a note and how many of them there are in a minute.
fn counted(tempo: &Tempo) -> Option<(NoteValue, Run)> {
    let (beat, rate) = tempo.beat?;
    let value = NoteValue::of(beat)?;
    let rate = (rate * 10.0).round() / 10.0;
    let close = if tempo.words.is_some() { ")" } else { "" };
    Some((value, shape(&format!("= {rate}{close}"), Face::Roman, 2.1)))
}

/// Width of a tempo in one line, with the air that it needs before the next one.
pub(super) fn tempo_width(tempo: &Tempo) -> f64 {
    let words = tempo.words.as_ref().map(|words| shape(words, Face::Bold, TEMPO).width + 0.9);
    let figure = counted(tempo).map(|(_, figure)| figure.width + 2.9);
    words.unwrap_or(0.0) + figure.unwrap_or(0.0) + 0.8
}

/// Words of a tempo in bold, and the note that is counted.
fn draw_tempo(canvas: &mut Canvas, tempo: &Tempo, x: f64, right: f64) {
    let bracketed = tempo.words.is_some();
    let counted = counted(tempo);
    let figure_width = counted.as_ref().map_or(0.0, |(_, figure)| figure.width + 2.9);
    let room = right - figure_width - 1.0;
    let mut words = match &tempo.words {
        Some(words) => {
            // In two lines rather than before its bar.
            let begins_here = in_lines(words, Face::Bold, TEMPO, (room - x).max(1.0));
            let fits = |run: &Run| x + run.width <= room;
            if begins_here.len() <= 2 && begins_here.iter().all(fits) {
                begins_here
            } else {
                in_lines(words, Face::Bold, TEMPO, room)
            }
        }
        None => Vec::new(),
    };
    let last = words.pop();
    let last_width = last.as_ref().map_or(0.0, |run| run.width + 0.9);
    let width = words.iter().map(|run| run.width).fold(last_width + figure_width, f64::max);
    let x = x.min(right - width).max(0.0);
    let y = canvas.sky.top(x - 0.2, x + width + 0.5).min(-2.6) - ABOVE - 0.45;
    let top = y - words.len() as f64 * TEMPO_LINE;
    // The stem of what is counted rises over the words.
    let rise = if counted.is_some() { 2.6 } else { 1.75 };
    canvas.sky.add((x, x + width), ((top - 1.75).min(y - rise), y + 0.3));
    for (n, run) in words.into_iter().chain(last).enumerate() {
        let y = top + n as f64 * TEMPO_LINE;
        canvas.put(Kind::Text, None, Shape::Text { at: Point::new(x, y), run });
    }
    let Some((value, figure)) = counted else { return };
    let mut at = x + last_width;
    if bracketed {
        let run = shape("(", Face::Roman, 2.1);
        let width = run.width;
        canvas.put(Kind::Text, None, Shape::Text { at: Point::new(at, y), run });
        at += width + 0.1;
    }
    at = draw_value(canvas, value, (at, y));
    canvas.put(Kind::Text, None, Shape::Text { at: Point::new(at + 0.55, y), run: figure });
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

fn endings(canvas: &mut Canvas, sheet: &Sheet, placed: &[PlacedBar]) {
    let mut n = 0;
    let mut open = None;
    while n < placed.len() {
        let bar = &sheet.bars[placed[n].bar];
        if let Some(ending) = bar.ending_starts {
            open = Some((n, Some(ending)));
        } else if n == 0 && bar.ending_ends.is_some() {
            open = open.or(Some((0, None)));
        }
        let last = n + 1 == placed.len();
        if let Some((from, ending)) = open
            && (bar.ending_ends.is_some() || last)
        {
            // At the beginning of a line behind clef and signature.
            let x0 = match from {
                0 => placed[0].body - placed[0].lead.behind_key(),
                _ => placed[from].x + 0.1,
            };
            let x1 = placed[n].end - 0.25;
            let y = canvas.sky.top(x0, x1).min(-4.6) - ABOVE - 1.7;
            let what = (Kind::Frame, None);
            if let Some(ending) = ending {
                canvas.line(what, (x0, y), (x0, y + 1.9), THIN_LINE);
                let run = shape(&ending.to_string(), Face::Roman, 1.9);
                canvas.text(Kind::Text, None, run, (x0 + 0.5, y + 1.6));
            }
            canvas.line(what, (x0, y), (x1, y), THIN_LINE);
            if bar.ending_ends.is_some() && bar.repeat_ends {
                canvas.line(what, (x1, y), (x1, y + 1.9), THIN_LINE);
            }
            open = None;
        }
        n += 1;
    }
}

/// Bar lines, the line before a system, brackets, braces and names.
pub(super) fn joins(
    marks: &mut Vec<Mark>,
    sheet: &Sheet,
    (shown, ys): (&[usize], &[f64]),
    words: &[Rect],
    placed: &[PlacedBar],
    setting: Setting,
) {
    let mut canvas = Canvas::new(1.0);
    let half = |row: usize| {
        let bar = placed.first().map_or(0, |bar| bar.bar);
        if sheet.staves[shown[row]].bars[bar].lines == 5 { 2.0 } else { 1.0 }
    };
    // Which staves share their bar lines.
    let mut groups: Vec<std::ops::Range<usize>> = Vec::new();
    for row in 0..shown.len() {
        let joined = row > 0 && {
            let (above, here) = (shown[row - 1], shown[row]);
            let through = |group: &crate::sheet::Group| {
                group.bar_lines && group.staves.contains(&above) && group.staves.contains(&here)
            };
            sheet.groups.iter().any(through)
        };
        match groups.last_mut() {
            Some(group) if joined => group.end = row + 1,
            _ => groups.push(row..row + 1),
        }
    }
    for group in &groups {
        let (top, bottom) =
            (ys[group.start] - half(group.start), ys[group.end - 1] + half(group.end - 1));
        let rows: Vec<f64> = group.clone().map(|row| ys[row]).collect();
        for (n, bar) in placed.iter().enumerate() {
            let what = &sheet.bars[bar.bar];
            if what.repeat_starts {
                let x = if n == 0 {
                    bar.body - bar.lead.ties - bar.lead.repeat + 0.2
                } else if bar.lead.key + bar.lead.metre > 0.0 {
                    bar.body - bar.lead.repeat + 0.35
                } else {
                    bar.x - BAR_LINE
                };
                stroke(&mut canvas, x, THICK_LINE, (top, bottom));
                let thin = x + THICK_LINE + BAR_LINE_GAP;
                stroke(&mut canvas, thin, BAR_LINE, (top, bottom));
                dots(&mut canvas, thin + BAR_LINE + 0.3, &rows);
            }
            end_line(&mut canvas, what, bar.end, (top, bottom), &rows);
        }
    }
    canvas.marks = canvas.marks.into_iter().flat_map(|line| broken(line, words)).collect();
    if let (Some(&first), Some(&last)) = (ys.first(), ys.last())
        && ys.len() > 1
    {
        let (top, bottom) = (first - half(0), last + half(ys.len() - 1));
        stroke(&mut canvas, setting.indent - BAR_LINE, BAR_LINE, (top, bottom));
    }
    let left = setting.indent - BAR_LINE;
    for group in &sheet.groups {
        let rows = || (0..shown.len()).filter(|&row| group.staves.contains(&shown[row]));
        let (Some(first), Some(last)) = (rows().next(), rows().next_back()) else { continue };
        if first == last {
            continue;
        }
        let span = (ys[first] - half(first), ys[last] + half(last));
        match group.sign {
            GroupSign::Brace => brace(&mut canvas, left - 0.25, span),
            GroupSign::Bracket => bracket(&mut canvas, left - 0.3, span),
            GroupSign::SubBracket => sub_bracket(&mut canvas, left - 1.25, span),
        }
    }
    if !sheet.is_part {
        names(&mut canvas, sheet, (shown, ys), setting);
    }
    marks.append(&mut canvas.marks);
}

/// A bar line without the stretches where words stand: they are read, not struck through.
fn broken(mark: Mark, words: &[Rect]) -> Vec<Mark> {
    const AIR: f64 = 0.2;
    let Shape::Line { from, to, width } = mark.shape else { return vec![mark] };
    let crosses = |word: &&Rect| {
        let beside = word.x0 - AIR < from.x + width / 2.0 && word.x1 + AIR > from.x - width / 2.0;
        beside && word.y0 - AIR < to.y && word.y1 + AIR > from.y
    };
    let mut crossed: Vec<&Rect> = words.iter().filter(crosses).collect();
    crossed.sort_by(|a, b| a.y0.total_cmp(&b.y0));
    let mut lines = Vec::with_capacity(crossed.len() + 1);
    let mut top = from.y;
    let mut line = |top: f64, bottom: f64| {
        if bottom - top > 0.05 {
            let (from, to) = (Point::new(from.x, top), Point::new(to.x, bottom));
            lines.push(Mark { shape: Shape::Line { from, to, width }, ..mark.clone() });
        }
    };
    for word in crossed {
        line(top, word.y0 - AIR);
        top = top.max(word.y1 + AIR);
    }
    line(top, to.y);
    lines
}

fn stroke(canvas: &mut Canvas, x: f64, width: f64, (top, bottom): (f64, f64)) {
    let middle = x + width / 2.0;
    canvas.line((Kind::BarLine, None), (middle, top), (middle, bottom), width);
}

fn dots(canvas: &mut Canvas, x: f64, rows: &[f64]) {
    for y in rows {
        for side in [-0.5, 0.5] {
            canvas.glyph((Kind::BarLine, None), Glyph::RepeatDot, (x, y + side), 1.0);
        }
    }
}

fn end_line(canvas: &mut Canvas, bar: &Bar, end: f64, span: (f64, f64), rows: &[f64]) {
    if bar.goes_on {
        return;
    }
    if bar.repeat_ends {
        stroke(canvas, end - THICK_LINE, THICK_LINE, span);
        let thin = end - THICK_LINE - BAR_LINE_GAP - BAR_LINE;
        stroke(canvas, thin, BAR_LINE, span);
        dots(canvas, thin - 0.75, rows);
        return;
    }
    match bar.line {
        BarLine::Plain => stroke(canvas, end - BAR_LINE, BAR_LINE, span),
        BarLine::Double => {
            stroke(canvas, end - BAR_LINE, BAR_LINE, span);
            stroke(canvas, end - 2.0 * BAR_LINE - BAR_LINE_GAP, BAR_LINE, span);
        }
        BarLine::Final => {
            stroke(canvas, end - THICK_LINE, THICK_LINE, span);
            stroke(canvas, end - THICK_LINE - BAR_LINE_GAP - BAR_LINE, BAR_LINE, span);
        }
    }
}

/// A thick line with curled ends.
fn bracket(canvas: &mut Canvas, right: f64, (top, bottom): (f64, f64)) {
    let x = right - 0.45;
    let what = (Kind::Bracket, None);
    canvas.line(what, (x + 0.225, top - 0.25), (x + 0.225, bottom + 0.25), 0.45);
    canvas.glyph(what, Glyph::BracketTop, (x, top - 0.25), 1.0);
    canvas.glyph(what, Glyph::BracketBottom, (x, bottom + 0.25), 1.0);
}

/// A thin square bracket for players of a kind.
fn sub_bracket(canvas: &mut Canvas, x: f64, (top, bottom): (f64, f64)) {
    let what = (Kind::Bracket, None);
    canvas.line(what, (x, top), (x, bottom), BAR_LINE);
    for y in [top, bottom] {
        canvas.line(what, (x - BAR_LINE / 2.0, y), (x + 0.75, y), BAR_LINE);
    }
}

/// A brace as high as its two staves, drawn with the pen that draws the signs.
fn brace(canvas: &mut Canvas, right: f64, (top, bottom): (f64, f64)) {
    let height = bottom - top;
    let at = |along: f64| top + height * along;
    let (tip, out) = (right - 1.25, right - 0.1);
    let half = [
        (out, at(0.0), 0.1),
        (out - 0.42, at(0.07), 0.26),
        (out - 0.55, at(0.2), 0.42),
        (out - 0.42, at(0.33), 0.42),
        (out - 0.58, at(0.44), 0.28),
        (tip, at(0.5), 0.08),
    ];
    let other: Vec<(f64, f64, f64)> =
        half.iter().map(|&(x, y, width)| (x, top + bottom - y, width)).collect();
    for points in [half.to_vec(), other] {
        canvas.path(Kind::Bracket, None, crate::glyphs::pen::stroke(&points));
    }
}

/// How much room names, brackets and braces need before the staves.
pub(super) fn indent(sheet: &Sheet, first: bool) -> f64 {
    let braced = sheet.staves.iter().any(|staff| staff.braced);
    if sheet.is_part {
        return if braced { 1.8 } else { 0.0 };
    }
    let name = |staff: &crate::sheet::Staff| {
        let name: &str = if first { &staff.name } else { &staff.abbreviation };
        lines(name).iter().map(|line| line.width).fold(0.0, f64::max)
    };
    sheet.staves.iter().map(name).fold(0.0, f64::max) + 3.4
}

/// A name in its lines; a long one is divided before its key, and where it has no room.
fn lines(name: &str) -> Vec<Run> {
    let parts: Vec<&str> = match name.split_once(" in ") {
        _ if name.contains('\n') => name.split('\n').collect(),
        Some((first, _)) if name.chars().count() > 14 => vec![first, name[first.len()..].trim()],
        _ => vec![name],
    };
    let mut lines: Vec<Run> =
        parts.into_iter().flat_map(|part| in_lines(part, Face::Roman, NAME, NAME_ROOM)).collect();
    if lines.len() > NAME_LINES {
        // The end of a name is what tells two players apart.
        lines.truncate(NAME_LINES - 1);
        let letters = |text: &str| text.chars().filter(|one| !one.is_whitespace()).count();
        let above: usize = lines.iter().map(|line| letters(&line.text)).sum();
        let seen = |&(at, _): &(usize, char)| letters(&name[..at]) >= above;
        let begins = name.char_indices().find(seen).map_or(0, |(at, _)| at);
        let rest = name[begins..].trim_start();
        let ends = rest.char_indices().map(|(at, _)| at).filter(|&at| at > 0);
        let from_word = |at: usize| rest[..at].ends_with(' ');
        let end = |at: usize| shape(&format!("… {}", &rest[at..]), Face::Roman, NAME);
        let fits = |at: &usize| end(*at).width <= NAME_ROOM;
        let (words, letters): (Vec<usize>, Vec<usize>) = ends.partition(|&at| from_word(at));
        let at = words.into_iter().find(fits).or_else(|| letters.into_iter().find(fits));
        lines.push(end(at.unwrap_or(rest.len())));
    }
    lines
}

fn names(canvas: &mut Canvas, sheet: &Sheet, (shown, ys): (&[usize], &[f64]), setting: Setting) {
    for (row, &staff) in shown.iter().enumerate() {
        let staff = &sheet.staves[staff];
        let name = if setting.first { &staff.name } else { &staff.abbreviation };
        if name.is_empty() {
            continue;
        }
        // Between two staves that belong together.
        let y = if staff.braced && row + 1 < ys.len() {
            f64::midpoint(ys[row], ys[row + 1])
        } else {
            ys[row]
        };
        let lines = lines(name);
        let middle = (lines.len() - 1) as f64 / 2.0;
        for (n, run) in lines.into_iter().enumerate() {
            let x = setting.indent - 2.5 - run.width;
            let y = y + 0.7 + (n as f64 - middle) * 2.3;
            canvas.text(Kind::Text, None, run, (x, y));
        }
    }
}
