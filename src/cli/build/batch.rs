//! Many pieces in one build: as many at once as the machine runs, told in their order.

use std::collections::{BTreeMap, HashMap};
use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread;

use super::super::output::OutputFolder;
use super::super::paging;
use super::super::reprint::Past;
use super::super::source::{self, Desk, counts, has_errors};
use super::super::{Failure, Show};
use super::piece::Building;
use super::{Arguments, Wanted, built_from};
use ripieno_checker::check;
use ripieno_compiler::diagnostics::{Diagnostic, json};
use ripieno_writers::render::slug;

/// What a thread may need: a long piece goes deep.
const STACK: usize = 16 * 1024 * 1024;

/// All pieces of a build.
pub(super) struct Batch<'a> {
    files: &'a [PathBuf],
    format: Show,
    wanted: &'a Wanted,
    options: check::Options,
    past: Mutex<Option<Past>>,
    /// The output folder, opened for the first piece that is written.
    output: Mutex<Option<Arc<OutputFolder>>>,
    /// The folders of pieces that were begun, with the number of the file.
    folders: Mutex<HashMap<String, usize>>,
    /// Threads for the files of one piece.
    threads: usize,
}

/// What became of one source.
#[derive(Default)]
pub(super) struct Piece {
    /// What was found, in words; for data, nothing.
    said: String,
    /// What was found, as data.
    pub(super) data: json::Report,
    /// What was written.
    pub(super) report: String,
    pub(super) has_errors: bool,
    /// Has it no scoring, and no errors that could be the cause?
    pub(super) has_nothing: bool,
}

impl<'a> Batch<'a> {
    pub(super) fn new(
        arguments: &'a Arguments,
        options: check::Options,
        past: Option<Past>,
    ) -> Batch<'a> {
        let wanted = &arguments.wanted;
        Batch {
            files: &arguments.files,
            format: arguments.format,
            wanted,
            options,
            past: Mutex::new(past),
            output: Mutex::default(),
            folders: Mutex::default(),
            threads: (paging::threads() / arguments.files.len().max(1)).max(1),
        }
    }

    /// Gets all pieces ready; gives them back in their order with the folder in which they wait to
    /// be placed. What is found is shown as soon as all before it is.
    pub(super) fn run(self) -> Result<(Vec<Piece>, Option<OutputFolder>), Failure> {
        let next = AtomicUsize::new(0);
        let stop = AtomicBool::new(false);
        let (sender, receiver) = mpsc::channel();
        let work = |sender: mpsc::Sender<(usize, Result<Piece, Failure>)>| {
            while !stop.load(Ordering::Relaxed) {
                let number = next.fetch_add(1, Ordering::Relaxed);
                if number >= self.files.len() {
                    return;
                }
                let piece = self.piece(number);
                stop.fetch_or(piece.is_err(), Ordering::Relaxed);
                if sender.send((number, piece)).is_err() {
                    return;
                }
            }
        };
        let done = thread::scope(|scope| -> io::Result<_> {
            for _ in 0..paging::threads().clamp(1, self.files.len().max(1)) {
                let sender = sender.clone();
                thread::Builder::new().stack_size(STACK).spawn_scoped(scope, || work(sender))?;
            }
            drop(sender);
            Ok(collected(receiver, self.files.len()))
        });
        let done = done.map_err(|error| Failure(format!("cannot start to build: {error}")))?;
        let pieces = done.into_values().collect::<Result<Vec<Piece>, Failure>>()?;
        let output = self.output.into_inner().unwrap_or_else(PoisonError::into_inner);
        Ok((pieces, output.and_then(Arc::into_inner)))
    }

    /// Gets one piece ready.
    fn piece(&self, number: usize) -> Result<Piece, Failure> {
        let (path, wanted) = (&self.files[number], self.wanted);
        let mut desk = Desk::new(self.options.clone());
        let file = desk.open(path, wanted.root.as_deref())?;
        let findings = desk.findings(file, &wanted.scoring)?;
        let piece = desk.session.piece(file);
        let mut done = Piece { has_errors: has_errors(&findings), ..Piece::default() };
        self.tell(&mut done, &findings, &desk);
        let nothing = piece.scorings.is_empty();
        // A file of ensembles that others use has nothing of its own to write.
        if nothing && !done.has_errors {
            done.has_nothing = true;
            return Ok(done);
        }
        let folder = slug(&piece.title);
        self.claim(&folder, &piece.title, number)?;
        let unwritten = |findings: &[Diagnostic]| {
            format!(
                "{}: {}; nothing was written. Fix the errors, or pass `--despite-errors`.\n",
                path.display(),
                counts(findings)
            )
        };
        if done.has_errors && !wanted.despite_errors {
            done.said.push_str(&unwritten(&findings));
            return Ok(done);
        }
        if nothing {
            done.has_nothing = true;
            return Ok(done);
        }
        let output = self.output()?;
        let from = built_from(&mut desk, file);
        let mut building = Building::begin(&output, &piece, folder, path, from)?;
        let arranged = desk.session.arrangements(file);
        let (table, on_pages) =
            building.scorings(&arranged, wanted, self.threads, &self.past, desk.sources())?;
        let on_pages = self.options.apply(on_pages);
        self.tell(&mut done, &on_pages, &desk);
        done.has_errors |= has_errors(&on_pages);
        let findings: Vec<Diagnostic> = findings.iter().cloned().chain(on_pages).collect();
        if done.has_errors && !wanted.despite_errors {
            done.said.push_str(&unwritten(&findings));
            return Ok(done);
        }
        let stale = building.finish(number, wanted.prune)?;
        done.report = format!("{}: {}\n{table}{stale}", path.display(), counts(&findings));
        Ok(done)
    }

    /// Tells what was found.
    fn tell(&self, done: &mut Piece, findings: &[Diagnostic], desk: &Desk) {
        if self.format == Show::Json {
            done.data.add(findings, desk.sources());
        } else if !findings.is_empty() {
            done.said.push_str(&source::shown(desk.sources(), findings, self.format));
        }
    }

    /// Keeps a folder for one piece alone.
    fn claim(&self, folder: &str, title: &str, number: usize) -> Result<(), Failure> {
        let mut folders = self.folders.lock().unwrap_or_else(PoisonError::into_inner);
        match folders.insert(folder.to_owned(), number) {
            None => Ok(()),
            Some(other) => {
                let [one, two] = [number.min(other), number.max(other)];
                Err(Failure(format!(
                    "{} and {} are both called \"{title}\" and would overwrite each other; give one another title",
                    self.files[one].display(),
                    self.files[two].display(),
                )))
            }
        }
    }

    fn output(&self) -> Result<Arc<OutputFolder>, Failure> {
        let mut output = self.output.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(open) = &*output {
            return Ok(Arc::clone(open));
        }
        let opened = Arc::new(OutputFolder::open(&self.wanted.output)?);
        Ok(Arc::clone(output.insert(opened)))
    }
}

