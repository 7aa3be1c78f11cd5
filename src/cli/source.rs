//! What commands that read a source have in common: they open it in a session and ask that.

use std::collections::BTreeSet;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::files::{self, FileLoader, Root, Roots};
use super::{Failure, Show, colours, columns, print};
use ripieno_checker::check;
use ripieno_checker::session::Session;
use ripieno_compiler::diagnostics::{
    Diagnostic, FileId, Severity, Source, Sources, Span, did_you_mean, harmless, is_hidden, json,
    rich, short,
};
use ripieno_compiler::narrow::Narrow;
use ripieno_compiler::resolve::{LoadError, Piece, Scoring};

/// The sources of a command, in one session.
pub(super) struct Desk {
    pub(super) session: Session,
    roots: Roots,
}

/// What names the standard input in place of a file.
pub(super) const STANDARD_INPUT: &str = "-";

impl Desk {
    /// No sources yet; these rules will run over them, once.
    pub(super) fn new(options: check::Options) -> Desk {
        Desk::with(Session::asked_once, options)
    }

    /// The same for sources that are read again and again.
    pub(super) fn kept(options: check::Options) -> Desk {
        Desk::with(Session::new, options)
    }

    fn with(begin: fn(FileLoader) -> Session, options: check::Options) -> Desk {
        let roots = Roots::default();
        let mut session = begin(FileLoader::new(Roots::clone(&roots)));
        session.set_options(options);
        Desk { session, roots }
    }

    /// Opens a source file, or the standard input, as it is now, and with it all that it uses. Files
    /// that it uses must lie below `root`, which is otherwise the working folder if the file lies
    /// below that, or else the file's own folder.
    pub(super) fn open(&mut self, path: &Path, root: Option<&Path>) -> Result<FileId, Failure> {
        let (root, name) = if is_standard_input(path) {
            let folder = root.map_or_else(|| PathBuf::from("."), Path::to_path_buf);
            (Root { folder, shown: PathBuf::new() }, STANDARD_INPUT.to_string())
        } else {
            place(path, root)?
        };
        let text = text(path)?;
        self.roots.borrow_mut().insert(name.clone(), root);
        Ok(self.session.open(&name, &text))
    }

    /// What was found in a source, in the scorings of those names or in all; an unknown name is a
    /// wrong use, unless there is no scoring at all.
    pub(super) fn findings(
        &mut self,
        file: FileId,
        names: &[String],
    ) -> Result<Arc<[Diagnostic]>, Failure> {
        self.choose(file, names)?;
        Ok(self.session.findings(file))
    }

    /// The same where nothing else is asked of the source afterwards.
    pub(super) fn findings_alone(
        &mut self,
        file: FileId,
        names: &[String],
    ) -> Result<Arc<[Diagnostic]>, Failure> {
        self.choose(file, names)?;
        Ok(self.session.findings_alone(file))
    }

    fn choose(&mut self, file: FileId, names: &[String]) -> Result<(), Failure> {
        let piece = self.session.piece(file);
        if !piece.scorings.is_empty() {
            let chosen = scorings(&piece, names)?;
            let names = chosen.iter().map(|scoring| scoring.name.clone()).collect();
            self.session.choose(file, names);
        }
        Ok(())
    }

    /// All texts as they were read.
    pub(super) fn sources(&self) -> &Sources {
        self.session.sources()
    }
}

/// A session with a source file open in it, and the file.
pub(super) fn session(path: &Path, root: Option<&Path>) -> Result<(Session, FileId), Failure> {
    let mut desk = Desk::new(check::Options::default());
    let file = desk.open(path, root)?;
    Ok((desk.session, file))
}

/// Refuses a piece in movements where something is asked of one of them.
pub(super) fn one_movement(session: &mut Session, file: FileId) -> Result<(), Failure> {
    let piece = session.piece(file);
    let Some(first) = piece.movements.first() else { return Ok(()) };
    let name = &session.sources().get(first.file).name;
    Err(Failure(format!(
        "{} is a piece in movements; ask this of one of them, such as {name}",
        session.sources().get(file).name
    )))
}

