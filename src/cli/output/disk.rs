//! What a build does to the file system, one operation at a time, so that tests can let any of
//! them fail.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

/// The operations of a build that change or read its folders.
pub(crate) trait Disk {
    /// What stands in a file; nothing where there is none.
    fn read(&self, path: &Path) -> io::Result<Option<Vec<u8>>>;
    /// Makes one folder.
    fn make_folder(&self, path: &Path) -> io::Result<()>;
    /// Writes a new file and hands it to the disk; the file is closed at once.
    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Gives a file a second name, so that it outlives what takes the place of the first.
    fn keep(&self, path: &Path, kept: &Path) -> io::Result<()>;
    /// Puts a file in a place, over what stands there.
    fn put(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Removes an empty folder.
    fn remove_folder(&self, path: &Path) -> io::Result<()>;
    /// Hands the names in a folder to the disk.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;
}

/// The file system of this machine.
pub(crate) struct FileSystem;

impl Disk for FileSystem {
    fn read(&self, path: &Path) -> io::Result<Option<Vec<u8>>> {
        match fs::read(path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn make_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut file = fs::File::create_new(path)?;
        file.write_all(bytes)?;
        file.sync_data()
    }

    fn keep(&self, path: &Path, kept: &Path) -> io::Result<()> {
        // Not every file system knows second names.
        fs::hard_link(path, kept).or_else(|_| fs::copy(path, kept).map(|_| ()))
    }

    fn put(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        fs::remove_dir(path)
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        // Only a POSIX system opens a folder; others order names by themselves.
        if cfg!(unix) { fs::File::open(path)?.sync_all() } else { Ok(()) }
    }
}
