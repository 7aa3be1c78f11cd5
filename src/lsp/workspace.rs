//! The texts that a client has open, the folders it works in, and one session over all of them.

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::path::{Component, Path, PathBuf};
use std::rc::Rc;
use std::sync::{Arc, Mutex, PoisonError};

use gen_lsp_types as lsp;

use super::positions::{Encoding, Lines};
use super::uri;
use crate::diagnostics::FileId;
use crate::resolve::{LoadError, Loader};
use crate::session::Session;
use crate::syntax::{Declaration, Document};

/// What the server asks of the machine. The command line gives the real one, tests one in memory.
pub trait Host: Send + Sync {
    /// The text of a source.
    ///
    /// # Errors
    /// Says why it cannot be read.
    fn read(&self, file: &Path) -> Result<String, LoadError>;

    /// Where a file really lies, links followed.
    ///
    /// # Errors
    /// Says why that cannot be known.
    fn real(&self, file: &Path) -> Result<PathBuf, LoadError>;

    /// The sources in a folder and those below it.
    fn sources_below(&self, folder: &Path) -> Vec<PathBuf>;

    /// A file that holds a page about a code, written if it is not there yet; `None` where none can
    /// be written.
    fn page(&self, code: &str, text: &str) -> Option<PathBuf>;

    /// Writes the score and parts of a scoring, and says what was written.
    ///
    /// # Errors
    /// Says why it could not be done.
    fn build(&self, file: &Path, scoring: &str) -> Result<String, String>;
}

/// A place that a request is about.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct At {
    /// The file whose piece is meant.
    pub root: FileId,
    /// The file in which it lies: the same, or one that it uses.
    pub file: FileId,
    /// The byte in its text.
    pub offset: usize,
}

/// Bytes of a text. Places are in order by text and beginning.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TextPlace {
    /// The text.
    pub file: FileId,
    /// The bytes.
    pub range: Range<usize>,
}

impl Ord for TextPlace {
    fn cmp(&self, other: &TextPlace) -> std::cmp::Ordering {
        let key = |place: &TextPlace| (place.file, place.range.start, place.range.end);
        key(self).cmp(&key(other))
    }
}

impl PartialOrd for TextPlace {
    fn partial_cmp(&self, other: &TextPlace) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// A text that is open in the client.
struct Open {
    /// `None` only while the session cannot take it in.
    file: Option<FileId>,
    /// The address as the client spells it.
    uri: lsp::Uri,
    version: i32,
    text: String,
    lines: Lines,
}

/// See the module.
pub struct Workspace {
    /// The session over all texts.
    pub session: Session,
    host: Arc<dyn Host>,
    /// Folders of the client, by name.
    folders: Arc<Mutex<Vec<String>>>,
    /// By name.
    open: BTreeMap<String, Open>,
    /// What was counted of texts that are not open.
    lines: RefCell<HashMap<FileId, Rc<Lines>>>,
    /// The addresses of the pages about codes.
    pages: RefCell<HashMap<String, Option<lsp::Uri>>>,
    /// The files that were reached from each root that was asked.
    reached: HashMap<FileId, Vec<FileId>>,
    encoding: Encoding,
}

impl Workspace {
    /// A workspace without texts.
    #[must_use]
    pub fn new(host: Arc<dyn Host>, encoding: Encoding, folders: Vec<String>) -> Workspace {
        let folders = Arc::new(Mutex::new(folders));
        let loader = FolderLoader { host: Arc::clone(&host), folders: Arc::clone(&folders) };
        Workspace {
            session: Session::new(loader),
            host,
            folders,
            open: BTreeMap::new(),
            lines: RefCell::default(),
            pages: RefCell::default(),
            reached: HashMap::new(),
            encoding,
        }
    }

    /// The machine.
    #[must_use]
    pub fn host(&self) -> &Arc<dyn Host> {
        &self.host
    }

    /// The address of a page about a code, whose text is made if it was not asked for yet.
    pub fn page(&self, code: &str, text: impl FnOnce() -> Option<String>) -> Option<lsp::Uri> {
        if let Some(known) = self.pages.borrow().get(code) {
            return known.clone();
        }
        let page = text().and_then(|text| self.host.page(code, &text));
        let page = page.map(|page| uri::uri_of(&plain_name(&page)));
        self.pages.borrow_mut().insert(code.to_string(), page.clone());
        page
    }

