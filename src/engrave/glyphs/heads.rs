//! Note heads and flags.

use kurbo::Affine;

use super::pen::Ink;

/// How far the axis of a head leans, in degrees.
const LEAN: f64 = 24.0;
/// Half the width of a black or half head.
pub(super) const HALF_WIDTH: f64 = 0.605;

/// A full oval as wide as 1.2 spaces and a hair taller than one, so that it covers the lines.
pub(super) fn black() -> Ink {
    Ink::new().oval((HALF_WIDTH, 0.0), (0.632, 0.468), LEAN)
}

/// The same outside; the counter leans more and is narrow, so that the head is dark.
pub(super) fn half() -> Ink {
    black().oval_hole((HALF_WIDTH, 0.0), (0.545, 0.262), LEAN + 10.0)
}

/// An upright broad oval whose counter leans against it.
pub(super) fn whole() -> Ink {
    Ink::new().oval((0.86, 0.0), (0.86, 0.53), 0.0).oval_hole((0.86, 0.0), (0.445, 0.335), -58.0)
}

/// A whole note between strokes.
pub(super) fn double_whole() -> Ink {
    let at = Affine::translate((0.42, 0.0));
    let ink = Ink::new().with(whole(), at);
    let strokes = [0.0, 0.22, 2.28, 2.5];
    strokes.into_iter().fold(ink, |ink, x| ink.bar(x, -0.75, x + 0.13, 0.75))
}

pub(super) fn cross() -> Ink {
    let one = || Ink::new().stroke(&[(0.1, -0.42, 0.2), (0.58, 0.0, 0.15), (1.06, 0.42, 0.2)]);
    one().with(one(), Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 0.0]))
}

pub(super) fn diamond() -> Ink {
    Ink::new().shape("M0 0 Q.38 .18 .58 .55 Q.78 .18 1.16 0 Q.78 -.18 .58 -.55 Q.38 -.18 0 0Z")
}

pub(super) fn diamond_half() -> Ink {
    Ink::new().shape("M0 0 L.58 .56 L1.16 0 L.58 -.56Z").hole("M.16 .04 L.5 .37 L1 -.04 L.66 -.37Z")
}

pub(super) fn triangle() -> Ink {
    Ink::new().shape("M0 -.5 L.58 .55 L1.16 -.5Z")
}

pub(super) fn circled_cross() -> Ink {
    let at = Affine::new([0.62, 0.0, 0.0, 0.62, 0.2, 0.0]);
    Ink::new()
        .oval((0.56, 0.0), (0.58, 0.53), 0.0)
        .oval_hole((0.56, 0.0), (0.46, 0.41), 0.0)
        .with(cross(), at)
}

/// Flags that hang from the end of a stem at the origin; the stem's outer edge is at x = 0.
/// `up`: the stem goes up and the flags hang down.
pub(super) fn flag(count: usize, up: bool) -> Ink {
    // One flag alone has room to swing; several lie closer and only the last swings out.
    let last = "M0 0 C.07 -.72 .46 -1.02 .78 -1.5 C1.1 -1.98 1.1 -2.62 .80 -3.22 \
                C.76 -3.29 .69 -3.25 .71 -3.17 C.92 -2.6 .84 -2.12 .58 -1.8 C.36 -1.52 .14 -1.42 0 -1.36Z";
    let upper = "M0 0 C.07 -.55 .44 -.78 .76 -1.12 C1.0 -1.4 1.06 -1.72 1.0 -2.1 \
                 C.98 -2.18 .91 -2.17 .91 -2.09 C.9 -1.76 .74 -1.54 .52 -1.36 C.32 -1.2 .12 -1.13 0 -1.09Z";
    let mut ink = Ink::new();
    for flag in 0..count {
        let at = Affine::translate((0.0, -0.78 * flag as f64));
        let shape = if flag + 1 == count { last } else { upper };
        ink = ink.with(Ink::new().shape(shape), at);
    }
    if up { ink } else { ink.moved(Affine::new([0.96, 0.0, 0.0, -0.94, 0.0, 0.0])) }
}
