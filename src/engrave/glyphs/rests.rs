//! Rests. Their origin lies on the middle line; that of a whole rest on the line it hangs from.

use kurbo::Affine;

use super::pen::Ink;

pub(super) fn double_whole() -> Ink {
    Ink::new().bar(0.0, 0.0, 0.5, 1.0)
}

pub(super) fn whole() -> Ink {
    Ink::new().bar(0.0, -0.54, 1.18, 0.0)
}

pub(super) fn half() -> Ink {
    Ink::new().bar(0.0, 0.0, 1.18, 0.54)
}

/// A thick line with a stroke at each end, around its middle.
pub(super) fn several_bars(width: f64, half: f64) -> Ink {
    let (end, thick, stroke) = (width / 2.0, 0.375, 0.09);
    let upright = |x: f64| Ink::new().bar(x - stroke, -half, x + stroke, half);
    let line = Ink::new().bar(-end, -thick, end, thick);
    [-end, end].into_iter().fold(line, |ink, x| ink.with(upright(x), Affine::IDENTITY))
}

/// A broad pen drawn down in a zigzag, with a hook at the foot.
pub(super) fn quarter() -> Ink {
    Ink::new().shape(
        "M.27 1.46 C.24 1.5 .3 1.57 .36 1.51 L.96 .78 C1.03 .69 1.03 .63 .96 .54 \
         C.74 .28 .62 .12 .66 -.12 C.69 -.34 .86 -.54 1.08 -.8 C1.13 -.87 1.07 -.93 1.0 -.89 \
         C.78 -.76 .56 -.78 .5 -.93 C.44 -1.1 .55 -1.28 .74 -1.46 C.8 -1.52 .75 -1.59 .67 -1.55 \
         C.3 -1.36 .03 -1.04 .1 -.77 C.16 -.52 .42 -.46 .66 -.54 \
         L.12 .1 C.06 .18 .07 .24 .13 .31 C.38 .6 .52 .76 .49 .98 C.47 1.14 .38 1.3 .27 1.46Z",
    )
}

/// Drops on a leaning stem, one for each halving of the quarter.
pub(super) fn hooked(count: usize) -> Ink {
    // The stem leans; every drop hangs to its left, one space apart, the uppermost in the space
    // over the middle line (of longer stems one or two spaces higher).
    let top = 0.5 + ((count as f64 - 1.0) / 2.0).floor();
    let foot = top - 0.5 - count as f64;
    let lean = 0.27;
    let x = |y: f64| 0.98 + (y - top) * lean + (count as f64 - 1.0) * lean * 0.55;
    let mut ink = Ink::new();
    let (head, end) = (top + 0.24, foot - 0.02);
    ink = ink.stroke(&[
        (x(head), head, 0.1),
        (x((head + end) / 2.0), (head + end) / 2.0, 0.15),
        (x(end), end, 0.15),
    ]);
    for drop in 0..count {
        let y = top - drop as f64;
        let right = x(y + 0.24);
        let left = right - 0.98;
        ink = ink.dot(left + 0.27, y + 0.1, 0.27).stroke(&[
            (left + 0.22, y - 0.07, 0.18),
            (left + 0.42, y - 0.15, 0.14),
            (left + 0.7, y - 0.04, 0.12),
            (right, y + 0.24, 0.1),
        ]);
    }
    ink
}
