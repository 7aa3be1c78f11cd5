//! One piece while it is got ready.

use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use super::super::output::{
    Asked, Batch, Entry, Inputs, MANIFEST, Made, Manifest, OutputFolder, Texts,
};
use super::super::printing::{Drawing, Format};
use super::super::reprint::{self, Past};
use super::super::{Failure, files, interrupt};
use super::Wanted;
use ripieno_checker::advise::{self, table};
use ripieno_checker::check;
use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::{Diagnostic, FileId, Sources};
use ripieno_compiler::resolve::{Form, Piece, Scoring, seconds_per_whole};
use ripieno_engrave::outputs::Content;
use ripieno_engrave::overrides::{self, Found};
use ripieno_writers::render::{self, ScoreKind, slug};

/// What a piece is built from.
pub(super) struct BuiltFrom {
    /// The digest of its source and of all that this uses.
    pub(super) inputs: Inputs,
    /// The revision of the checkout that has the sources as they are.
    pub(super) revision: Option<String>,
    /// The texts, its source first.
    pub(super) files: Vec<FileId>,
}

/// What a scoring came to.
struct Scored {
    /// Its files, by their paths below the folder of the piece.
    files: Vec<String>,
    /// What is told of its pages.
    told: String,
    /// What was found on them.
    found: Found,
}

/// One piece while it is got ready in the output folder.
pub(super) struct Building<'a> {
    output: &'a OutputFolder,
    /// What of it is ready.
    batch: Batch,
    /// The folder of the piece below the output folder.
    folder: String,
    from: BuiltFrom,
    before: Manifest,
    now: Manifest,
}

