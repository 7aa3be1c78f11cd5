//! How sources come in, and how `use` is followed.

use std::collections::{HashMap, HashSet};

use super::Resolver;
use crate::diagnostics::{Diagnostic, FileId, Sources, Span};
use crate::instruments::{self, Instrument};
use crate::limits;
use crate::syntax::{Declaration, Document, Tree, Word};

/// Why a source could not be brought in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum LoadError {
    /// There is no such file.
    NotFound,
    /// The path leads out of the project's root.
    OutsideRoot,
    /// The file is not UTF-8; the first wrong byte is at this offset.
    NotUtf8(usize),
    /// The file is longer than [`SOURCE`](crate::limits::SOURCE).
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

    /// The name that [`Loader::load`] would give to a source, whether or not it is there: so a
    /// session finds a source that is open in an editor and was never saved.
    fn name(&self, _path: &str, _from: &str) -> Option<String> {
        None
    }
}

/// A loader for sources that stand alone: every `use` is an error.
pub struct NoFiles;

impl Loader for NoFiles {
    fn load(&mut self, _: &str, _: &str) -> Result<(String, String), LoadError> {
        Err(LoadError::NotFound)
    }
}

/// Where the files that are read stand: those of one run, or those that a session keeps.
pub trait Shelf {
    /// The file as it was read.
    fn document(&self, file: FileId) -> &Document;
    /// Its name, unique, as it is shown.
    fn name(&self, file: FileId) -> &str;
    /// The file that `path` names in another one.
    ///
    /// # Errors
    /// Says why it cannot be brought in.
    fn find(&mut self, path: &str, from: FileId) -> Result<FileId, LoadError>;
    /// The declarations were taken: whatever else is kept of the files may go, where nobody asks for it
    /// again.
    fn let_go(&mut self) {}
}

/// The files of one run, read as they are asked for.
pub(super) struct Once<'a> {
    sources: &'a mut Sources,
    loader: &'a mut dyn Loader,
    documents: HashMap<FileId, Document>,
    names: HashMap<String, FileId>,
}

impl Once<'_> {
    pub(super) fn new<'a>(
        sources: &'a mut Sources,
        root: FileId,
        loader: &'a mut dyn Loader,
    ) -> Once<'a> {
        let names = HashMap::from([(sources.get(root).name.clone(), root)]);
        let mut shelf = Once { sources, loader, documents: HashMap::new(), names };
        shelf.read(root);
        shelf
    }

    fn read(&mut self, file: FileId) {
        let source = self.sources.get(file);
        let document = read_file(file, &source.name, &source.text);
        self.sources.set_items(file, document.places());
        self.documents.insert(file, document);
    }
}

impl Shelf for Once<'_> {
    fn document(&self, file: FileId) -> &Document {
        &self.documents[&file]
    }

    fn name(&self, file: FileId) -> &str {
        &self.sources.get(file).name
    }

    fn find(&mut self, path: &str, from: FileId) -> Result<FileId, LoadError> {
        let (name, text) = self.loader.load(path, &self.sources.get(from).name)?;
        if let Some(known) = self.names.get(&name) {
            return Ok(*known);
        }
        let file = self.sources.add(name.clone(), text);
        self.names.insert(name, file);
        self.read(file);
        Ok(file)
    }
}

/// The declarations of a source and of all it uses, used ones first, and the instruments of the
/// user that are among them.
pub(super) fn read_all(
    shelf: &mut dyn Shelf,
    root: FileId,
    cx: &mut Resolver,
) -> (Tree, UsersInstruments) {
    let bytes = shelf.document(root).text().len();
    let mut reading = Reading {
        shelf,
        cx,
        open: Vec::new(),
        done: HashSet::new(),
        begun: 1,
        bytes,
        full: false,
        instruments: UsersInstruments::default(),
    };
    let mut whole = Tree::default();
    if holds_instruments(reading.shelf.name(root)) {
        // Looked through for itself: there is no piece whose parts could be missing.
        reading.instruments_of(root);
        whole.declarations.push(Declaration::Lost(None).into());
    } else {
        reading.read(root, &mut whole);
    }
    (whole, reading.instruments)
}

