//! The texts of a session: those that are open, and those that came in through the loader.

use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::sync::OnceLock;

use crate::diagnostics::{FileId, Sources};
use crate::resolve::{LoadError, Loader, Shelf, read_file};
use crate::syntax::Document;

/// Bytes of a text from which on it is better read twice than kept as it was read.
const LONG: usize = 8 * 1024;

pub(super) struct Files {
    sources: Sources,
    /// By number. What was forgotten is read again when somebody asks for it.
    documents: Vec<OnceLock<Document>>,
    /// Was any text edited? Then reading it again would give its items other numbers.
    edited: bool,
    names: HashMap<String, FileId>,
    open: HashSet<FileId>,
    /// What the loader answered, by the file that asks and the path that it names.
    answers: HashMap<(FileId, String), Result<FileId, LoadError>>,
    loader: Box<dyn Loader>,
    /// The files that were reached since [`Files::begin`].
    reached: Vec<FileId>,
    /// Is each of them asked about once?
    once: bool,
}

impl Files {
    pub(super) fn new(loader: Box<dyn Loader>, once: bool) -> Files {
        Files {
            sources: Sources::new(),
            documents: Vec::new(),
            edited: false,
            names: HashMap::new(),
            open: HashSet::new(),
            answers: HashMap::new(),
            loader,
            reached: Vec::new(),
            once,
        }
    }

    pub(super) fn sources(&self) -> &Sources {
        &self.sources
    }

    pub(super) fn named(&self, name: &str) -> Option<FileId> {
        self.names.get(name).copied()
    }

    /// Begins to note which files are reached from a root.
    pub(super) fn begin(&mut self, root: FileId) {
        self.reached = vec![root];
    }

    pub(super) fn reached(&self) -> Vec<FileId> {
        self.reached.clone()
    }

    pub(super) fn open(&mut self, name: &str, text: &str) -> FileId {
        let file = self.put(name, text);
        self.open.insert(file);
        // What was not there may be there now.
        self.answers.clear();
        file
    }

    pub(super) fn close(&mut self, file: FileId) {
        self.open.remove(&file);
        self.answers.clear();
    }

    pub(super) fn refresh(&mut self) {
        self.answers.clear();
    }

    pub(super) fn edit(&mut self, file: FileId, range: Range<usize>, with: &str) {
        if self.documents.len() <= file.0 as usize {
            return;
        }
        self.read(file);
        let Some(document) = self.documents[file.0 as usize].get_mut() else { return };
        self.edited = true;
        document.edit(range, with);
        self.sources.replace(file, document.text().to_string(), document.places());
    }

    fn read(&self, file: FileId) -> &Document {
        self.documents[file.0 as usize].get_or_init(|| {
            let source = self.sources.get(file);
            read_file(file, &source.name, &source.text)
        })
    }

    /// Forgets what was read of the long ones among the files that were reached; their texts stay.
    fn forget_long(&mut self) {
        for file in self.reached.iter().filter(|_| !self.edited) {
            if self.sources.get(*file).text.len() > LONG {
                self.documents[file.0 as usize].take();
            }
        }
    }

    /// Puts a text under a name; of one that is there, only what differs is read.
    fn put(&mut self, name: &str, text: &str) -> FileId {
        let Some(file) = self.named(name) else {
            let file = self.sources.add(name, text);
            let document = read_file(file, name, text);
            self.sources.set_items(file, document.places());
            self.documents.push(OnceLock::from(document));
            self.names.insert(name.to_string(), file);
            return file;
        };
        let old = &self.sources.get(file).text;
        if old != text {
            let (range, with) = difference(old, text);
            self.edit(file, range, &text[with]);
        }
        file
    }
}

/// The bytes in which a text differs from another, and those that stand there in the other.
fn difference(old: &str, new: &str) -> (Range<usize>, Range<usize>) {
    let same = |a: &[u8], b: &[u8]| a.iter().zip(b).take_while(|(a, b)| a == b).count();
    let mut before = same(old.as_bytes(), new.as_bytes());
    while !(old.is_char_boundary(before) && new.is_char_boundary(before)) {
        before -= 1;
    }
    let rest = (old.as_bytes()[before..].iter().rev(), new.as_bytes()[before..].iter().rev());
    let mut after = rest.0.zip(rest.1).take_while(|(a, b)| a == b).count();
    while !(old.is_char_boundary(old.len() - after) && new.is_char_boundary(new.len() - after)) {
        after -= 1;
    }
    (before..old.len() - after, before..new.len() - after)
}

impl Shelf for Files {
    fn let_go(&mut self) {
        if self.once {
            self.forget_long();
        }
    }

    fn document(&self, file: FileId) -> &Document {
        self.read(file)
    }

    fn name(&self, file: FileId) -> &str {
        &self.sources.get(file).name
    }

    fn find(&mut self, path: &str, from: FileId) -> Result<FileId, LoadError> {
        let asked = (from, path.to_string());
        let found = match self.answers.get(&asked) {
            Some(known) => known.clone(),
            None => {
                let from = &self.sources.get(from).name;
                let name = self.loader.name(path, from);
                let open = name.and_then(|name| self.named(&name));
                let found = match open.filter(|file| self.open.contains(file)) {
                    Some(file) => Ok(file),
                    None => self.loader.load(path, from).map(|(name, text)| {
                        let open = self.named(&name).filter(|file| self.open.contains(file));
                        open.unwrap_or_else(|| self.put(&name, &text))
                    }),
                };
                self.answers.insert(asked, found.clone());
                found
            }
        };
        if let Ok(file) = found
            && !self.reached.contains(&file)
        {
            self.reached.push(file);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::{LONG, difference};
    use crate::resolve::NoFiles;
    use crate::session::Session;

    #[test]
    fn what_was_forgotten_is_read_again_as_it_was() {
        let bars: String = (1..=4000).map(|bar| format!("  {bar}: 1/2 D5 E5 |\n")).collect();
        let text = format!(
            "form {{\n  1 metre 4/4, key D major\n  4000 end\n}}\nvoice tune {{\n{bars}}}\n\
             ensemble few {{\n  era 1885\n  flute\n}}\nscoring all for few {{\n  flute plays tun\n}}\n"
        );
        assert!(text.len() > LONG);
        let mut once = Session::asked_once(NoFiles);
        let mut always = Session::new(NoFiles);
        let told = |session: &mut Session| {
            let file = session.open("long.ripieno", &text);
            let first = format!("{:?}", session.findings(file));
            let place = session.document(file).text().find("tun\n").unwrap_or(0);
            session.edit(file, place + 3..place + 3, "e");
            let blocks = session.document(file).blocks().len();
            (first, format!("{:?}", session.findings(file)), blocks)
        };
        let (one, other) = (told(&mut once), told(&mut always));
        assert!(one.0.contains("tune") && one.0 != one.1, "{}", one.0);
        assert_eq!(one, other);
    }

    #[test]
    fn a_difference_is_what_stands_between_what_is_the_same() {
        for (old, new) in [
            ("", "a"),
            ("abc", "abc"),
            ("aXc", "aYYc"),
            ("♭♯", "♭♭♯"),
            ("aa", "aaa"),
            ("1: C5 |", "1: C5 D |"),
            ("é", "è"),
        ] {
            let (range, with) = difference(old, new);
            let mut text = old.to_string();
            text.replace_range(range, &new[with]);
            assert_eq!(text, new);
        }
    }
}