    /// What the client counts in.
    #[must_use]
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// Takes folders in and lets others go.
    pub fn change_folders(&mut self, added: Vec<String>, removed: &[String]) {
        let mut folders = self.folders.lock().unwrap_or_else(PoisonError::into_inner);
        folders.retain(|folder| !removed.contains(folder));
        folders.extend(added);
        drop(folders);
        self.refresh();
    }

    /// Opens a text.
    pub fn open(&mut self, uri: lsp::Uri, version: i32, text: String) {
        let name = uri::name_of(&uri);
        let lines = Lines::new(&text);
        self.open.insert(name.clone(), Open { file: None, uri, version, text, lines });
        self.take_in(&name);
    }

    /// Lets the session read an open text.
    fn take_in(&mut self, name: &str) {
        self.lines.borrow_mut().clear();
        if let Some(open) = self.open.get_mut(name) {
            open.file = None;
            open.file = Some(self.session.open(name, &open.text));
        }
    }

    /// Changes an open text. Gives back its number.
    ///
    /// The text is changed whatever the session makes of it, so that both sides stay of one mind.
    pub fn change(
        &mut self,
        uri: &lsp::Uri,
        version: i32,
        changes: Vec<lsp::TextDocumentContentChangeEvent>,
    ) -> Option<FileId> {
        use lsp::TextDocumentContentChangeEvent as Event;
        let encoding = self.encoding;
        let open = self.open.get_mut(&uri::name_of(uri))?;
        open.version = version;
        let mut edits: Vec<(Range<usize>, String)> = Vec::new();
        for change in changes {
            let (range, with) = match change {
                Event::TextDocumentContentChangeWholeDocument(whole) => {
                    (0..open.text.len(), whole.text)
                }
                Event::TextDocumentContentChangePartial(part) => {
                    let start = open.lines.offset(&open.text, encoding, part.range.start);
                    let end = open.lines.offset(&open.text, encoding, part.range.end);
                    (start..end.max(start), part.text)
                }
            };
            open.text.replace_range(range.clone(), &with);
            open.lines = Lines::new(&open.text);
            edits.push((range, with));
        }
        let file = open.file?;
        for (range, with) in edits {
            self.session.edit(file, range, &with);
        }
        Some(file)
    }

    /// Closes a text. Gives back the number that it had.
    pub fn close(&mut self, uri: &lsp::Uri) -> Option<FileId> {
        let file = self.open.remove(&uri::name_of(uri))?.file?;
        self.reached.remove(&file);
        self.lines.borrow_mut().clear();
        self.session.close(file);
        Some(file)
    }

    /// Something outside has changed.
    pub fn refresh(&mut self) {
        self.lines.borrow_mut().clear();
        self.session.refresh();
    }

