//! Words around the music: the title block, running heads, page numbers, and what is said of a turn.

use kurbo::Point;

use super::breaking::{EASY, HASTY, Pause};
use crate::page::{Kind, Mark, Shape};
use crate::sheet::Sheet;
use crate::text::{Face, Run, in_lines, in_one_line, shape};

/// Height of the heading of a movement with the air around it, in staff spaces.
pub(super) const LINE: f64 = 4.6;

/// Millimetres in a point.
const POINT: f64 = 25.4 / 72.0;
/// Size of a title in points: as large as this where it has room in one line, else the smaller one,
/// in as many lines as it needs.
const TITLE: (f64, f64) = (22.0, 16.0);
const SUBTITLE: f64 = 12.0;
const PART: f64 = 13.0;
const NEEDS: f64 = 10.5;
const NAMES: f64 = 10.0;
const HEAD: f64 = 10.0;
/// Size of the foot, and where it has no room in one line.
const FOOT: (f64, f64) = (8.0, 6.5);
/// From base line to base line, for type of one point, in millimetres.
const LEADING: f64 = 0.44;

fn run(text: &str, face: Face, points: f64, space: f64) -> Run {
    shape(text, face, points * POINT / space)
}

fn lines(text: &str, face: Face, points: f64, (room, space): (f64, f64)) -> Vec<Run> {
    in_lines(text, face, points * POINT / space, room)
}

fn put(marks: &mut Vec<Mark>, run: Run, x: f64, y: f64) {
    marks.push(Mark {
        kind: Kind::Text,
        origin: None,
        shape: Shape::Text { at: Point::new(x, y), run },
    });
}

/// The title block: what is drawn, and how high it is in staff spaces.
fn block(sheet: &Sheet, (width, space): (f64, f64)) -> (Vec<Mark>, f64) {
    let at = |millimetres: f64| millimetres / space;
    let mut marks = Vec::new();
    let centred = |marks: &mut Vec<Mark>, run: Run, y: f64| {
        let x = (width - run.width) / 2.0;
        put(marks, run, x, y);
    };
    let mut y = at(7.0);
    let whole = run(&sheet.title, Face::Bold, TITLE.0, space);
    let points = (TITLE.0 * (width / whole.width.max(0.1)).min(1.0)).floor().max(TITLE.1);
    let title = lines(&sheet.title, Face::Bold, points, (width, space));
    for (n, line) in title.into_iter().enumerate() {
        y += if n > 0 { at(points * LEADING) } else { 0.0 };
        centred(&mut marks, line, y);
    }
    if let Some(subtitle) = &sheet.subtitle {
        for line in lines(subtitle, Face::Italic, SUBTITLE, (width, space)) {
            y += at(6.0);
            centred(&mut marks, line, y);
        }
        y += at(6.0);
    } else {
        y += at(6.5);
    }
    let arranged = sheet.arranger.as_ref().map(|arranger| format!("arranged by {arranger}"));
    let names: Vec<String> = [sheet.composer.clone(), arranged].into_iter().flatten().collect();
    // The part on the left and the names on the right share the line.
    let half = if names.is_empty() { width } else { width * 0.5 - at(3.0) };
    let mut left = y;
    for (n, line) in lines(&sheet.name, Face::Bold, PART, (half, space)).into_iter().enumerate() {
        left += if n > 0 { at(PART * LEADING) } else { 0.0 };
        put(&mut marks, line, 0.0, left);
    }
    // A crook or a second instrument belongs to the name.
    let needs =
        sheet.needs.iter().flat_map(|needs| lines(needs, Face::Roman, NEEDS, (half, space)));
    let version = lines(&version(sheet), Face::Italic, NEEDS, (half, space));
    for line in needs.chain(version) {
        left += at(4.6);
        put(&mut marks, line, 0.0, left);
    }
    let mut right = y;
    let names = names.iter().flat_map(|name| lines(name, Face::Roman, NAMES, (half, space)));
    for (n, name) in names.enumerate() {
        right += if n > 0 { at(4.4) } else { 0.0 };
        let x = width - name.width;
        put(&mut marks, name, x, right);
    }
    y = left.max(right);
    if sheet.tacet {
        centred(&mut marks, run("Tacet", Face::Italic, 14.0, space), y + at(16.0));
    }
    let air = if sheet.subtitle.is_some() { 9.0 } else { 8.5 };
    (marks, y + at(air))
}

/// Height of the title block in staff spaces, over lines of such a width.
pub(super) fn height(sheet: &Sheet, width: f64, space: f64) -> f64 {
    block(sheet, (width, space)).1
}

/// Height of the running head of later pages.
pub(super) fn running_height(space: f64) -> f64 {
    9.0 / space
}

/// Height of the foot, on the first page or a later one, in staff spaces.
pub(super) fn foot_height(sheet: &Sheet, first: bool, (width, space): (f64, f64)) -> f64 {
    let (source, licence) = foot(sheet, first, (width, space));
    let more = source.len().max(licence.len()).saturating_sub(1);
    (6.5 + more as f64 * FOOT.1 * LEADING) / space
}

