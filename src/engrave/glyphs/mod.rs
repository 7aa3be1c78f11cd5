//! Signs of music, drawn by us: each is a skeleton or a shape in staff spaces (y upwards, the
//! origin where the open SMuFL layout has it) and named after that standard's name.
//!
//! Source of the names: Standard Music Font Layout (SMuFL) 1.4, W3C Music Notation Community Group,
//! 2021, from memory. The outlines are our own.

mod accidentals;
mod clefs;
mod digits;
mod dynamics;
mod heads;
mod marks;
mod pen;
mod rests;

use std::sync::OnceLock;

use kurbo::{BezPath, ParamCurve as _, Rect, Shape as _};

use pen::Ink;

/// Makes the list of signs: each with its SMuFL name and the function that draws it.
macro_rules! signs {
    ($($sign:ident $name:literal $ink:expr;)*) => {
        /// A sign of music.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        #[allow(missing_docs, reason = "each is called as SMuFL calls it")]
        pub enum Glyph { $($sign,)* }

        impl Glyph {
            /// All signs.
            pub const ALL: &'static [Glyph] = &[$(Glyph::$sign,)*];

            /// Its name in SMuFL.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Glyph::$sign => $name,)* }
            }

            fn ink(self) -> Ink {
                match self { $(Glyph::$sign => $ink,)* }
            }
        }
    };
}

signs! {
    NoteheadBlack "noteheadBlack" heads::black();
    NoteheadHalf "noteheadHalf" heads::half();
    NoteheadWhole "noteheadWhole" heads::whole();
    NoteheadDoubleWhole "noteheadDoubleWhole" heads::double_whole();
    NoteheadXBlack "noteheadXBlack" heads::cross();
    NoteheadDiamondBlack "noteheadDiamondBlack" heads::diamond();
    NoteheadDiamondHalf "noteheadDiamondHalf" heads::diamond_half();
    NoteheadTriangleUpBlack "noteheadTriangleUpBlack" heads::triangle();
    NoteheadCircleX "noteheadCircleX" heads::circled_cross();
    AugmentationDot "augmentationDot" Ink::new().dot(0.2, 0.0, 0.21);
    GClef "gClef" clefs::g();
    GClef8vb "gClef8vb" clefs::g_octave(false);
    GClef8va "gClef8va" clefs::g_octave(true);
    FClef "fClef" clefs::f();
    FClef8vb "fClef8vb" clefs::f_octave();
    CClef "cClef" clefs::c();
    UnpitchedPercussionClef1 "unpitchedPercussionClef1" clefs::percussion();
    RestDoubleWhole "restDoubleWhole" rests::double_whole();
    RestWhole "restWhole" rests::whole();
    RestHalf "restHalf" rests::half();
    RestQuarter "restQuarter" rests::quarter();
    Rest8th "rest8th" rests::hooked(1);
    Rest16th "rest16th" rests::hooked(2);
    Rest32nd "rest32nd" rests::hooked(3);
    Rest64th "rest64th" rests::hooked(4);
    Rest128th "rest128th" rests::hooked(5);
    Flag8thUp "flag8thUp" heads::flag(1, true);
    Flag16thUp "flag16thUp" heads::flag(2, true);
    Flag32ndUp "flag32ndUp" heads::flag(3, true);
    Flag64thUp "flag64thUp" heads::flag(4, true);
    Flag128thUp "flag128thUp" heads::flag(5, true);
    Flag8thDown "flag8thDown" heads::flag(1, false);
    Flag16thDown "flag16thDown" heads::flag(2, false);
    Flag32ndDown "flag32ndDown" heads::flag(3, false);
    Flag64thDown "flag64thDown" heads::flag(4, false);
    Flag128thDown "flag128thDown" heads::flag(5, false);
    AccidentalFlat "accidentalFlat" accidentals::flat();
    AccidentalNatural "accidentalNatural" accidentals::natural();
    AccidentalSharp "accidentalSharp" accidentals::sharp();
    AccidentalDoubleSharp "accidentalDoubleSharp" accidentals::double_sharp();
    AccidentalDoubleFlat "accidentalDoubleFlat" accidentals::double_flat();
    AccidentalParensLeft "accidentalParensLeft" accidentals::parenthesis(false);
    AccidentalParensRight "accidentalParensRight" accidentals::parenthesis(true);
    TimeSig0 "timeSig0" digits::digit(0);
    TimeSig1 "timeSig1" digits::digit(1);
    TimeSig2 "timeSig2" digits::digit(2);
    TimeSig3 "timeSig3" digits::digit(3);
    TimeSig4 "timeSig4" digits::digit(4);
    TimeSig5 "timeSig5" digits::digit(5);
    TimeSig6 "timeSig6" digits::digit(6);
    TimeSig7 "timeSig7" digits::digit(7);
    TimeSig8 "timeSig8" digits::digit(8);
    TimeSig9 "timeSig9" digits::digit(9);
    TimeSigPlus "timeSigPlus" digits::plus();
    TimeSigCommon "timeSigCommon" digits::common();
    TimeSigCutCommon "timeSigCutCommon" digits::cut();
    DynamicPiano "dynamicPiano" dynamics::piano();
    DynamicMezzo "dynamicMezzo" dynamics::mezzo();
    DynamicForte "dynamicForte" dynamics::forte();
    DynamicRinforzando "dynamicRinforzando" dynamics::rinforzando();
    DynamicSforzando "dynamicSforzando" dynamics::sforzando();
    DynamicZ "dynamicZ" dynamics::z();
    DynamicNiente "dynamicNiente" dynamics::niente();
    ArticAccentAbove "articAccentAbove" marks::accent();
    ArticStaccatoAbove "articStaccatoAbove" Ink::new().dot(0.2, 0.2, 0.2);
    ArticTenutoAbove "articTenutoAbove" marks::tenuto();
    ArticStaccatissimoAbove "articStaccatissimoAbove" marks::staccatissimo(true);
    ArticStaccatissimoBelow "articStaccatissimoBelow" marks::staccatissimo(false);
    ArticMarcatoAbove "articMarcatoAbove" marks::marcato(true);
    ArticMarcatoBelow "articMarcatoBelow" marks::marcato(false);
    FermataAbove "fermataAbove" marks::fermata(true);
    FermataBelow "fermataBelow" marks::fermata(false);
    BreathMarkComma "breathMarkComma" marks::comma();
    Caesura "caesura" marks::caesura();
    OrnamentTrill "ornamentTrill" marks::trill();
    OrnamentTurn "ornamentTurn" marks::turn();
    OrnamentMordent "ornamentMordent" marks::mordent(true);
    OrnamentShortTrill "ornamentShortTrill" marks::mordent(false);
    WiggleTrill "wiggleTrill" marks::wiggle();
    WiggleArpeggiatoUp "wiggleArpeggiatoUp" marks::arpeggio();
    StringsDownBow "stringsDownBow" marks::down_bow();
    StringsUpBow "stringsUpBow" marks::up_bow();
    StringsHarmonic "stringsHarmonic" marks::ring();
    BrassMuteClosed "brassMuteClosed" marks::cross();
    BrassMuteOpen "brassMuteOpen" marks::ring();
    Segno "segno" marks::segno();
    Coda "coda" marks::coda();
    RepeatDot "repeatDot" Ink::new().dot(0.2, 0.0, 0.22);
    Repeat1Bar "repeat1Bar" marks::repeat_bar();
    RestHBar "restHBar" rests::several_bars(4.6, 1.0);
    Tremolo1 "tremolo1" marks::tremolo(1);
    Tremolo2 "tremolo2" marks::tremolo(2);
    Tremolo3 "tremolo3" marks::tremolo(3);
    Tremolo4 "tremolo4" marks::tremolo(4);
    Tremolo5 "tremolo5" marks::tremolo(5);
    Brace "brace" marks::brace(8.0);
    BracketTop "bracketTop" marks::bracket(true);
    BracketBottom "bracketBottom" marks::bracket(false);
    KeyboardPedalPed "keyboardPedalPed" dynamics::pedal();
    KeyboardPedalUp "keyboardPedalUp" marks::pedal_up();
}

