//! What stands over the top staff: bar numbers, endings, signs, tempos and rehearsal marks.

use kurbo::{BezPath, ParamCurve as _, PathSeg, Point, Rect};
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::{NudgedSign, Tempo};

use super::canvas::Canvas;
use super::measures::{ABOVE, BAR_LINE, THIN_LINE};
use super::spacing::{Lead, PlacedBar};
use super::system::Setting;
use crate::page::{Kind, Mark, Shape};
use crate::sheet::{Bar, Sheet};
use crate::text::{Face, Run, shape};

mod jumps;
mod tempo;

pub(super) use jumps::jump_room;
use jumps::{jump_words, signs};
pub(super) use tempo::tempo_width;
use tempo::{SetTempo, set_tempo};

/// Bar number, endings, tempos and rehearsal marks over a staff. `before` is what stands before the top staff and
/// reaches over it.
pub(super) fn over(
    canvas: &mut Canvas,
    sheet: &Sheet,
    placed: &[PlacedBar],
    setting: Setting,
    (top, before): (bool, Option<Rect>),
) {
    endings(canvas, sheet, placed);
    // Where they stand again they begin at the same places, as if the number stood there too.
    let number = bar_number(sheet, placed, setting);
    let ends = number.as_ref().map_or(0.0, behind_number);
    for (run, x) in number.into_iter().filter(|_| top) {
        let y = canvas.sky.top(x, x + run.width + 0.3).min(-2.0) - 0.5;
        let clear = before.filter(|before| x < before.x1).map_or(y, |before| before.y0 - OVER_TIP);
        let begun = canvas.marks.len();
        canvas.text(Kind::Text, None, run, (x, y.min(clear)));
        canvas.say_as(NudgedSign::BarNumber, begun, (placed[0].bar, Time::ZERO));
    }
    let jumps = signs(canvas, sheet, placed);
    let mut headed: Vec<Headed> =
        (0..placed.len()).filter_map(|n| Headed::of(sheet, (placed, n), setting, ends)).collect();
    headed.iter_mut().for_each(|headed| headed.part(canvas, setting.width));
    // Marks and tempos of a line stand at one height, as far as none is thrown up by what is below it; with them
    // words before a tempo that send a player elsewhere.
    let feet = headed.iter().filter_map(|headed| headed.foot(canvas));
    let feet = feet.chain(jumps.iter().map(|jump| jump.y + MARK_BASE));
    let lowest = feet.clone().fold(f64::MIN, f64::max);
    let highest = (lowest - THROWN).min(HIGH);
    let level = feet.filter(|foot| *foot > highest).fold(f64::MAX, f64::min);
    for headed in headed {
        headed.draw(canvas, level);
    }
    for jump in jumps {
        jump.draw(canvas, level - MARK_BASE);
    }
}

/// Marks of a line stand at one height (common practice); but one that words or beams beneath it hold up so
/// much higher than the lowest of its line, in staff spaces, stands there alone, if its foot is also farther
/// above the staff than twice the height of that: the others would hang over nothing, as near to the line
/// above as to their own. Our heuristic.
const THROWN: f64 = 6.0;
const HIGH: f64 = -10.0;

/// The rehearsal mark and the tempo over a bar.
struct Headed {
    /// The bar of the sheet.
    bar: usize,
    framed: Option<Framed>,
    set: Option<SetTempo>,
}

