//! `ripieno watch`: builds again what a save changed, and says it in one line.

mod folders;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::build::{self, Built, Wanted};
use super::source::{Desk, counts};
use super::{Failure, Outcome, print};
use folders::Folders;
use ripieno_compiler::diagnostics::{FileId, Severity, Sources, short};
use ripieno_compiler::syntax::Declaration;

/// What `watch` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The sources; the files that they use are watched as well.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    #[command(flatten)]
    wanted: Wanted,
}

/// What stands in a file: its digest, or nothing where it cannot be read.
type State = Option<[u8; 32]>;

/// A source that is built again and again.
struct Watched {
    path: PathBuf,
    /// What was worked out of it stays here from one build to the next.
    desk: Desk,
    /// Itself and the files that it used when it was read last, those that are missing as well,
    /// with what stood in them; `None` for one that has not been built yet.
    inputs: BTreeMap<PathBuf, Option<State>>,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let wanted = &arguments.wanted;
    wanted.formats()?;
    let options = wanted.judging.options(&[])?;
    // A file that vanishes may come back; one that never was is a slip of the pen.
    for path in &arguments.files {
        if !path.is_file() {
            return Err(Failure(format!("there is no file {}", path.display())));
        }
    }
    let mut watched: Vec<Watched> = arguments
        .files
        .iter()
        .map(|path| Watched {
            path: path.clone(),
            desk: Desk::kept(options.clone()),
            inputs: BTreeMap::from([(path.clone(), None)]),
        })
        .collect();
    let mut folders = Folders::new()?;
    loop {
        // First watch, then look: so nothing is saved in between.
        folders.cover(watched.iter().flat_map(|watched| watched.inputs.keys()));
        // Many editors empty a file before they write it; a busy machine may take its time.
        for _ in 0..PATIENCE {
            if !watched.iter().any(Watched::is_being_saved) {
                break;
            }
            folders.wait_more();
        }
        let mut built = false;
        for watched in &mut watched {
            if watched.has_changed() {
                print(&watched.build(wanted))?;
                built = true;
            }
        }
        if !built {
            folders.wait();
        }
    }
}

/// How often an empty file is waited for before it is believed to be empty.
const PATIENCE: usize = 4;
/// How long a file that was found empty is left to whoever saves it.
const MOMENT: std::time::Duration = std::time::Duration::from_millis(50);

impl Watched {
    /// Has a file been emptied?
    fn is_being_saved(&self) -> bool {
        let emptied = |(path, before): (&PathBuf, &Option<State>)| {
            path.metadata().is_ok_and(|data| data.is_file() && data.len() == 0)
                && before.is_none_or(|before| before != state(path))
        };
        self.inputs.iter().any(emptied)
    }

    fn has_changed(&self) -> bool {
        self.inputs.iter().any(|(path, before)| before.is_none_or(|before| before != state(path)))
    }

    /// What stands in its files now.
    fn states(&self) -> BTreeMap<PathBuf, State> {
        self.inputs.keys().map(|path| (path.clone(), state(path))).collect()
    }

    /// Builds it; gives back the line that says what became of it.
    fn build(&mut self, wanted: &Wanted) -> String {
        let now = chrono::Local::now().format("%H:%M:%S");
        let said = |what: &str| format!("{now}  {}: {what}\n", self.path.display());
        let mut before = self.states();
        let settled = |before: &BTreeMap<PathBuf, State>| {
            before.iter().map(|(path, state)| (path.clone(), Some(*state))).collect()
        };
        if before.get(&self.path) == Some(&None) && !self.path.exists() {
            let line = said("gone; it is built again when it is back");
            self.inputs = BTreeMap::from([(self.path.clone(), Some(None))]);
            return line;
        }
        let failed = |Failure(why)| said(&why.replace('\n', " "));
        let mut opened = self.desk.open(&self.path, wanted.root.as_deref());
        // It may have been half-way through a save: emptied, to be written anew, or written since
        // it was looked at.
        for _ in 0..PATIENCE {
            match &opened {
                Ok(file) if !self.desk.sources().get(*file).text.is_empty() => break,
                Ok(_) => std::thread::sleep(MOMENT),
                Err(_) => {
                    let after = self.states();
                    if after == before {
                        break;
                    }
                    before = after;
                }
            }
            opened = self.desk.open(&self.path, wanted.root.as_deref());
        }
        let file = match opened {
            Ok(file) => file,
            Err(why) => {
                self.inputs = settled(&before);
                return failed(why);
            }
        };
        let line = match build::alone(wanted, &mut self.desk, &self.path, file) {
            Ok(built) => said(&sentence(&built, self.desk.sources(), wanted)),
            Err(why) => failed(why),
        };
        let files = self.desk.session.files_of(file);
        let texts: BTreeSet<[u8; 32]> = files
            .iter()
            .map(|file| Sha256::digest(&self.desk.sources().get(*file).text).into())
            .collect();
        self.inputs = inputs(&self.path, &self.desk, &files)
            .into_iter()
            .map(|path| {
                // What was read, even if it was saved since the files were looked at; of a file that
                // is another again, what stood there before, so that it is built anew.
                let now = state(&path);
                let state = match now {
                    Some(digest) if texts.contains(&digest) => Some(now),
                    _ => before.get(&path).copied().or_else(|| now.is_none().then_some(now)),
                };
                (path, state)
            })
            .collect();
        line
    }
}