/// What comes from the threads, by the numbers of the files. What was found is shown in their order.
fn collected(
    receiver: mpsc::Receiver<(usize, Result<Piece, Failure>)>,
    files: usize,
) -> BTreeMap<usize, Result<Piece, Failure>> {
    let mut progress = Progress::of(files);
    let mut done: BTreeMap<usize, Result<Piece, Failure>> = BTreeMap::new();
    let mut shown = 0;
    for (number, piece) in receiver {
        done.insert(number, piece);
        while let Some(Ok(piece)) = done.get(&shown) {
            if !piece.said.is_empty() {
                progress.clear();
                let _ = io::stderr().lock().write_all(piece.said.as_bytes());
            }
            shown += 1;
        }
        progress.show(done.len());
    }
    progress.clear();
    done
}

/// A line on the terminal that says how far a build of several pieces is.
struct Progress {
    files: usize,
    is_shown: bool,
}

impl Progress {
    /// Columns of the bar.
    const WIDTH: usize = 30;

    fn of(files: usize) -> Progress {
        Progress { files, is_shown: files > 1 && io::stderr().is_terminal() }
    }

    fn show(&self, done: usize) {
        if self.is_shown {
            let filled = Progress::WIDTH * done / self.files.max(1);
            let (bar, rest) = ("=".repeat(filled), " ".repeat(Progress::WIDTH - filled));
            let _ = write!(io::stderr(), "\r|{bar}{rest}| {done} of {} pieces", self.files);
        }
    }

    fn clear(&mut self) {
        if self.is_shown {
            let blank = " ".repeat(Progress::WIDTH + 30);
            let _ = write!(io::stderr(), "\r{blank}\r");
        }
    }
}