impl Headed {
    fn of(
        sheet: &Sheet,
        (placed, n): (&[PlacedBar], usize),
        setting: Setting,
        number: f64,
    ) -> Option<Headed> {
        let bar = &placed[n];
        let what = &sheet.bars[bar.bar];
        let framed = what.mark.as_ref().map(|mark| {
            let (run, width) = mark_run(mark);
            let before = n.checked_sub(1).map(|n| &sheet.bars[placed[n].bar]);
            let within = match stands_behind_line(mark, before) {
                true => bar.x + BEHIND_LINE,
                false => (bar.x - BAR_LINE / 2.0 - width / 2.0).max(setting.indent),
            };
            let begins = mark_begins(sheet, bar).max(number);
            let x = if n == 0 { begins } else { within };
            Framed { x: x.min(setting.width - width - 0.2).max(0.0), run, width }
        });
        let set = what.tempo.as_ref().map(|tempo| {
            let begins = match n {
                0 => (bar.body - bar.lead.behind_key()).max(bar.x),
                _ => bar.body.min(bar.x + 0.4),
            };
            let next = next_words(sheet, &placed[n + 1..], setting.width);
            let beside =
                framed.as_ref().map(|framed| begins.max(framed.x + framed.width + BESIDE_MARK));
            set_tempo(tempo, beside.unwrap_or(begins), next, setting.width)
        });
        (framed.is_some() || set.is_some()).then_some(Headed { bar: bar.bar, framed, set })
    }

    /// Moves it a little along the line where it would be read with what stands beside it.
    fn part(&mut self, canvas: &Canvas, width: f64) {
        let Some(framed) = &mut self.framed else {
            return self.set.iter_mut().for_each(|set| set.before_orders(canvas));
        };
        let by = framed.behind_slur(canvas);
        let end = self.set.as_ref().map_or(framed.x + framed.width, |set| set.x + set.width);
        if end + by < width {
            framed.x += by;
            self.set.iter_mut().for_each(|set| set.x += by);
        }
    }

    /// Does the tempo stand beside the mark, on one line?
    fn is_beside(&self) -> bool {
        let (Some(framed), Some(set)) = (&self.framed, &self.set) else { return false };
        set.x >= framed.x + framed.width + BESIDE_MARK - 0.01
    }

    /// The lowest place for the foot of the mark, or of one beside the tempo.
    fn foot(&self, canvas: &Canvas) -> Option<f64> {
        let framed = self.framed.as_ref().map(|framed| framed.foot(canvas));
        let set = self.set.as_ref().filter(|_| framed.is_none() || self.is_beside());
        let feet = framed.into_iter().chain(set.map(|set| set.base_line(canvas) + MARK_BASE));
        feet.reduce(f64::min)
    }

    /// Draws both; none below a level.
    fn draw(self, canvas: &mut Canvas, level: f64) {
        let to_level = |foot: f64| foot.min(level);
        let at = (self.bar, Time::ZERO);
        let tempo = |canvas: &mut Canvas, set: SetTempo, y: f64| {
            let begun = canvas.marks.len();
            set.draw(canvas, y);
            canvas.say_as(NudgedSign::Tempo, begun, at);
        };
        let mark = |canvas: &mut Canvas, framed: Framed, foot: f64| {
            let begun = canvas.marks.len();
            framed.draw(canvas, foot);
            canvas.say_as(NudgedSign::Mark, begun, at);
        };
        if self.is_beside() {
            // Side by side on one line: over the tempo the mark would hang at the line above.
            let foot = to_level(self.foot(canvas).unwrap_or(level));
            self.set.into_iter().for_each(|set| tempo(canvas, set, foot - MARK_BASE));
            self.framed.into_iter().for_each(|framed| mark(canvas, framed, foot));
            return;
        }
        if let Some(set) = self.set {
            let y = set.base_line(canvas);
            let y = if self.framed.is_none() { to_level(y + MARK_BASE) - MARK_BASE } else { y };
            tempo(canvas, set, y);
        }
        if let Some(framed) = self.framed {
            let foot = to_level(framed.foot(canvas));
            mark(canvas, framed, foot);
        }
    }
}

/// Air between the number of a bar and a rehearsal mark behind it.
const BEHIND_NUMBER: f64 = 0.6;

/// Air between the number of a bar and the tip of the bracket under it.
const OVER_TIP: f64 = 0.3;

