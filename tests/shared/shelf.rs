//! Sources by their names, as a loader knows them.

use std::collections::HashMap;

use ripieno::resolve::{LoadError, Loader};

/// The files that there are.
pub struct Shelf(pub HashMap<String, String>);

impl Loader for Shelf {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = self.0.get(path).ok_or(LoadError::NotFound)?;
        Ok((path.to_string(), text.clone()))
    }

    fn name(&self, path: &str, _: &str) -> Option<String> {
        Some(path.to_string())
    }
}