fn state(path: &Path) -> State {
    // A pipe may have no writer.
    if !path.is_file() {
        return None;
    }
    fs::read(path).ok().map(|bytes| Sha256::digest(bytes).into())
}

/// A source and all files that it and they use or name as movements, whether they are there or not; `files` are those
/// that it was read from, itself first.
fn inputs(root: &Path, desk: &Desk, files: &[FileId]) -> BTreeSet<PathBuf> {
    let mut inputs = BTreeSet::from([root.to_path_buf()]);
    for (number, file) in files.iter().enumerate() {
        let place = if number == 0 { root } else { Path::new(&desk.sources().get(*file).name) };
        let beside = place.parent().unwrap_or(Path::new(""));
        for block in desk.session.document(*file).blocks() {
            match &*block.declaration {
                Declaration::Use(path) => drop(inputs.insert(beside.join(&path.value))),
                Declaration::Piece(piece) => {
                    let movements = piece.movements.iter();
                    inputs.extend(movements.map(|movement| beside.join(&movement.path.value)));
                }
                _ => {}
            }
        }
    }
    inputs
}

/// What became of a source, in one line.
fn sentence(built: &Built, sources: &Sources, wanted: &Wanted) -> String {
    let errors = built.findings.iter().filter(|finding| finding.severity == Severity::Error);
    let first: Vec<_> = errors.take(1).cloned().collect();
    let found = if built.findings.is_empty() {
        String::new()
    } else {
        format!("; {}", counts(&built.findings))
    };
    let first = short::render(&first, sources);
    let first = first.split_whitespace().collect::<Vec<_>>().join(" ");
    match &built.written {
        None if !first.is_empty() => {
            format!("{}, nothing written; first {first}", counts(&built.findings))
        }
        None => format!("no scoring, so nothing to write{found}"),
        Some(files) if files.is_empty() => {
            format!("nothing to write: all files are as they were{found}")
        }
        Some(files) => format!("wrote {}{found}", written(files, &wanted.output)),
    }
}

/// How many names of parts are told of a scoring.
const NAMES: usize = 6;

/// "village (score, violin-1), spa (oboe-1)": what is new or changed, by scoring.
fn written(files: &[PathBuf], output: &Path) -> String {
    let mut scorings: Vec<(String, Vec<String>)> = Vec::new();
    for file in files {
        // <piece>/<scoring>/parts/01-<part>.<format>
        let below = file.strip_prefix(output).unwrap_or(file);
        let scoring = below.components().nth(1).map(|c| c.as_os_str().to_string_lossy());
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        let number = stem.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(0);
        let part = stem[number..].strip_prefix('-').filter(|_| number > 0).unwrap_or(&stem);
        let scoring = scoring.unwrap_or_default().into_owned();
        let known = scorings.iter().position(|(name, _)| *name == scoring);
        let at = known.unwrap_or_else(|| {
            scorings.push((scoring, Vec::new()));
            scorings.len() - 1
        });
        let parts = &mut scorings[at].1;
        if !parts.iter().any(|known| known == part) {
            // The score first.
            let place = if part == "score" { 0 } else { parts.len() };
            parts.insert(place, part.to_string());
        }
    }
    let told = scorings.iter().map(|(scoring, parts)| {
        // One more name is no longer than to say that there is one more.
        let names = if parts.len() > NAMES + 1 { NAMES } else { parts.len() };
        let more = match parts.len() - names {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        format!("{scoring} ({}{more})", parts[..names].join(", "))
    });
    told.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_written_is_told_by_scoring_each_part_once() {
        let files: Vec<PathBuf> = [
            "small/parts/01-oboe.mid",
            "small/parts/01-oboe.txt",
            "small/score.txt",
            "large/parts/10-horn-2.txt",
        ]
        .map(|path| Path::new("out/weir").join(path))
        .into();
        assert_eq!(written(&files, Path::new("out")), "small (score, oboe), large (horn-2)");
        let many = (1..=9).map(|n| PathBuf::from(format!("out/weir/tutti/parts/0{n}-a{n}.txt")));
        let many: Vec<PathBuf> = many.collect();
        assert_eq!(written(&many, Path::new("out")), "tutti (a1, a2, a3, a4, a5, a6 and 3 more)");
    }
}
