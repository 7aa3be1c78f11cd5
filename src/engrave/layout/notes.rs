//! Notes and rests of one staff in a line: heads, stems, flags, beams, dots, accidentals, ledger
//! lines, grace notes, strokes of tremolos.

use ripieno_compiler::narrow::Narrow;
use ripieno_writers::notate::{Beam, Grace};

use super::canvas::Canvas;
use super::chord::{Chord, Head, IN_PARENTHESES, Look, PARENTHESIS, TREMOLO, clef_sign, strokes};
use super::measures::{
    BEAM, BEAM_STEP, BEAM_STUB, BEAMED_STEM, LEDGER_LINE, LEDGER_REACH, SMALL_CLEF, STEM,
    STEM_LENGTH, beam_rise,
};
use crate::glyphs::Glyph;
use crate::page::{Kind, Origin};

/// A note or rest with its place in the line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed<'a> {
    pub chord: &'a Chord<'a>,
    /// Index of the bar in the sheet.
    pub bar: usize,
    /// Left edge of a head on its usual side.
    pub x: f64,
    /// Where the stem ends, as far as it has one.
    pub stem_end: f64,
    /// How far a rest stands below its own place.
    pub lowered: f64,
    /// How many lines the staff has in its bar.
    pub lines: u8,
}

impl Placed<'_> {
    pub(super) fn stem_x(&self) -> f64 {
        self.x + self.chord.stem_x()
    }

    /// Middle of its head.
    pub(super) fn middle(&self) -> f64 {
        let width = match &self.chord.look {
            Look::Note { heads, .. } => {
                heads.first().map_or(1.2, |head| head.glyph.width()) * self.chord.scale
            }
            Look::Rest { glyph, .. } => glyph.width(),
        };
        self.x + width / 2.0
    }

    /// The highest and lowest point of heads and stem.
    pub(super) fn reach(&self) -> (f64, f64) {
        let (low, high) = self.chord.span();
        let half = 0.5 * self.chord.scale;
        let (top, bottom) = (-f64::from(high) / 2.0 - half, -f64::from(low) / 2.0 + half);
        match &self.chord.look {
            Look::Note { stemmed: true, up: true, .. } => (top.min(self.stem_end), bottom),
            Look::Note { stemmed: true, .. } => (top, bottom.max(self.stem_end)),
            Look::Note { .. } => (top, bottom),
            Look::Rest { glyph, y, .. } => {
                let y = y + self.lowered;
                (y - glyph.bounds().y1, y - glyph.bounds().y0)
            }
        }
    }
}

/// Works out the ends of the stems of a line, beams and all, and draws the notes.
pub(super) fn draw(canvas: &mut Canvas, notes: &mut [Placed]) {
    let mut n = 0;
    while n < notes.len() {
        let begins = notes[n].chord.event.element.beams.first() == Some(&Beam::Begins);
        let mut end = n + 1;
        if begins && notes[n].chord.is_stemmed() {
            while end < notes.len()
                && notes[end - 1].chord.event.element.beams.first() != Some(&Beam::Ends)
            {
                end += 1;
            }
        }
        if let [one, _, ..] = &notes[n..]
            && strokes_begun(one).is_some()
        {
            end = n + 2;
        }
        let group = &mut notes[n..end];
        let stemmed = group.iter().filter(|note| note.chord.is_stemmed()).count();
        if stemmed >= 2 {
            beam_group(canvas, group);
        } else {
            for note in group.iter_mut() {
                note.stem_end = note.chord.stem_end();
            }
        }
        n = end;
    }
    for note in notes.iter() {
        draw_one(canvas, note);
    }
}

