//! Reads the catalogue's TOML tables.
//!
//! The tables are built into the program, so an error here is a mistake of ours; it still names
//! the file, the instrument and the field, because whoever adds an instrument will meet it. The
//! build script (`build.rs`) has put together what is `like` something else, and wrote it all in a
//! form that is read quickly; the files themselves are read again for instruments of the user.

use std::fmt;

use serde::Deserialize;

use super::Instrument;
use super::like::Fault;
#[cfg(test)]
use super::like::{RawTable, inherited, raw_tables};
use super::tables::InstrumentTable;

pub(super) const FILES: [(&str, &str); 6] = [
    ("woodwind.toml", include_str!("data/woodwind.toml")),
    ("brass.toml", include_str!("data/brass.toml")),
    ("percussion.toml", include_str!("data/percussion.toml")),
    ("harp-and-keyboard.toml", include_str!("data/harp-and-keyboard.toml")),
    ("voices.toml", include_str!("data/voices.toml")),
    ("strings.toml", include_str!("data/strings.toml")),
];

/// A fault of the tables, with the place where it stands.
#[derive(Debug)]
pub(super) struct CatalogueError {
    file: String,
    instrument: String,
    fault: String,
}

impl fmt::Display for CatalogueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "catalogue of instruments, {}, instrument `{}`: {}",
            self.file, self.instrument, self.fault
        )
    }
}

/// What the build script made of the files: file, id and table of each instrument.
const READY: &str = include_str!(concat!(env!("OUT_DIR"), "/catalogue.json"));

/// All instruments of all files, in score order.
pub(super) fn read_catalogue() -> Result<Vec<Instrument>, CatalogueError> {
    let tables: Vec<(String, String, InstrumentTable)> =
        serde_json::from_str(READY).map_err(|fault| CatalogueError {
            file: "as the build script wrote it".to_owned(),
            instrument: "(unknown)".to_owned(),
            fault: fault.to_string(),
        })?;
    let built = tables.into_iter().map(|(file, id, table)| {
        table.build().map_err(|fault| CatalogueError { file, instrument: id, fault })
    });
    let mut catalogue = built.collect::<Result<Vec<Instrument>, CatalogueError>>()?;
    catalogue.sort_by_key(|instrument| instrument.score_order);
    Ok(catalogue)
}

/// The same from the text of files, with a look at everything that can be wrong with them.
#[cfg(test)]
pub(super) fn read_files(files: &[(&str, &str)]) -> Result<Vec<Instrument>, CatalogueError> {
    let mut raw = Vec::new();
    for (file, text) in files {
        let tables = raw_tables(text).map_err(|fault| CatalogueError {
            file: (*file).to_owned(),
            instrument: "(none yet)".to_owned(),
            fault,
        })?;
        raw.extend(tables.into_iter().map(|table| (*file, table)));
    }
    let all: Vec<&RawTable> = raw.iter().map(|(_, table)| table).collect();
    let mut catalogue: Vec<Instrument> = Vec::with_capacity(raw.len());
    let mut words = std::collections::HashSet::new();
    for (index, (file, table)) in raw.iter().enumerate() {
        let error = |fault| CatalogueError {
            file: (*file).to_owned(),
            instrument: table.id.clone(),
            fault,
        };
        let whole = inherited(&all, index, &mut Vec::new()).map_err(error)?;
        let instrument = build(whole).map_err(error)?;
        for word in std::iter::once(&instrument.id).chain(&instrument.aliases) {
            if !words.insert(word.clone()) {
                return Err(error(format!(
                    "field `id` or `aliases`: the word `{word}` is already taken"
                )));
            }
        }
        catalogue.push(instrument);
    }
    catalogue.sort_by_key(|instrument| instrument.score_order);
    Ok(catalogue)
}

pub(super) fn build(table: toml::Table) -> Result<Instrument, Fault> {
    InstrumentTable::deserialize(toml::Value::Table(table))
        .map_err(|fault| fault.to_string().trim_end().replace('\n', " "))
        .and_then(InstrumentTable::build)
}
