//! The output folder: a build is in it whole or not at all.
//!
//! Everything is first written into a folder of its own beside the pieces (`.ripieno-…`) and handed
//! to the disk; a file that is there already with the same bytes is left alone. Then each new file
//! takes its place, while what it replaces is kept under a second name until all are in place; if
//! one cannot be placed, those before it are taken back. One build at a time has a folder: the lock
//! goes with the process, however it ends, and what a killed build leaves is cleared by the next.

mod disk;
mod made;
mod manifest;
mod staged;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, BufWriter, Read as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, OnceLock, PoisonError};

use super::{Failure, interrupt, source};
use disk::{Disk, FileSystem};
pub(super) use made::{Asked, Made, Texts};
pub(super) use manifest::{Entry, Inputs, Manifest, NAME as MANIFEST, digest, follow, way};
use manifest::{digest_of, hexadecimal};
use ripieno_engrave::store::Scratch;
use ripieno_writers::render;
use staged::Staged;

/// The beginning of the names of folders in which a build is got ready.
const STAGING: &str = ".ripieno-";
/// Bytes that are handed to the disk together.
const BUFFER: usize = 64 * 1024;

/// An output folder while a build is written into it.
pub(super) struct OutputFolder<D: Disk = FileSystem> {
    folder: PathBuf,
    staging: PathBuf,
    disk: D,
    /// How many files were got ready: they are numbered.
    staged: AtomicUsize,
    /// What is ready to be placed or removed, in the order of the pieces.
    ready: Mutex<BTreeMap<usize, Batch>>,
    /// The folders that were there, by the ways to their sources.
    titles: OnceLock<BTreeMap<String, Vec<String>>>,
    /// Folders that were made for this build, outermost first.
    made: Vec<PathBuf>,
    /// Keeps other builds out until it is dropped.
    _lock: Option<fs::File>,
    done: bool,
}

/// The files of one piece to be placed or removed, in order. Several pieces are got ready at once;
/// they take their places together.
#[derive(Default)]
pub(super) struct Batch(Vec<Change>);

impl Batch {
    /// How many changes there are.
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Adds what is to become of one more file, if anything is.
    pub(super) fn push(&mut self, change: Option<Change>) {
        self.0.extend(change);
    }

    /// Brings the files of a scoring, which are staged from there on, into order: scores, then parts.
    pub(super) fn in_order(&mut self, from: usize) {
        self.0[from..].sort_by(|one, other| {
            let key =
                |change: &Change| change.place.parent().map(|folder| folder.as_os_str().len());
            key(one).cmp(&key(other)).then_with(|| one.place.cmp(&other.place))
        });
    }
}

/// What becomes of one file.
pub(super) struct Change {
    /// Its place.
    place: PathBuf,
    /// The new file beside it; nothing where the file goes.
    staged: Option<PathBuf>,
}

impl OutputFolder<FileSystem> {
    /// Opens an output folder, makes it where there is none, and keeps other builds out of it.
    pub(super) fn open(folder: &Path) -> Result<OutputFolder<FileSystem>, Failure> {
        let mut made = Vec::new();
        make_folders(&FileSystem, folder, &mut made)?;
        let lock = lock(folder)?;
        clear(folder);
        Ok(OutputFolder::over(folder, FileSystem, lock, made))
    }
}

impl<D: Disk> OutputFolder<D> {
    fn over(folder: &Path, disk: D, lock: Option<fs::File>, made: Vec<PathBuf>) -> OutputFolder<D> {
        let staging = folder.join(format!("{STAGING}{}", std::process::id()));
        interrupt::clear_if_stopped(&staging, &made);
        let (folder, ready) = (folder.to_path_buf(), Mutex::default());
        let (staged, titles) = (AtomicUsize::new(0), OnceLock::new());
        OutputFolder {
            folder,
            staging,
            disk,
            staged,
            ready,
            titles,
            made,
            _lock: lock,
            done: false,
        }
    }