/// Beams of a group whose places are known.
fn beam_group(canvas: &mut Canvas, group: &mut [Placed]) {
    let members: Vec<usize> = (0..group.len()).filter(|&n| group[n].chord.is_stemmed()).collect();
    let (Some(&first), Some(&last)) = (members.first(), members.last()) else { return };
    let up = group[first].chord.is_up();
    let scale = group[first].chord.scale;
    let sign = if up { -1.0 } else { 1.0 };
    // The head from which the beam is farthest counts from the stem's side.
    let near = |note: &Placed| -> i32 {
        let (low, high) = note.chord.span();
        if up { high } else { low }
    };
    let (from, to) = (near(&group[first]), near(&group[last]));
    let (x0, x1) = (group[first].stem_x(), group[last].stem_x());
    let between = members[1..members.len() - 1].iter().map(|&n| near(&group[n]));
    let beyond =
        between.clone().any(|place| if up { place >= from.max(to) } else { place <= from.min(to) });
    let flat = from == to || members.len() > 2 && beyond;
    let widest = ((x1 - x0) * 0.22).max(0.0);
    let rise = if flat { 0.0 } else { beam_rise(to - from).min(widest) };
    // Quarters of a space are what eyes can tell apart.
    let rise = (rise * 4.0).floor() / 4.0 * if to > from { -1.0 } else { 1.0 };
    let slope = if x1 > x0 { rise / (x1 - x0) } else { 0.0 };
    let beams = |note: &Placed| note.chord.event.element.beams.len();
    let strokes = usize::from(strokes_begun(&group[first]).unwrap_or(0));
    let most = members.iter().map(|&n| beams(&group[n]).max(strokes)).max().unwrap_or(1);
    let shortest =
        (BEAMED_STEM + BEAM / 2.0 + most.saturating_sub(1) as f64 * 0.55).max(0.0) * scale;
    let head = |note: &Placed| -f64::from(near(note)) / 2.0;
    // Ends of the stems at the beam's outer edge; the beam's middle lies half a beam inwards.
    let ideal = head(&group[first]) + sign * STEM_LENGTH * scale;
    let mut base = ideal;
    for &n in &members {
        let along = slope * (group[n].stem_x() - x0);
        let needed = head(&group[n]) + sign * shortest - along;
        base = if up { base.min(needed) } else { base.max(needed) };
    }
    // A long stem on one side need not be: the beam may come nearer as far as all allow.
    let mut nearest = f64::NEG_INFINITY * -sign;
    for &n in &members {
        let along = slope * (group[n].stem_x() - x0);
        let wanted =
            head(&group[n]) + sign * (STEM_LENGTH - 0.25).max(shortest) * scale.max(0.8) - along;
        nearest = if up {
            if nearest.is_infinite() { wanted } else { nearest.min(wanted) }
        } else if nearest.is_infinite() {
            wanted
        } else {
            nearest.max(wanted)
        };
    }
    if nearest.is_finite() && (nearest - base) * sign > 0.0 && members.len() > 2 {
        base = if (nearest - base).abs() > 0.75 { base + sign * 0.5 } else { nearest };
    }
    if scale == 1.0 {
        // The beam reaches the middle line (Ross, beams; Gould, chapter 1).
        let reach = |base: f64| base.max(base + rise);
        let reach_down = |base: f64| base.min(base + rise);
        if up && reach(base) > 0.0 {
            base -= reach(base);
        }
        if !up && reach_down(base) < 0.0 {
            base -= reach_down(base);
        }
        base = settle(base - sign * BEAM / 2.0, rise, up) + sign * BEAM / 2.0;
    }
    // Small notes within the group lie clear of its beams.
    let inner = most.saturating_sub(1) as f64 * BEAM_STEP + BEAM + 0.3;
    let mut out: f64 = 0.0;
    for note in group.iter().skip(1) {
        for (x, grace) in &note.chord.graces {
            let (low, high) = grace.span();
            let (top, bottom) = (-f64::from(high) / 2.0 - 0.4, -f64::from(low) / 2.0 + 0.4);
            let edge = if up {
                if grace.is_up() { grace.stem_end() } else { top }
            } else if grace.is_up() {
                bottom
            } else {
                grace.stem_end()
            };
            let beam = base + slope * (note.x + x - x0);
            out = out.max((edge + sign * inner - beam) * sign);
        }
    }
    base += sign * (out * 2.0).ceil().clamp(0.0, 8.0) / 2.0;
    let thickness = BEAM * if scale < 1.0 { 0.72 } else { 1.0 };
    let step = BEAM_STEP * if scale < 1.0 { 0.72 } else { 1.0 };
    let outer = |x: f64| base + slope * (x - x0);
    for note in group.iter_mut() {
        note.stem_end = outer(note.stem_x());
    }
    let middle = |x: f64, level: usize| outer(x) - sign * (thickness / 2.0 + level as f64 * step);
    for level in 0..most {
        let mut begun: Option<f64> = None;
        for (k, &n) in members.iter().enumerate() {
            let x = group[n].stem_x();
            let origin = Some(group[n].chord.origin());
            let (left, right) = (x - STEM / 2.0, x + STEM / 2.0);
            match group[n].chord.event.element.beams.get(level) {
                Some(Beam::Begins) => begun = Some(left),
                Some(Beam::Ends) => {
                    if let Some(from) = begun.take() {
                        canvas.beam(
                            origin,
                            (from, middle(from, level)),
                            (right, middle(right, level)),
                            thickness,
                        );
                    }
                }
                Some(Beam::HookForward) => {
                    let next = members.get(k + 1).map_or(x + 2.0, |&m| group[m].stem_x());
                    let to = right + (BEAM_STUB * scale).min((next - x) / 2.0);
                    canvas.beam(
                        origin,
                        (left, middle(left, level)),
                        (to, middle(to, level)),
                        thickness,
                    );
                }
                Some(Beam::HookBackward) => {
                    let before = k.checked_sub(1).map_or(x - 2.0, |k| group[members[k]].stem_x());
                    let from = left - (BEAM_STUB * scale).min((x - before) / 2.0);
                    canvas.beam(
                        origin,
                        (from, middle(from, level)),
                        (right, middle(right, level)),
                        thickness,
                    );
                }
                _ => {}
            }
        }
    }
}

