//! Dynamics and hairpins on a common line below the staff; ways of playing and words above it.

use ripieno_compiler::music::{Time, says_how_it_goes, says_how_loud};
use ripieno_compiler::resolve::Dynamic;
use ripieno_writers::edition::{DirectionKind, NO_CHORD};

use super::canvas::Canvas;
use super::measures::{ABOVE, HAIRPIN, THIN_LINE};
use crate::glyphs::Glyph;
use crate::page::Kind;
use crate::text::{Face, shape};

mod figures;
mod level;
mod sung;
mod words;

pub(super) use figures::{Figured, column, figures};
pub(super) use level::{Ground, NEAR as TOGETHER, ONE_LEVEL_WITH_ROOM, ONE_PHRASE};
use level::{Low, place};
pub(super) use sung::lyrics;
pub(super) use words::{WORDS_FACE, words};

/// A dynamic moves to the left for the hairpin behind it, where that would be shorter than this, in staff
/// spaces; but not farther than so.
const SHORT_PIN: f64 = 3.2;
const MOST_ASIDE: f64 = 1.8;

/// A hairpin longer than this opens wider than others, by so much at most. Our heuristic.
const LONG_PIN: f64 = 18.0;
const WIDER_PIN: f64 = 1.1;

/// How long a hairpin that closes is at least where there is room, and how wide it opens if it is no longer
/// than that: one over a single short note would else look like an accent. Our heuristic.
pub(super) const SEEN_PIN: f64 = 4.2;
const SHORT_MOUTH: f64 = 0.85;

/// How much of its mouth a hairpin that is broken at the edge of a line has at its narrow end there. That
/// the half begins a third to half open is common practice.
const BROKEN_PIN: f64 = 0.45;

/// A direction with its place along the line.
#[derive(Clone, Debug)]
pub(super) struct Said<'a> {
    pub kind: &'a DirectionKind,
    /// Middle of the head it belongs to.
    pub x: f64,
    /// Left edge of that head.
    pub left: f64,
    /// It begins behind this place: a bar line, or the sign of a chord broken over two staves.
    pub clear: f64,
    /// Where an order begins at the earliest so that it takes a line less.
    pub early: f64,
    /// What stands between the bar lines of a score, where these go on from staff to staff.
    pub room: Option<(f64, f64)>,
    /// Where its bar ends.
    pub bar_end: f64,
    /// Is it an order that stands at the end of its bar?
    pub at_end: bool,
    pub at: (usize, Time),
    pub above: bool,
}

/// The letters of a dynamic with their places, and how wide they are.
pub(super) fn letters(dynamic: Dynamic) -> (Vec<(Glyph, f64)>, f64) {
    let mut x = 0.0;
    let mut signs = Vec::new();
    for letter in dynamic.letters().chars() {
        let (sign, advance) = match letter {
            'p' => (Glyph::DynamicPiano, 1.42),
            'm' => (Glyph::DynamicMezzo, if dynamic == Dynamic::Mf { 1.72 } else { 2.02 }),
            'f' => (Glyph::DynamicForte, 1.12),
            's' => (Glyph::DynamicSforzando, 0.92),
            _ => (Glyph::DynamicZ, 1.0),
        };
        signs.push((sign, x));
        x += advance;
    }
    let width = signs.last().map_or(0.0, |(sign, x)| x + sign.width());
    (signs, width)
}

/// A hairpin of a line, or what of it lies in this line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pin {
    pub from: f64,
    pub to: f64,
    pub grows: bool,
    /// Does it come from the line before, and go on to the next?
    pub carried: bool,
    pub goes_on: bool,
    /// Where in the music it begins and ends.
    pub places: ((usize, Time), (usize, Time)),
    pub above: bool,
}

