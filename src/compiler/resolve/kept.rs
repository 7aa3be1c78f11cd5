//! What one run of this stage keeps for the next.
//!
//! Voices are the bulk of it: one is read again only if its declaration is another, or the form.
//! Everything else is linked anew, which is quick, and compared with what it was, so that later
//! stages know what is the same by its `Arc`.

use std::collections::HashMap;
use std::sync::Arc;

use super::counting::Counting;
use super::music::{Counted, music};
use super::piece::{Ensemble, Form, Line, Lyrics, Piece, Scoring, Voice};
use super::{Resolver, lost};
use crate::diagnostics::{Crowd, Diagnostic, Span};
use crate::syntax::{Declaration, VoiceTree};

/// What one run of this stage keeps for the next.
#[derive(Default)]
pub struct Kept {
    /// Will there be no next run? Then nothing is kept but the piece.
    pub forgets: bool,
    pub(super) voices: Vec<Arc<KeptVoice>>,
    pub(super) piece: Arc<Piece>,
}

/// A voice with what it was read from and what was told of it.
pub(super) struct KeptVoice {
    declaration: Arc<Declaration>,
    form: Arc<Form>,
    all_end_early: bool,
    voice: Arc<Voice>,
    diagnostics: Vec<Diagnostic>,
    crowd: Crowd,
    counted: Counted,
}

impl KeptVoice {
    /// Tells what there is to tell of the voice.
    pub(super) fn replay(&self, cx: &mut Resolver) -> Arc<Voice> {
        let told: Vec<Option<usize>> =
            self.diagnostics.iter().map(|finding| cx.push_and_know(finding.clone())).collect();
        cx.crowd.add_beyond(&self.crowd);
        cx.counted.extend(&self.counted, |index| told[index], &self.diagnostics);
        Arc::clone(&self.voice)
    }
}

impl Kept {
    /// The form, if it is equal the one that was kept.
    pub(super) fn form(&self, form: Form) -> Arc<Form> {
        if form == *self.piece.form { Arc::clone(&self.piece.form) } else { Arc::new(form) }
    }

    /// The lyrics, if they are equal those that were kept.
    pub(super) fn lyrics(&self, lyrics: Lyrics) -> Arc<Lyrics> {
        let same = lyrics == *self.piece.lyrics;
        if same { Arc::clone(&self.piece.lyrics) } else { Arc::new(lyrics) }
    }

    /// The voice of a declaration.
    pub(super) fn voice(
        &self,
        cx: &Resolver,
        declaration: &Arc<Declaration>,
        tree: &VoiceTree,
        form: &Arc<Form>,
    ) -> Arc<KeptVoice> {
        let all_end_early = cx.told.all_end_early;
        let same = |kept: &&Arc<KeptVoice>| {
            Arc::ptr_eq(&kept.declaration, declaration)
                && Arc::ptr_eq(&kept.form, form)
                && kept.all_end_early == all_end_early
        };
        if let Some(kept) = self.voices.iter().find(same) {
            return Arc::clone(kept);
        }
        let told = lost::ToldBefore::of_voice(all_end_early);
        let mut own = Resolver { told, ..Resolver::default() };
        let music = music(&mut own, &tree.bars, form, Counting::Whole);
        let voice = Voice { name: tree.name.value.clone(), span: tree.name.span, music };
        let before = self.piece.voices.iter().find(|before| ***before == voice);
        Arc::new(KeptVoice {
            declaration: Arc::clone(declaration),
            form: Arc::clone(form),
            all_end_early,
            voice: before.map_or_else(|| Arc::new(voice), Arc::clone),
            diagnostics: own.diagnostics,
            crowd: own.crowd,
            counted: own.counted,
        })
    }

    /// Ensembles, those that are equal as they were kept.
    pub(super) fn ensembles(&self, ensembles: Vec<Arc<Ensemble>>) -> Vec<Arc<Ensemble>> {
        let same = |ensemble: &Arc<Ensemble>| {
            self.piece.ensembles.iter().find(|kept| *kept == ensemble).map(Arc::clone)
        };
        ensembles.into_iter().map(|ensemble| same(&ensemble).unwrap_or(ensemble)).collect()
    }

    /// Scorings, those that are equal and their lines as they were kept.
    pub(super) fn scorings(&self, scorings: Vec<Scoring>) -> Vec<Arc<Scoring>> {
        let lines = self.piece.scorings.iter().flat_map(|scoring| &scoring.lines);
        let lines: HashMap<Span, &Arc<Line>> = lines.map(|line| (line.span, line)).collect();
        let kept = |mut scoring: Scoring| {
            for line in &mut scoring.lines {
                if let Some(same) = lines.get(&line.span).filter(|kept| **kept == line) {
                    *line = Arc::clone(same);
                }
            }
            let same = self.piece.scorings.iter().find(|kept| ***kept == scoring);
            same.map_or_else(|| Arc::new(scoring), Arc::clone)
        };
        scorings.into_iter().map(kept).collect()
    }
}