impl<'a> Building<'a> {
    /// Begins a piece; a folder that another piece was built into is refused.
    pub(super) fn begin(
        output: &'a OutputFolder,
        piece: &Piece,
        folder: String,
        path: &Path,
        from: BuiltFrom,
    ) -> Result<Building<'a>, Failure> {
        let source = output.way_to(&folder, path)?;
        let before = output.manifest(&folder)?.unwrap_or_default();
        if !before.source.is_empty()
            && before.source != source
            && output.is_there(&folder, &before.source)
        {
            let other = output.path(&folder).join(&before.source);
            let other = files::plain(&other).unwrap_or(other);
            return Err(Failure(format!(
                "{} holds \"{}\", built from {}; give one of the two another title, or name another \
                 folder with `--output`",
                output.path(&folder).display(),
                before.piece,
                other.display(),
            )));
        }
        let now = Manifest {
            version: env!("CARGO_PKG_VERSION").into(),
            piece: piece.title.clone(),
            source,
            ..Manifest::default()
        };
        Ok(Building { output, batch: Batch::default(), folder, from, before, now })
    }

    /// Gets scorings that are worked out ready, on so many threads; gives back the table of what
    /// they hold, and what was found on their pages. What is new since `past` is marked. What was
    /// built from the same in the same way, and is there still, is not made again.
    pub(super) fn scorings(
        &mut self,
        arranged: &[Arc<Arrangement>],
        asked: &Wanted,
        threads: usize,
        past: &Mutex<Option<Past>>,
        sources: &Sources,
    ) -> Result<(String, Vec<Diagnostic>), Failure> {
        let formats = asked.formats()?;
        let mut pages = String::new();
        let mut found = Vec::new();
        let scorings: Vec<&Scoring> = arranged.iter().map(|one| &*one.scoring).collect();
        let words: Vec<&str> = formats.iter().map(|format| format.word()).collect();
        let mut rows =
            vec![row(["scoring", "parts", "bars", "lasts", "files", "formats", "folder"])];
        let slugs: Vec<String> = scorings.iter().map(|scoring| slug(&scoring.name)).collect();
        let own_files = self.from.files.clone();
        let texts = Texts { sources, files: &own_files };
        let how = format!("{formats:?} {:?} {:?}", asked.paging, asked.printing);
        for (index, scoring) in scorings.iter().enumerate() {
            if let Some(other) = slugs[..index].iter().position(|other| *other == slugs[index]) {
                return Err(Failure(format!(
                    "the scorings {} and {} would be written into the same folder; rename one",
                    scorings[other].name, scoring.name
                )));
            }
            let arrangement = &arranged[index];
            let key = Asked::of(&scoring.name, &self.from.inputs, texts, &how);
            // Marks of what is new are in no other build.
            let marks = past.lock().unwrap_or_else(PoisonError::into_inner).is_some();
            let again = if marks { None } else { self.made_before(&key, texts)? };
            let scored = match again {
                Some(scored) => scored,
                None => {
                    let scored = self.scoring(arrangement, asked, &formats, threads, past)?;
                    if !marks {
                        let Scored { files, told, found } = &scored;
                        let made = Made::new(files.clone(), &self.now.files, told, found, texts);
                        self.now.made.insert(key.0, made);
                    }
                    scored
                }
            };
            if !scored.told.is_empty() {
                pages.push_str(&format!("{}:\n{}", scoring.name, scored.told));
            }
            rows.push(row([
                &scoring.name,
                &arrangement.desks().count().to_string(),
                &bars(arrangement),
                &playing_time(&arrangement.piece.form),
                &scored.files.len().to_string(),
                &words.join(" "),
                &self.output.path(&self.folder).join(&slugs[index]).display().to_string(),
            ]));
            found.push(scored.found);
        }
        let piece = arranged.first().map(|one| &one.piece);
        let complete = piece.is_some_and(|piece| piece.scorings.len() == arranged.len());
        Ok((table(&rows) + &pages, overrides::gathered(found, complete)))
    }

    /// What a scoring came to when the same was asked for before, if all of it stands there as it
    /// was made.
    fn made_before(&mut self, asked: &Asked, texts: Texts) -> Result<Option<Scored>, Failure> {
        let Some(made) = self.before.made.get(&asked.0) else { return Ok(None) };
        if self.before.version != self.now.version || !made.holds(&self.before.files) {
            return Ok(None);
        }
        let Some(found) = made.found(texts) else { return Ok(None) };
        for path in made.files() {
            interrupt::stop_if_asked()?;
            let Some(entry) = self.before.files.get(path) else { return Ok(None) };
            // The revision is noted as soon as there is one.
            let is_noted = entry.revision.is_some() || self.from.revision.is_none();
            let there = self.output.digest(&Path::new(&self.folder).join(path)).ok().flatten();
            let is_there = there.is_some_and(|digest| digest == entry.sha256);
            if !is_noted || !is_there || entry.inputs != self.from.inputs.0 {
                return Ok(None);
            }
        }
        for path in made.files() {
            self.now.files.extend(self.before.files.get_key_value(path).map(owned));
        }
        let (files, told) = (made.files().to_vec(), made.told.clone());
        self.now.made.insert(asked.0.clone(), made.clone());
        Ok(Some(Scored { files, told, found }))
    }

    /// Gets the files of a scoring ready, on so many threads.
    fn scoring(
        &mut self,
        arrangement: &Arc<Arrangement>,
        asked: &Wanted,
        formats: &[Format],
        threads: usize,
        past: &Mutex<Option<Past>>,
    ) -> Result<Scored, Failure> {
        let printing = &asked.printing;
        let name = &arrangement.scoring.name;
        let slug = slug(name);
        let written: Vec<render::Format> = formats
            .iter()
            .filter_map(|format| match format {
                Format::Written(format) => Some(*format),
                _ => None,
            })
            .collect();
        let staged = self.batch.len();
        let ready = Mutex::new((&mut self.batch, &mut self.now.files, Vec::new()));
        let (output, folder, from, old) =
            (self.output, &self.folder, &self.from, &self.before.files);
        // Threads write files beside one another.
        let stage = |path: &str, write: &mut render::Write| -> Result<(), Failure> {
            let path = format!("{slug}/{path}");
            let below = Path::new(folder).join(&path);
            let (change, digest) = output.stage(&below, write)?;
            let mut entry = Entry::new(name, digest, &from.inputs);
            // What stays as it was keeps the revision from which it came first.
            let before = old.get(&path).filter(|before| before.is_same(&entry));
            let known = before.and_then(|before| before.revision.clone());
            entry.revision = known.or_else(|| from.revision.clone());
            let mut ready = ready.lock().unwrap_or_else(PoisonError::into_inner);
            ready.0.push(change);
            ready.2.push(path.clone());
            ready.1.insert(path, entry);
            Ok(())
        };
        let mut wanted = asked.paging.wanted(&written, &from.inputs.0);
        if let Some(past) = &mut *past.lock().unwrap_or_else(PoisonError::into_inner) {
            let cues = wanted.cueing.after_bars;
            wanted.revised = reprint::new_bars(past, (arrangement, &from.inputs), cues);
        }
        let (mut told, mut found) = (String::new(), Found::default());
        let both = [ScoreKind::Full, ScoreKind::Condensed];
        let same = both.iter().all(|kind| wanted.scores.contains(kind))
            && !printing.is_passage()
            && !render::condenses(arrangement);
        if same {
            wanted.scores.retain(|kind| *kind != ScoreKind::Condensed);
        }
        if printing.is_passage() {
            for (path, bytes) in printing.passage(arrangement, &wanted, formats)? {
                stage(&path, &mut |out| out.write_all(&bytes))?;
            }
        } else {
            render::each_output(arrangement, wanted.clone(), threads, stage)?;
            let stage = |path: &str, content: &Content| stage(path, &mut |out| content.write(out));
            let scratch = || output.scratch();
            let drawing: Drawing = (threads, &scratch);
            (told, found) = printing.each_file(arrangement, &wanted, formats, drawing, stage)?;
            if same {
                told.push_str(SAME_SCORES);
            }
            let allowed = |finding: &Diagnostic| check::is_allowed(arrangement, finding);
            found.findings.retain(|finding| !allowed(finding));
            found.idle.retain(|finding| !allowed(finding));
        }
        let (batch, _, mut files) = ready.into_inner().unwrap_or_else(PoisonError::into_inner);
        batch.in_order(staged);
        files.sort_unstable();
        Ok(Scored { files, told, found })
    }

    /// Gets the manifest ready; gives back lines about what an earlier build left that this source
    /// no longer gives: somebody could hand it out. With `prune` such files are removed, unless
    /// somebody changed them. `number` is the place of the piece among all of the build.
    pub(super) fn finish(mut self, number: usize, prune: bool) -> Result<String, Failure> {
        let mut text = String::new();
        let mut stale = 0;
        for (path, entry) in std::mem::take(&mut self.before.files) {
            if self.now.files.contains_key(&path) {
                continue;
            }
            let below = Path::new(&self.folder).join(&path);
            let shown = self.output.path(&below).display().to_string();
            let Some(digest) = self.output.digest(&below)? else { continue };
            // Another scoring or format of the same source is as good as it was.
            if entry.inputs == self.from.inputs.0 {
                self.now.files.insert(path, entry);
                continue;
            }
            let changed = digest != entry.sha256;
            if prune && !changed {
                self.output.remove(&mut self.batch, &below);
                text.push_str(&format!("removed: {shown}\n"));
                continue;
            }
            stale += usize::from(!changed);
            let note = if changed { " (changed by hand)" } else { "" };
            text.push_str(&format!("stale file from an earlier build: {shown}{note}\n"));
            self.now.files.insert(path, entry);
        }
        for (other, manifest) in self.output.other_titles(&self.folder, &self.now.source) {
            let shown = self.output.path(&other).display().to_string();
            if prune && self.output.remove_all(&mut self.batch, &other, &manifest)? {
                text.push_str(&format!("removed: {shown}\n"));
                continue;
            }
            stale += usize::from(!prune);
            let title = &manifest.piece;
            text.push_str(&format!(
                "stale folder from an earlier build called \"{title}\": {shown}\n"
            ));
        }
        // Of what was asked for otherwise, what stands as it was made is still known.
        for (asked, made) in std::mem::take(&mut self.before.made) {
            if made.holds(&self.now.files) {
                self.now.made.entry(asked).or_insert(made);
            }
        }
        if stale > 0 {
            text.push_str("`--prune` removes what an earlier build left.\n");
        }
        let manifest = Path::new(&self.folder).join(MANIFEST);
        self.output.stage_bytes(&mut self.batch, &manifest, &self.now.bytes())?;
        self.output.add(number, self.batch);
        Ok(text)
    }
}

