//! Articulations, ornaments, bowings, repeats, and what stands before a system. Marks that belong
//! over a note have their foot at the origin, those below their head.

use kurbo::Affine;

use super::pen::Ink;

fn upside_down(ink: Ink) -> Ink {
    ink.moved(Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 0.0]))
}

pub(super) fn accent() -> Ink {
    Ink::new().shape("M0 .96 L.05 .84 L1.1 .49 L.05 .12 L0 0 L.06 0 L1.36 .42 L1.36 .55 L.06 .98Z")
}

pub(super) fn tenuto() -> Ink {
    Ink::new().bar(0.0, 0.0, 1.2, 0.17)
}

pub(super) fn staccatissimo(above: bool) -> Ink {
    let ink = Ink::new().shape("M.16 0 L.24 0 L.4 .98 C.41 1.08 -.01 1.08 0 .98Z");
    if above { ink } else { upside_down(ink) }
}

pub(super) fn marcato(above: bool) -> Ink {
    let ink = Ink::new().shape("M0 0 L.42 1.12 L.6 1.12 L1.02 0 L.8 0 L.42 .86 L.1 0Z");
    if above { ink } else { upside_down(ink) }
}

/// Centred on the origin.
pub(super) fn fermata(above: bool) -> Ink {
    let ink = Ink::new()
        .shape("M-1.28 .06 C-1.24 .92 -.7 1.36 0 1.36 C.7 1.36 1.24 .92 1.28 .06 C1.28 -.02 1.18 -.02 1.17 .06 C1.08 .68 .62 1.0 0 1.0 C-.62 1.0 -1.08 .68 -1.17 .06 C-1.18 -.02 -1.28 -.02 -1.28 .06Z")
        .dot(0.0, 0.26, 0.24);
    if above { ink } else { upside_down(ink) }
}

pub(super) fn comma() -> Ink {
    Ink::new().dot(0.28, 0.72, 0.26).stroke(&[
        (0.42, 0.74, 0.22),
        (0.46, 0.5, 0.17),
        (0.36, 0.2, 0.12),
        (0.12, -0.08, 0.05),
    ])
}

pub(super) fn caesura() -> Ink {
    Ink::new()
        .shape("M0 -.6 L.14 -.6 L.98 1.1 L.84 1.1Z")
        .shape("M.6 -.6 L.74 -.6 L1.58 1.1 L1.44 1.1Z")
}

/// The letters t and r, as in dynamics.
pub(super) fn trill() -> Ink {
    Ink::new()
        .stroke(&[
            (0.74, 1.62, 0.3),
            (0.58, 0.9, 0.34),
            (0.46, 0.34, 0.3),
            (0.58, 0.08, 0.18),
            (0.8, 0.12, 0.1),
            (0.98, 0.36, 0.07),
        ])
        .shape("M.14 1.12 L1.12 1.12 L1.09 .96 L.1 .96Z")
        .stroke(&[(0.94, 0.3, 0.06), (1.16, 0.84, 0.1), (1.32, 1.06, 0.18), (1.36, 0.84, 0.26)])
        .shape("M1.18 .9 L1.53 1.06 L1.29 .04 L.94 .04Z")
        .stroke(&[(1.36, 0.46, 0.07), (1.58, 0.88, 0.12), (1.82, 1.02, 0.16)])
        .dot(1.83, 0.9, 0.17)
}

pub(super) fn turn() -> Ink {
    Ink::new()
        .stroke(&[
            (0.44, 0.42, 0.14),
            (0.2, 0.28, 0.14),
            (0.16, 0.62, 0.16),
            (0.48, 0.92, 0.24),
            (0.9, 0.68, 0.36),
            (1.28, 0.32, 0.36),
            (1.7, 0.08, 0.24),
            (2.02, 0.38, 0.16),
            (1.98, 0.72, 0.14),
            (1.74, 0.58, 0.14),
        ])
        .dot(0.42, 0.4, 0.2)
        .dot(1.76, 0.6, 0.2)
}

/// Two and a half teeth drawn with a broad pen that leans, with a stroke through them for the lower
/// neighbour.
pub(super) fn mordent(stroke: bool) -> Ink {
    let tooth = |x: f64| {
        Ink::new().shape(&format!("M{x} .34 L{} .78 L{} .44 L{} 0Z", x + 0.3, x + 0.66, x + 0.36))
    };
    let up = |x: f64| Ink::new().stroke(&[(x, 0.06, 0.08), (x + 0.42, 0.7, 0.08)]);
    let ink = Ink::new()
        .with(up(0.0), Affine::IDENTITY)
        .with(tooth(0.36), Affine::IDENTITY)
        .with(up(0.66), Affine::IDENTITY)
        .with(tooth(1.02), Affine::IDENTITY)
        .with(up(1.34), Affine::IDENTITY);
    if stroke { ink.bar(0.84, -0.34, 0.97, 1.14) } else { ink }
}

/// One wave of the line after a trill, one space long.
pub(super) fn wiggle() -> Ink {
    Ink::new().stroke(&[
        (0.0, 0.12, 0.1),
        (0.22, 0.36, 0.2),
        (0.5, 0.22, 0.22),
        (0.78, 0.1, 0.2),
        (1.0, 0.32, 0.1),
    ])
}

