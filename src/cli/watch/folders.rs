//! Waits until something happens in the folders of some files. Folders are watched, not files:
//! many editors save by putting a new file in the place of the old one. Where a folder has
//! vanished, the nearest one above it is watched, and looked at now and then.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, SystemTime};

use notify::event::{AccessKind, AccessMode, EventKind};
use notify::{RecommendedWatcher, RecursiveMode, Watcher};

use super::super::Failure;

/// How long all must be quiet before it is looked at what happened: an editor that saves all its
/// files, or empties a file before it writes, is one save.
const QUIET: Duration = Duration::from_millis(80);
/// How many times that is waited for at most, should it never be quiet.
const PATIENCE: usize = 20;
/// How often it is looked for what cannot be watched.
const LOOK: Duration = Duration::from_millis(500);

/// Which folder a path leads to, so that one that was removed and made again is not taken for
/// itself: device, number and time of creation, for the number of a removed folder is given to the
/// next one.
type Identity = Option<(u64, u64, Option<SystemTime>)>;

pub(super) struct Folders {
    watcher: RecommendedWatcher,
    events: Receiver<()>,
    watched: BTreeMap<PathBuf, Identity>,
    /// Is there something that cannot be watched?
    look: bool,
}

impl Folders {
    pub(super) fn new() -> Result<Folders, Failure> {
        let (tell, events) = channel();
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            // To read a file is no change of it.
            let only_read = matches!(
                event.map(|event| event.kind),
                Ok(EventKind::Access(kind)) if kind != AccessKind::Close(AccessMode::Write)
            );
            if !only_read {
                // Nobody listens any more only at the end of the process.
                let _ = tell.send(());
            }
        });
        let watcher = watcher.map_err(|error| Failure(format!("cannot watch files: {error}")))?;
        Ok(Folders { watcher, events, watched: BTreeMap::new(), look: false })
    }

    /// Watches the folders of those files and no others.
    pub(super) fn cover<'a>(&mut self, files: impl Iterator<Item = &'a PathBuf>) {
        self.look = false;
        let mut wanted = BTreeMap::new();
        for file in files {
            // Where a file is a link, what it leads to may change as well.
            let target = file.canonicalize().ok();
            for folder in [Some(&**file), target.as_deref()].into_iter().flatten().map(folder_of) {
                let there = folder.ancestors().map(or_here).find(|folder| folder.is_dir());
                let there = there.unwrap_or(Path::new("."));
                self.look |= there != or_here(folder);
                // One folder has one name: to leave it under one would be to leave it.
                let there = there.canonicalize().unwrap_or_else(|_| there.to_path_buf());
                let identity = identity(&there);
                wanted.insert(there, identity);
            }
        }
        let gone = self.watched.iter().filter(|(path, id)| wanted.get(*path) != Some(*id));
        for path in gone.map(|(path, _)| path.clone()).collect::<Vec<_>>() {
            // What is no longer there is no longer watched.
            let _ = self.watcher.unwatch(&path);
            self.watched.remove(&path);
        }
        for (path, id) in wanted {
            if self.watched.contains_key(&path) {
                continue;
            }
            match self.watcher.watch(&path, RecursiveMode::NonRecursive) {
                Ok(()) => drop(self.watched.insert(path, id)),
                Err(_) => self.look = true,
            }
        }
    }

    /// Waits a little longer: something is being saved.
    pub(super) fn wait_more(&self) {
        let _ = self.events.recv_timeout(LOOK);
    }

    /// Waits until something has happened and all is quiet again, or until it is time to look.
    pub(super) fn wait(&self) {
        if self.look {
            let _ = self.events.recv_timeout(LOOK);
        } else if self.events.recv().is_err() {
            // The watcher is gone, which it never is before this is; should it be, do not spin.
            std::thread::sleep(LOOK);
        }
        for _ in 0..PATIENCE {
            if self.events.recv_timeout(QUIET).is_err() {
                break;
            }
            while self.events.try_recv().is_ok() {}
        }
    }
}

fn folder_of(file: &Path) -> &Path {
    file.parent().unwrap_or(Path::new(""))
}

/// The working folder has an empty path.
fn or_here(folder: &Path) -> &Path {
    if folder.as_os_str().is_empty() { Path::new(".") } else { folder }
}

#[cfg(unix)]
fn identity(folder: &Path) -> Identity {
    use std::os::unix::fs::MetadataExt;
    folder.metadata().ok().map(|data| (data.dev(), data.ino(), data.created().ok()))
}

#[cfg(not(unix))]
fn identity(_: &Path) -> Identity {
    None
}
