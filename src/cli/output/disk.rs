//! What a build does to the file system, one operation at a time, so that tests can let any of
//! them fail.

use std::fs;
use std::io::{self, Read, Write};
use std::path::Path;

/// A new file while it is written.
pub(crate) trait NewFile: Write {
    /// Hands the whole file to the disk.
    fn finish(&mut self) -> io::Result<()>;
}

impl NewFile for fs::File {
    fn finish(&mut self) -> io::Result<()> {
        self.sync_data()
    }
}

/// The operations of a build that change or read its folders.
pub(crate) trait Disk {
    /// What stands in a file, to be read from its beginning; nothing where there is none.
    fn open(&self, path: &Path) -> io::Result<Option<Box<dyn Read + '_>>>;
    /// Makes one folder.
    fn make_folder(&self, path: &Path) -> io::Result<()>;
    /// Begins a new file.
    fn begin(&self, path: &Path) -> io::Result<Box<dyn NewFile + '_>>;
    /// A new file in a folder that nobody else sees, and that has no name there any more.
    fn scratch(&self, folder: &Path) -> io::Result<fs::File>;
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
    fn open(&self, path: &Path) -> io::Result<Option<Box<dyn Read + '_>>> {
        match fs::File::open(path) {
            Ok(file) => Ok(Some(Box::new(file))),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn make_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir(path)
    }

    fn begin(&self, path: &Path) -> io::Result<Box<dyn NewFile + '_>> {
        Ok(Box::new(fs::File::create_new(path)?))
    }

    fn scratch(&self, folder: &Path) -> io::Result<fs::File> {
        tempfile::tempfile_in(folder)
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