    /// The place of something below the output folder.
    pub(super) fn path(&self, below: impl AsRef<Path>) -> PathBuf {
        self.folder.join(below)
    }

    /// The digest of a file below the output folder; nothing where there is none.
    pub(super) fn digest(&self, below: &Path) -> Result<Option<String>, Failure> {
        let path = self.folder.join(below);
        let failed = |error| cannot("read", &path, &error);
        let there = self.disk.open(&path).map_err(failed)?;
        there.map(digest_of).transpose().map_err(failed)
    }

    /// The way from the folder of a piece to its source.
    pub(super) fn way_to(&self, piece: &str, source: &Path) -> Result<String, Failure> {
        if source.as_os_str() == source::STANDARD_INPUT {
            return Ok(source::STANDARD_INPUT.to_string());
        }
        let absolute = |path: &Path| {
            path.canonicalize().map_err(|error| cannot("find the way to", path, &error))
        };
        Ok(manifest::way(&absolute(&self.folder)?.join(piece), &absolute(source)?))
    }

    /// Is there a file where a manifest says its source is?
    pub(super) fn is_there(&self, piece: &str, source: &str) -> bool {
        let Ok(folder) = self.folder.canonicalize() else { return false };
        source == source::STANDARD_INPUT || manifest::follow(&folder.join(piece), source).is_file()
    }

    /// Folders that were built from a source under another title, with their manifests.
    pub(super) fn other_titles(&self, piece: &str, source: &str) -> Vec<(PathBuf, Manifest)> {
        if source == source::STANDARD_INPUT {
            return Vec::new();
        }
        let titles = self.titles.get_or_init(|| self.all_titles());
        let others = titles.get(source).into_iter().flatten().filter(|name| *name != piece);
        others.filter_map(|name| Some((PathBuf::from(name), self.manifest(name).ok()??))).collect()
    }