/// Draws what stands above and below the music of a page.
pub(super) fn draw(
    marks: &mut Vec<Mark>,
    sheet: &Sheet,
    page: usize,
    right_hand: bool,
    (width, space): (f64, f64),
    bottom: f64,
) {
    let at = |millimetres: f64| millimetres / space;
    let part = Some(sheet.name.as_str()).filter(|_| sheet.is_part);
    if page == 0 {
        let (title, _) = block(sheet, (width, space));
        // A first page that lies on the left says so, or a leaf would be looked for before it.
        let there = |mark: &Mark| match &mark.shape {
            Shape::Text { at: place, .. } => place.x < at(NUMBER) && place.y < at(8.0),
            _ => false,
        };
        if !right_hand && !title.iter().any(there) {
            number(marks, (page, right_hand), (width, space));
        }
        marks.extend(title);
    } else {
        let (size, room) = (HEAD * POINT / space, width * 0.3);
        let version = in_one_line(&version(sheet), Face::Italic, (size, size), room);
        let beside = (version.width + at(4.0)).max(at(10.0));
        let head = running(sheet, part, (width - 2.0 * beside, space));
        let x = (width - head.width) / 2.0;
        put(marks, head, x, at(3.5));
        let x = if right_hand { 0.0 } else { width - version.width };
        put(marks, version, x, at(3.5));
        number(marks, (page, right_hand), (width, space));
    }
    let (source, licence) = foot(sheet, page == 0, (width, space));
    let y = |n: usize| bottom + at(6.2 + n as f64 * FOOT.1 * LEADING);
    for (n, line) in source.into_iter().enumerate() {
        let x = if right_hand { 0.0 } else { width - line.width };
        put(marks, line, x, y(n));
    }
    for (n, line) in licence.into_iter().enumerate() {
        let x = (width - line.width) / 2.0;
        put(marks, line, x, y(n));
    }
}

/// Room for the number of a page, in millimetres.
const NUMBER: f64 = 12.0;

/// The number of a page, at its outer corner. Odd numbers lie on the right: what begins on the left
/// begins with page 2.
fn number(marks: &mut Vec<Mark>, (page, right_hand): (usize, bool), (width, space): (f64, f64)) {
    let shift = usize::from(page.is_multiple_of(2) != right_hand);
    let number = run(&(page + 1 + shift).to_string(), Face::Bold, 11.0, space);
    let x = if right_hand { width - number.width } else { 0.0 };
    put(marks, number, x, 3.5 / space);
}

/// What tells this page from that of another version on the stand: the scoring and the revision.
fn version(sheet: &Sheet) -> String {
    let words = std::iter::once(&sheet.scoring).chain(&sheet.revision);
    words.map(String::as_str).collect::<Vec<_>>().join(" – ")
}

/// The lines at the foot: the beginning of the source's digest, and on the first page the licence in
/// the middle.
fn foot(sheet: &Sheet, first: bool, (width, space): (f64, f64)) -> (Vec<Run>, Vec<Run>) {
    let set = |text: &str, face: Face, room: f64| {
        let whole = run(text, face, FOOT.0, space);
        if whole.width <= room {
            return vec![whole];
        }
        lines(text, face, FOOT.1, (room, space))
    };
    let licence = sheet.licence.as_ref().filter(|_| first);
    let beside = if licence.is_some() { width * 0.24 } else { width };
    let licence = licence.map(|licence| set(licence, Face::Roman, width * 0.48));
    let source = sheet.source.as_ref().map(|source| set(source, Face::Italic, beside));
    (source.unwrap_or_default(), licence.unwrap_or_default())
}

/// The running head, whose title is shortened word by word where it has no room.
fn running(sheet: &Sheet, part: Option<&str>, (room, space): (f64, f64)) -> Run {
    let head = |title: &str| {
        let words = match part {
            Some(part) => format!("{title} – {part}"),
            None => title.to_owned(),
        };
        run(&words, Face::Italic, HEAD, space)
    };
    let whole = head(&sheet.title);
    if whole.width <= room {
        return whole;
    }
    let words: Vec<&str> = sheet.title.split_whitespace().collect();
    let shortened =
        (1..words.len()).rev().map(|count| head(&format!("{} …", words[..count].join(" "))));
    let size = HEAD * POINT / space;
    let name = || in_one_line(part.unwrap_or(&sheet.name), Face::Italic, (size, size), room);
    shortened.into_iter().find(|head| head.width <= room).unwrap_or_else(name)
}

/// At the foot of a page that is turned: "V.S." where there is hardly time, "time" where the rest
/// begins only on the next page.
pub(super) fn turn(marks: &mut Vec<Mark>, pause: Pause, (width, space): (f64, f64), bottom: f64) {
    let said = if pause.before + pause.after < HASTY {
        "V.S."
    } else if pause.before < HASTY && pause.after >= EASY {
        "time"
    } else {
        return;
    };
    let word = run(said, Face::Italic, 11.0, space);
    let x = width - word.width;
    put(marks, word, x, bottom + 6.2 / space);
}