/// Size of the numbers of bars (the em) in staff spaces, and the least in millimetres, 6.5 points: a conductor reads
/// them from as far away where the staves are small. Our heuristic.
const NUMBER_SIZE: f64 = 1.75;
const LEAST_NUMBER: f64 = 2.3;

/// The number of the first bar of a line, and where it begins.
fn bar_number(sheet: &Sheet, placed: &[PlacedBar], setting: Setting) -> Option<(Run, f64)> {
    let first = placed.first()?;
    let bar = &sheet.bars[first.bar];
    // The first bar of a movement needs no number.
    if setting.first || !bar.headings.is_empty() && bar.number < 2 {
        return None;
    }
    // In parentheses where the bar began before it.
    let begun = bar.begins_at > Time::ZERO || bar.up_beat.is_some();
    let number = if begun { format!("({})", bar.number) } else { bar.number.to_string() };
    let size = NUMBER_SIZE.max(LEAST_NUMBER / setting.space);
    Some((shape(&number, Face::Italic, size), first.x - 0.1))
}

/// Where a rehearsal mark begins behind the number of its line: behind one of a single figure no farther left than
/// behind one of two, so that the marks of a page stand below one another. Our heuristic.
fn behind_number((run, x): &(Run, f64)) -> f64 {
    x + run.width.max(shape("00", Face::Italic, run.size).width) + BEHIND_NUMBER
}

/// From the foot of the frame of a rehearsal mark up to the base line of its letter.
const MARK_BASE: f64 = 0.48;
/// Height of the frame of a rehearsal mark.
const MARK_HEIGHT: f64 = 2.75;

/// Nearer to its frame than this, an articulation beside a rehearsal mark is read with it. Our heuristic.
const FROM_ACCENT: f64 = 1.0;

/// The same for a slur that begins beside it. Our heuristic.
const FROM_SLUR: f64 = 2.0;

/// The same for a dynamic above the staff: "B mp". Our heuristic.
const FROM_DYNAMIC: f64 = 2.5;

/// White between a slur that ends before a rehearsal mark and its frame, where it would be less than the second: for
/// that the mark stands a little farther to the right, or it would have to rise with all of its line. And how far below
/// the foot that end is at most for it to be beside the frame. Our heuristic.
const BEHIND_SLUR: f64 = 1.0;
const TOO_NEAR: f64 = 0.5;
const UNDER_FOOT: f64 = 0.4;

/// A rehearsal mark with its place along the line.
struct Framed {
    run: Run,
    x: f64,
    width: f64,
}

impl Framed {
    /// The lowest place for the foot of its frame.
    fn foot(&self, canvas: &Canvas) -> f64 {
        let (x0, x1) = (self.x - 0.2, self.x + self.width + 0.2);
        let mut foot = canvas.sky.top(x0, x1).min(-2.6) - ABOVE - 0.1;
        // Beside the letter an accent would be read with it: "I >".
        let signs = canvas.marks.iter().filter(|mark| mark.kind == Kind::Articulation);
        for sign in signs.map(Mark::bounds) {
            let beside = sign.x0 < x1 + FROM_ACCENT && x0 < sign.x1 + FROM_ACCENT;
            if beside && sign.y1 > foot - MARK_HEIGHT && sign.y0 < foot {
                foot = sign.y0 - ABOVE;
            }
        }
        let dynamics = canvas.marks.iter().filter(|mark| mark.kind == Kind::Dynamic);
        for sign in dynamics.map(Mark::bounds) {
            let beside = sign.x0 < x1 + FROM_DYNAMIC && x0 < sign.x1 + FROM_DYNAMIC;
            if beside && sign.y1 > foot - MARK_HEIGHT && sign.y0 < foot + ABOVE {
                foot = sign.y0 - ABOVE;
            }
        }
        // The half of a slur from the line before would come out of the frame.
        let slurs = canvas.marks.iter().filter(|mark| mark.kind == Kind::Slur);
        for begins in slurs.filter_map(begins) {
            let beside = (x1..x1 + FROM_SLUR).contains(&begins.x);
            if beside && begins.y > foot - MARK_HEIGHT && begins.y < foot + 0.3 {
                foot = begins.y - ABOVE;
            }
        }
        foot
    }