    /// The folders of all pieces, in order, by the ways to their sources. Read once for all pieces
    /// of a build, which together would otherwise read a square of them.
    fn all_titles(&self) -> BTreeMap<String, Vec<String>> {
        let mut titles: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let entries = fs::read_dir(&self.folder).into_iter().flatten();
        for name in entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok()) {
            if let Ok(Some(manifest)) = self.manifest(&name) {
                titles.entry(manifest.source).or_default().push(name);
            }
        }
        titles.values_mut().for_each(|names| names.sort());
        titles
    }

    /// Has all files of a manifest removed with the rest of the build, and the manifest; `false`
    /// where somebody changed one of them, which then stays, and the manifest with it.
    pub(super) fn remove_all(
        &self,
        batch: &mut Batch,
        piece: &Path,
        manifest: &Manifest,
    ) -> Result<bool, Failure> {
        let mut all = true;
        for (path, entry) in &manifest.files {
            let below = piece.join(path);
            match self.digest(&below)? {
                Some(digest) if digest == entry.sha256 => self.remove(batch, &below),
                Some(_) => all = false,
                None => {}
            }
        }
        if all {
            self.remove(batch, &piece.join(MANIFEST));
        }
        Ok(all)
    }

    /// The manifest of a piece, where it has one.
    pub(super) fn manifest(&self, piece: &str) -> Result<Option<Manifest>, Failure> {
        let path = self.folder.join(piece).join(MANIFEST);
        let failed = |error| cannot("read", &path, &error);
        let Some(mut there) = self.disk.open(&path).map_err(failed)? else { return Ok(None) };
        let mut bytes = Vec::new();
        there.read_to_end(&mut bytes).map_err(failed)?;
        Manifest::read(&bytes, &path).map(Some)
    }

    /// Gets a file ready as it is written; `path` is below the output folder. Gives back what is to
    /// become of it, if it is not there already, and its digest.
    pub(super) fn stage(
        &self,
        path: &Path,
        write: &mut render::Write,
    ) -> Result<(Option<Change>, String), Failure> {
        interrupt::stop_if_asked()?;
        let place = self.folder.join(path);
        if place.is_dir() {
            return Err(Failure(format!(
                "cannot write {}: there is a folder of that name",
                place.display()
            )));
        }
        let number = self.staged.fetch_add(1, Ordering::Relaxed);
        let beside = self.staging.join(number.to_string());
        let begin = || {
            self.make_staging()?;
            self.disk.begin(&beside)
        };
        let mut staged = || -> io::Result<(Vec<u8>, bool)> {
            let staged = Staged::new(&self.disk, &place, &begin)?;
            let mut staged = BufWriter::with_capacity(BUFFER, staged);
            write(&mut staged)?;
            staged.into_inner().map_err(io::IntoInnerError::into_error)?.finish()
        };
        let (digest, is_new) = staged().map_err(|error| {
            // Whoever was asked to stop says so.
            interrupt::stop_if_asked().err().unwrap_or_else(|| cannot("write", &place, &error))
        })?;
        let change = is_new.then(|| Change { place: place.clone(), staged: Some(beside.clone()) });
        Ok((change, hexadecimal(&digest)))
    }

    /// Gets a file with those bytes ready.
    pub(super) fn stage_bytes(
        &self,
        batch: &mut Batch,
        path: &Path,
        bytes: &[u8],
    ) -> Result<(), Failure> {
        let (change, _) = self.stage(path, &mut |out| out.write_all(bytes))?;
        batch.push(change);
        Ok(())
    }

    /// A file without a name for what is got ready, which is gone when nobody has it any more.
    pub(super) fn scratch(&self) -> io::Result<Box<dyn Scratch>> {
        self.make_staging()?;
        Ok(Box::new(self.disk.scratch(&self.staging)?))
    }

    fn make_staging(&self) -> io::Result<()> {
        if self.staging.is_dir() {
            return Ok(());
        }
        match self.disk.make_folder(&self.staging) {
            // Another piece was quicker.
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(()),
            made => made,
        }
    }

    /// Has a file removed with the rest of the build.
    pub(super) fn remove(&self, batch: &mut Batch, path: &Path) {
        batch.0.push(Change { place: self.folder.join(path), staged: None });
    }

    /// Adds a piece that is ready; `number` is its place among all pieces of the build.
    pub(super) fn add(&self, number: usize, batch: Batch) {
        let mut ready = self.ready.lock().unwrap_or_else(PoisonError::into_inner);
        ready.insert(number, batch);
    }

    /// Puts everything in its place; gives back which files are new or changed.
    pub(super) fn place(mut self) -> Result<Vec<PathBuf>, Failure> {
        interrupt::stop_if_asked()?;
        // From here on a signal waits until the folder is whole again.
        let _whole = interrupt::hold();
        let ready = std::mem::take(&mut self.ready);
        let ready = ready.into_inner().unwrap_or_else(PoisonError::into_inner);
        let changes: Vec<Change> = ready.into_values().flat_map(|batch| batch.0).collect();
        let mut placed = Vec::with_capacity(changes.len());
        for (number, change) in changes.iter().enumerate() {
            if let Err(failure) = self.place_one(number, change, &mut placed) {
                return Err(self.take_back(failure, &placed));
            }
        }
        let folders: BTreeSet<&Path> =
            changes.iter().filter_map(|change| change.place.parent()).collect();
        for folder in folders.iter().copied().chain(self.made.iter().map(PathBuf::as_path)) {
            if folder.is_dir()
                && let Err(error) = self.disk.sync_folder(folder)
            {
                return Err(self.take_back(cannot("write", folder, &error), &placed));
            }
        }
        self.done = true;
        self.remove_empty(&changes);
        let written = changes.into_iter().filter(|change| change.staged.is_some());
        Ok(written.map(|change| change.place).collect())
    }

    /// Removes folders that hold nothing any more, now that files of theirs are gone.
    fn remove_empty(&self, changes: &[Change]) {
        for change in changes.iter().filter(|change| change.staged.is_none()) {
            let folders = change.place.ancestors().skip(1);
            for folder in folders.take_while(|folder| *folder != self.folder) {
                if self.disk.remove_folder(folder).is_err() {
                    break;
                }
            }
        }
    }

    /// Puts one file in its place. `placed` tells for each what it replaced.
    fn place_one(
        &mut self,
        number: usize,
        change: &Change,
        placed: &mut Vec<(PathBuf, Option<PathBuf>)>,
    ) -> Result<(), Failure> {
        let place = &change.place;
        let parent = place.parent().unwrap_or(&self.folder);
        let kept = self.staging.join(format!("{number}-before"));
        if change.staged.is_some() {
            make_folders(&self.disk, parent, &mut self.made)?;
        }
        let before = if place.symlink_metadata().is_ok() {
            if change.staged.is_none() {
                self.make_staging().map_err(|error| cannot("remove", place, &error))?;
            }
            let failed = |error| cannot("replace", place, &error);
            self.disk.keep(place, &kept).map_err(failed)?;
            Some(kept)
        } else {
            None
        };
        placed.push((place.clone(), before));
        match &change.staged {
            Some(staged) => {
                self.disk.put(staged, place).map_err(|error| cannot("write", place, &error))
            }
            None => self.disk.remove(place).map_err(|error| cannot("remove", place, &error)),
        }
    }

    /// Takes back what was placed, the last first; says what could not be taken back.
    fn take_back(&self, failure: Failure, placed: &[(PathBuf, Option<PathBuf>)]) -> Failure {
        let mut left = Vec::new();
        for (place, before) in placed.iter().rev() {
            let undone = match before {
                Some(before) => self.disk.put(before, place),
                None if place.symlink_metadata().is_ok() => self.disk.remove(place),
                None => Ok(()),
            };
            if undone.is_err() {
                left.push(place.display().to_string());
            }
        }
        let Failure(why) = failure;
        if left.is_empty() {
            return Failure(format!("{why}; nothing was changed"));
        }
        Failure(format!("{why}; these files are new already: {}", left.join(", ")))
    }
}