/// One wave of the line before a spread chord, one space high.
pub(super) fn arpeggio() -> Ink {
    Ink::new().stroke(&[
        (0.14, 0.0, 0.08),
        (0.32, 0.26, 0.22),
        (0.2, 0.5, 0.22),
        (0.08, 0.74, 0.22),
        (0.26, 1.0, 0.08),
    ])
}

pub(super) fn down_bow() -> Ink {
    Ink::new().bar(0.0, 0.0, 0.12, 1.2).bar(1.02, 0.0, 1.14, 1.2).bar(0.0, 0.74, 1.14, 1.2)
}

pub(super) fn up_bow() -> Ink {
    Ink::new().shape("M0 1.5 L.5 0 L.6 0 L1.06 1.5 L.92 1.5 L.62 .5 L.18 1.5Z")
}

/// A small ring: harmonic, open string, open horn.
pub(super) fn ring() -> Ink {
    Ink::new().oval((0.36, 0.36), (0.36, 0.36), 0.0).oval_hole((0.36, 0.36), (0.25, 0.25), 0.0)
}

pub(super) fn cross() -> Ink {
    Ink::new().bar(0.0, 0.43, 1.0, 0.57).bar(0.43, 0.0, 0.57, 1.0)
}

pub(super) fn segno() -> Ink {
    let half = || {
        Ink::new()
            .stroke(&[
                (1.5, 2.14, 0.12),
                (1.62, 2.5, 0.14),
                (1.28, 2.78, 0.16),
                (0.72, 2.66, 0.24),
                (0.5, 2.22, 0.34),
                (0.76, 1.82, 0.42),
                (1.1, 1.5, 0.44),
            ])
            .dot(1.42, 2.2, 0.2)
    };
    let about = Affine::new([-1.0, 0.0, 0.0, -1.0, 2.2, 3.0]);
    half()
        .with(half(), about)
        .shape("M.02 .2 L.16 .2 L2.18 2.8 L2.04 2.8Z")
        .dot(0.3, 1.86, 0.18)
        .dot(1.9, 1.14, 0.18)
}

pub(super) fn coda() -> Ink {
    Ink::new()
        .oval((1.3, 1.3), (0.82, 1.1), 0.0)
        .oval_hole((1.3, 1.3), (0.5, 0.97), 0.0)
        .bar(0.0, 1.23, 2.6, 1.37)
        .bar(1.23, -0.15, 1.37, 2.75)
}

pub(super) fn repeat_bar() -> Ink {
    Ink::new().shape("M0 -1 L.46 -1 L1.9 1 L1.44 1Z").dot(0.34, 0.52, 0.22).dot(1.56, -0.52, 0.22)
}

/// From stroke to stroke of a tremolo, as from beam to beam.
const STROKE_STEP: f64 = 0.75;

/// Leaning strokes through a stem, around the middle of them all.
pub(super) fn tremolo(strokes: usize) -> Ink {
    let top = (strokes as f64 - 1.0) * STROKE_STEP / 2.0;
    let stroke = |n: usize| {
        let y = top - n as f64 * STROKE_STEP;
        Ink::new().shape("M-.6 -.44 L.6 .04 L.6 .44 L-.6 -.04Z").moved(Affine::translate((0.0, y)))
    };
    (0..strokes).fold(Ink::new(), |ink, n| ink.with(stroke(n), Affine::IDENTITY))
}

/// A brace so high, around the middle of its right edge.
pub(super) fn brace(height: f64) -> Ink {
    let at = |along: f64| height * (along - 0.5);
    let (tip, out) = (-1.25, -0.1);
    let half = [
        (out, at(0.0), 0.1),
        (out - 0.42, at(0.07), 0.26),
        (out - 0.55, at(0.2), 0.42),
        (out - 0.42, at(0.33), 0.42),
        (out - 0.58, at(0.44), 0.28),
        (tip, at(0.5), 0.08),
    ];
    let other = half.map(|(x, y, width)| (x, -y, width));
    Ink::new().stroke(&half).stroke(&other)
}

/// The curled end of a bracket; the thick line's left edge is x = 0 and ends at y = 0.
pub(super) fn bracket(top: bool) -> Ink {
    let ink = Ink::new().shape("M0 -.06 L0 .36 C.42 .42 1.0 .62 1.5 1.12 C1.56 1.16 1.6 1.1 1.57 1.04 C1.26 .46 .9 .12 .45 -.06Z");
    if top { ink } else { upside_down(ink) }
}

pub(super) fn pedal_up() -> Ink {
    let ray = |ink: Ink, turn: f64| {
        let petal = Ink::new().stroke(&[(0.2, 0.0, 0.08), (0.56, 0.0, 0.2)]).dot(0.62, 0.0, 0.13);
        ink.with(petal, Affine::translate((0.8, 0.8)) * Affine::rotate(turn.to_radians()))
    };
    (0..8).fold(
        Ink::new().oval((0.8, 0.8), (0.26, 0.26), 0.0).oval_hole((0.8, 0.8), (0.14, 0.14), 0.0),
        |ink, n| ray(ink, 45.0 * f64::from(n)),
    )
}
