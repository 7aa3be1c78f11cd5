//! Small texts for the tests of the features, the cursor marked by `‸`.

use std::collections::HashMap;

use super::workspace::{At, TextPlace};
use crate::diagnostics::FileId;
use crate::resolve::{LoadError, Loader};
use crate::session::Session;

/// What most small pieces need, in one line each.
pub(super) const FORM: &str =
    "piece \"Weir\" { }\nform {\n  1 metre 4/4, key D minor, tempo 1/4 at 120\n  4 end\n}\n";

/// Files in memory.
struct Memory(HashMap<String, String>);

impl Loader for Memory {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = self.0.get(path).ok_or(LoadError::NotFound)?;
        Ok((path.to_string(), text.clone()))
    }

    fn name(&self, path: &str, _: &str) -> Option<String> {
        Some(path.to_string())
    }
}

/// A session over these texts, and the place of the cursor, with the first text as its root.
pub(super) fn texts(texts: &[(&str, &str)]) -> (Session, At) {
    let mut session = Session::new(Memory(HashMap::new()));
    let mut at = None;
    let mut root = None;
    for (name, text) in texts {
        let file = session.open(name, &text.replacen('‸', "", 1));
        root.get_or_insert(file);
        at = at.or(text.find('‸').map(|offset| (file, offset)));
    }
    let root = root.unwrap();
    let (file, offset) = at.unwrap_or((root, 0));
    (session, At { root, file, offset })
}

/// The same for one text.
pub(super) fn text(text: &str) -> (Session, At) {
    texts(&[("weir.ripieno", text)])
}

/// The text of a place, with its line in front: `3: upper`.
pub(super) fn line(session: &Session, place: &TextPlace) -> String {
    let text = session.document(place.file).text();
    let line = text[..place.range.start].matches('\n').count() + 1;
    format!("{line}: {}", &text[place.range.clone()])
}

/// A text with changes made to it.
pub(super) fn changed(session: &Session, file: FileId, edits: &[(TextPlace, String)]) -> String {
    let mut text = session.document(file).text().to_string();
    let mut own: Vec<_> = edits.iter().filter(|(place, _)| place.file == file).collect();
    own.sort();
    for (place, with) in own.into_iter().rev() {
        text.replace_range(place.range.clone(), with);
    }
    text
}