impl<D: Disk> Drop for OutputFolder<D> {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.staging);
        if !self.done {
            // Folders made for a build that came to nothing, where they are empty.
            for folder in self.made.iter().rev() {
                let _ = self.disk.remove_folder(folder);
            }
        }
        interrupt::nothing_to_clear();
    }
}

/// Makes the folders that a path lacks and remembers them.
fn make_folders(disk: &impl Disk, path: &Path, made: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let missing: Vec<&Path> = path
        .ancestors()
        .filter(|folder| !folder.as_os_str().is_empty())
        .take_while(|folder| !folder.is_dir())
        .collect();
    for folder in missing.into_iter().rev() {
        match disk.make_folder(folder) {
            Ok(()) => made.push(folder.to_path_buf()),
            // Somebody else made it in the meantime.
            Err(_) if folder.is_dir() => {}
            Err(error) => return Err(cannot("make the folder", folder, &error)),
        }
    }
    Ok(())
}

/// Keeps other builds out of a folder for as long as the file is open; `None` where the system
/// cannot.
fn lock(folder: &Path) -> Result<Option<fs::File>, Failure> {
    // Only a POSIX system opens a folder.
    if !cfg!(unix) {
        return Ok(None);
    }
    let file = fs::File::open(folder).map_err(|error| cannot("open", folder, &error))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(fs::TryLockError::WouldBlock) => Err(Failure(format!(
            "another build is being written into {}; wait until it is done, or name another folder with `--output`",
            folder.display()
        ))),
        // A file system without locks.
        Err(fs::TryLockError::Error(_)) => Ok(None),
    }
}

/// Clears what builds left behind that were killed; the lock tells that none is alive.
fn clear(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.filter_map(Result::ok) {
        let name = entry.file_name();
        let number = name.to_str().and_then(|name| name.strip_prefix(STAGING));
        let ours = number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
        if ours && entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

fn cannot(what: &str, path: &Path, error: &io::Error) -> Failure {
    Failure(format!("cannot {what} {}: {error}", path.display()))
}