/// Dynamics and hairpins of a line, on one line as far as they lie near one another, and with them the words
/// of loudness that have room there, which are taken out of what is still to be said.
pub(super) fn dynamics(
    canvas: &mut Canvas,
    said: &mut Vec<Said>,
    pins: &[Pin],
    (begin, end): (f64, f64),
    ground: &Ground,
) {
    for above in [false, true] {
        let mut lows: Vec<Low> = Vec::new();
        let mut edge = begin - 1.0;
        let mut taken: Vec<((usize, Time), f64, f64)> = Vec::new();
        for direction in said.iter().filter(|direction| direction.above == above) {
            let DirectionKind::Dynamic(dynamic) = direction.kind else { continue };
            let (signs, width) = letters(*dynamic);
            // The optical middle of the letters stands under the head.
            // The tail of an f reaches back under what stands before it.
            let left = signs.first().map_or(0.0, |(sign, _)| sign.bounds().x0.min(0.0));
            let begins = |pin: &&Pin| pin.above == above && pin.places.0 == direction.at;
            let lack = pins.iter().find(begins).map_or(0.0, |pin| {
                (SHORT_PIN - (pin.to - direction.x - width / 2.0 - 0.4)).clamp(0.0, MOST_ASIDE)
            });
            let x = direction.x - width / 2.0 - 0.05 - lack;
            // Nor does the bar line behind it go through it.
            let x = direction.room.map_or(x, |(_, ends)| x.min(ends - width));
            let x = x.max(edge).max(direction.clear - left);
            edge = x + width + 0.45;
            taken.push((direction.at, x + left, x + width));
            lows.push(Low::Letters { signs, x, width, at: direction.at });
        }
        for pin in pins.iter().filter(|pin| pin.above == above) {
            // It keeps clear of letters where it begins and ends, and of those between.
            let (mut from, mut to) = (pin.from, pin.to);
            for &(at, left, right) in &taken {
                if at <= pin.places.0 && right + 0.4 > from {
                    from = right + 0.4;
                } else if at > pin.places.0 && left - 0.4 < to && left > from {
                    to = left - 0.4;
                }
            }
            push_hairpin(&mut lows, pin, (from, to), end);
        }
        said.retain(|said| {
            let own = said.above == above;
            let words = if own { in_line(said, &mut lows, end) } else { None };
            let stays = words.is_none();
            lows.extend(words);
            stays
        });
        lows.sort_by(|a, b| a.span().0.total_cmp(&b.span().0));
        place(canvas, &lows, ground, above);
    }
}

/// A hairpin begins behind words of loudness where at least so much of it is left, and behind those that say how it
/// goes where at least this part of it is. Our heuristic.
const LEFT_PIN: f64 = 6.0;
const LEFT_PART: f64 = 0.6;

/// Words of loudness behind the dynamic at their place, or at their note, as far as they have room on that
/// line before the next dynamic; a long hairpin gives way to them, also to those that say how it goes. A short one has
/// these beside it, outside.
fn in_line(said: &Said, lows: &mut [Low], end: f64) -> Option<Low> {
    let DirectionKind::Words(words) = said.kind else { return None };
    let run = shape(words, WORDS_FACE.0, WORDS_FACE.1);
    let beside = lows.iter().find_map(|low| match low {
        Low::Letters { at, x, width, .. } if *at == said.at => Some(x + width + 0.6),
        _ => None,
    });
    let is_own = |low: &Low| match low {
        Low::Hairpin { at, .. } => *at == said.at && says_how_it_goes(words),
        _ => false,
    };
    // Above a staff words of another kind have their own line, but for those of a dynamic: "p dolce".
    if said.above && beside.is_none() && !says_how_loud(words) && !lows.iter().any(is_own) {
        return None;
    }
    let x = beside.unwrap_or(said.left.max(said.clear));
    let (x0, x1) = (x - 0.1, x + run.width + 0.6);
    let meets = |low: &Low| low.span().0 < x1 && x0 < low.span().1;
    let gives_way = |low: &Low| match low {
        Low::Hairpin { from, to, .. } if is_own(low) => {
            to - x1 >= LEFT_PIN.max((to - from) * LEFT_PART)
        }
        Low::Hairpin { from, to, at, .. } => *at > said.at && *from > x && to - x1 >= LEFT_PIN,
        _ => false,
    };
    if x1 >= end || lows.iter().any(|low| meets(low) && !gives_way(low)) {
        return None;
    }
    for low in lows.iter_mut().filter(|low| meets(low)) {
        if let Low::Hairpin { from, .. } = low {
            *from = x1;
        }
    }
    Some(Low::Words { run, x, at: said.at })
}