/// The instruments of the user's own files, and those that the sources declare.
#[derive(Clone, Default)]
pub(super) struct UsersInstruments {
    pub known: Vec<&'static Instrument>,
    /// Names of those that could not be read; what follows from that is not told.
    pub lost: Vec<String>,
}

impl UsersInstruments {
    /// Is it the name of one that could not be read, perhaps with the number of a section?
    pub(super) fn is_lost(&self, word: &str) -> bool {
        let plain = word.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches('-');
        self.lost.iter().any(|id| id == word || id == plain)
    }
}

struct Reading<'a> {
    shelf: &'a mut dyn Shelf,
    cx: &'a mut Resolver,
    /// Sources that are being read, from the root inwards.
    open: Vec<FileId>,
    done: HashSet<FileId>,
    /// How many files were begun, and their bytes.
    begun: usize,
    bytes: usize,
    /// Was it told that there is too much?
    full: bool,
    instruments: UsersInstruments,
}

/// Is it the name of a file of instruments?
fn holds_instruments(name: &str) -> bool {
    name.to_lowercase().ends_with(".toml")
}

/// Reads a file as what its name says that it is: a source, or instruments.
#[must_use]
pub fn read_file(file: FileId, name: &str, text: &str) -> Document {
    match holds_instruments(name) {
        true => Document::data(file, text),
        false => Document::new(file, text),
    }
}

impl Reading<'_> {
    fn read(&mut self, file: FileId, whole: &mut Tree) {
        let document = self.shelf.document(file);
        self.cx.diagnostics.extend(document.findings().cloned());
        self.cx.crowd.add_beyond(document.crowd());
        let tree = document.tree();
        self.open.push(file);
        for declaration in tree.declarations {
            match &*declaration {
                Declaration::Use(path) => self.follow(path, file, whole),
                _ => whole.declarations.push(declaration),
            }
        }
        self.open.pop();
        self.done.insert(file);
    }

    fn follow(&mut self, path: &Word, from: FileId, whole: &mut Tree) {
        let file = match self.shelf.find(&path.value, from) {
            Ok(file) => file,
            Err(error) => {
                whole.declarations.push(Declaration::Lost(Some("use")).into());
                return self.cx.push(cannot_use(path, &error));
            }
        };
        if self.open.len() >= limits::DEPTH && !self.open.contains(&file) {
            self.cx.push(
                Diagnostic::error(
                    "use/cannot-read",
                    path.span,
                    format!("Files use one another more than {} deep.", limits::DEPTH),
                )
                .with_help("Let the piece itself `use` what it needs, side by side."),
            );
            return;
        }
        if self.open.contains(&file) {
            let name = self.shelf.name(file);
            let chain: Vec<&str> = self.open.iter().map(|file| self.shelf.name(*file)).collect();
            let chain = chain.join("` uses `");
            self.cx.push(
                Diagnostic::error("use/cycle", path.span, format!("`{name}` uses itself."))
                    .with_text(format!("`{chain}` uses `{name}`"))
                    .with_help("Move what both need into a third file, and let both use that."),
            );
            return;
        }
        if self.done.contains(&file) {
            return;
        }
        let length = self.shelf.document(file).text().len();
        // The source itself is among those that were begun, and is not used.
        if self.begun > limits::FILES || self.bytes + length > limits::SOURCES {
            if !std::mem::replace(&mut self.full, true) {
                self.cx.push(too_much(path, self.begun > limits::FILES));
            }
            whole.declarations.push(Declaration::Lost(None).into());
            self.done.insert(file);
            return;
        }
        self.bytes += length;
        self.begun += 1;
        if holds_instruments(self.shelf.name(file)) {
            self.instruments_of(file);
        } else {
            self.read(file, whole);
        }
    }

    /// The instruments of a file in the format of the catalogue.
    fn instruments_of(&mut self, file: FileId) {
        let text = self.shelf.document(file).text();
        let (found, faults) = instruments::read_instruments(text, &self.instruments.known);
        self.instruments.known.extend(found);
        for fault in faults {
            // No source is as long as the numbers of a span.
            let at = |place: usize| u32::try_from(place).unwrap_or(u32::MAX);
            let span = Span::new(file, at(fault.range.start), at(fault.range.end));
            let finding = Diagnostic::error("use/cannot-read", span, fault.message);
            self.cx.push(finding.with_help(fault.help));
            self.instruments.lost.extend(fault.instrument);
        }
        self.done.insert(file);
    }
}

