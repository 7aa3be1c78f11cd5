//! What stands before the notes of a bar: clefs, signatures and metres.

use ripieno_compiler::instruments::Clef;
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::NudgedSign;

use super::SystemLine;
use super::places::key_places;
use crate::glyphs::Glyph;
use crate::layout::canvas::Canvas;
use crate::layout::chord::{clef_at, clef_sign};
use crate::layout::measures::SMALL_CLEF;
use crate::layout::spacing::{
    BESIDE_PLUS, PlacedBar, figure_step, figures_width, key_signs, key_step, metre_rows,
};
use crate::page::Kind;
use crate::sheet::StaffBar;

impl SystemLine<'_> {
    /// Clefs, signatures and metres.
    pub(super) fn leads(&self, canvas: &mut Canvas) {
        for (n, placed) in self.placed.iter().enumerate() {
            let bar = self.bar(placed.bar);
            let mut x = placed.x;
            let begun = canvas.marks.len();
            if n == 0 || self.staff().new_lines(placed.bar) {
                let clef = clef_at(bar, Time::ZERO);
                let (sign, place) = clef_sign(clef);
                canvas.glyph((Kind::Clef, None), sign, (x + 0.45, -f64::from(place) / 2.0), 1.0);
                let changes = Some(NudgedSign::Clef).filter(|_| n > 0);
                canvas.say_as(changes, begun, (placed.bar, Time::ZERO));
            } else if let Some((_, clef)) = bar.clefs.iter().find(|(at, _)| *at == Time::ZERO) {
                self.changed_clef(canvas, *clef, &self.placed[n - 1]);
            }
            let begun = canvas.marks.len();
            x += placed.lead.clef;
            // What a line begins with was taken back at the end of the line before.
            if n == 0 {
                self.key(canvas, bar, None, x);
            } else if bar.key_change.is_some() {
                self.key(canvas, bar, bar.key_change, x + 0.55);
            }
            x += placed.lead.key;
            if placed.lead.metre > 0.0 {
                self.metre(canvas, placed.bar, x + if n == 0 { 0.0 } else { 0.45 });
            }
            canvas.say_as(None, begun, (placed.bar, Time::ZERO));
        }
        let Some(last) = self.placed.last() else { return };
        if let Some(next) = self.spaces.get(last.bar + 1) {
            let bar = self.bar(last.bar + 1);
            let other = self.staff().new_lines(last.bar + 1);
            if let Some((_, clef)) = bar.clefs.iter().find(|(at, _)| *at == Time::ZERO && !other) {
                self.changed_clef(canvas, *clef, last);
            }
            if next.courtesy.width() > 0.0 {
                let mut x = last.end + 0.45;
                let begun = canvas.marks.len();
                if bar.key_change.is_some() && !other {
                    self.key(canvas, bar, bar.key_change, x);
                }
                x += next.courtesy.key;
                if next.courtesy.metre > 0.0 {
                    self.metre(canvas, last.bar + 1, x);
                }
                canvas.say_as(None, begun, (last.bar + 1, Time::ZERO));
            }
        }
    }

    /// A clef that changes with the next bar stands before the bar line.
    fn changed_clef(&self, canvas: &mut Canvas, clef: Clef, before: &PlacedBar) {
        let (sign, place) = clef_sign(clef);
        let line = self.spaces[before.bar].line;
        let x = before.end - line - 0.35 - sign.width() * SMALL_CLEF;
        let begun = canvas.marks.len();
        canvas.glyph((Kind::Clef, None), sign, (x, -f64::from(place) / 2.0), SMALL_CLEF);
        canvas.say_as(NudgedSign::Clef, begun, (before.bar + 1, Time::ZERO));
    }

    fn key(&self, canvas: &mut Canvas, bar: &StaffBar, before: Option<i32>, x: f64) {
        if bar.lines != 5 {
            return;
        }
        let (count, sign) = key_signs(bar.key, before);
        let kept = if sign == Glyph::AccidentalNatural { before.unwrap_or(0) } else { bar.key };
        let places = key_places(clef_at(bar, Time::ZERO), kept > 0);
        let step = key_step(sign);
        for (n, place) in places.into_iter().take(count).enumerate() {
            let at = (x + n as f64 * step, -f64::from(place) / 2.0);
            canvas.glyph((Kind::Key, None), sign, at, 1.0);
        }
    }

    fn metre(&self, canvas: &mut Canvas, bar: usize, x: f64) {
        let rows = metre_rows(self.sheet.bars[bar].metre);
        let widest = rows.iter().map(|row| figures_width(row)).fold(0.0, f64::max);
        for (n, row) in rows.iter().enumerate() {
            let mut at = x + (widest - figures_width(row)) / 2.0;
            let y = if rows.len() == 1 { 0.0 } else { n as f64 * 2.0 - 1.0 };
            for figure in row {
                let air = if *figure == Glyph::TimeSigPlus { BESIDE_PLUS } else { 0.0 };
                canvas.glyph((Kind::Metre, None), *figure, (at + air, y), 1.0);
                at += figure_step(*figure);
            }
        }
    }
}
