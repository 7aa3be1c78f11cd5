//! Engraves all parts and the score of a source, to look at while one works on the layout:
//! `cargo run -p ripieno-engrave --example sheets -- SOURCE SCORING FOLDER`.

use std::path::{Path, PathBuf};

use ripieno_compiler::diagnostics::Sources;
use ripieno_compiler::resolve::{LoadError, Loader};
use ripieno_engrave::draw::{pdf, svg};
use ripieno_engrave::paper::Setup;
use ripieno_engrave::{layout, reading};
use ripieno_writers::edition;

struct Beside(PathBuf);

impl Loader for Beside {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = std::fs::read_to_string(self.0.join(path)).map_err(|_| LoadError::NotFound)?;
        Ok((path.to_string(), text))
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [source, scoring, folder] = arguments.as_slice() else {
        eprintln!("SOURCE SCORING FOLDER");
        return;
    };
    let text = std::fs::read_to_string(source).expect("the source can be read");
    let mut sources = Sources::new();
    let root = sources.add(source, &text);
    let folder = Path::new(folder);
    std::fs::create_dir_all(folder).expect("the folder can be made");
    let mut loader = Beside(Path::new(source).parent().map(Path::to_path_buf).unwrap_or_default());
    let (piece, _) = ripieno_compiler::resolve::resolve(&mut sources, root, &mut loader);
    let chosen =
        piece.scorings.iter().find(|known| known.name == *scoring).expect("no such scoring");
    let arrangement = ripieno_compiler::arrange::arrange(&piece, chosen);
    let score = ripieno_writers::notate::notate(&arrangement);
    let mut sheets = vec![
        ("score".to_string(), reading::sheet(&edition::full_score(&score))),
        ("condensed".to_string(), reading::sheet(&edition::condensed_score(&score))),
    ];
    for (n, staff) in score.staves.iter().enumerate() {
        let part = edition::part(&score, n);
        sheets.push((staff.id.clone(), reading::sheet(&part)));
    }
    for (name, sheet) in sheets {
        let begun = std::time::Instant::now();
        let pages = layout::pages(&sheet, &Setup::default());
        let laid = begun.elapsed();
        let document = pdf::document(&pages);
        println!(
            "{name}: {} pages, {} bytes, {laid:?} + {:?}, {:?}",
            pages.pages.len(),
            document.len(),
            begun.elapsed() - laid,
            pages.turns
        );
        std::fs::write(folder.join(format!("{name}.pdf")), document).expect("written");
        for (n, page) in pages.pages.iter().enumerate() {
            std::fs::write(folder.join(format!("{name}-{}.svg", n + 1)), svg::page(page))
                .expect("written");
        }
    }
}
