//! What the parts on the stands were built from: a source, a source in a revision, or a build.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::super::output::{Entry, Inputs, MANIFEST, Manifest, digest, follow};
use super::super::revision::Revised;
use super::super::source::{self, has_errors};
use super::super::{Failure, files};
use ripieno_checker::session::Session;
use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::FileId;
use ripieno_compiler::resolve::Piece;
use ripieno_writers::edition::Cueing;
use ripieno_writers::render::{self, Format, Wanted, slug};

/// Bytes that a manifest has at most.
const LARGEST_MANIFEST: u64 = 64 * 1024 * 1024;

/// The old side of a comparison.
pub(in super::super) enum Past {
    /// A source without errors.
    Source(Worked),
    /// What was built into a folder.
    Build(Build),
}

/// A build, as its manifest tells of it.
pub(in super::super) struct Build {
    manifest: Manifest,
    /// Where the source lies from which it was built.
    pub(super) source: PathBuf,
    /// The pieces by the digests of what they were built from; `None` where no revision is known
    /// that has it.
    pieces: HashMap<String, Option<Worked>>,
}

/// A source worked out.
pub(in super::super) struct Worked {
    pub(super) piece: Arc<Piece>,
    arrangements: Vec<Arc<Arrangement>>,
}

impl Worked {
    fn of(session: &mut Session, file: FileId) -> Worked {
        Worked { piece: session.piece(file), arrangements: session.arrangements(file) }
    }

    /// The scoring of that name.
    pub(super) fn scoring(&self, name: &str) -> Option<Arc<Arrangement>> {
        self.arrangements.iter().find(|one| one.scoring.name == name).cloned()
    }
}

/// What is known of a scoring as it was.
pub(in super::super) enum Before {
    /// What was worked out of it; `None` where the piece had no such scoring.
    Arranged(Option<Arc<Arrangement>>),
    /// Only the files that were built of it, not what they were built from.
    Files,
    /// There was no such scoring.
    Nothing,
}

impl Past {
    /// Reads what an argument names: a file, `REVISION:FILE`, a manifest, or the folder of one.
    pub(in super::super) fn read(argument: &Path) -> Result<Past, Failure> {
        if let Some(revised) = Revised::of(argument) {
            return Ok(Past::Source(without_errors(argument, revised.session()?)?));
        }
        let manifest = if argument.is_dir() { argument.join(MANIFEST) } else { argument.into() };
        if manifest.file_name().is_some_and(|name| name == MANIFEST) {
            return Ok(Past::Build(Build::read(&manifest)?));
        }
        Ok(Past::Source(without_errors(argument, source::session(argument, None)?)?))
    }

    /// What is known of a scoring. `now` is what it is now, with the digest of its sources.
    pub(in super::super) fn scoring(&mut self, now: (&Arc<Arrangement>, &Inputs)) -> Before {
        match self {
            Past::Source(worked) => Before::Arranged(worked.scoring(&now.0.scoring.name)),
            Past::Build(build) => build.scoring(now),
        }
    }
}

impl Build {
    fn read(path: &Path) -> Result<Build, Failure> {
        let bytes = files::read_bytes(path, LARGEST_MANIFEST)?;
        let manifest = Manifest::read(&bytes, path)?;
        let folder = path.parent().unwrap_or(Path::new("."));
        let folder = folder.canonicalize().map_err(|error| {
            Failure(format!("cannot find the folder of {}: {error}", path.display()))
        })?;
        let source = follow(&folder, &manifest.source);
        Ok(Build { manifest, source, pieces: HashMap::new() })
    }

    /// The entries of the parts of a scoring, with the slugs of their players.
    fn parts<'b>(&'b self, scoring: &'b str) -> impl Iterator<Item = (&'b str, &'b Entry)> {
        let folder = format!("{}/parts/", slug(scoring));
        self.manifest.files.iter().filter_map(move |(path, entry)| {
            let name = path.strip_prefix(&folder)?;
            (entry.scoring == scoring).then_some((name, entry))
        })
    }

    fn scoring(&mut self, (now, inputs): (&Arc<Arrangement>, &Inputs)) -> Before {
        let name = now.scoring.name.as_str();
        let Some((_, entry)) = self.parts(name).next() else { return Before::Nothing };
        if entry.inputs == inputs.0 {
            return Before::Arranged(Some(Arc::clone(now)));
        }
        let (of, revision) = (entry.inputs.clone(), entry.revision.clone());
        let source = &self.source;
        let known = self.pieces.entry(of.clone()).or_insert_with(|| {
            let (mut session, file) = Revised::new(&revision?, source).session().ok()?;
            let read = Inputs::of_session(&mut session, file);
            let errors = has_errors(&session.findings(file));
            (read.0 == of && !errors).then(|| Worked::of(&mut session, file))
        });
        known.as_ref().map_or(Before::Files, |worked| Before::Arranged(worked.scoring(name)))
    }

    /// Is the part that is built now the file that was built then? `None` where no file of it can
    /// be compared.
    pub(super) fn is_same(
        &self,
        arrangement: &Arrangement,
        part: usize,
        cues: u32,
    ) -> Option<bool> {
        let path = render::part_name(arrangement, part);
        let name = path.trim_start_matches("parts/");
        let built = |format: Format| {
            let file = format!("{name}.{}", format.ending());
            self.parts(&arrangement.scoring.name).find(|(name, _)| *name == file)
        };
        [Format::Text, Format::MusicXml].into_iter().find_map(|format| {
            let (_, entry) = built(format)?;
            let wanted = Wanted {
                cueing: Cueing { after_bars: cues },
                source: Some(render::source_mark(&entry.inputs)),
                ..Wanted::formats(&[format])
            };
            let now = render::part_of(arrangement, wanted, format, part);
            Some(digest(&now.bytes) == entry.sha256)
        })
    }

    /// The players of a scoring that had a part, by the slugs of their names.
    pub(super) fn players(&self, scoring: &str) -> Vec<String> {
        let mut players: Vec<String> = self
            .parts(scoring)
            .filter_map(|(name, _)| {
                let (stem, _) = name.rsplit_once('.')?;
                Some(stem.split_once('-')?.1.to_owned())
            })
            .collect();
        players.sort();
        players.dedup();
        players
    }
}

/// The piece of a source; one with errors cannot be compared.
pub(in super::super) fn without_errors(
    shown: &Path,
    (mut session, file): (Session, FileId),
) -> Result<Worked, Failure> {
    if has_errors(&session.findings(file)) {
        return Err(Failure(format!(
            "{} has errors; fix them (`ripieno check` reports them), then compare",
            shown.display()
        )));
    }
    Ok(Worked::of(&mut session, file))
}
