//! Segno, coda and the words that send a player there.

use ripieno_compiler::music::Time;
use ripieno_writers::notate::Sign;

use super::{BEHIND_LINE, BETWEEN_WORDS, mark_run};
use crate::glyphs::Glyph;
use crate::layout::canvas::{Canvas, glyph_box};
use crate::layout::measures::ABOVE;
use crate::layout::spacing::PlacedBar;
use crate::page::Kind;
use crate::sheet::{Bar, Sheet};
use crate::text::{Face, Run, shape};

/// Words that send a player elsewhere, and the sign behind them that he looks for: "To Coda" stands with the sign of
/// the coda (Gould, Behind Bars, 2011; from memory).
pub(super) struct JumpWords {
    run: Run,
    sign: Option<Glyph>,
}

/// The size of a sign behind words, which its lines reach a little over and under, and from them to it. Our heuristic.
const SIGN_SCALE: f64 = 0.7;
const BEFORE_SIGN: f64 = 0.5;

/// Half the height of capital letters of words that send a player elsewhere: about there a sign has its middle.
const MIDDLE: f64 = 0.75;

impl JumpWords {
    fn of(sign: Sign) -> Option<JumpWords> {
        let glyph = Some(Glyph::Coda).filter(|_| sign == Sign::ToCoda);
        Some(JumpWords { run: shape(sign.words()?, Face::BoldItalic, 2.2), sign: glyph })
    }

    /// Where the sign stands beside the base line of the words, from where they begin.
    fn sign_at(&self) -> Option<(Glyph, (f64, f64))> {
        let middle = |glyph: Glyph| SIGN_SCALE * glyph.bounds().center().y;
        self.sign.map(|glyph| (glyph, (self.run.width + BEFORE_SIGN, middle(glyph) - MIDDLE)))
    }

    fn width(&self) -> f64 {
        let sign = self.sign.map(|glyph| BEFORE_SIGN + SIGN_SCALE * glyph.width());
        self.run.width + sign.unwrap_or_default()
    }

    /// How far they reach under their base line.
    fn fall(&self) -> f64 {
        let sign = self.sign_at().map(|(glyph, at)| glyph_box(glyph, at, SIGN_SCALE).y1);
        self.run.fall().max(sign.unwrap_or_default())
    }

    fn draw(self, canvas: &mut Canvas, (x, y): (f64, f64)) {
        if let Some((glyph, (from, under))) = self.sign_at() {
            canvas.glyph((Kind::Text, None), glyph, (x + from, y + under), SIGN_SCALE);
        }
        canvas.text(Kind::Text, None, self.run, (x, y));
    }
}

/// The words that send a player elsewhere at the end of a bar, if there are any.
pub(super) fn jump_words(bar: &Bar) -> Option<JumpWords> {
    bar.signs.iter().find_map(|sign| JumpWords::of(*sign))
}

/// From the words that send a player elsewhere to the end of their bar; where a rehearsal mark begins there; and
/// where a tempo does, which is in letters much like theirs and would be read on with them. Our heuristic.
const BEFORE_LINE: f64 = 0.7;
const BEFORE_MARK: f64 = 1.2;
const BEFORE_TEMPO: f64 = 2.6;

/// See [`BEFORE_LINE`], by the bar that follows on the same line.
fn behind(next: Option<&Bar>) -> f64 {
    match next {
        Some(Bar { mark: Some(_), .. }) => BEFORE_MARK,
        Some(Bar { tempo: Some(_), .. }) => BEFORE_TEMPO,
        _ => BEFORE_LINE,
    }
}

/// How wide a bar must be so that words at its end stand clear of what is over it or before it, in staff spaces: of
/// the number of a rest of several bars, or of the bracket of the ending before, with which they would be read; 0
/// where there is none.
pub(in crate::layout) fn jump_room(sheet: &Sheet, index: usize, number: f64) -> f64 {
    let bar = &sheet.bars[index];
    let Some(words) = jump_words(bar) else { return 0.0 };
    if bar.count < 2 {
        let before = index.checked_sub(1).map(|before| &sheet.bars[before]);
        return match before.is_some_and(|before| before.ending_ends.is_some()) {
            true => words.width() + behind(sheet.bars.get(index + 1)) + BEHIND_ENDING,
            false => 0.0,
        };
    }
    let mark = bar.mark.as_ref().map_or(0.0, |mark| mark_run(mark).1 + BEHIND_LINE);
    let words = words.width() + BEFORE_LINE + FROM_COUNT;
    (2.0 * words + number).max(words + mark + BETWEEN_WORDS)
}