    /// Begins again with the open texts alone, after something went wrong within the compiler.
    pub fn begin_anew(&mut self) {
        let folders = self.folders.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let open = std::mem::take(&mut self.open);
        *self = Workspace::new(Arc::clone(&self.host), self.encoding, folders);
        self.open = open;
        self.open.values_mut().for_each(|open| open.file = None);
        let names: Vec<String> = self.open.keys().cloned().collect();
        for name in names {
            // A text that the session cannot even read waits for its next edit.
            let read =
                std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.take_in(&name)));
            if read.is_err() {
                continue;
            }
        }
    }

    /// Reads an open text again that could not be read when it was last tried.
    pub fn try_again(&mut self, uri: &lsp::Uri) {
        let name = uri::name_of(uri);
        if self.open.get(&name).is_some_and(|open| open.file.is_none()) {
            self.take_in(&name);
        }
    }

    /// The open texts.
    pub fn open_files(&self) -> impl Iterator<Item = FileId> {
        self.open.values().filter_map(|open| open.file)
    }

    /// Is the text open?
    #[must_use]
    pub fn is_open(&self, file: FileId) -> bool {
        self.open.contains_key(self.name(file))
    }

    /// The version of an open text.
    #[must_use]
    pub fn version(&self, file: FileId) -> Option<i32> {
        self.open.get(self.name(file)).map(|open| open.version)
    }

    /// The number of the text at an address, if it is open.
    #[must_use]
    pub fn file(&self, uri: &lsp::Uri) -> Option<FileId> {
        self.open.get(&uri::name_of(uri))?.file
    }

    /// The name of a text.
    #[must_use]
    pub fn name(&self, file: FileId) -> &str {
        self.session.sources().find(file).map_or("", |source| &source.name)
    }

    /// The address of a text, as the client spells it where it has it open.
    #[must_use]
    pub fn uri(&self, file: FileId) -> lsp::Uri {
        let name = self.name(file);
        self.open.get(name).map_or_else(|| uri::uri_of(name), |open| open.uri.clone())
    }

    /// A text.
    #[must_use]
    pub fn text(&self, file: FileId) -> &str {
        self.session.document(file).text()
    }

    fn with_lines<T>(&self, file: FileId, ask: impl FnOnce(&str, &Lines) -> T) -> T {
        if let Some(open) = self.open.get(self.name(file)) {
            return ask(&open.text, &open.lines);
        }
        let text = self.text(file);
        let known = self.lines.borrow().get(&file).cloned();
        let lines = known.unwrap_or_else(|| {
            let lines = Rc::new(Lines::new(text));
            self.lines.borrow_mut().insert(file, Rc::clone(&lines));
            lines
        });
        ask(text, &lines)
    }

    /// Where some bytes stand.
    #[must_use]
    pub fn range(&self, file: FileId, bytes: Range<usize>) -> lsp::Range {
        self.with_lines(file, |text, lines| lines.range(text, self.encoding, bytes))
    }

    /// Where a byte stands.
    #[must_use]
    pub fn position(&self, file: FileId, offset: usize) -> lsp::Position {
        self.range(file, offset..offset).start
    }

    /// The byte of a position.
    #[must_use]
    pub fn offset(&self, file: FileId, position: lsp::Position) -> usize {
        self.with_lines(file, |text, lines| lines.offset(text, self.encoding, position))
    }

    /// The bytes of a range.
    #[must_use]
    pub fn bytes(&self, file: FileId, range: lsp::Range) -> Range<usize> {
        let start = self.offset(file, range.start);
        start..self.offset(file, range.end).max(start)
    }

    /// The place of some bytes with its address.
    #[must_use]
    pub fn location(&self, place: &TextPlace) -> lsp::Location {
        lsp::Location {
            uri: self.uri(place.file),
            range: self.range(place.file, place.range.clone()),
        }
    }

    /// A position in an open text, and the root to which it belongs.
    pub fn at(&mut self, uri: &lsp::Uri, position: lsp::Position) -> Option<At> {
        let file = self.file(uri)?;
        let offset = self.offset(file, position);
        Some(At { root: self.root_of(file), file, offset })
    }

    /// The root whose piece is meant where a file is asked about: the file itself if it has a
    /// piece or a scoring, or else an open file that uses it.
    pub fn root_of(&mut self, file: FileId) -> FileId {
        if is_whole(self.session.document(file)) {
            return file;
        }
        self.whole_users_of(file).next().unwrap_or(file)
    }

    /// The other open files with a piece or a scoring of their own that use a file.
    fn whole_users_of(&self, file: FileId) -> impl Iterator<Item = FileId> {
        self.users_of(file).into_iter().filter(|user| is_whole(self.session.document(*user)))
    }

    /// The other open files that use a file, as far as they were asked for.
    fn users_of(&self, file: FileId) -> Vec<FileId> {
        let uses = |root: &FileId| {
            *root != file && self.reached.get(root).is_some_and(|reached| reached.contains(&file))
        };
        self.open_files().filter(uses).collect()
    }

    /// The open files that are checked by themselves: all but those without a piece or a scoring
    /// of their own that one with such uses.
    pub fn roots(&mut self) -> Vec<FileId> {
        let open: Vec<FileId> = self.open_files().collect();
        for file in &open {
            if !self.reached.contains_key(file) {
                self.reach(*file);
            }
        }
        let stands_alone = |file: &FileId| {
            is_whole(self.session.document(*file)) || self.whole_users_of(*file).next().is_none()
        };
        open.iter().copied().filter(stands_alone).collect()
    }

    /// Finds out which files a root is read from.
    pub fn reach(&mut self, root: FileId) {
        let files = self.session.files_of(root);
        self.reached.insert(root, files);
    }

    /// The open files from which a root was read.
    #[must_use]
    pub fn read_from(&self, root: FileId) -> Vec<FileId> {
        let reached = self.reached.get(&root);
        reached.into_iter().flatten().copied().filter(|file| self.is_open(*file)).collect()
    }

    /// The open files that are read from a file, itself among them.
    #[must_use]
    pub fn reading(&self, file: FileId) -> Vec<FileId> {
        let mut reading = self.users_of(file);
        if self.is_open(file) {
            reading.push(file);
        }
        reading
    }

    /// All sources of the folders and all that are open: their numbers. Those that are not open
    /// are read as they are on the host now.
    pub fn all_files(&mut self) -> Vec<FileId> {
        let folders = self.folders.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let mut all: Vec<FileId> = self.open_files().collect();
        for folder in folders {
            for path in self.host.sources_below(Path::new(&folder)) {
                let name = plain_name(&path);
                if self.open.contains_key(&name) {
                    continue;
                }
                let Ok(text) = self.host.read(&path) else { continue };
                let known = self.session.file(&name);
                let file = match known.filter(|file| self.session.document(*file).text() == text) {
                    Some(file) => file,
                    None => {
                        let file = self.session.open(&name, &text);
                        self.session.close(file);
                        file
                    }
                };
                if !all.contains(&file) {
                    all.push(file);
                }
            }
        }
        self.lines.borrow_mut().clear();
        all
    }
}

