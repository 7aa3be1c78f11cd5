//! `ripieno fmt`.

use std::io::Write;
use std::path::PathBuf;

use super::source::{self, STANDARD_INPUT};
use super::{End, Outcome, files, print};
use ripieno_compiler::diagnostics::FileId;
use ripieno_compiler::format;
use ripieno_compiler::syntax::Document;

/// What `fmt` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The sources; `-` takes the standard input and gives the standard output.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Change nothing; name the files that are not in the canonical form, with the first line
    /// that would change, and end with status 1 if there are any.
    #[arg(long)]
    check: bool,
}

/// A source as it is and as it will be.
struct Source<'a> {
    path: &'a PathBuf,
    text: String,
    formatted: String,
    /// How many places of it could not be read.
    unread: usize,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    // All are read before the first one is written.
    let mut sources = Vec::new();
    for path in &arguments.files {
        let text = source::text(path)?;
        let document = Document::new(FileId(0), text.as_str());
        let formatted = format::format(&document);
        let unread = document.findings().count() + document.crowd().all_beyond();
        sources.push(Source { path, text, formatted, unread });
    }
    let mut end = End::Fine;
    for Source { path, text, formatted, unread } in &sources {
        let piped = path.as_os_str() == STANDARD_INPUT;
        let changed = text != formatted;
        if arguments.check {
            if changed {
                end = End::ErrorsInMusic;
                let line = first_changed_line(text, formatted);
                print(&format!("{}:{line}: not in the canonical form\n", path.display()))?;
            }
            continue;
        }
        if piped {
            print(formatted)?;
        } else if changed {
            files::replace(path, text.as_bytes(), formatted.as_bytes())?;
        }
        if *unread > 0 {
            let places = if *unread == 1 { "1 place" } else { &format!("{unread} places") };
            let _ = writeln!(
                std::io::stderr(),
                "{}: {places} could not be read and stayed as written; `ripieno check` reports why.",
                path.display()
            );
        }
    }
    if end == End::ErrorsInMusic {
        let _ = writeln!(std::io::stderr(), "`ripieno fmt` brings them into it.");
    }
    Ok(end)
}

/// The first line, counted from 1, in which two texts differ.
fn first_changed_line(one: &str, other: &str) -> usize {
    let (mut one, mut other) = (one.split('\n'), other.split('\n'));
    1 + std::iter::from_fn(|| Some((one.next(), other.next())))
        .take_while(|(one, other)| one == other && one.is_some())
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_changed_line_is_found_at_either_end() {
        assert_eq!(first_changed_line("a\nb\n", "a\nc\n"), 2);
        assert_eq!(first_changed_line("a\nb", "a\nb\n"), 3);
        assert_eq!(first_changed_line("\n\na\n", "a\n"), 1);
    }
}
