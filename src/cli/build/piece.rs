//! One piece while it is got ready.

use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use super::super::output::{Batch, Entry, Inputs, MANIFEST, Manifest, OutputFolder};
use super::super::printing::Format;
use super::super::reprint::{self, Past};
use super::super::{Failure, files};
use super::Wanted;
use ripieno_checker::advise::{self, table};
use ripieno_checker::check;
use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::Diagnostic;
use ripieno_compiler::resolve::{Form, Piece, Scoring, seconds_per_whole};
use ripieno_engrave::overrides;
use ripieno_writers::render::{self, ScoreKind, slug};

/// One piece while it is got ready in the output folder.
pub(super) struct Building<'a> {
    output: &'a OutputFolder,
    /// What of it is ready.
    batch: Batch,
    /// The folder of the piece below the output folder.
    folder: String,
    inputs: Inputs,
    /// The revision of the checkout that has the sources as they are.
    revision: Option<String>,
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
        (inputs, revision): (Inputs, Option<String>),
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
        Ok(Building { output, batch: Batch::default(), folder, inputs, revision, before, now })
    }

    /// Gets scorings that are worked out ready, on so many threads; gives back the table of what
    /// they hold, and what was found on their pages. What is new since `past` is marked.
    pub(super) fn scorings(
        &mut self,
        arranged: &[Arc<Arrangement>],
        asked: &Wanted,
        threads: usize,
        past: &Mutex<Option<Past>>,
    ) -> Result<(String, Vec<Diagnostic>), Failure> {
        let (formats, printing) = (asked.formats()?, &asked.printing);
        let written: Vec<render::Format> = formats
            .iter()
            .filter_map(|format| match format {
                Format::Written(format) => Some(*format),
                _ => None,
            })
            .collect();
        let mut pages = String::new();
        let mut found = Vec::new();
        let scorings: Vec<&Scoring> = arranged.iter().map(|one| &*one.scoring).collect();
        let words: Vec<&str> = formats.iter().map(|format| format.word()).collect();
        let mut rows =
            vec![row(["scoring", "parts", "bars", "lasts", "files", "formats", "folder"])];
        let slugs: Vec<String> = scorings.iter().map(|scoring| slug(&scoring.name)).collect();
        for (index, scoring) in scorings.iter().enumerate() {
            if let Some(other) = slugs[..index].iter().position(|other| *other == slugs[index]) {
                return Err(Failure(format!(
                    "the scorings {} and {} would be written into the same folder; rename one",
                    scorings[other].name, scoring.name
                )));
            }
            let arrangement = &*arranged[index];
            let staged = self.batch.len();
            let ready = Mutex::new((&mut self.batch, &mut self.now.files, 0));
            let (output, folder, inputs) = (self.output, &self.folder, &self.inputs);
            let (old, revision) = (&self.before.files, &self.revision);
            // Threads write files beside one another.
            let stage = |path: &str, write: &mut render::Write| -> Result<(), Failure> {
                let path = format!("{}/{path}", slugs[index]);
                let below = Path::new(folder).join(&path);
                let (change, digest) = output.stage(&below, write)?;
                let mut entry = Entry::new(&scoring.name, digest, inputs);
                // What stays as it was keeps the revision from which it came first.
                let before = old.get(&path).filter(|before| before.is_same(&entry));
                let known = before.and_then(|before| before.revision.clone());
                entry.revision = known.or_else(|| revision.clone());
                let mut ready = ready.lock().unwrap_or_else(PoisonError::into_inner);
                ready.0.push(change);
                ready.1.insert(path, entry);
                ready.2 += 1;
                Ok(())
            };
            let mut wanted = asked.paging.wanted(&written, &self.inputs.0);
            if let Some(past) = &mut *past.lock().unwrap_or_else(PoisonError::into_inner) {
                let cues = wanted.cueing.after_bars;
                let now = (&arranged[index], &self.inputs);
                wanted.revised = reprint::new_bars(past, now, cues);
            }
            let mut told = String::new();
            let both = [ScoreKind::Full, ScoreKind::Condensed];
            let same = both.iter().all(|kind| wanted.scores.contains(kind))
                && !printing.is_passage()
                && !render::condenses(arrangement);
            if same {
                wanted.scores.retain(|kind| *kind != ScoreKind::Condensed);
            }
            if printing.is_passage() {
                for (path, bytes) in printing.passage(arrangement, &wanted, &formats)? {
                    stage(&path, &mut |out| out.write_all(&bytes))?;
                }
            } else {
                render::each_output(arrangement, wanted.clone(), threads, stage)?;
                let stage = |path: &str, bytes: &[u8]| stage(path, &mut |out| out.write_all(bytes));
                let printed = printing.each_file(arrangement, &wanted, &formats, threads, stage)?;
                told = printed.0;
                if same {
                    told.push_str(SAME_SCORES);
                }
                let mut on_pages = printed.1;
                let allowed = |finding: &Diagnostic| check::is_allowed(arrangement, finding);
                on_pages.findings.retain(|finding| !allowed(finding));
                on_pages.idle.retain(|finding| !allowed(finding));
                found.push(on_pages);
            }
            let (batch, _, files) = ready.into_inner().unwrap_or_else(PoisonError::into_inner);
            batch.in_order(staged);
            if !told.is_empty() {
                pages.push_str(&format!("{}:\n{told}", scoring.name));
            }
            rows.push(row([
                &scoring.name,
                &arrangement.parts.len().to_string(),
                &bars(arrangement),
                &playing_time(&arrangement.piece.form),
                &files.to_string(),
                &words.join(" "),
                &self.output.path(&self.folder).join(&slugs[index]).display().to_string(),
            ]));
        }
        let piece = arranged.first().map(|one| &one.piece);
        let complete = piece.is_some_and(|piece| piece.scorings.len() == arranged.len());
        Ok((table(&rows) + &pages, overrides::gathered(found, complete)))
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
            if entry.inputs == self.inputs.0 {
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

fn bars(arrangement: &Arrangement) -> String {
    let bars = &arrangement.piece.form.bars;
    let full = bars.iter().filter(|bar| bar.number > 0).count();
    let pick_up = if bars.len() > full { " and pick-up" } else { "" };
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
