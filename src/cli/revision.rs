//! Sources as they were in a revision of a checkout under version control, by way of `git`.
//!
//! Only commands are asked that read what is stored (`cat-file`, `rev-parse`, `hash-object` without
//! filters): none of them runs a program that a checkout could bring with it.

use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use super::Failure;
use super::files::{self, slashes};
use super::output::way;
use ripieno_checker::session::Session;
use ripieno_compiler::diagnostics::FileId;
use ripieno_compiler::resolve::{LoadError, Loader};

/// A file in a revision: `v2:samples/weir.ripieno`.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Revised {
    /// A commit, a branch, a tag: whatever names a revision.
    revision: String,
    /// The path from the working folder, or a whole one.
    path: PathBuf,
}

impl Revised {
    /// A file in a revision.
    pub(super) fn new(revision: &str, path: &Path) -> Revised {
        Revised { revision: revision.into(), path: path.to_path_buf() }
    }

    /// What `REVISION:PATH` names; `None` where the argument names a file, or nothing of the kind.
    pub(super) fn of(argument: &Path) -> Option<Revised> {
        let text = argument.to_str()?;
        let (revision, path) = text.split_once(':')?;
        // `C:\music` is a path elsewhere, and a revision that begins with a hyphen an option.
        let is_revision = revision.len() > 1 && !revision.starts_with('-') && !path.is_empty();
        (is_revision && !argument.exists()).then(|| Revised::new(revision, Path::new(path)))
    }

    /// A session with the file open in it, as it was, with what it used then.
    pub(super) fn session(&self) -> Result<(Session, FileId), Failure> {
        let (folder, path) = if self.path.is_absolute() {
            let folder = self.path.parent().unwrap_or(Path::new("/"));
            (folder.to_path_buf(), PathBuf::from(self.path.file_name().unwrap_or_default()))
        } else {
            (PathBuf::from("."), self.path.clone())
        };
        let loader = StoredFiles { folder, revision: self.revision.clone() };
        let name = slashes(&path);
        let text = loader.read(&name).map_err(|error| {
            Failure(match error {
                LoadError::NotFound => format!(
                    "revision {} has no file {}; `git log -- {}` lists the revisions that have it",
                    self.revision,
                    self.path.display(),
                    self.path.display()
                ),
                LoadError::NotUtf8(at) => format!(
                    "{} in revision {} is not UTF-8 text (byte {at})",
                    self.path.display(),
                    self.revision
                ),
                LoadError::Other(why) => format!("cannot read revision {}: {why}", self.revision),
                LoadError::TooLarge | LoadError::OutsideRoot => {
                    format!("{} in revision {} is too long", self.path.display(), self.revision)
                }
            })
        })?;
        let mut session = Session::new(loader);
        let file = session.open(&name, &text);
        Ok((session, file))
    }
}

/// Files of a revision, by their paths from a folder of the checkout.
struct StoredFiles {
    folder: PathBuf,
    revision: String,
}

impl StoredFiles {
    fn read(&self, name: &str) -> Result<String, LoadError> {
        let object = format!("{}:./{name}", self.revision);
        let mut git = git(&self.folder)
            .args(["cat-file", "blob", &object])
            .spawn()
            .map_err(|error| LoadError::Other(needed(&error)))?;
        let text = git.stdout.take().map(files::text);
        // A text that is too long is not read to its end.
        let _ = git.kill();
        let mut said = String::new();
        if let Some(stderr) = git.stderr.take() {
            let _ = stderr.take(4096).read_to_string(&mut said);
        }
        let _ = git.wait();
        match (text, said.trim()) {
            (Some(Ok(text)), "") => Ok(text),
            (Some(Err(error)), "") => Err(error),
            (_, said) if said.contains("does not exist") || said.contains("exists on disk") => {
                Err(LoadError::NotFound)
            }
            (_, said) => Err(LoadError::Other(said.trim_start_matches("fatal: ").to_owned())),
        }
    }
}

impl Loader for StoredFiles {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        let name = self.name(path, from).ok_or(LoadError::OutsideRoot)?;
        let text = self.read(&name)?;
        Ok((name, text))
    }

    fn name(&self, path: &str, from: &str) -> Option<String> {
        let beside = Path::new(from).parent().unwrap_or(Path::new(""));
        files::plain(&beside.join(path)).map(|path| slashes(&path))
    }
}

/// The revision of the checkout in which these files lie, if each of them is there as it is stored
/// in it; `None` where they are not, where there is no checkout, or no `git`.
pub(super) fn current(files: &[PathBuf]) -> Option<String> {
    let full: Vec<PathBuf> =
        files.iter().map(|file| file.canonicalize().ok()).collect::<Option<_>>()?;
    let base = full.first()?.parent()?.to_path_buf();
    // Most folders are no checkout; that is seen without another program.
    base.ancestors().find(|folder| folder.join(".git").exists())?;
    let asked = |arguments: &[String], files: &[PathBuf]| -> Option<String> {
        let answer = git(&base).args(arguments).args(files).output().ok()?;
        answer.status.success().then(|| String::from_utf8(answer.stdout).ok())?
    };
    let stored = full.iter().map(|file| format!("HEAD:./{}", way(&base, file)));
    let names: Vec<String> =
        ["rev-parse", "HEAD"].map(str::to_owned).into_iter().chain(stored).collect();
    let stored = asked(&names, &[])?;
    let (head, stored) = stored.split_once('\n')?;
    let hash = ["hash-object", "--no-filters", "--"].map(str::to_owned);
    (asked(&hash, &full)? == stored).then(|| head.to_owned())
}

fn git(folder: &Path) -> Command {
    let mut git = Command::new("git");
    git.arg("-C").arg(folder).env("LC_ALL", "C");
    git.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    git
}

fn needed(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => {
            "revisions are read with `git`, which is not installed; give two files instead".into()
        }
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_revision_stands_before_a_colon() {
        let of = |text: &str| Revised::of(Path::new(text));
        assert_eq!(of("v2:a/b.ripieno"), Some(Revised::new("v2", Path::new("a/b.ripieno"))));
        assert_eq!(of("HEAD~3:b"), Some(Revised::new("HEAD~3", Path::new("b"))));
        assert_eq!(of("b.ripieno"), None);
        assert_eq!(of("C:b.ripieno"), None);
        assert_eq!(of("--output:b"), None);
        assert_eq!(of("v2:"), None);
    }
}
