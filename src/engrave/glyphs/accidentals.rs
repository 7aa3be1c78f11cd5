//! Accidentals. Their origin lies at the left on the line or space of the note.

use kurbo::Affine;

use super::pen::Ink;

pub(super) fn flat() -> Ink {
    Ink::new().shape("M0 1.78 L.15 1.78 L.13 -.74 L.02 -.74Z").shape(
        "M.1 -.74 C.4 -.56 .98 -.16 .98 .3 C.98 .56 .82 .7 .62 .7 C.42 .7 .24 .58 .1 .42 \
             L.1 .2 C.24 .36 .36 .45 .48 .44 C.62 .43 .66 .3 .64 .12 C.6 -.14 .32 -.38 .1 -.52Z",
    )
}

pub(super) fn natural() -> Ink {
    Ink::new()
        .shape("M0 1.46 L.15 1.46 L.15 -.72 L0 -.78Z")
        .shape("M.58 .78 L.73 .72 L.73 -1.46 L.58 -1.46Z")
        .shape("M0 .3 L.73 .53 L.73 .92 L0 .69Z")
        .shape("M0 -.88 L.73 -.65 L.73 -.26 L0 -.49Z")
}

pub(super) fn sharp() -> Ink {
    Ink::new()
        .bar(0.25, -1.42, 0.38, 1.3)
        .bar(0.68, -1.3, 0.81, 1.42)
        .shape("M0 .28 L1.06 .58 L1.06 .96 L0 .66Z")
        .shape("M0 -.9 L1.06 -.6 L1.06 -.22 L0 -.52Z")
}

pub(super) fn double_sharp() -> Ink {
    // Four petals from the middle.
    let petal = || {
        Ink::new().shape("M.51 -.1 L.62 .0 C.72 .13 .84 .16 .98 .17 C1.01 .18 1.02 .2 1.02 .24 L1.02 .52 L.75 .52 C.7 .52 .68 .5 .68 .46 C.67 .32 .64 .23 .53 .13 L.4 .02Z")
    };
    let about =
        |x: f64, y: f64| Affine::new([x, 0.0, 0.0, y, if x < 0.0 { 1.02 } else { 0.0 }, 0.0]);
    Ink::new()
        .with(petal(), about(1.0, 1.0))
        .with(petal(), about(-1.0, 1.0))
        .with(petal(), about(1.0, -1.0))
        .with(petal(), about(-1.0, -1.0))
}

pub(super) fn double_flat() -> Ink {
    flat().with(flat(), Affine::translate((0.82, 0.0)))
}

pub(super) fn parenthesis(right: bool) -> Ink {
    let ink = Ink::new().stroke(&[
        (0.5, 1.0, 0.06),
        (0.16, 0.5, 0.14),
        (0.1, 0.0, 0.17),
        (0.16, -0.5, 0.14),
        (0.5, -1.0, 0.06),
    ]);
    if right { ink.moved(Affine::new([-1.0, 0.0, 0.0, 1.0, 0.55, 0.0])) } else { ink }
}
