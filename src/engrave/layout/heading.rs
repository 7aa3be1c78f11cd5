//! Words around the music: the title block, running heads, page numbers, and what is said of a turn.

use kurbo::Point;

use super::breaking::{EASY, HASTY, Pause};
use crate::page::{Kind, Mark, Shape};
use crate::sheet::Sheet;
use crate::text::{Face, Run, shape};

/// Height of the heading of a movement with the air around it, in staff spaces.
pub(super) const LINE: f64 = 4.6;

/// Millimetres in a point.
const POINT: f64 = 25.4 / 72.0;

fn run(text: &str, face: Face, points: f64, space: f64) -> Run {
    shape(text, face, points * POINT / space)
}

fn put(marks: &mut Vec<Mark>, run: Run, x: f64, y: f64) {
    marks.push(Mark {
        kind: Kind::Text,
        origin: None,
        shape: Shape::Text { at: Point::new(x, y), run },
    });
}

/// Height of the title block in staff spaces.
pub(super) fn height(sheet: &Sheet, space: f64) -> f64 {
    let more = if sheet.subtitle.is_some() { 6.0 } else { 0.0 };
    let arranged = if sheet.arranger.is_some() && sheet.composer.is_some() { 3.0 } else { 0.0 };
    let needs = if sheet.needs.is_some() { 2.5 } else { 0.0 };
    (22.0 + more + f64::max(arranged, needs)) / space
}

/// Height of the running head of later pages.
pub(super) fn running_height(space: f64) -> f64 {
    9.0 / space
}

/// Height of the foot line.
pub(super) fn foot_height(space: f64) -> f64 {
    6.5 / space
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
        title(marks, sheet, (width, space));
    } else {
        let head = running(sheet, part, (width - at(20.0), space));
        let x = (width - head.width) / 2.0;
        put(marks, head, x, at(3.5));
        // Odd numbers lie on the right: what begins on the left begins with page 2.
        let shift = usize::from(page.is_multiple_of(2) != right_hand);
        let number = run(&(page + 1 + shift).to_string(), Face::Bold, 11.0, space);
        let x = if right_hand { width - number.width } else { 0.0 };
        put(marks, number, x, at(3.5));
    }
    let mark = match &sheet.source {
        Some(source) => format!("{} – {source}", sheet.scoring),
        None => sheet.scoring.clone(),
    };
    let scoring = run(&mark, Face::Italic, 8.0, space);
    let foot = bottom + at(6.2);
    let x = if right_hand { 0.0 } else { width - scoring.width };
    put(marks, scoring, x, foot);
    if page == 0
        && let Some(licence) = &sheet.licence
    {
        let licence = run(licence, Face::Roman, 8.0, space);
        let x = (width - licence.width) / 2.0;
        put(marks, licence, x, foot);
    }
}

/// The running head, whose title is shortened word by word where it has no room.
fn running(sheet: &Sheet, part: Option<&str>, (room, space): (f64, f64)) -> Run {
    let head = |title: &str| {
        let words = match part {
            Some(part) => format!("{title} – {part}"),
            None => title.to_owned(),
        };
        run(&words, Face::Italic, 10.0, space)
    };
    let whole = head(&sheet.title);
    if whole.width <= room {
        return whole;
    }
    let words: Vec<&str> = sheet.title.split_whitespace().collect();
    let shortened =
        (1..words.len()).rev().map(|count| head(&format!("{} …", words[..count].join(" "))));
    let name = || run(part.unwrap_or(&sheet.name), Face::Italic, 10.0, space);
    shortened.into_iter().find(|head| head.width <= room).unwrap_or_else(name)
}

fn title(marks: &mut Vec<Mark>, sheet: &Sheet, (width, space): (f64, f64)) {
    let at = |millimetres: f64| millimetres / space;
    let mut points = 22.0;
    let mut title = run(&sheet.title, Face::Bold, points, space);
    while title.width > width && points > 9.0 {
        points -= 1.0;
        title = run(&sheet.title, Face::Bold, points, space);
    }
    let x = (width - title.width) / 2.0;
    put(marks, title, x, at(7.0));
    let mut y = at(13.5);
    if let Some(subtitle) = &sheet.subtitle {
        let subtitle = run(subtitle, Face::Italic, 12.0, space);
        let x = (width - subtitle.width) / 2.0;
        put(marks, subtitle, x, at(13.0));
        y = at(19.0);
    }
    put(marks, run(&sheet.name, Face::Bold, 13.0, space), 0.0, y);
    if let Some(needs) = &sheet.needs {
        put(marks, run(needs, Face::Roman, 10.5, space), 0.0, y + at(4.6));
    }
    if sheet.tacet {
        let tacet = run("Tacet", Face::Italic, 14.0, space);
        let x = (width - tacet.width) / 2.0;
        put(marks, tacet, x, y + at(16.0));
    }
    let arranged = sheet.arranger.as_ref().map(|arranger| format!("arranged by {arranger}"));
    let names = [sheet.composer.clone(), arranged];
    for name in names.into_iter().flatten() {
        let name = run(&name, Face::Roman, 10.0, space);
        let x = width - name.width;
        put(marks, name, x, y);
        y += at(4.4);
    }
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