fn is_standard_input(path: &Path) -> bool {
    [STANDARD_INPUT, "/dev/stdin"].iter().any(|name| path.as_os_str() == *name)
}

/// The text of a source file, or of the standard input.
pub(super) fn text(path: &Path) -> Result<String, Failure> {
    let text = match is_standard_input(path) {
        true => files::text(io::stdin().lock()),
        false => files::read(path),
    };
    text.map_err(|error| failure(path, &error))
}

/// The root of a source, and the source as it is shown: a path that leads to it from the working
/// folder.
fn place(path: &Path, root: Option<&Path>) -> Result<(Root, String), Failure> {
    let full = path.canonicalize().map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => failure(path, &LoadError::NotFound),
        _ => failure(path, &LoadError::Other(error.to_string())),
    })?;
    let here = std::env::current_dir().and_then(|here| here.canonicalize()).ok();
    let below = here.as_ref().is_some_and(|here| full.starts_with(here));
    let root = match (root, here) {
        (Some(root), _) => root
            .canonicalize()
            .map_err(|error| Failure(format!("the root {}: {error}", root.display())))?,
        (None, Some(here)) if below => here,
        _ => full.parent().unwrap_or(Path::new("/")).to_path_buf(),
    };
    let relative = full.strip_prefix(&root).map_err(|_| {
        Failure(format!("{} is not below the root {}", path.display(), root.display()))
    })?;
    let is_here =
        std::env::current_dir().and_then(|here| here.canonicalize()).is_ok_and(|h| h == root);
    let shown = if is_here {
        PathBuf::new()
    } else if path.ends_with(relative) {
        // What was given, without the way from the root.
        path.ancestors().nth(relative.components().count()).unwrap_or(&root).to_path_buf()
    } else {
        root.clone()
    };
    let name = files::slashes(&shown.join(relative));
    Ok((Root { folder: root, shown }, name))
}

fn failure(path: &Path, error: &LoadError) -> Failure {
    let path = path.display();
    Failure(match error {
        LoadError::NotFound => format!("there is no file {path}"),
        LoadError::NotUtf8(at) => {
            format!("{path} is not UTF-8 text (byte {at}); save it as UTF-8 in your editor")
        }
        LoadError::TooLarge => {
            format!("{path} is longer than 16 MB; put each movement into a file of its own")
        }
        LoadError::OutsideRoot => format!("{path} is outside the project's root"),
        LoadError::Other(why) => format!("cannot read {path}: {why}"),
    })
}

/// How findings are judged: what `build`, `check` and `watch` take alike.
#[derive(clap::Args, Default)]
pub(super) struct Judging {
    /// Treat findings of these rules, families or severities (`warnings`, `advice`, `all`) as errors.
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    deny: Vec<String>,
    /// Leave out findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    allow: Vec<String>,
}

impl Judging {
    /// What is asked of the checker, which looks only for findings of `only` unless that is empty; a
    /// rule that nobody knows is a wrong use.
    pub(super) fn options(&self, only: &[String]) -> Result<check::Options, Failure> {
        let (deny, allow) = (self.deny.clone(), self.allow.clone());
        let options = check::Options { deny, allow, only: only.to_vec() };
        match options.unknown().first() {
            Some((word, help)) => {
                Err(Failure(format!("there is no rule or family `{word}`. {help}")))
            }
            None => Ok(options),
        }
    }
}