/// A piece uses too many files, or too much text.
fn too_much(path: &Word, files: bool) -> Diagnostic {
    let message = match files {
        true => format!("With this file the piece uses more than {} files.", limits::FILES),
        false => {
            format!("With this file the piece is longer than {} MB.", limits::SOURCES >> 20)
        }
    };
    Diagnostic::error("use/cannot-read", path.span, message)
        .with_help("Use what the piece needs, and nothing else; make several pieces of it.")
}

pub(super) fn cannot_use(path: &Word, error: &LoadError) -> Diagnostic {
    let (message, help) = match error {
        LoadError::NotFound => (
            format!("File `{}` not found.", path.value),
            "Paths are relative to the file that contains the `use`.".to_string(),
        ),
        LoadError::OutsideRoot => (
            format!("`{}` is outside the project's root.", path.value),
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
            "Check the file and try again.".to_string(),
        ),
    };
    Diagnostic::error("use/cannot-read", path.span, message).with_help(help)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::resolve::resolve;

    /// One file of instruments beside the source.
    struct Band(&'static str);

    impl Loader for Band {
        fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
            Ok((path.to_string(), self.0.to_string()))
        }
    }

    const PIECE: &str = "use \"band.toml\"\npiece \"Ferry\" { composer \"House copyist\" }\n\
         form { 1 metre 4/4, key C major\n 1 end }\nvoice tune { 1: 1/1 C3 | }\n\
         ensemble few { era 1885\n weir-cello 2 players, weir-cello-2 2 players }\n\
         scoring few for few {\n weir-cello plays tune as melody\n weir-cello-2 rests\n}\n";

    fn read(band: &'static str) -> (usize, Vec<Diagnostic>) {
        let mut sources = Sources::new();
        let root = sources.add("piece.ripieno", PIECE.to_string());
        let (piece, found) = resolve(&mut sources, root, &mut Band(band));
        (piece.ensembles[0].players.len(), found)
    }

    #[test]
    fn an_ensemble_engages_instruments_of_the_users_own_file() {
        let (players, found) = read("[[instrument]]\nid = \"weir-cello\"\nlike = \"cello\"\n");
        assert!(found.is_empty(), "{found:#?}");
        assert_eq!(players, 2);
    }

    #[test]
    fn what_is_wrong_in_it_is_told_at_its_place_in_its_own_file() {
        let (_, found) = read("[[instrument]]\nid = \"weir-cello\"\nlike = \"chello\"\n");
        assert_eq!(found[0].code, "use/cannot-read", "{found:#?}");
        assert_eq!(found.len(), 1, "what follows from it is not told: {found:#?}");
    }

    #[test]
    fn a_file_of_instruments_is_looked_through_for_itself() {
        let found = |text: &str| {
            let mut sources = Sources::new();
            let root = sources.add("band.toml", text.to_string());
            resolve(&mut sources, root, &mut NoFiles).1
        };
        let good = found("[[instrument]]\nid = \"weir-cello\"\nlike = \"cello\"\n");
        assert!(good.is_empty(), "{good:#?}");
        let bad = found("[[instrument]]\nid = \"weir-cello\"\nlike = \"chello\"\n");
        assert_eq!(bad.len(), 1, "{bad:#?}");
        assert!(bad[0].message.contains("weir-cello"), "{bad:#?}");
    }

    #[test]
    fn a_file_of_instruments_costs_nothing_as_a_source() {
        let document = read_file(FileId(0), "Band.TOML", "[[instrument]]\n");
        assert_eq!(document.items().count(), 0);
        assert_eq!(document.text(), "[[instrument]]\n");
        assert!(document.findings().next().is_none());
    }
}
