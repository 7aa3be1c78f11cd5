//! Reads sources and writes files.

use std::fs;
use std::io::Write;
use std::path::{Component, Path, PathBuf};

use super::Failure;
use crate::resolve::{LoadError, Loader};
use crate::syntax::LARGEST_SOURCE;

/// Brings in the files that `use` names, from below a root folder.
pub(super) struct FileLoader {
    root: PathBuf,
}

impl FileLoader {
    /// A loader for files below `root`.
    pub(super) fn new(root: &Path) -> FileLoader {
        FileLoader { root: root.to_path_buf() }
    }
}

impl Loader for FileLoader {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        let beside = Path::new(from).parent().unwrap_or(Path::new(""));
        let relative = plain(&beside.join(path)).ok_or(LoadError::OutsideRoot)?;
        let full = self.root.join(&relative);
        // A link must not lead out of the root either.
        let canonical = full.canonicalize().map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => LoadError::NotFound,
            _ => LoadError::Other(error.to_string()),
        })?;
        let root = self.root.canonicalize().map_err(|error| LoadError::Other(error.to_string()))?;
        if !canonical.starts_with(&root) {
            return Err(LoadError::OutsideRoot);
        }
        let text = read(&full)?;
        Ok((relative.to_string_lossy().replace('\\', "/"), text))
    }
}

/// A relative path without `.` and `..`; `None` if it is absolute or leads above its beginning.
fn plain(path: &Path) -> Option<PathBuf> {
    let mut plain = PathBuf::new();
    for component in path.components() {
        match component {
            Component::Normal(name) => plain.push(name),
            Component::CurDir => {}
            Component::ParentDir => {
                if !plain.pop() {
                    return None;
                }
            }
            Component::RootDir | Component::Prefix(_) => return None,
        }
    }
    Some(plain)
}

/// Reads a source text.
pub(super) fn read(path: &Path) -> Result<String, LoadError> {
    let kind = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => LoadError::NotFound,
        _ => LoadError::Other(error.to_string()),
    };
    let size = fs::metadata(path).map_err(kind)?.len();
    if size > LARGEST_SOURCE as u64 {
        return Err(LoadError::TooLarge);
    }
    let bytes = fs::read(path).map_err(kind)?;
    String::from_utf8(bytes).map_err(|error| LoadError::NotUtf8(error.utf8_error().valid_up_to()))
}

/// Reads a file of any kind, if it is not longer than `most` bytes.
pub(super) fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, Failure> {
    let name = path.display();
    let failed = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => Failure(format!("there is no file {name}")),
        _ => Failure(format!("cannot read {name}: {error}")),
    };
    if fs::metadata(path).map_err(failed)?.len() > most {
        return Err(Failure(format!("{name} is longer than {} MB", most / (1024 * 1024))));
    }
    fs::read(path).map_err(failed)
}

/// Writes files below a folder: each is written beside its place first, and only when all are
/// there are they renamed, so that nobody finds a half-written one.
pub(super) fn write_all(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<(), Failure> {
    let mut written = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        let target = folder.join(path);
        let failed = |error: &dyn std::fmt::Display| {
            Failure(format!("cannot write {}: {error}", target.display()))
        };
        let parent = target.parent().unwrap_or(folder);
        fs::create_dir_all(parent).map_err(|error| failed(&error))?;
        if target.is_dir() {
            return Err(failed(&"there is a folder of that name"));
        }
        let mut file = tempfile::Builder::new()
            .prefix(".ripieno-")
            .permissions(permissions())
            .tempfile_in(parent)
            .map_err(|error| failed(&error))?;
        file.write_all(bytes).map_err(|error| failed(&error))?;
        written.push((file, target));
    }
    for (file, target) in written {
        file.persist(&target).map_err(|error| {
            Failure(format!("cannot rename a file to {}: {}", target.display(), error.error))
        })?;
    }
    Ok(())
}

/// Files that anybody may read, as other programs write them (the umask still holds).
#[cfg(unix)]
fn permissions() -> fs::Permissions {
    use std::os::unix::fs::PermissionsExt;
    fs::Permissions::from_mode(0o666)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_used_path_stays_below_the_root() {
        assert_eq!(plain(Path::new("a/../b/./c")), Some(PathBuf::from("b/c")));
        assert_eq!(plain(Path::new("../b")), None);
        assert_eq!(plain(Path::new("/etc/passwd")), None);
        assert_eq!(plain(Path::new("a/../../b")), None);
    }
}
