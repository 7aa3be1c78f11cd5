//! Reads sources and writes files.

use std::fs;
use std::io::{self, Read, Write};
use std::path::{Component, Path, PathBuf};

use super::Failure;
use ripieno_compiler::resolve::{LoadError, Loader};
use ripieno_compiler::syntax::LARGEST_SOURCE;

/// Brings in the files that `use` names, from below a root folder.
pub(super) struct FileLoader {
    root: PathBuf,
    shown: PathBuf,
}

impl FileLoader {
    /// A loader for files below `root`, which is shown as `shown`.
    pub(super) fn new(root: PathBuf, shown: PathBuf) -> FileLoader {
        FileLoader { root, shown }
    }
}

impl Loader for FileLoader {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        let from = Path::new(from).strip_prefix(&self.shown).unwrap_or(Path::new(from));
        let beside = from.parent().unwrap_or(Path::new(""));
        let relative = plain(&beside.join(path)).ok_or(LoadError::OutsideRoot)?;
        // A link must not lead out of the root either; and whatever leads to a file, it is one file
        // with one name.
        let canonical = self.root.join(&relative).canonicalize().map_err(|error| kind(&error))?;
        let root = self.root.canonicalize().map_err(|error| kind(&error))?;
        let relative = canonical.strip_prefix(&root).map_err(|_| LoadError::OutsideRoot)?;
        let text = read(&canonical)?;
        Ok((slashes(&self.shown.join(relative)), text))
    }
}

/// A path as it is shown everywhere.
pub(super) fn slashes(path: &Path) -> String {
    path.to_string_lossy().replace('\\', "/")
}

fn kind(error: &io::Error) -> LoadError {
    match error.kind() {
        io::ErrorKind::NotFound => LoadError::NotFound,
        _ => LoadError::Other(error.to_string()),
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

/// Reads a source text from a file.
pub(super) fn read(path: &Path) -> Result<String, LoadError> {
    // A device may have no end, and a pipe no writer.
    if !fs::metadata(path).map_err(|error| kind(&error))?.is_file() {
        return Err(LoadError::Other("it is not a file".into()));
    }
    text(fs::File::open(path).map_err(|error| kind(&error))?)
}

/// Reads a source text to its end, or to where it is too long.
pub(super) fn text(from: impl Read) -> Result<String, LoadError> {
    let mut bytes = Vec::new();
    let most = LARGEST_SOURCE as u64 + 1;
    from.take(most).read_to_end(&mut bytes).map_err(|error| kind(&error))?;
    if bytes.len() > LARGEST_SOURCE {
        return Err(LoadError::TooLarge);
    }
    String::from_utf8(bytes).map_err(|error| LoadError::NotUtf8(error.utf8_error().valid_up_to()))
}

/// Writes a new file, whole or not at all; whatever stands there already stays.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            Failure(format!("{} is there already; nothing was changed", path.display()))
        }
        _ => Failure(format!("cannot write {}: {error}", path.display())),
    };
    // Where a link leads nowhere, there is no file but something stands there.
    if path.symlink_metadata().is_ok() {
        return Err(failed(io::ErrorKind::AlreadyExists.into()));
    }
    let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    let mut file = tempfile::Builder::new()
        .prefix(".ripieno-")
        .permissions(permissions())
        .tempfile_in(folder.unwrap_or(Path::new(".")))
        .map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    file.persist_noclobber(path).map_err(|error| failed(error.error))?;
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