    /// How far it lacks white behind a slur that ends beside it.
    fn behind_slur(&self, canvas: &Canvas) -> f64 {
        let foot = self.foot(canvas);
        let slurs = canvas.marks.iter().filter(|mark| mark.kind == Kind::Slur);
        let heights = foot - MARK_HEIGHT..foot + UNDER_FOOT;
        let beside = slurs.flat_map(along).filter(|at| at.x < self.x && heights.contains(&at.y));
        let end = beside.map(|at| at.x).fold(f64::MIN, f64::max);
        if self.x - end < TOO_NEAR { end + BEHIND_SLUR - self.x } else { 0.0 }
    }

    fn draw(self, canvas: &mut Canvas, foot: f64) {
        let Framed { run, x, width } = self;
        let head = foot - MARK_HEIGHT;
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
        let at = (x + (width - run.width) / 2.0, foot - MARK_BASE);
        canvas.text(Kind::Text, None, run, at);
        canvas.framed.push((head, foot));
    }
}

/// Where a curve begins.
fn begins(curve: &Mark) -> Option<Point> {
    match &curve.shape {
        Shape::Path(path) => path.segments().next().map(|first| first.start()),
        _ => None,
    }
}

/// Points along the outline of a curve.
fn along(curve: &Mark) -> Vec<Point> {
    let Shape::Path(path) = &curve.shape else { return Vec::new() };
    let points = |side: PathSeg| (0..=16).map(move |n| side.eval(f64::from(n) / 16.0));
    path.segments().flat_map(points).collect()
}

/// Where the next tempo or rehearsal mark of a line begins, behind some bars of it.
fn next_words(sheet: &Sheet, later: &[PlacedBar], width: f64) -> f64 {
    let next = later.iter().find_map(|bar| {
        let what = &sheet.bars[bar.bar];
        let mark = what.mark.as_ref().map(|mark| bar.x - mark_run(mark).1 / 2.0 - BETWEEN_WORDS);
        mark.or(what.tempo.as_ref().map(|_| bar.x - BETWEEN_TEMPOS))
    });
    next.unwrap_or(width)
}

/// Air between a rehearsal mark and the tempo beside it, and between a tempo and what follows it on the
/// line, a frame or another tempo in the same letters: so much that nobody reads the two as one.
const BESIDE_MARK: f64 = 0.7;
const BETWEEN_WORDS: f64 = 1.6;
const BETWEEN_TEMPOS: f64 = 3.2;

/// Room that the next tempo or rehearsal mark asks for before the line with which its bar begins, behind a
/// tempo.
pub(super) fn before_next(bar: &Bar) -> f64 {
    bar.mark.as_ref().map_or(BETWEEN_TEMPOS, |mark| mark_before(mark) + BETWEEN_WORDS)
}

/// From the beginning of a bar to the tempo beside its rehearsal mark: half the mark lies over the bar line
/// within a line, if it may, at the beginning of one all of it behind the number, but over clef and signature.
pub(super) fn up_to_tempo(mark: &str, before: Option<&Bar>, lead: f64) -> f64 {
    behind_mark(mark, before).max(NUMBER + mark_run(mark).1 - lead) + BESIDE_MARK
}

/// From the beginning of a bar within a line to the end of its rehearsal mark.
fn behind_mark(mark: &str, before: Option<&Bar>) -> f64 {
    let width = mark_run(mark).1;
    if stands_behind_line(mark, before) { BEHIND_LINE + width } else { width / 2.0 }
}