/// The scorings of those names, or all; an unknown name is a wrong use.
pub(super) fn scorings<'p>(
    piece: &'p Piece,
    names: &[String],
) -> Result<Vec<&'p Arc<Scoring>>, Failure> {
    if names.is_empty() {
        return Ok(piece.scorings.iter().collect());
    }
    let known: Vec<&str> = piece.scorings.iter().map(|scoring| scoring.name.as_str()).collect();
    let again = |at: usize| names[..at].contains(&names[at]);
    let once = names.iter().enumerate().filter(|(at, _)| !again(*at));
    once.map(|(_, name)| {
        piece.scorings.iter().find(|scoring| scoring.name == *name).ok_or_else(|| {
            Failure(format!("unknown scoring `{name}`. {}", did_you_mean(name, &known, "scoring")))
        })
    })
    .collect()
}

/// Shows findings: in full or in one line each on the standard error, as data on the standard
/// output.
pub(super) fn show(sources: &Sources, findings: &[Diagnostic], how: Show) -> Result<(), Failure> {
    if how == Show::Json {
        return print(&json::render(findings, sources));
    }
    // Findings that nobody can read are not worth failing for.
    let _ = io::stderr().lock().write_all(shown(sources, findings, how).as_bytes());
    Ok(())
}

/// Findings in words, in full or in one line each; data are for [`json`].
pub(super) fn shown(sources: &Sources, findings: &[Diagnostic], how: Show) -> String {
    // A source must not tell the terminal what to do. Only those that are named are looked at: the
    // findings of many files are shown file by file.
    let named: BTreeSet<FileId> =
        findings.iter().flat_map(Diagnostic::places).map(|p| p.file).collect();
    let named: Vec<FileId> =
        named.into_iter().filter(|file| sources.find(*file).is_some()).collect();
    let (safe_sources, safe_findings);
    let (sources, findings) = if named.iter().any(|file| has_hidden(sources.get(*file))) {
        let safe = |text: &str| harmless(text).into_owned();
        safe_sources = sources.shown_with(&named, safe);
        // A text that is not there stays one.
        let number =
            |file| FileId(named.binary_search(&file).unwrap_or(usize::MAX).narrow::<u32>());
        let place = |span: Span| Span { file: number(span.file), ..span };
        safe_findings =
            findings.iter().map(|one| one.said_with(safe).with_places(place)).collect::<Vec<_>>();
        (&safe_sources, safe_findings.as_slice())
    } else {
        (sources, findings)
    };
    if how == Show::Rich {
        let stderr = io::stderr();
        let look = rich::Look { colours: colours(&stderr), unicode: unicode(), width: columns() };
        rich::render(findings, sources, look)
    } else {
        short::render(findings, sources)
    }
}

fn has_hidden(source: &Source) -> bool {
    source.text.contains(is_hidden) || source.name.contains(is_hidden)
}

/// Box-drawing characters only where the reader is known to take them.
fn unicode() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|name| std::env::var(name).ok().filter(|value| !value.is_empty()));
    locale.is_some_and(|locale| {
        let locale = locale.to_lowercase();
        locale.contains("utf-8") || locale.contains("utf8")
    }) || !io::stderr().is_terminal()
}

/// Are there errors among the findings?
pub(super) fn has_errors(findings: &[Diagnostic]) -> bool {
    findings.iter().any(|finding| finding.severity == Severity::Error)
}

/// "2 errors, 1 warning".
pub(super) fn counts(findings: &[Diagnostic]) -> String {
    let count = |severity| findings.iter().filter(|f| f.severity == severity).count();
    let plural = |n: usize, word: &str| match n {
        0 => None,
        1 => Some(format!("1 {word}")),
        _ => Some(format!("{n} {word}s")),
    };
    let advice = match count(Severity::Advice) {
        0 => None,
        1 => Some("1 piece of advice".to_string()),
        n => Some(format!("{n} pieces of advice")),
    };
    let counts: Vec<String> = [
        plural(count(Severity::Error), "error"),
        plural(count(Severity::Warning), "warning"),
        advice,
    ]
    .into_iter()
    .flatten()
    .collect();
    if counts.is_empty() { "no problems found".to_string() } else { counts.join(", ") }
}
