//! How sources come in, and how `use` is followed.

use crate::diagnostics::{Diagnostic, FileId, Sources};
use crate::syntax::{self, Declaration, Tree, Word};

/// Why a source could not be brought in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum LoadError {
    /// There is no such file.
    NotFound,
    /// The path leads out of the project's root.
    OutsideRoot,
    /// The file is not UTF-8; the first wrong byte is at this offset.
    NotUtf8(usize),
    /// The file is longer than [`syntax::LARGEST_SOURCE`].
    TooLarge,
    /// The system's own words.
    Other(String),
}

/// Brings in the sources that `use` names. The command line reads files; tests and the language
/// server have other ways.
pub trait Loader {
    /// The name (unique, as it is shown) and the text of the source that `path` names in the
    /// source called `from`.
    ///
    /// # Errors
    /// Says why it cannot be brought in.
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError>;
}

/// A loader for sources that stand alone: every `use` is an error.
pub struct NoFiles;

impl Loader for NoFiles {
    fn load(&mut self, _: &str, _: &str) -> Result<(String, String), LoadError> {
        Err(LoadError::NotFound)
    }
}

/// The declarations of a source and of all it uses, used ones first.
pub(super) fn read_all(
    sources: &mut Sources,
    root: FileId,
    loader: &mut dyn Loader,
    diagnostics: &mut Vec<Diagnostic>,
) -> Tree {
    let mut reading = Reading { sources, loader, diagnostics, open: Vec::new(), done: Vec::new() };
    let mut whole = Tree::default();
    reading.read(root, &mut whole);
    whole
}

struct Reading<'a> {
    sources: &'a mut Sources,
    loader: &'a mut dyn Loader,
    diagnostics: &'a mut Vec<Diagnostic>,
    /// Sources that are being read, from the root inwards.
    open: Vec<String>,
    done: Vec<String>,
}

/// `use` within `use` deeper than this is no longer a house's order but a mistake.
const DEEPEST_USE: usize = 32;

impl Reading<'_> {
    fn read(&mut self, file: FileId, whole: &mut Tree) {
        let source = self.sources.get(file);
        let name = source.name.clone();
        let (tree, findings) = syntax::parse(file, &source.text);
        self.diagnostics.extend(findings);
        self.open.push(name.clone());
        for declaration in tree.declarations {
            match declaration {
                Declaration::Use(path) => self.follow(&path, &name, whole),
                other => whole.declarations.push(other),
            }
        }
        self.open.pop();
        self.done.push(name);
    }

    fn follow(&mut self, path: &Word, from: &str, whole: &mut Tree) {
        let (name, text) = match self.loader.load(&path.value, from) {
            Ok(loaded) => loaded,
            Err(error) => {
                whole.declarations.push(Declaration::Lost(Some("use")));
                return self.diagnostics.push(cannot_use(path, &error));
            }
        };
        if self.open.contains(&name) || self.open.len() >= DEEPEST_USE {
            let chain = self.open.join("` uses `");
            self.diagnostics.push(
                Diagnostic::error("use/cycle", path.span, format!("`{name}` uses itself."))
                    .with_text(format!("`{chain}` uses `{name}`"))
                    .with_help("Move what both need into a third file, and let both use that."),
            );
            return;
        }
        if self.done.contains(&name) {
            return;
        }
        let file = self.sources.add(name, text);
        self.read(file, whole);
    }
}

fn cannot_use(path: &Word, error: &LoadError) -> Diagnostic {
    let (message, help) = match error {
        LoadError::NotFound => (
            format!("There is no file `{}`.", path.value),
            "The path is counted from the folder of the file that uses it.".to_string(),
        ),
        LoadError::OutsideRoot => (
            format!("`{}` lies outside the project's root.", path.value),
            "Only files below the root can be used; `--root` sets another one.".to_string(),
        ),
        LoadError::NotUtf8(at) => (
            format!("`{}` is not UTF-8 text (byte {at}).", path.value),
            "Save it as UTF-8 in your editor.".to_string(),
        ),
        LoadError::TooLarge => (
            format!("`{}` is longer than 16 MB.", path.value),
            "Divide it into smaller files.".to_string(),
        ),
        LoadError::Other(why) => (
            format!("`{}` cannot be read: {why}.", path.value),
            "See to the file and try again.".to_string(),
        ),
    };
    Diagnostic::error("use/cannot-read", path.span, message).with_help(help)
}