/// What is told where a condensed score was asked for beside the full one and would repeat it.
const SAME_SCORES: &str = "  Condensed score: none, since no two players could share a staff; it would repeat the full score\n";

fn owned((path, entry): (&String, &Entry)) -> (String, Entry) {
    (path.clone(), entry.clone())
}

fn bars(arrangement: &Arrangement) -> String {
    let bars = &arrangement.piece.form.bars;
    let full = bars.iter().filter(|bar| !bar.leads_in()).count();
    let pick_up = if bars.iter().any(|bar| bar.number == 0) { " and pick-up" } else { "" };
    format!("{full}{pick_up}")
}

/// Playing time with repeats, as minutes and seconds.
fn playing_time(form: &Form) -> String {
    let mut per_whole = Vec::with_capacity(form.bars.len());
    let mut beat = None;
    for bar in &form.bars {
        beat = bar.tempo.as_ref().and_then(|tempo| tempo.beat).or(beat);
        per_whole.push(seconds_per_whole(beat));
    }
    let seconds: f64 =
        form.playing_order().iter().map(|&i| form.bars[i].length.to_f64() * per_whole[i]).sum();
    advise::minutes(seconds)
}

fn row<'a>(cells: [&'a str; 7]) -> Vec<String> {
    cells.iter().map(|cell: &&'a str| (*cell).to_string()).collect()
}