/// Within the staff a beam sits on a line, hangs from it or straddles it; it never floats in the
/// middle of a space (Ross, beams; Gould, chapter 1). `y` is its middle at the left end.
fn settle(y: f64, rise: f64, up: bool) -> f64 {
    let floats = |y: f64| y.abs() < 2.3 && ((y.rem_euclid(1.0)) - 0.5).abs() < 0.24;
    let quarter = if up { (y * 4.0).floor() / 4.0 } else { (y * 4.0).ceil() / 4.0 };
    let away = if up { -0.25 } else { 0.25 };
    let mut y = quarter;
    for _ in 0..3 {
        if !floats(y) && !floats(y + rise) {
            return y;
        }
        y += away;
    }
    quarter
}

fn draw_one(canvas: &mut Canvas, note: &Placed) {
    let chord = note.chord;
    let origin = Some(chord.origin());
    if let Some((clef, x)) = chord.clef {
        let (sign, place) = clef_sign(clef);
        let y = -f64::from(place) / 2.0;
        canvas.glyph((Kind::Clef, origin), sign, (note.x + x, y), SMALL_CLEF);
    }
    for (x, grace) in &chord.graces {
        debug_assert!(grace.scale < 1.0 && *x < 0.0);
    }
    draw_graces(canvas, note);
    match &chord.look {
        Look::Rest { glyph, y, .. } => {
            let y = y + note.lowered;
            canvas.glyph((Kind::Rest, origin), *glyph, (note.x, y), chord.scale);
            if matches!(glyph, Glyph::RestWhole | Glyph::RestHalf) && y.abs() > 2.1 {
                canvas.line(
                    (Kind::Ledger, origin),
                    (note.x - 0.4, y),
                    (note.x + 1.58, y),
                    LEDGER_LINE,
                );
            }
        }
        Look::Note { heads, up, stemmed } => {
            if note.lines == 5 {
                draw_ledgers(canvas, note);
            }
            for head in heads {
                let y = -f64::from(head.place) / 2.0;
                let origin = Some(Origin { head: head.index, ..chord.origin() });
                canvas.glyph((Kind::Head, origin), head.glyph, (note.x + head.x, y), chord.scale);
                if let Some((sign, x)) = head.accidental {
                    let x = note.x + x;
                    let what = (Kind::Accidental, origin);
                    canvas.glyph(what, sign, (x, y), chord.scale);
                    if head.courtesy {
                        let (left, right) =
                            (Glyph::AccidentalParensLeft, Glyph::AccidentalParensRight);
                        canvas.glyph(what, left, (x - PARENTHESIS * chord.scale, y), chord.scale);
                        let after = x + (sign.width() + IN_PARENTHESES) * chord.scale;
                        canvas.glyph(what, right, (after, y), chord.scale);
                    }
                }
            }
            if *stemmed {
                draw_stem(canvas, note, *up);
            }
        }
    }
    for (x, place) in &chord.dots {
        let y = -f64::from(*place) / 2.0;
        canvas.glyph((Kind::Dot, origin), Glyph::AugmentationDot, (note.x + x, y), chord.scale);
    }
    if let Some(x) = chord.spread {
        let (low, high) = chord.span();
        let span = (-f64::from(high) / 2.0, -f64::from(low) / 2.0);
        let x = note.x + x;
        if chord.joined {
            // Drawn when the staves have their places; what stands on this one keeps clear of it.
            let (top, bottom) = if chord.under_spread { (0.0, 0.5) } else { (-1.5, 0.0) };
            let wide = Glyph::WiggleArpeggiatoUp.bounds().x1;
            canvas.sky.add((x, x + wide), (span.0 + top, span.1 + bottom));
        } else {
            spread(canvas, chord.origin(), x, span);
        }
    }
    stemless_strokes(canvas, note);
}

