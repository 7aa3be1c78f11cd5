//! `ripieno.json`, which stands in the folder of every piece: what was built there, from what.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::io;
use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::Failure;
use super::made::Made;
use ripieno_checker::session::Session;
use ripieno_compiler::diagnostics::{FileId, Source};

/// The name of the file.
pub(crate) const NAME: &str = "ripieno.json";

/// What a folder holds. It is written with the build and read by the next one.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Manifest {
    /// The version of the compiler that wrote the folder last.
    pub(crate) version: String,
    /// The title of the piece.
    pub(crate) piece: String,
    /// Its source: a path from the folder of the piece, with `/`; `-` for the standard input.
    pub(crate) source: String,
    /// The files, by their paths below the folder, with `/`.
    pub(crate) files: BTreeMap<String, Entry>,
    /// What need not be made again, by what was asked for.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(crate) made: BTreeMap<String, Made>,
}

/// What is known of one file.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub(crate) struct Entry {
    /// The scoring that it belongs to.
    pub(crate) scoring: String,
    /// SHA-256 of the file, in hexadecimal digits.
    pub(crate) sha256: String,
    /// SHA-256 of all that it was built from: the version of the compiler, the source, and the
    /// files that the source uses.
    pub(crate) inputs: String,
    /// The revision of the checkout that had these sources; nothing where they were not, or not
    /// yet, under version control.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) revision: Option<String>,
}

/// The digest of all that a build goes by.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Inputs(pub(crate) String);

impl Inputs {
    /// The digest of those sources. How their lines end and whether they begin with a byte order
    /// mark is not in it: neither changes anything that is built.
    pub(crate) fn of<'a>(sources: impl Iterator<Item = &'a Source>) -> Inputs {
        let mut hash = Sha256::new();
        hash.update(env!("CARGO_PKG_VERSION"));
        for source in sources {
            let text = source.text.trim_start_matches('\u{FEFF}');
            let text = text.replace("\r\n", "\n").replace('\r', "\n");
            // The length keeps two texts from being taken for one.
            hash.update((text.len() as u64).to_le_bytes());
            hash.update(&text);
        }
        Inputs(hexadecimal(&hash.finalize()))
    }

    /// The digest of a source in a session and of all that it uses.
    pub(crate) fn of_session(session: &mut Session, file: FileId) -> Inputs {
        let files = session.files_of(file);
        Inputs::of(files.iter().map(|file| session.sources().get(*file)))
    }
}

impl Entry {
    /// The entry of a file with that digest.
    pub(crate) fn new(scoring: &str, sha256: String, inputs: &Inputs) -> Entry {
        Entry { scoring: scoring.into(), sha256, inputs: inputs.0.clone(), revision: None }
    }

    /// The same file built from the same sources?
    pub(crate) fn is_same(&self, other: &Entry) -> bool {
        (&self.sha256, &self.inputs) == (&other.sha256, &other.inputs)
    }
}

impl Manifest {
    /// Reads a manifest.
    pub(crate) fn read(bytes: &[u8], path: &Path) -> Result<Manifest, Failure> {
        let manifest: Manifest = serde_json::from_slice(bytes).map_err(|error| {
            Failure(format!(
                "{} is no list of a build ({error}); move it away, and build again",
                path.display()
            ))
        })?;
        // What is named here may be removed by `--prune`: nothing outside the folder.
        let inside = |path: &String| {
            Path::new(path).components().all(|part| matches!(part, Component::Normal(_)))
        };
        match manifest.files.keys().find(|path| !inside(path)) {
            Some(outside) => Err(Failure(format!(
                "{} names `{outside}`, which is outside its folder; move it away, and build again",
                path.display()
            ))),
            None => Ok(manifest),
        }
    }

    /// The manifest as it is written.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text.into_bytes()
    }
}

/// SHA-256 of some bytes, in hexadecimal digits.
pub(crate) fn digest(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// The same of what is read to its end.
pub(crate) fn digest_of(mut read: impl io::Read) -> io::Result<String> {
    let mut hash = Sha256::new();
    let mut block = vec![0; 64 * 1024];
    loop {
        match read.read(&mut block) {
            Ok(0) => return Ok(hexadecimal(&hash.finalize())),
            Ok(count) => hash.update(&block[..count]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// The file to which a way leads from a folder.
pub(crate) fn follow(folder: &Path, way: &str) -> PathBuf {
    let mut place = folder.to_path_buf();
    for step in Path::new(way).components() {
        match step {
            Component::ParentDir => drop(place.pop()),
            step => place.push(step),
        }
    }
    place
}

/// The way from a folder to a file, both absolute, with `/`.
pub(crate) fn way(folder: &Path, file: &Path) -> String {
    let shared = folder.components().zip(file.components()).take_while(|(a, b)| a == b).count();
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    let down = file.components().skip(shared);
    let way: PathBuf = up.chain(down).collect();
    way.to_string_lossy().replace('\\', "/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_to_a_source_leads_up_and_down() {
        let way = |folder: &str, file: &str| way(Path::new(folder), Path::new(file));
        assert_eq!(way("/w/build/weir", "/w/samples/weir.ripieno"), "../../samples/weir.ripieno");
        assert_eq!(way("/w/weir", "/w/weir/weir.ripieno"), "weir.ripieno");
        let source = follow(Path::new("/w/build/weir"), "../../samples/weir.ripieno");
        assert_eq!(source, Path::new("/w/samples/weir.ripieno"));
    }

    #[test]
    fn a_manifest_that_leads_out_of_its_folder_is_refused() {
        let entry = Entry {
            scoring: "spa".into(),
            sha256: String::new(),
            inputs: String::new(),
            revision: None,
        };
        for (path, fine) in [("spa/score.txt", true), ("../x", false), ("/etc/passwd", false)] {
            let files = BTreeMap::from([(path.to_string(), entry.clone())]);
            let bytes = Manifest { files, ..Manifest::default() }.bytes();
            assert_eq!(Manifest::read(&bytes, Path::new("ripieno.json")).is_ok(), fine, "{path}");
        }
        assert!(Manifest::read(b"{", Path::new("ripieno.json")).is_err());
    }
}
