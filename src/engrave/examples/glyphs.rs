//! Writes a sheet of all signs as SVG: `cargo run -p ripieno-engrave --example glyphs -- SIZE [NAME…] > sheet.svg`.

use ripieno_compiler::narrow::Narrow;
use std::fmt::Write as _;

use kurbo::Affine;
use ripieno_engrave::glyphs::Glyph;

fn main() {
    let mut arguments = std::env::args().skip(1);
    let space: f64 = arguments.next().and_then(|size| size.parse().ok()).unwrap_or(10.0);
    let names: Vec<String> = arguments.collect();
    let chosen: Vec<Glyph> = Glyph::ALL
        .iter()
        .copied()
        .filter(|glyph| {
            names.is_empty() || names.iter().any(|name| glyph.name().contains(name.as_str()))
        })
        .collect();
    let (cell_width, cell_height) = (7.0, 10.0);
    let columns = (1600.0 / (space * cell_width)).narrow::<usize>().clamp(1, 14);
    let rows = chosen.len().div_ceil(columns);
    let (width, height) = (columns as f64 * cell_width, rows as f64 * cell_height);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {width} {height}\"><rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>",
        width * space,
        height * space
    );
    for (n, glyph) in chosen.iter().enumerate() {
        let (column, row) = (n % columns, n / columns);
        let (x, y) = (column as f64 * cell_width, row as f64 * cell_height);
        for line in 0..5 {
            let y = y + 3.0 + f64::from(line);
            let _ = write!(
                svg,
                "<path d=\"M{} {y}h{}\" stroke=\"#000\" stroke-width=\".1\"/>",
                x + 0.3,
                cell_width - 0.6
            );
        }
        let name = glyph.name();
        let origin = match name {
            _ if name.starts_with("gClef") => 6.0,
            _ if name.starts_with("fClef") || name == "restWhole" => 4.0,
            _ => 5.0,
        };
        let left = x + cell_width / 2.0 - glyph.bounds().center().x;
        let path =
            Affine::new([1.0, 0.0, 0.0, -1.0, left, y + origin]) * glyph.outline().path.clone();
        let _ = write!(
            svg,
            "<path d=\"{}\"/><text x=\"{x}\" y=\"{}\" font-size=\".45\">{name}</text>",
            path.to_svg(),
            y + 9.8
        );
    }
    svg.push_str("</svg>");
    println!("{svg}");
}
