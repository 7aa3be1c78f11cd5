//! Builds on a disk that fails once, at every operation in turn.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::path::Path;

use super::disk::NewFile;
use super::*;

/// A file system of which the operation of that number fails, counted from 0.
struct Failing {
    until: Cell<i64>,
}

impl Failing {
    fn at(operation: i64) -> Failing {
        Failing { until: Cell::new(operation) }
    }

    fn check(&self) -> io::Result<()> {
        self.until.set(self.until.get() - 1);
        if self.until.get() == -1 { Err(io::Error::other("the disk is full")) } else { Ok(()) }
    }
}

impl Disk for &Failing {
    fn open(&self, path: &Path) -> io::Result<Option<Box<dyn Read + '_>>> {
        self.check()?;
        let there = FileSystem.open(path)?;
        Ok(there.map(|file| Box::new(FailingFile { disk: self, file }) as Box<dyn Read>))
    }
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.make_folder(path))
    }
    fn begin(&self, path: &Path) -> io::Result<Box<dyn NewFile + '_>> {
        self.check()?;
        Ok(Box::new(FailingFile { disk: self, file: FileSystem.begin(path)? }))
    }
    fn scratch(&self, folder: &Path) -> io::Result<std::fs::File> {
        self.check().and_then(|()| FileSystem.scratch(folder))
    }
    fn keep(&self, path: &Path, kept: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.keep(path, kept))
    }
    fn put(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.put(from, to))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.remove(path))
    }
    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.remove_folder(path))
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.check().and_then(|()| FileSystem.sync_folder(path))
    }
}

/// A file on it.
struct FailingFile<'d, F> {
    disk: &'d Failing,
    file: F,
}

impl<F: Read> Read for FailingFile<'_, F> {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        self.disk.check().and_then(|()| self.file.read(bytes))
    }
}

impl<F: NewFile + ?Sized> Write for FailingFile<'_, Box<F>> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // A disk that is full takes half of a file.
        if let Err(error) = self.disk.check() {
            self.file.write_all(&bytes[..bytes.len() / 2])?;
            return Err(error);
        }
        self.file.write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl<F: NewFile + ?Sized> NewFile for FailingFile<'_, Box<F>> {
    fn finish(&mut self) -> io::Result<()> {
        self.disk.check().and_then(|()| self.file.finish())
    }
}

/// All files below a folder with what stands in them.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten().map(Result::unwrap) {
        if entry.file_type().unwrap().is_dir() {
            found.extend(files(&entry.path()));
        } else {
            found.insert(entry.path(), fs::read(entry.path()).unwrap());
        }
    }
    found
}

/// A first build, or one after it that changes, adds and removes files.
fn build(folder: &Path, disk: &Failing, second: bool) -> Result<usize, Failure> {
    let mut made = Vec::new();
    make_folders(&disk, folder, &mut made)?;
    let output = OutputFolder::over(folder, disk, lock(folder)?, made);
    let mut batch = Batch::default();
    let word = if second { "second" } else { "first" };
    for (path, bytes) in [
        ("weir/spa/score.txt", word),
        ("weir/spa/parts/01-oboe-1.txt", "the same"),
        (if second { "weir/town/score.txt" } else { "weir/spa/parts/02-horn-1.txt" }, word),
        ("weir/ripieno.json", word),
    ] {
        output.stage_bytes(&mut batch, Path::new(path), bytes.as_bytes())?;
    }
    if second {
        output.remove(&mut batch, Path::new("weir/spa/parts/02-horn-1.txt"));
    }
    output.add(0, batch);
    Ok(output.place()?.len())
}

#[test]
fn whatever_fails_the_old_files_stand_or_the_new_ones_whole() {
    let reference = tempfile::tempdir().unwrap();
    let states: Vec<_> = [false, true]
        .into_iter()
        .map(|second| {
            assert!(build(reference.path(), &Failing::at(i64::MAX), second).is_ok());
            let files = files(reference.path());
            files
                .into_iter()
                .map(|(path, bytes)| {
                    (path.strip_prefix(reference.path()).unwrap().to_path_buf(), bytes)
                })
                .collect::<BTreeMap<_, _>>()
        })
        .collect();
    assert_eq!((states[0].len(), states[1].len()), (4, 4));
    for second in [false, true] {
        let (mut failed, mut operation) = (0, 0);
        loop {
            let room = tempfile::tempdir().unwrap();
            let folder = room.path().join("out");
            if second {
                assert!(build(&folder, &Failing::at(i64::MAX), false).is_ok());
            }
            let disk = Failing::at(operation);
            let outcome = build(&folder, &disk, second);
            let found: BTreeMap<_, _> = files(&folder)
                .into_iter()
                .map(|(path, bytes)| (path.strip_prefix(&folder).unwrap().to_path_buf(), bytes))
                .collect();
            let old = if second { states[0].clone() } else { BTreeMap::new() };
            match outcome {
                Ok(_) => assert_eq!(found, states[usize::from(second)], "operation {operation}"),
                Err(Failure(why)) => {
                    assert_eq!(found, old, "operation {operation}: {why}");
                    failed += 1;
                }
            }
            if disk.until.get() >= 0 {
                break;
            }
            operation += 1;
        }
        assert!(failed >= 12, "only {failed} operations were let fail");
    }
}

#[test]
fn one_build_at_a_time_has_a_folder_and_litter_goes() {
    let room = tempfile::tempdir().unwrap();
    let litter = room.path().join(".ripieno-4711");
    fs::create_dir(&litter).unwrap();
    fs::write(litter.join("0"), "half").unwrap();
    fs::create_dir(room.path().join(".ripieno-notes")).unwrap();
    let first = OutputFolder::open(room.path()).map_err(|Failure(why)| why).unwrap();
    assert!(!litter.exists(), "what a killed build left is cleared");
    assert!(room.path().join(".ripieno-notes").exists(), "what is not ours stays");
    if cfg!(unix) {
        let Err(Failure(why)) = OutputFolder::open(room.path()) else {
            panic!("two builds at once")
        };
        assert!(why.contains("another build"), "{why}");
    }
    drop(first);
    assert!(OutputFolder::open(room.path()).is_ok(), "the lock goes with the build");
}

#[test]
fn what_is_there_already_is_not_written_again() {
    let room = tempfile::tempdir().unwrap();
    let build = |bytes: &[u8]| {
        let output = OutputFolder::open(room.path()).map_err(|Failure(why)| why).unwrap();
        let mut batch = Batch::default();
        assert!(output.stage_bytes(&mut batch, Path::new("weir/score.txt"), bytes).is_ok());
        output.add(0, batch);
        output.place().map_err(|Failure(why)| why).unwrap().len()
    };
    assert_eq!((build(b"one"), build(b"one"), build(b"two")), (1, 0, 1));
}

#[test]
fn pieces_that_are_ready_in_any_order_are_placed_in_theirs() {
    let room = tempfile::tempdir().unwrap();
    let output = OutputFolder::open(room.path()).map_err(|Failure(why)| why).unwrap();
    std::thread::scope(|scope| {
        for number in (0..8).rev() {
            let output = &output;
            scope.spawn(move || {
                let mut batch = Batch::default();
                let path = format!("piece-{number}/score.txt");
                assert!(output.stage_bytes(&mut batch, Path::new(&path), b"a score").is_ok());
                output.add(number, batch);
            });
        }
    });
    let placed = output.place().map_err(|Failure(why)| why).unwrap();
    let wanted = (0..8).map(|number| room.path().join(format!("piece-{number}/score.txt")));
    assert_eq!(placed, wanted.collect::<Vec<_>>());
}
