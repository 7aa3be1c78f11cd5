use ripieno::diagnostics::Sources;
use ripieno::resolve::{LoadError, Loader};
struct L(std::path::PathBuf);
impl Loader for L {
    fn load(&mut self, p: &str, _: &str) -> Result<(String, String), LoadError> {
        Ok((p.into(), std::fs::read_to_string(self.0.join(p)).map_err(|_| LoadError::NotFound)?))
    }
}
fn main() {
    let path = std::env::args().nth(1).unwrap();
    let mut s = Sources::new();
    let id = s.add(path.clone(), std::fs::read_to_string(&path).unwrap());
    let mut l = L(std::path::Path::new(&path).parent().unwrap().into());
    let (piece, d) = ripieno::resolve::resolve(&mut s, id, &mut l);
    let show = |d: &ripieno::diagnostics::Diagnostic| {
        let f = s.get(d.primary.span.file);
        println!(
            "{}:{:?} {} {} | {:?}",
            f.name,
            f.position(d.primary.span.start),
            d.code,
            d.message,
            d.help
        );
    };
    d.iter().for_each(show);
    for sc in &piece.scorings {
        let a = ripieno::arrange::arrange(&piece, sc);
        println!("{} {}", sc.name, a.parts.len());
        a.diagnostics.iter().for_each(show);
        for p in &a.parts {
            println!("  {} {} notes {} dirs", p.player.name, p.notes.len(), p.directions.len());
        }
    }
}
