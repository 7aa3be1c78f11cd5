//! Before this room is compiled: which program it becomes part of. What an earlier build made counts
//! only for the program that made it; its version alone would not tell two states of the sources
//! apart.

use std::collections::BTreeSet;
use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

fn main() {
    let house = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let mut files = BTreeSet::new();
    for part in ["src", "grammar", "Cargo.toml", "Cargo.lock"].map(|name| house.join(name)) {
        // In a package by itself there is only the version.
        if part.exists() {
            println!("cargo::rerun-if-changed={}", part.display());
            gather(&part, &mut files);
        }
    }
    let mut hash = DefaultHasher::new();
    env!("CARGO_PKG_VERSION").hash(&mut hash);
    for file in &files {
        file.strip_prefix(&house).unwrap_or(file).hash(&mut hash);
        fs::read(file).unwrap_or_default().hash(&mut hash);
    }
    println!("cargo::rustc-env=RIPIENO_PROGRAM={:016x}", hash.finish());
}

/// All files of a folder and the folders in it, or the one file.
fn gather(path: &Path, files: &mut BTreeSet<PathBuf>) {
    match fs::read_dir(path) {
        Ok(entries) => entries.flatten().for_each(|entry| gather(&entry.path(), files)),
        Err(_) => drop(files.insert(path.to_path_buf())),
    }
}