/// A tempo in one line, with the rehearsal mark before it.
#[derive(Clone, Copy, Debug)]
pub(super) struct WithinLine {
    /// Width of the frame of the mark, and how far it reaches over the bar within a line.
    mark: Option<(f64, f64)>,
    tempo: f64,
}

impl WithinLine {
    /// From the beginning of the bar to the end of the tempo.
    pub(super) fn width(self, begins_line: bool, lead: Lead) -> f64 {
        let key = lead.clef + lead.key;
        let begins = match (self.mark, begins_line) {
            (Some((mark, _)), true) => key.max(NUMBER + mark + BESIDE_MARK),
            (Some((_, over)), false) => over + BESIDE_MARK,
            (None, true) => key,
            (None, false) => 0.4,
        };
        begins + self.tempo
    }
}

/// The tempo of a bar in one line.
pub(super) fn within_line(bar: &Bar, before: Option<&Bar>, tempo: &Tempo) -> WithinLine {
    let mark = bar.mark.as_ref().map(|mark| (mark_run(mark).1, behind_mark(mark, before)));
    WithinLine { mark, tempo: tempo::one_line_width(tempo) }
}

/// How wide the number of a bar is before a rehearsal mark, with its air.
const NUMBER: f64 = 2.6;

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

/// From a bar line to a rehearsal mark that may not stand over it.
const BEHIND_LINE: f64 = 0.5;

/// A rehearsal mark that reaches so far over the bar line where an ending ends stands behind that line: the bracket
/// would end far before it. Our heuristic; that the bracket goes as far as its bar is common practice.
const WIDE_MARK: f64 = 2.4;

/// May a rehearsal mark not stand over the line before its bar, for what belongs to the bar before and ends with it:
/// words that send a player elsewhere, or the bracket of an ending?
fn stands_behind_line(mark: &str, before: Option<&Bar>) -> bool {
    let ends = |bar: &Bar| bar.ending_ends.is_some() && mark_before(mark) > WIDE_MARK;
    before.is_some_and(|bar| jump_words(bar).is_some() || ends(bar))
}

/// How far a rehearsal mark reaches over the bar line to the left.
pub(super) fn mark_before(mark: &str) -> f64 {
    mark_run(mark).1 / 2.0
}

/// The bracket of an ending, or what of it lies in a line.
struct Ending {
    /// The bar of the sheet where it begins in this line.
    bar: usize,
    x0: f64,
    x1: f64,
    /// The number of its time, where it begins in this line.
    number: Option<Run>,
    /// Does it come down to the bar line at its end?
    closes: bool,
    /// Does it follow the one before?
    follows: bool,
}

/// Endings of a line; those that follow one another stand at one height (common practice).
fn endings(canvas: &mut Canvas, sheet: &Sheet, placed: &[PlacedBar]) {
    let all = endings_of(sheet, placed);
    for stretch in all.chunk_by(|_, next| next.follows) {
        let tops = stretch.iter().map(|Ending { x0, x1, .. }| canvas.sky.top(*x0, *x1));
        let y = tops.fold(-4.6, f64::min) - ABOVE - 1.7;
        let what = (Kind::Frame, None);
        for &Ending { bar, x0, x1, ref number, closes, .. } in stretch {
            let begun = canvas.marks.len();
            if let Some(run) = number {
                canvas.line(what, (x0, y), (x0, y + 1.9), THIN_LINE);
                canvas.text(Kind::Text, None, run.clone(), (x0 + 0.5, y + 1.6));
            }
            canvas.line(what, (x0, y), (x1, y), THIN_LINE);
            if closes {
                canvas.line(what, (x1, y), (x1, y + 1.9), THIN_LINE);
            }
            canvas.say_as(NudgedSign::Ending, begun, (bar, Time::ZERO));
        }
    }
}

