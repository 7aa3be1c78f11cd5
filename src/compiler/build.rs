//! Gets the catalogue of instruments ready: its tables, with all that they take over from one
//! another, in a form that the program reads many times as fast when it starts.

use std::path::Path;
use std::{env, fs};

#[path = "instruments/like.rs"]
mod like;

/// The files of the catalogue, in the order in which `instruments/read.rs` has them.
const FILES: [&str; 6] = [
    "woodwind.toml",
    "brass.toml",
    "percussion.toml",
    "harp-and-keyboard.toml",
    "voices.toml",
    "strings.toml",
];

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=instruments/like.rs");
    println!("cargo::rerun-if-changed=instruments/data");
    let text = catalogue().unwrap_or_else(|fault| panic!("catalogue of instruments, {fault}"));
    let out = env::var_os("OUT_DIR").expect("cargo names the folder to write to");
    fs::write(Path::new(&out).join("catalogue.json"), text).expect("the folder can be written to");
}

/// File, id and whole table of each instrument, as JSON.
fn catalogue() -> Result<String, String> {
    let mut raw = Vec::new();
    for file in FILES {
        let path = Path::new("instruments/data").join(file);
        let text = fs::read_to_string(path).map_err(|fault| format!("{file}: {fault}"))?;
        let tables = like::raw_tables(&text).map_err(|fault| format!("{file}: {fault}"))?;
        raw.extend(tables.into_iter().map(|table| (file, table)));
    }
    let all: Vec<&like::RawTable> = raw.iter().map(|(_, table)| table).collect();
    let mut wholes = Vec::with_capacity(raw.len());
    for (index, (file, table)) in raw.iter().enumerate() {
        let whole = like::inherited(&all, index, &mut Vec::new())
            .map_err(|fault| format!("{file}, instrument `{}`: {fault}", table.id))?;
        wholes.push((file, &table.id, whole));
    }
    serde_json::to_string(&wholes).map_err(|fault| fault.to_string())
}