/// Does a file have a piece or a scoring of its own?
fn is_whole(document: &Document) -> bool {
    document
        .blocks()
        .iter()
        .any(|block| matches!(*block.declaration, Declaration::Piece(_) | Declaration::Scoring(_)))
}

/// The name of a file by its path.
#[must_use]
pub fn plain_name(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

/// Brings in what `use` names: from beside the file that uses it, and from nowhere above the
/// folder of the client in which that lies, or else its own folder.
struct FolderLoader {
    host: Arc<dyn Host>,
    folders: Arc<Mutex<Vec<String>>>,
}

impl FolderLoader {
    fn root(&self, from: &Path) -> PathBuf {
        let folders = self.folders.lock().unwrap_or_else(PoisonError::into_inner);
        let around = folders.iter().map(Path::new).filter(|folder| from.starts_with(folder));
        let outermost = around.min_by_key(|folder| folder.components().count());
        outermost.or_else(|| from.parent()).unwrap_or(Path::new("/")).to_path_buf()
    }

    fn find(&self, path: &str, from: &str) -> Option<(PathBuf, PathBuf)> {
        let from = Path::new(from);
        let absolute =
            |component: Component| matches!(component, Component::RootDir | Component::Prefix(_));
        if !uri::is_file(&from.to_string_lossy()) || Path::new(path).components().any(absolute) {
            return None;
        }
        let mut full = from.parent()?.to_path_buf();
        for component in Path::new(path).components() {
            match component {
                Component::Normal(name) => full.push(name),
                Component::ParentDir => {
                    full.pop();
                }
                _ => {}
            }
        }
        let root = self.root(from);
        full.starts_with(&root).then_some((full, root))
    }
}

impl Loader for FolderLoader {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        if !uri::is_file(from) {
            return Err(LoadError::NotFound);
        }
        let (full, root) = self.find(path, from).ok_or(LoadError::OutsideRoot)?;
        // A link must not lead out of the root either.
        let real = self.host.real(&full)?;
        if !real.starts_with(self.host.real(&root)?) {
            return Err(LoadError::OutsideRoot);
        }
        Ok((plain_name(&full), self.host.read(&full)?))
    }

    fn name(&self, path: &str, from: &str) -> Option<String> {
        self.find(path, from).map(|(full, _)| plain_name(&full))
    }
}