fn endings_of(sheet: &Sheet, placed: &[PlacedBar]) -> Vec<Ending> {
    let mut all = Vec::new();
    let mut open = None;
    // The bar behind the ending before.
    let mut behind = None;
    for n in 0..placed.len() {
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
            // What stands over the next bar would be taken for a part of the line.
            let next = placed.get(n + 1).map(|next| &sheet.bars[next.bar]);
            let room = match next.filter(|_| !bar.repeat_ends) {
                Some(Bar { mark: Some(mark), .. }) if stands_behind_line(mark, Some(bar)) => 0.0,
                Some(Bar { mark: Some(mark), .. }) => mark_before(mark) + 0.5,
                Some(Bar { tempo: Some(_), .. }) => 1.0,
                _ => 0.0,
            };
            all.push(Ending {
                bar: placed[from].bar,
                x0,
                x1: placed[n].end - 0.25 - room,
                number: ending.map(|ending| shape(&ending.to_string(), Face::Roman, 1.9)),
                closes: bar.ending_ends.is_some() && bar.repeat_ends,
                follows: behind == Some(from),
            });
            behind = Some(n + 1);
            open = None;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::glyphs::Glyph;

    #[test]
    fn a_tempo_begins_earlier_for_an_order_close_behind_it_at_its_height() {
        let tempo = Tempo { beat: None, words: Some("poco rit.".to_owned()) };
        let width = shape("poco rit.", Face::Bold, 2.35).width;
        let begins = |white: f64, height: f64| {
            let mut canvas = Canvas::new(80.0);
            let x0 = 20.0 + width + white;
            canvas.orders.push(Rect::new(x0, height - 1.5, x0 + 8.0, height));
            let mut set = set_tempo(&tempo, 20.0, 80.0, 80.0);
            set.before_orders(&canvas);
            set.x
        };
        assert!(begins(1.0, -3.0) < 19.5 && begins(1.0, -3.0) > 19.0, "{}", begins(1.0, -3.0));
        // With white enough, so near that it must stand higher anyway, or at another height.
        for (white, height) in [(2.0, -3.0), (0.1, -3.0), (1.0, -9.0)] {
            assert!((begins(white, height) - 20.0).abs() < 1e-9, "{white}, {height}");
        }
    }

    #[test]
    fn marks_and_tempos_stand_over_a_dynamic_above_the_staff() {
        let (run, width) = mark_run("B");
        let framed = Framed { run, x: 30.0, width };
        let tempo = Tempo { beat: None, words: Some("Tempo primo".to_owned()) };
        let set = set_tempo(&tempo, 30.0, 80.0, 80.0);
        let beside = |x: f64| {
            let mut canvas = Canvas::new(80.0);
            canvas.glyph((Kind::Dynamic, None), Glyph::DynamicPiano, (x, -3.0), 1.0);
            let top = canvas.marks[0].bounds().y0;
            (framed.foot(&canvas) < top, set.base_line(&canvas) < top - 1.3)
        };
        assert_eq!(beside(32.0), (true, true), "beside the letter, under the tempo");
        assert_eq!(beside(36.5), (false, true), "far from the letter");
        assert_eq!(beside(60.0), (false, false));
    }

    #[test]
    fn a_rehearsal_mark_stands_clear_of_a_slur_that_ends_beside_it() {
        let by = |white: f64, height: f64| {
            let mut canvas = Canvas::new(80.0);
            let (run, width) = mark_run("E");
            let framed = Framed { run, x: 30.0, width };
            let foot = framed.foot(&canvas);
            let mut path = BezPath::new();
            path.move_to((20.0, foot + height));
            path.quad_to((24.0, foot + height - 2.5), (30.0 - white, foot + height));
            canvas.marks.push(Mark { kind: Kind::Slur, origin: None, shape: Shape::Path(path) });
            framed.behind_slur(&canvas)
        };
        assert!((by(0.3, 0.2) - 0.7).abs() < 1e-6, "{}", by(0.3, 0.2));
        // Far enough before it, and below it.
        assert!(by(0.6, 0.2) == 0.0 && by(0.3, 3.0) == 0.0);
    }
}
