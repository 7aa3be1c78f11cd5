//! Reads sources and writes files.

use std::cell::RefCell;
use std::collections::HashMap;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Component, Path, PathBuf};
use std::rc::Rc;
use std::sync::MutexGuard;

use super::{Failure, interrupt};
use ripieno_compiler::limits;
use ripieno_compiler::resolve::{LoadError, Loader};

/// The folder below which the files lie that a source uses.
#[derive(Clone)]
pub(super) struct Root {
    /// The folder.
    pub(super) folder: PathBuf,
    /// The same as it is shown.
    pub(super) shown: PathBuf,
}

/// The roots of sources, by the names of the sources.
pub(super) type Roots = Rc<RefCell<HashMap<String, Root>>>;

/// Brings in the files that `use` names, from below the root of the source that names them.
pub(super) struct FileLoader(Roots);

/// A file that a source uses.
struct Used {
    root: Root,
    /// Where it really lies, links followed.
    file: PathBuf,
    /// Its name: whatever leads to a file, it is one file with one name.
    name: String,
}

impl FileLoader {
    /// A loader for what sources use that have their roots there.
    pub(super) fn new(roots: Roots) -> FileLoader {
        FileLoader(roots)
    }

    fn used(&self, path: &str, from: &str) -> Result<Used, LoadError> {
        let root = self.0.borrow().get(from).cloned().ok_or(LoadError::NotFound)?;
        let from = Path::new(from).strip_prefix(&root.shown).unwrap_or(Path::new(from));
        let beside = from.parent().unwrap_or(Path::new(""));
        let relative = plain(&beside.join(path)).ok_or(LoadError::OutsideRoot)?;
        // A link must not lead out of the root either.
        let file = root.folder.join(&relative).canonicalize().map_err(|error| kind(&error))?;
        let folder = root.folder.canonicalize().map_err(|error| kind(&error))?;
        let relative = file.strip_prefix(&folder).map_err(|_| LoadError::OutsideRoot)?;
        let name = slashes(&root.shown.join(relative));
        Ok(Used { root, file, name })
    }
}

impl Loader for FileLoader {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        let Used { root, file, name } = self.used(path, from)?;
        let text = read(&file)?;
        self.0.borrow_mut().entry(name.clone()).or_insert(root);
        Ok((name, text))
    }

    fn name(&self, path: &str, from: &str) -> Option<String> {
        self.used(path, from).ok().map(|used| used.name)
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
pub(super) fn plain(path: &Path) -> Option<PathBuf> {
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
    let most = limits::SOURCE as u64 + 1;
    from.take(most).read_to_end(&mut bytes).map_err(|error| kind(&error))?;
    if bytes.len() > limits::SOURCE {
        return Err(LoadError::TooLarge);
    }
    String::from_utf8(bytes).map_err(|error| LoadError::NotUtf8(error.utf8_error().valid_up_to()))
}

/// Reads a file of any kind, if it is not longer than `most` bytes.
pub(super) fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, Failure> {
    let name = path.display();
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound => Failure(format!("there is no file {name}")),
        _ => Failure(format!("cannot read {name}: {error}")),
    };
    if !fs::metadata(path).map_err(failed)?.is_file() {
        return Err(Failure(format!("{name} is not a file")));
    }
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(failed)?;
    file.take(most + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > most {
        return Err(Failure(format!("{name} is longer than {} MB", most / (1024 * 1024))));
    }
    Ok(bytes)
}

/// Writes a new file, whole or not at all; whatever stands there already stays.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            Failure(format!("{} already exists; nothing was written", path.display()))
        }
        _ => Failure(format!("cannot write {}: {error}", path.display())),
    };
    // Where a link leads nowhere, there is no file but something stands there.
    if path.symlink_metadata().is_ok() {
        return Err(failed(io::ErrorKind::AlreadyExists.into()));
    }
    let _whole = undisturbed()?;
    let file = beside(path, bytes).map_err(failed)?;
    file.persist_noclobber(path).map_err(|error| failed(error.error))?;
    Ok(())
}

/// Puts other bytes in the place of a file, whole or not at all. What the file is a link to is
/// replaced, not the link; a file that was saved since it was read is left alone.
pub(super) fn replace(path: &Path, read: &[u8], bytes: &[u8]) -> Result<(), Failure> {
    let failed = |error: io::Error| Failure(format!("cannot write {}: {error}", path.display()));
    let place = path.canonicalize().map_err(failed)?;
    let permissions = fs::metadata(&place).map_err(failed)?.permissions();
    if permissions.readonly() {
        return Err(Failure(format!("cannot write {}: it is write-protected", path.display())));
    }
    let _whole = undisturbed()?;
    let mut file = tempfile::Builder::new()
        .prefix(".ripieno-")
        .tempfile_in(place.parent().unwrap_or(Path::new(".")))
        .map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    file.as_file().set_permissions(permissions).map_err(failed)?;
    file.as_file().sync_data().map_err(failed)?;
    if fs::read(&place).map_err(failed)? != read {
        let path = path.display();
        return Err(Failure(format!("{path} was saved in the meantime; nothing was changed")));
    }
    file.persist(&place).map_err(|error| failed(error.error))?;
    Ok(())
}

/// Writes a file, whole or not at all, over whatever stands there.
pub(super) fn write_over(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |error: io::Error| Failure(format!("cannot write {}: {error}", path.display()));
    let _whole = undisturbed()?;
    beside(path, bytes).map_err(failed)?.persist(path).map_err(|error| failed(error.error))?;
    Ok(())
}

/// Lets whoever asks the process to stop wait until a file has its place: the one beside it would be
/// left behind.
fn undisturbed() -> Result<Option<MutexGuard<'static, ()>>, Failure> {
    let guard = interrupt::hold();
    interrupt::stop_if_asked()?;
    Ok(guard)
}

/// A new file without a name of its own yet, beside where it is to stand.
fn beside(path: &Path, bytes: &[u8]) -> io::Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    let mut file = tempfile::Builder::new()
        .prefix(".ripieno-")
        .permissions(permissions())
        .tempfile_in(folder.unwrap_or(Path::new(".")))?;
    file.write_all(bytes)?;
    Ok(file)
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