/// A drawn sign.
#[derive(Clone, Debug)]
pub struct Outline {
    /// Its shape in staff spaces with y upwards, filled wherever it winds round at all.
    pub path: BezPath,
    /// The box around it.
    pub bounds: Rect,
}

/// The brace of staves that are so high together, around the middle of its right edge; the sign on the sheet is one of
/// two staves that stand close.
pub(crate) fn brace(height: f64) -> BezPath {
    marks::brace(height).path()
}

/// The sign of several bars of rest, so wide, around its middle; the strokes at its ends go so far up and down.
pub(crate) fn several_bars_of_rest(width: f64, half: f64) -> BezPath {
    rests::several_bars(width, half).path()
}

impl Glyph {
    /// Its outline, drawn when it is first asked for.
    pub fn outline(self) -> &'static Outline {
        static DRAWN: OnceLock<Vec<OnceLock<Outline>>> = OnceLock::new();
        let drawn = DRAWN.get_or_init(|| Glyph::ALL.iter().map(|_| OnceLock::new()).collect());
        drawn[self as usize].get_or_init(|| {
            let path = self.ink().path();
            let bounds = path.bounding_box();
            Outline { path, bounds }
        })
    }

    /// The box around it in staff spaces, y upwards.
    #[must_use]
    pub fn bounds(self) -> Rect {
        self.outline().bounds
    }

    /// How wide it is, from its origin to its right edge.
    #[must_use]
    pub fn width(self) -> f64 {
        self.bounds().x1
    }

    /// How far its ink reaches to the right between two heights, y upwards; nothing where it has none there.
    #[must_use]
    pub fn right_between(self, low: f64, high: f64) -> Option<f64> {
        const STEPS: u8 = 16;
        let points = self.outline().path.segments().flat_map(|segment| {
            (0..=STEPS).map(move |step| segment.eval(f64::from(step) / f64::from(STEPS)))
        });
        points.filter(|point| (low..=high).contains(&point.y)).map(|point| point.x).reduce(f64::max)
    }

    /// The digits of a number as they stand in a metre.
    #[must_use]
    pub fn digits(number: u32) -> Vec<Glyph> {
        Glyph::figures(&number.to_string())
    }

    /// So many strokes of a tremolo, up to five.
    #[must_use]
    pub fn tremolo(strokes: usize) -> Glyph {
        Glyph::ALL[Glyph::Tremolo1 as usize + strokes.clamp(1, 5) - 1]
    }

    /// Digits and plus signs as they stand in a metre.
    #[must_use]
    pub fn figures(text: &str) -> Vec<Glyph> {
        let first = Glyph::TimeSig0 as usize;
        let figure = |c: char| match c {
            '+' => Glyph::TimeSigPlus,
            c => Glyph::ALL[first + c.to_digit(10).unwrap_or(0) as usize],
        };
        text.chars().map(figure).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_sign_has_ink_of_a_likely_size() {
        for &glyph in Glyph::ALL {
            let bounds = glyph.bounds();
            assert!(bounds.width() > 0.1 && bounds.width() < 6.0, "{}: {bounds:?}", glyph.name());
            assert!(bounds.height() > 0.1 && bounds.height() < 9.0, "{}: {bounds:?}", glyph.name());
            assert!(glyph.outline().path.is_finite(), "{}", glyph.name());
        }
    }

    /// Gould, chapter 1, from memory: a head is as high as a space and a fifth or so wider.
    #[test]
    fn heads_fill_a_space() {
        for glyph in [Glyph::NoteheadBlack, Glyph::NoteheadHalf] {
            let bounds = glyph.bounds();
            assert!((bounds.height() - 1.0).abs() < 0.06, "{bounds:?}");
            assert!((1.1..1.35).contains(&bounds.width()), "{bounds:?}");
            assert!(bounds.center().y.abs() < 0.01, "{bounds:?}");
        }
    }

    #[test]
    fn clefs_and_digits_have_their_size_in_the_staff() {
        // The bowl of the G clef lies between the lowest line and the middle one around its own.
        let clef = Glyph::GClef.bounds();
        assert!((6.5..7.6).contains(&clef.height()), "{clef:?}");
        for digit in 0..10 {
            let bounds = Glyph::digits(digit)[0].bounds();
            assert!(bounds.y1 <= 1.06 && bounds.y0 >= -1.06 && bounds.height() > 1.8, "{bounds:?}");
        }
    }

    /// How many white islands of some size a sign encloses.
    fn counters(glyph: Glyph) -> usize {
        use kurbo::{Point, Shape};
        use ripieno_compiler::narrow::Narrow;
        const STEP: f64 = 0.04;
        const LEAST: usize = 12;
        let bounds = glyph.bounds().inflate(2.0 * STEP, 2.0 * STEP);
        let cells = |span: f64| (span / STEP).ceil().narrow::<usize>();
        let (wide, high) = (cells(bounds.width()), cells(bounds.height()));
        let path = &glyph.outline().path;
        let dark = |n: usize| {
            let (x, y) = ((n % wide) as f64, (n / wide) as f64);
            path.winding(Point::new(bounds.x0 + x * STEP, bounds.y0 + y * STEP)) != 0
        };
        let mut seen: Vec<bool> = (0..wide * high).map(dark).collect();
        let mut islands = 0;
        for start in 0..seen.len() {
            let (mut size, mut open) = (0, vec![start]);
            while let Some(n) = open.pop() {
                if std::mem::replace(&mut seen[n], true) {
                    continue;
                }
                size += 1;
                let (x, y) = (n % wide, n / wide);
                open.extend((x > 0).then(|| n - 1));
                open.extend((x + 1 < wide).then(|| n + 1));
                open.extend((y > 0).then(|| n - wide));
                open.extend((y + 1 < high).then(|| n + wide));
            }
            islands += usize::from(size >= LEAST);
        }
        // The white around the sign is the first of them.
        islands - 1
    }

    #[test]
    fn counters_are_open() {
        // The four is open above.
        let digits = [1, 0, 0, 0, 0, 0, 1, 0, 2, 1];
        for (digit, wanted) in (0..).zip(digits) {
            assert_eq!(counters(Glyph::digits(digit)[0]), wanted, "{digit}");
        }
        for (glyph, wanted) in [
            (Glyph::NoteheadBlack, 0),
            (Glyph::NoteheadHalf, 1),
            (Glyph::NoteheadWhole, 1),
            (Glyph::AccidentalFlat, 1),
            (Glyph::AccidentalDoubleFlat, 2),
            (Glyph::AccidentalNatural, 1),
            (Glyph::TimeSigCutCommon, 1),
            (Glyph::Coda, 4),
        ] {
            assert_eq!(counters(glyph), wanted, "{}", glyph.name());
        }
    }

    #[test]
    fn names_are_those_of_the_standard_and_each_once() {
        let mut names: Vec<&str> = Glyph::ALL.iter().map(|glyph| glyph.name()).collect();
        names.sort_unstable();
        let count = names.len();
        names.dedup();
        assert_eq!(names.len(), count);
        assert!(names.iter().all(|name| name.chars().all(|c| c.is_ascii_alphanumeric())));
    }
}