/// The strokes of a tremolo on a note without a stem: over its heads or under them, where its stem would
/// be.
fn stemless_strokes(canvas: &mut Canvas, note: &Placed) {
    let Some(written) = note.chord.note() else { return };
    let strokes = strokes(written, note.chord.event.element.value);
    if note.chord.is_stemmed() || strokes == 0 {
        return;
    }
    let (low, high) = note.chord.span();
    let sign = Glyph::tremolo(strokes);
    let away = sign.bounds().height() / 2.0 + 0.76;
    let y = match note.chord.is_up() {
        true => -f64::from(high) / 2.0 - away,
        false => -f64::from(low) / 2.0 + away,
    };
    stroke_at(canvas, note, (note.middle(), y), sign);
}

/// Strokes of a tremolo around a place, as small as their note.
fn stroke_at(canvas: &mut Canvas, note: &Placed, at: (f64, f64), sign: Glyph) {
    let origin = note.chord.origin();
    canvas.glyph((Kind::Tremolo, Some(origin)), sign, at, note.chord.scale);
}

/// The sign of a broken chord, from its highest to its lowest head.
pub(super) fn spread(canvas: &mut Canvas, origin: Origin, x: f64, (top, bottom): (f64, f64)) {
    let (top, bottom) = (top - 0.5, bottom + 0.5);
    let waves = (bottom - top).ceil().max(2.0).narrow::<usize>();
    let what = (Kind::Articulation, Some(origin));
    for wave in 0..waves {
        canvas.glyph(what, Glyph::WiggleArpeggiatoUp, (x, bottom - wave as f64), 1.0);
    }
}

fn draw_stem(canvas: &mut Canvas, note: &Placed, up: bool) {
    let chord = note.chord;
    let origin = Some(chord.origin());
    let (low, high) = chord.span();
    // The stem begins at the side of the farthest head, a little within the oval, and at the corner of a diamond.
    let top_touched = chord.note().is_some_and(|note| note.harmonic.is_some());
    let foot = if up {
        -f64::from(low) / 2.0 - 0.16 * chord.scale
    } else {
        -f64::from(high) / 2.0 + if top_touched { 0.0 } else { 0.16 * chord.scale }
    };
    let x = note.stem_x();
    let width = STEM * if chord.scale < 1.0 { 0.8 } else { 1.0 };
    canvas.line((Kind::Stem, origin), (x, foot), (x, note.stem_end), width);
    // A head that found no place at the stem is joined to it.
    let width_of = |head: &Head| head.glyph.width() * chord.scale;
    for head in chord.heads().iter().filter(|head| head.x.abs() > 1.2 * width_of(head)) {
        let y = -f64::from(head.place) / 2.0;
        let edge = note.x + if up { head.x + 0.1 } else { head.x + width_of(head) - 0.1 };
        let sign = if up { -1.0 } else { 1.0 };
        canvas.line((Kind::Stem, origin), (edge, y + sign * 0.2), (x, y + sign * 1.6), width);
    }
    let flags = chord.flags();
    if flags > 0 && !chord.is_beamed() {
        let first = if up { Glyph::Flag8thUp } else { Glyph::Flag8thDown } as usize;
        let flag = Glyph::ALL[first + flags - 1];
        canvas.glyph((Kind::Flag, origin), flag, (x - width / 2.0, note.stem_end), chord.scale);
    }
    if let Some(staff_note) = chord.note() {
        let strokes = strokes(staff_note, chord.event.element.value);
        let beams = if chord.is_beamed() { chord.flags() } else { 0 };
        draw_strokes(canvas, note, up, strokes, beams);
        if matches!(staff_note.grace, Some(Grace::Crushed)) && !chord.is_beamed() {
            let (dx, y) = (0.62, note.stem_end + if up { 1.0 } else { -1.0 });
            let tilt = if up { 0.5 } else { -0.5 };
            canvas.line((Kind::Stem, origin), (x - dx, y + tilt), (x + dx + 0.1, y - tilt), 0.1);
        }
    }
}

/// How many strokes there are of a tremolo between two notes that begins with this one.
fn strokes_begun(note: &Placed) -> Option<u8> {
    let paired = note.chord.note().and_then(|note| note.paired)?;
    paired.starts.then_some(paired.strokes)
}