fn push_hairpin(lows: &mut Vec<Low>, pin: &Pin, (from, to): (f64, f64), end: f64) {
    let Pin { grows, carried, goes_on, .. } = *pin;
    // At the end of a line a short one begins earlier.
    let from = from.min(end - 1.6);
    let to = to.max(from + 1.6);
    // A long one opens wider, or its lines would seem to be parallel.
    let short = !grows && !carried && !goes_on && to - from < SEEN_PIN + 0.1;
    let usual = if short { SHORT_MOUTH } else { HAIRPIN };
    let mouth = usual + ((to - from - LONG_PIN) * 0.02).clamp(0.0, WIDER_PIN);
    // A part of a hairpin that comes from or goes to another line does not close, and its lines are
    // so far apart that they are not taken for one doubled line.
    let narrow = |broken: bool| if broken { mouth * BROKEN_PIN } else { 0.0 };
    let wide = |broken: bool| if broken { mouth * 0.75 } else { mouth };
    let (opens, closes) =
        if grows { (narrow(carried), wide(goes_on)) } else { (wide(carried), narrow(goes_on)) };
    lows.push(Low::Hairpin { from, to, opens, closes, at: pin.places.0 });
}

/// Chord symbols of a line, all at one height over what stands under any of them, and none nearer to
/// the one before than a reader can part them.
pub(super) fn chord_symbols(canvas: &mut Canvas, said: &[Said], end: f64) {
    let mut edge = f64::MIN;
    let mut symbols = Vec::new();
    for direction in said {
        let DirectionKind::Chord(chord) = direction.kind else { continue };
        let symbol = chord.map_or_else(
            || NO_CHORD.to_string(),
            |chord| chord.to_string().replace('#', "♯").replace('b', "♭"),
        );
        let run = shape(&symbol, Face::Bold, 2.2);
        let x = direction.left.max(edge + 0.5).min((end - run.width).max(0.5));
        edge = x + run.width;
        symbols.push((run, x, direction.at));
    }
    let tops = symbols.iter().map(|(run, x, _)| {
        canvas.sky.top(x - 0.2, x + run.width + 0.4).min(-2.1) - ABOVE - run.fall()
    });
    let y = tops.fold(f64::MAX, f64::min);
    for (run, x, at) in symbols {
        let from_mark = canvas.marks.len();
        canvas.text(Kind::Text, None, run, (x, y));
        canvas.say(from_mark, at);
    }
}

/// A line that moves what stands under it by octaves.
pub(super) fn octave_line(
    canvas: &mut Canvas,
    octaves: i8,
    (from, to): (f64, f64),
    (begins, ends): (bool, bool),
) {
    let above = octaves > 0;
    let word = match octaves.unsigned_abs() {
        1 => {
            if above {
                "8va"
            } else {
                "8vb"
            }
        }
        _ => {
            if above {
                "15ma"
            } else {
                "15mb"
            }
        }
    };
    let word = if begins { word.to_string() } else { format!("({word})") };
    let run = shape(&word, Face::Italic, 2.1);
    let edge = if above {
        canvas.sky.top(from, to).min(-2.5)
    } else {
        canvas.sky.bottom(from, to).max(2.5)
    };
    let y = if above { edge - 0.9 } else { edge + 0.9 + run.rise() };
    let line = if above { y - run.rise() + 0.1 } else { y - 0.1 };
    let mut x = from + run.width + 0.3;
    canvas.text(Kind::Text, None, run, (from, y));
    let what = (Kind::Frame, None);
    while x < to {
        canvas.line(what, (x, line), ((x + 0.7).min(to), line), THIN_LINE);
        x += 1.3;
    }
    if ends {
        let hook = if above { 1.0 } else { -1.0 };
        canvas.line(what, (to, line), (to, line + hook), THIN_LINE);
    }
}
