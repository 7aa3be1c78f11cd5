use super::*;
use crate::diagnostics::FileId;

#[test]
fn scratch() {
    for f in ["/tmp/t/a.ripieno", "/tmp/t/b.ripieno"] {
        let text = std::fs::read_to_string(f).unwrap();
        let (tree, diagnostics) = parse(FileId(0), &text);
        println!("{tree:#?}");
        for d in diagnostics {
            println!("{} | {} | {} | {:?} | {:?}", d.primary.span.start, d.message, d.primary.text, d.help, &text[d.primary.span.start as usize..d.primary.span.end as usize]);
        }
    }
}
