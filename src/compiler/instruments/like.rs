//! Tables of instruments as they are written, and what one takes over from the one that it is
//! `like`. The build script, which gets the catalogue ready, reads this file too.

use serde::Deserialize;

/// What is wrong with a table, with the field that is at fault.
pub(super) type Fault = String;

/// A table as it is written.
pub(super) struct RawTable {
    pub id: String,
    pub table: toml::Table,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileTable {
    instrument: Vec<toml::Table>,
}

/// The tables of a file; one without an `id` is called by its place.
pub(super) fn raw_tables(text: &str) -> Result<Vec<RawTable>, Fault> {
    let table: FileTable = toml::from_str(text).map_err(|fault| fault.to_string())?;
    let named = table.instrument.into_iter().enumerate().map(|(index, table)| {
        let id = match table.get("id").and_then(toml::Value::as_str) {
            Some(id) => id.to_owned(),
            None => format!("number {} of the file", index + 1),
        };
        RawTable { id, table }
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
        .ok_or_else(|| format!("field `like`: unknown instrument `{like}`"))?;
    if way.contains(&base) {
        let ids: Vec<&str> = way.iter().map(|index| raw[*index].id.as_str()).collect();
        return Err(format!("field `like`: {} are like one another in a circle", ids.join(", ")));
    }
    let mut whole = inherited(raw, base, way)?;
    for field in OWN {
        whole.remove(field);
    }
    whole.extend(own.iter().map(|(field, value)| (field.clone(), value.clone())));
    whole.remove("like");
    Ok(whole)
}
