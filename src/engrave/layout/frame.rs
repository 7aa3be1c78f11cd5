//! What all staves of a system share: bar lines, brackets, braces and names; headings over it and below
//! it.

use kurbo::{Affine, Point, Rect};
use ripieno_compiler::resolve::BarLine;
use ripieno_writers::edition::GroupSign;

use super::canvas::{Canvas, glyph_box};
use super::measures::{ABOVE, BAR_LINE, BAR_LINE_GAP, THICK_LINE};
use super::spacing::PlacedBar;
use super::system::{Setting, System, half_between};
use crate::glyphs::{self, Glyph};
use crate::page::{Kind, Mark, Shape};
use crate::sheet::{Bar, Group, Heading, Sheet};
use crate::text::{Face, JOINT, Run, in_lines, in_one_line, shape};

/// Size of names before a system.
const NAME: f64 = 2.2;
/// How wide a name before a system may be, in staff spaces, before it goes on in another line.
const NAME_ROOM: f64 = 17.0;
/// How many lines it may have.
const NAME_LINES: usize = 3;
/// Size of the headings of movements.
const HEADING: f64 = 3.0;
/// Size of the headings of tacet ones.
const TACET: f64 = 2.4;
/// Their size where they are long.
const SMALL_HEADING: f64 = 2.2;

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
        sheet.staves[shown[row]].bars[bar].half()
    };
    // Which staves share their bar lines.
    let mut groups: Vec<std::ops::Range<usize>> = Vec::new();
    for row in 0..shown.len() {
        let joined = row > 0 && share_bar_lines(sheet, shown[row - 1], shown[row]);
        match groups.last_mut() {
            Some(group) if joined => group.end = row + 1,
            _ => groups.push(row..row + 1),
        }
    }
    for group in &groups {
        // From the outermost lines of both bars that it parts.
        let between = |bar: &PlacedBar, next: Option<&PlacedBar>| {
            let half = |row: usize| half_between(&sheet.staves[shown[row]], bar, next);
            let last = group.end - 1;
            (ys[group.start] - half(group.start), ys[last] + half(last))
        };
        let rows: Vec<f64> = group.clone().map(|row| ys[row]).collect();
        for (n, bar) in placed.iter().enumerate() {
            let what = &sheet.bars[bar.bar];
            if what.repeat_starts {
                let before = n.checked_sub(1).map(|before| &placed[before]);
                let behind_lead = bar.lead.clef + bar.lead.key + bar.lead.metre > 0.0;
                let span = between(bar, before.filter(|_| !behind_lead));
                let x = if n == 0 {
                    bar.body - bar.lead.carried - bar.lead.repeat + 0.2
                } else if behind_lead {
                    bar.body - bar.lead.repeat + 0.35
                } else {
                    bar.x - BAR_LINE
                };
                stroke(&mut canvas, x, THICK_LINE, span);
                let thin = x + THICK_LINE + BAR_LINE_GAP;
                stroke(&mut canvas, thin, BAR_LINE, span);
                dots(&mut canvas, thin + BAR_LINE + 0.3, &rows);
            }
            end_line(&mut canvas, what, bar.end, between(bar, placed.get(n + 1)), &rows);
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
            GroupSign::Brace => {
                let (top, bottom) = span;
                let at = Affine::translate((left - 0.25, f64::midpoint(top, bottom)));
                canvas.path(Kind::Bracket, None, at * glyphs::brace(bottom - top));
            }
            GroupSign::Bracket => bracket(&mut canvas, bracket_left(setting.indent), span),
            GroupSign::SubBracket => sub_bracket(&mut canvas, left - 1.25, span),
        }
    }
    if !sheet.is_part {
        names(&mut canvas, sheet, (shown, ys), setting);
    }
    marks.append(&mut canvas.marks);
}

/// Two strokes between the systems of a page of a score, before the staves, so that nobody reads on from
/// one into the other (Gould, chapter 18, from memory). A movement's title parts it from the one before.
pub(super) fn dividers(marks: &mut Vec<Mark>, systems: &[System], ys: &[f64], indent: f64) {
    const LENGTH: f64 = 2.6;
    const RISE: f64 = 1.1;
    const STEP: f64 = 1.05;
    if systems.iter().all(|system| system.gaps() == 0) {
        return;
    }
    let mut canvas = Canvas::new(1.0);
    let pairs = systems.windows(2).zip(ys.windows(2));
    for (pair, ys) in pairs.filter(|(pair, _)| !pair[1].headed) {
        let middle = f64::midpoint(ys[0] + pair[0].last_line(), ys[1] - 2.0);
        let x = (indent - LENGTH - 0.9).max(0.0);
        for side in [-0.5, 0.5] {
            let y = middle + side * STEP;
            let from = (x, y + RISE / 2.0);
            canvas.line((Kind::Bracket, None), from, (x + LENGTH, y - RISE / 2.0), THICK_LINE);
        }
    }
    marks.append(&mut canvas.marks);
}

