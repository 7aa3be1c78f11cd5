//! Clefs. Their origin lies on the line that they name.

use kurbo::Affine;

use super::digits;
use super::pen::Ink;

/// One stroke from the curl on the line to the drop at the foot.
pub(super) fn g() -> Ink {
    Ink::new()
        .stroke(&[
            (1.33, -0.47, 0.07),
            (1.03, -0.22, 0.13),
            (0.96, 0.16, 0.2),
            (1.16, 0.52, 0.26),
            (1.56, 0.64, 0.28),
            (2.0, 0.49, 0.26),
            (2.29, 0.07, 0.22),
            (2.27, -0.47, 0.17),
            (1.93, -0.87, 0.14),
            (1.4, -0.98, 0.14),
            (0.82, -0.8, 0.2),
            (0.36, -0.36, 0.29),
            (0.2, 0.22, 0.35),
            (0.38, 0.9, 0.36),
            (0.86, 1.52, 0.32),
            (1.4, 2.1, 0.28),
            (1.8, 2.72, 0.3),
            (1.93, 3.3, 0.29),
            (1.86, 3.82, 0.22),
            (1.64, 4.16, 0.11),
            (1.4, 4.02, 0.1),
            (1.2, 3.5, 0.14),
            (1.17, 2.85, 0.16),
            (1.27, 2.1, 0.16),
            (1.42, 1.2, 0.155),
            (1.58, 0.1, 0.155),
            (1.72, -0.9, 0.155),
            (1.79, -1.6, 0.15),
            (1.72, -2.16, 0.14),
            (1.44, -2.48, 0.13),
            (1.05, -2.46, 0.15),
            (0.79, -2.02, 0.2),
        ])
        .dot(1.03, -1.98, 0.36)
}

/// With an 8 below or above.
pub(super) fn g_octave(above: bool) -> Ink {
    let y = if above { 4.95 } else { -3.35 };
    let x = if above { 1.3 } else { 0.95 };
    g().with(digits::digit(8), Affine::translate((x, y)) * Affine::scale(0.52))
}

/// From the drop on the line over the shoulder, which swells, to a fine end.
pub(super) fn f() -> Ink {
    Ink::new()
        .dot(0.46, -0.02, 0.36)
        .stroke(&[
            (0.27, 0.0, 0.18),
            (0.26, 0.42, 0.17),
            (0.56, 0.82, 0.17),
            (1.02, 0.95, 0.2),
            (1.48, 0.78, 0.34),
            (1.72, 0.28, 0.47),
            (1.68, -0.4, 0.46),
            (1.36, -1.14, 0.33),
            (0.82, -1.82, 0.2),
            (0.08, -2.38, 0.09),
        ])
        .dot(2.38, 0.5, 0.21)
        .dot(2.38, -0.5, 0.21)
}

pub(super) fn f_octave() -> Ink {
    f().with(digits::digit(8), Affine::translate((0.75, -3.15)) * Affine::scale(0.52))
}

/// Two pillars, and two bows that meet on the line.
pub(super) fn c() -> Ink {
    let bow = || {
        Ink::new()
            .stroke(&[(1.0, 0.0, 0.1), (1.22, 0.16, 0.12), (1.36, 0.52, 0.13)])
            .stroke(&[
                (1.36, 0.5, 0.11),
                (1.5, 0.38, 0.12),
                (1.8, 0.36, 0.15),
                (2.14, 0.62, 0.28),
                (2.27, 1.1, 0.42),
                (2.14, 1.6, 0.32),
                (1.82, 1.89, 0.17),
                (1.48, 1.87, 0.13),
                (1.24, 1.5, 0.16),
            ])
            .dot(1.4, 1.47, 0.27)
    };
    Ink::new()
        .bar(0.0, -2.0, 0.5, 2.0)
        .bar(0.74, -2.0, 0.9, 2.0)
        .with(bow(), Affine::IDENTITY)
        .with(bow(), Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 0.0]))
}

pub(super) fn percussion() -> Ink {
    Ink::new().bar(0.0, -1.0, 0.42, 1.0).bar(0.84, -1.0, 1.26, 1.0)
}