/// Beams of a tremolo between two notes: they lie as beams do and do not touch the stems; between
/// notes without stems they stand in the middle of both. Gould, Behind Bars, 2011, tremolos, from
/// memory.
pub(super) fn paired_tremolos(canvas: &mut Canvas, notes: &[Placed]) {
    for pair in notes.windows(2) {
        let Some(strokes) = strokes_begun(&pair[0]) else { continue };
        let stemmed = pair[0].chord.is_stemmed() && pair[1].chord.is_stemmed();
        let (from, to, a, b, sign) = if stemmed {
            let [x0, x1] = [pair[0].stem_x(), pair[1].stem_x()];
            let gap = ((x1 - x0) * 0.2).min(0.6);
            let slope = (pair[1].stem_end - pair[0].stem_end) / (x1 - x0).max(0.1);
            let sign = if pair[0].chord.is_up() { 1.0 } else { -1.0 };
            let (a, b) = (pair[0].stem_end + slope * gap, pair[1].stem_end - slope * gap);
            (x0 + gap, x1 - gap, a, b, sign)
        } else {
            let middle = |note: &Placed| note.chord.span().0 + note.chord.span().1;
            let [one, two] = [middle(&pair[0]), middle(&pair[1])];
            let (from, to) = (
                pair[0].x + pair[0].chord.right - TREMOLO + 0.3,
                pair[1].x - pair[1].chord.left - 0.3,
            );
            let rise = (beam_rise((two - one) / 2) / 2.0).min((to - from) * 0.15)
                * f64::from((one - two).signum());
            let height = f64::from(strokes.saturating_sub(1)) * BEAM_STEP + BEAM;
            let top = -f64::from(one + two) / 8.0 - height / 2.0;
            (from, to, top - rise, top + rise, 1.0)
        };
        for stroke in 0..strokes {
            let down = sign * (BEAM / 2.0 + f64::from(stroke) * BEAM_STEP);
            canvas.beam(Some(pair[0].chord.origin()), (from, a + down), (to, b + down), BEAM);
        }
    }
}

/// Strokes of a tremolo: through the stem, leaning upwards, between head and stem's end.
fn draw_strokes(canvas: &mut Canvas, note: &Placed, up: bool, strokes: usize, beams: usize) {
    if strokes == 0 {
        return;
    }
    let chord = note.chord;
    let (low, high) = chord.span();
    let head = if up { -f64::from(high) / 2.0 - 0.5 } else { -f64::from(low) / 2.0 + 0.5 };
    let end = note.stem_end;
    let sign = if up { 1.0 } else { -1.0 };
    // What flags and beams leave of the stem.
    let taken = if beams > 0 {
        BEAM_STEP * beams as f64
    } else if chord.flags() > 0 {
        1.2 + 0.6 * chord.flags() as f64
    } else {
        0.35
    };
    let free = end + sign * taken;
    let middle = f64::midpoint(free, head - sign * 0.25);
    stroke_at(canvas, note, (note.stem_x(), middle), Glyph::tremolo(strokes));
}

fn draw_ledgers(canvas: &mut Canvas, note: &Placed) {
    let chord = note.chord;
    let reach = LEDGER_REACH * chord.scale;
    let mut draw = |place: i32, heads: &mut dyn Iterator<Item = (f64, f64)>| {
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for (x0, x1) in heads {
            left = left.min(x0);
            right = right.max(x1);
        }
        let y = -f64::from(place) / 2.0;
        canvas.line(
            (Kind::Ledger, Some(chord.origin())),
            (note.x + left - reach, y),
            (note.x + right + reach, y),
            LEDGER_LINE,
        );
    };
    let (low, high) = chord.span();
    let edges = |head: &super::chord::Head| (head.x, head.x + head.glyph.width() * chord.scale);
    let mut place = 6;
    while place <= high {
        draw(place, &mut chord.heads().iter().filter(|head| head.place >= place).map(edges));
        place += 2;
    }
    place = -6;
    while place >= low {
        draw(place, &mut chord.heads().iter().filter(|head| head.place <= place).map(edges));
        place -= 2;
    }
}

/// Grace notes: two or more short ones share a beam.
fn draw_graces(canvas: &mut Canvas, note: &Placed) {
    let graces = &note.chord.graces;
    let mut placed: Vec<Placed> = graces
        .iter()
        .map(|(x, grace)| Placed {
            chord: grace,
            bar: note.bar,
            x: note.x + x,
            lines: note.lines,
            stem_end: grace.stem_end(),
            lowered: 0.0,
        })
        .collect();
    let beamed = placed.len() > 1 && placed.iter().all(|grace| grace.chord.is_beamed());
    if beamed {
        beam_group(canvas, &mut placed);
    }
    for grace in &placed {
        draw_one(canvas, grace);
    }
}