/// A bar line without the stretches where words stand: they are read, not struck through.
fn broken(mark: Mark, words: &[Rect]) -> Vec<Mark> {
    const AIR: f64 = 0.2;
    const CRUMB: f64 = 0.9;
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
        // What is left of it between words and a staff is no crumb.
        if bottom - top > CRUMB {
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

/// How far the thick line of a bracket reaches beyond its staves.
const BEYOND: f64 = 0.25;

/// Where a bracket begins before the staves.
fn bracket_left(indent: f64) -> f64 {
    indent - BAR_LINE - 0.75
}

/// The box of the curled end of a bracket that begins with the top staff of a system, whose outer line lies so far
/// from its middle one.
pub(super) fn tip(sheet: &Sheet, shown: &[usize], indent: f64, half: f64) -> Option<Rect> {
    let begins = |group: &Group| {
        group.sign == GroupSign::Bracket
            && shown.first().is_some_and(|first| group.staves.contains(first))
            && shown.iter().filter(|staff| group.staves.contains(staff)).count() > 1
    };
    let at = (bracket_left(indent), -half - BEYOND);
    sheet.groups.iter().any(begins).then(|| glyph_box(Glyph::BracketTop, at, 1.0))
}

/// A thick line with curled ends.
fn bracket(canvas: &mut Canvas, x: f64, (top, bottom): (f64, f64)) {
    let what = (Kind::Bracket, None);
    canvas.line(what, (x + 0.225, top - BEYOND), (x + 0.225, bottom + BEYOND), 0.45);
    canvas.glyph(what, Glyph::BracketTop, (x, top - BEYOND), 1.0);
    canvas.glyph(what, Glyph::BracketBottom, (x, bottom + BEYOND), 1.0);
}

/// A thin square bracket for players of a kind.
fn sub_bracket(canvas: &mut Canvas, x: f64, (top, bottom): (f64, f64)) {
    let what = (Kind::Bracket, None);
    canvas.line(what, (x, top), (x, bottom), BAR_LINE);
    for y in [top, bottom] {
        canvas.line(what, (x - BAR_LINE / 2.0, y), (x + 0.75, y), BAR_LINE);
    }
}

/// How much room names, brackets and braces need before the staves.
pub(super) fn indent(sheet: &Sheet, first: bool) -> f64 {
    if sheet.is_part {
        // A brace, or the bracket of the halves of a section where they have a staff each.
        let joined = sheet.groups.iter().any(|group| group.staves.len() > 1);
        return if joined { 1.8 } else { 0.0 };
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
    let set = |part| in_lines(&joined(part), Face::Roman, NAME, NAME_ROOM);
    let mut lines: Vec<Run> = parts.into_iter().flat_map(set).collect();
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

/// A name of which no line begins with a number ("Baritone horns 1, / 2"): the word before it comes down
/// with it, or only other numbers where the line has no room for more.
fn joined(name: &str) -> String {
    let is_number = |word: &str| word.starts_with(|one: char| one.is_ascii_digit());
    let with = |joins: fn(bool) -> bool| {
        let mut joined = String::new();
        let mut before = None;
        for word in name.split_whitespace() {
            if let Some(number) = before {
                joined.push(if is_number(word) && joins(number) { JOINT } else { ' ' });
            }
            joined.push_str(word);
            before = Some(is_number(word));
        }
        joined
    };
    let fits = |name: &String| {
        let mut joined = name.split(' ').filter(|words| words.contains(JOINT));
        joined.all(|words| shape(words, Face::Roman, NAME).width <= NAME_ROOM)
    };
    let ways: [fn(bool) -> bool; 2] = [|_| true, |number| number];
    ways.into_iter().map(with).find(fits).unwrap_or_else(|| name.to_owned())
}

fn names(canvas: &mut Canvas, sheet: &Sheet, (shown, ys): (&[usize], &[f64]), setting: Setting) {
    for (row, &staff) in shown.iter().enumerate() {
        let staff = &sheet.staves[staff];
        let name = if setting.first { &staff.name } else { &staff.abbreviation };
        if name.is_empty() {
            continue;
        }
        // Between two staves that belong together.
        let joined = |lower: &usize| staff.braced && sheet.staves[*lower].part == staff.part;
        let y = if shown.get(row + 1).is_some_and(joined) {
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

/// Do bar lines go from a staff on to another one?
pub(super) fn share_bar_lines(sheet: &Sheet, above: usize, below: usize) -> bool {
    let through = |group: &crate::sheet::Group| {
        group.bar_lines && group.staves.contains(&above) && group.staves.contains(&below)
    };
    sheet.groups.iter().any(through)
}
