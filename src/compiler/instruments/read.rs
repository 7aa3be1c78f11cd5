//! Reads the catalogue's TOML tables.
//!
//! The tables are built into the program, so an error here is a mistake of ours; it still names
//! the file, the instrument and the field, because whoever adds an instrument will meet it.

use std::collections::HashSet;
use std::fmt;

use serde::Deserialize;

use super::Instrument;
use super::tables::{Fault, InstrumentTable};

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

/// All instruments of all files, in score order.
pub(super) fn read_catalogue() -> Result<Vec<Instrument>, CatalogueError> {
    read_files(&FILES)
}

pub(super) fn read_files(files: &[(&str, &str)]) -> Result<Vec<Instrument>, CatalogueError> {
    let mut raw: Vec<RawTable> = Vec::new();
    for (file, text) in files {
        raw.extend(raw_tables(file, text)?);
    }
    // Only what is like another is put together from two tables; all others are taken as they are.
    let all: Vec<&RawTable> = raw.iter().collect();
    let mut wholes: Vec<Option<toml::Table>> = Vec::with_capacity(raw.len());
    for (index, raw) in all.iter().enumerate() {
        let like = raw.table.contains_key("like");
        let whole = like.then(|| inherited(&all, index, &mut Vec::new())).transpose();
        wholes.push(whole.map_err(|fault| raw.error(fault))?);
    }
    let mut catalogue: Vec<Instrument> = Vec::with_capacity(raw.len());
    let mut words: HashSet<String> = HashSet::new();
    for (mut raw, whole) in raw.into_iter().zip(wholes) {
        let table = whole.unwrap_or_else(|| std::mem::take(&mut raw.table));
        let instrument = build(table).map_err(|fault| raw.error(fault))?;
        for word in std::iter::once(&instrument.id).chain(&instrument.aliases) {
            if !words.insert(word.clone()) {
                return Err(raw.error(format!(
                    "field `id` or `aliases`: the word `{word}` is already taken"
                )));
            }
        }
        catalogue.push(instrument);
    }
    catalogue.sort_by_key(|instrument| instrument.score_order);
    Ok(catalogue)
}

/// A table as it is written.
pub(super) struct RawTable {
    pub file: String,
    pub id: String,
    pub table: toml::Table,
}

impl RawTable {
    fn error(&self, fault: Fault) -> CatalogueError {
        CatalogueError { file: self.file.clone(), instrument: self.id.clone(), fault }
    }
}

pub(super) fn raw_tables(file: &str, text: &str) -> Result<Vec<RawTable>, CatalogueError> {
    let table: FileTable = toml::from_str(text).map_err(|fault| CatalogueError {
        file: file.to_owned(),
        instrument: "(none yet)".to_owned(),
        fault: fault.to_string(),
    })?;
    let named = table.instrument.into_iter().enumerate().map(|(index, table)| {
        let id = match table.get("id").and_then(toml::Value::as_str) {
            Some(id) => id.to_owned(),
            None => format!("number {} of the file", index + 1),
        };
        RawTable { file: file.to_owned(), id, table }
    });
    Ok(named.collect())
}

/// What an instrument does not take over from the one that it is like.
const OWN: [&str; 7] =
    ["id", "aliases", "name", "plural", "abbreviation", "without_valves", "like"];

/// A table with all that it takes over from the one that it is `like`.
pub(super) fn inherited(
    raw: &[&RawTable],
    index: usize,
    way: &mut Vec<usize>,
) -> Result<toml::Table, Fault> {
    let own = &raw[index].table;
    let Some(like) = own.get("like") else { return Ok(own.clone()) };
    let like = like.as_str().ok_or("field `like`: write the id of an instrument in quotes")?;
    way.push(index);
    let base = raw
        .iter()
        .position(|other| other.id == like)
        .ok_or_else(|| format!("field `like`: there is no instrument `{like}`"))?;
    if way.contains(&base) {
        let ids: Vec<&str> = way.iter().map(|index| raw[*index].id.as_str()).collect();
        return Err(format!("field `like`: {} go round in a circle", ids.join(", ")));
    }
    let mut whole = inherited(raw, base, way)?;
    for field in OWN {
        whole.remove(field);
    }
    whole.extend(own.iter().map(|(field, value)| (field.clone(), value.clone())));
    whole.remove("like");
    Ok(whole)
}

pub(super) fn build(table: toml::Table) -> Result<Instrument, Fault> {
    InstrumentTable::deserialize(toml::Value::Table(table))
        .map_err(|fault| fault.to_string().trim_end().replace('\n', " "))
        .and_then(InstrumentTable::build)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileTable {
    instrument: Vec<toml::Table>,
}
