//! `ripieno lsp`.

use std::collections::HashMap;
use std::ffi::OsStr;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::{env, fs};

use lsp_server::Connection;

use super::{End, Failure, Outcome, files, interrupt};
use ripieno_compiler::resolve::LoadError;
use ripieno_lsp::{Host, serve};

/// What `lsp` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Talk over standard input and output, which it does anyway; many editors say so.
    #[arg(long, hide = true)]
    stdio: bool,
    /// The number of the editor's process, which some editors say.
    #[arg(long = "clientProcessId", value_name = "NUMBER", hide = true)]
    client: Option<u64>,
}

pub(super) fn run(_: &Arguments) -> Outcome {
    let (connection, threads) = Connection::stdio();
    let as_agreed = serve(&connection, Arc::new(Machine::default()));
    drop(connection);
    if !as_agreed {
        return Err(Failure("the editor went away without saying so".into()));
    }
    threads.join().map_err(|error| Failure(format!("the talk with the editor failed: {error}")))?;
    Ok(End::Fine)
}

/// The most sources that are looked for below one folder, and how deep.
const MOST_SOURCES: usize = 5_000;
const DEEPEST: usize = 32;

/// This machine.
#[derive(Default)]
struct Machine {
    pages: Mutex<HashMap<String, Option<PathBuf>>>,
}

impl Host for Machine {
    fn read(&self, file: &Path) -> Result<String, LoadError> {
        files::read(file)
    }

    fn real(&self, file: &Path) -> Result<PathBuf, LoadError> {
        file.canonicalize().map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => LoadError::NotFound,
            _ => LoadError::Other(error.to_string()),
        })
    }

    fn sources_below(&self, folder: &Path) -> Vec<PathBuf> {
        let mut found = Vec::new();
        let mut folders = vec![(folder.to_path_buf(), 0)];
        while let Some((folder, depth)) = folders.pop() {
            let Ok(entries) = fs::read_dir(&folder) else { continue };
            for entry in entries.flatten() {
                let (path, name) = (entry.path(), entry.file_name());
                // Links are not followed: they may lead anywhere, and round in a circle.
                let Ok(kind) = entry.file_type() else { continue };
                let hidden = name.as_encoded_bytes().starts_with(b".");
                let foreign = name == OsStr::new("target") || name == OsStr::new("node_modules");
                if kind.is_dir() && !hidden && !foreign && depth < DEEPEST {
                    folders.push((path, depth + 1));
                } else if kind.is_file() && path.extension() == Some(OsStr::new("ripieno")) {
                    found.push(path);
                }
            }
            if found.len() >= MOST_SOURCES {
                break;
            }
        }
        found.sort();
        found.truncate(MOST_SOURCES);
        found
    }

    fn page(&self, code: &str, text: &str) -> Option<PathBuf> {
        let mut pages = self.pages.lock().ok()?;
        pages.entry(code.to_string()).or_insert_with(|| written(code, text)).clone()
    }

    fn build(&self, file: &Path, scoring: &str) -> Result<String, String> {
        let program = env::current_exe().map_err(|error| error.to_string())?;
        let done = Command::new(program)
            .args(["build", "--format", "short", "--scoring", scoring])
            .arg("--")
            .arg(file)
            .current_dir(file.parent().unwrap_or(Path::new(".")))
            .stdin(Stdio::null())
            .output()
            .map_err(|error| error.to_string())?;
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim_end().to_string();
        match done.status.success() {
            true => Ok(text(&done.stdout)),
            false => Err(text(&done.stderr)),
        }
    }
}

/// The page of a code in the user's folder for what can be made again.
fn written(code: &str, text: &str) -> Option<PathBuf> {
    let variable = |name| env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let cache = variable("XDG_CACHE_HOME")
        .or_else(|| variable("LOCALAPPDATA"))
        .or_else(|| variable("HOME").map(|home| home.join(".cache")))?;
    let page = cache.join("ripieno").join(env!("CARGO_PKG_VERSION")).join(format!("{code}.txt"));
    if fs::read(&page).is_ok_and(|known| known == text.as_bytes()) {
        return Some(page);
    }
    let folder = page.parent()?;
    fs::create_dir_all(folder).ok()?;
    let _whole = interrupt::hold();
    let mut file = tempfile::NamedTempFile::new_in(folder).ok()?;
    file.write_all(text.as_bytes()).ok()?;
    file.persist(&page).ok()?;
    Some(page)
}