/// From the bar line where an ending ends to words over the next bar. Our heuristic.
const BEHIND_ENDING: f64 = 0.5;

/// How far the number of a rest of several bars reaches above the middle line.
const REST_NUMBER: f64 = 4.6;

/// Air for which a rest of several bars gives way, between its number and words that send a player elsewhere; at
/// less than the second the two would be read as one, and the words stand higher. Our heuristic.
const FROM_COUNT: f64 = 2.0;
const TOO_NEAR: f64 = 1.5;

/// What is highest under words that send a player elsewhere: over a rest of several bars they stand beside its
/// number, which keeps all others off the rest.
fn under_jump(canvas: &Canvas, (x0, x1): (f64, f64), over_rest: bool) -> f64 {
    let top = canvas.sky.top(x0, x1);
    let near = |count: &kurbo::Rect| count.x0 < x1 + TOO_NEAR && x0 < count.x1 + TOO_NEAR;
    if canvas.counts.iter().any(near) {
        top.min(-REST_NUMBER)
    } else if over_rest && top > -REST_NUMBER - 0.01 {
        -2.4
    } else {
        top.min(-2.4)
    }
}

/// Words that send a player elsewhere, before the tempo of the next bar: both stand on one base line.
pub(super) struct Jump {
    words: JumpWords,
    x: f64,
    /// Their lowest base line.
    pub y: f64,
    /// The bar of the sheet over whose end they stand.
    bar: usize,
}

impl Jump {
    /// Draws them on a base line, or higher where they must.
    pub(super) fn draw(self, canvas: &mut Canvas, level: f64) {
        let begun = canvas.marks.len();
        self.words.draw(canvas, (self.x, self.y.min(level)));
        canvas.say_as(None, begun, (self.bar, Time::ZERO));
    }
}

/// Draws segno, coda and the words that send a player there, but for those whose base line is that of a tempo.
pub(super) fn signs(canvas: &mut Canvas, sheet: &Sheet, placed: &[PlacedBar]) -> Vec<Jump> {
    let mut jumps = Vec::new();
    for (n, bar) in placed.iter().enumerate() {
        let over_rest = sheet.bars[bar.bar].count > 1;
        let mut others = false;
        // What is read first stands uppermost.
        for sign in sheet.bars[bar.bar].signs.iter().rev() {
            if let Some(words) = JumpWords::of(*sign) {
                let next = placed.get(n + 1).map(|next| &sheet.bars[next.bar]);
                let x = (bar.end - words.width() - behind(next)).max(0.0);
                let over = (x - 0.2, x + words.width());
                let under = match others {
                    true => canvas.sky.top(over.0, over.1),
                    false => under_jump(canvas, over, over_rest),
                };
                others = true;
                let y = under - ABOVE - words.fall();
                let jump = Jump { words, x, y, bar: bar.bar };
                if next.is_some_and(|next| next.mark.is_none() && next.tempo.is_some()) {
                    jumps.push(jump);
                } else {
                    jump.draw(canvas, y);
                }
                continue;
            }
            let glyph = if *sign == Sign::Segno { Glyph::Segno } else { Glyph::Coda };
            // Where the bar begins, not behind the signature, metre or repeat with which it does.
            let x = if n == 0 { bar.body - bar.lead.metre - bar.lead.repeat } else { bar.x };
            let y = canvas.sky.top(x, x + glyph.width()).min(-2.4) - ABOVE - 0.1;
            let begun = canvas.marks.len();
            canvas.glyph((Kind::Text, None), glyph, (x, y), 1.0);
            canvas.say_as(None, begun, (bar.bar, Time::ZERO));
        }
    }
    jumps
}
