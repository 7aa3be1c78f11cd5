//! A source that is worked on: what an edit does not reach is not worked out again.
//!
//! A session holds texts, those that are open in an editor and those that they use, and answers
//! what the stages make of them: the [`Piece`], an [`Arrangement`], all findings. Every stage keeps
//! what it gave out. An edit reads the touched bar or line again
//! ([`Document::edit`](crate::syntax::Document::edit)); then each stage runs over what is new, and
//! takes over whatever depends only on what is the same `Arc` as before. After any edit the
//! findings are those that a fresh run would give; a property test holds that.
//!
//! Batch commands are callers of a session that is asked once.
//!
//! ```
//! use ripieno_checker::session::Session;
//! use ripieno_compiler::resolve::NoFiles;
//!
//! let mut session = Session::new(NoFiles);
//! let file = session.open("bell.ripieno", "piece \"Bell\" { }\nform {\n  1 metre 2/4, key D major\n  1 end\n}\nvoice tune { 1: 1/4 D5 | }\n");
//! assert!(session.findings(file).iter().any(|finding| finding.code == "bars/too-short"));
//! let at = session.document(file).text().find("D5").unwrap();
//! session.edit(file, at..at + 2, "D5 A4");
//! assert!(session.findings(file).iter().all(|finding| finding.code != "bars/too-short"));
//! ```

mod shelf;

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{self, Arrangement, arrange_again, arrange_once};
use crate::check::{self, Options, in_order};
use crate::diagnostics::{Diagnostic, FileId, Sources};
use crate::harmony::harmony_of;
use crate::resolve::{self, HarmonyEvent, Loader, Piece, Player, resolve_again};
use crate::syntax::Document;

use shelf::Files;

/// Texts, and what the stages made of them.
pub struct Session {
    files: Files,
    options: Options,
    /// Counts the changes of any text.
    revision: u64,
    /// By root: the file that is asked about.
    works: HashMap<FileId, Work>,
    /// Is each source asked about once? Then the rules keep nothing for a next time.
    once: bool,
}

/// What was worked out for one root.
#[derive(Default)]
struct Work {
    /// The scorings that are asked about, in this order; `None` for all of them.
    chosen: Option<Vec<String>>,
    /// When it was worked out last; 0 for never.
    revision: u64,
    resolved: resolve::Kept,
    checked: check::Kept,
    of_source: Vec<Diagnostic>,
    piece: Arc<Piece>,
    arrangements: Vec<Arc<Arrangement>>,
    /// The chords of a piece, with it; `None` as long as nobody asked.
    harmony: Option<(Arc<Piece>, Arc<[HarmonyEvent]>)>,
    /// All findings; `None` as long as nobody asked.
    findings: Option<Arc<[Diagnostic]>>,
    /// The files that it was read from, in the order in which they were reached.
    files: Vec<FileId>,
    /// The sources of its movements; none of a piece that is one.
    movements: Vec<FileId>,
}

impl Session {
    /// A session without texts. What open texts use comes in through `loader`.
    #[must_use]
    pub fn new(loader: impl Loader + 'static) -> Session {
        Session::with(loader, false)
    }

    fn with(loader: impl Loader + 'static, once: bool) -> Session {
        Session {
            files: Files::new(Box::new(loader), once),
            options: Options::default(),
            revision: 1,
            works: HashMap::new(),
            once,
        }
    }

    /// A session for who asks once and edits nothing: it takes less memory, and gives the same.
    #[must_use]
    pub fn asked_once(loader: impl Loader + 'static) -> Session {
        Session::with(loader, true)
    }

    /// Which rules run, from now on.
    pub fn set_options(&mut self, options: Options) {
        self.options = options;
        self.works.values_mut().for_each(|work| {
            work.findings = None;
            work.checked = check::Kept::default();
        });
    }

    /// Only these scorings of a root are worked out from now on, in this order. As long as nothing
    /// is chosen, all are.
    pub fn choose(&mut self, root: FileId, scorings: Vec<String>) {
        let movements = self.work(root).movements.clone();
        for file in std::iter::once(root).chain(movements) {
            let work = self.works.entry(file).or_default();
            if work.chosen.as_ref() != Some(&scorings) {
                work.chosen = Some(scorings.clone());
                work.findings = None;
                if !work.movements.is_empty() {
                    work.arrangements.clear();
                }
            }
        }
    }

    /// Opens a text in an editor, or puts another one in its place. The name is the one by which
    /// the loader would call it. It counts before what the loader has under that name.
    pub fn open(&mut self, name: &str, text: &str) -> FileId {
        self.revision += 1;
        self.files.open(name, text)
    }

    /// Puts `with` in the place of some bytes of a text.
    pub fn edit(&mut self, file: FileId, range: Range<usize>, with: &str) {
        self.revision += 1;
        self.files.edit(file, range, with);
    }

    /// Closes a text: from now on it is again what the loader has. What was worked out for it as
    /// a root is forgotten.
    pub fn close(&mut self, file: FileId) {
        self.revision += 1;
        self.works.remove(&file);
        self.files.close(file);
    }

    /// Forgets what was worked out for a root and its movements. The texts stay, so that what was found can
    /// still be shown.
    pub fn forget(&mut self, root: FileId) {
        let movements = self.works.remove(&root).map(|work| work.movements).unwrap_or_default();
        for movement in movements {
            self.works.remove(&movement);
        }
    }

    /// Asks the loader anew for all files that are not open: something outside has changed.
    pub fn refresh(&mut self) {
        self.revision += 1;
        self.files.refresh();
    }

    /// The file of that name, if it was opened or used.
    #[must_use]
    pub fn file(&self, name: &str) -> Option<FileId> {
        self.files.named(name)
    }

    /// All texts as they stand now: with them findings are shown.
    #[must_use]
    pub fn sources(&self) -> &Sources {
        self.files.sources()
    }

    /// A file as it was read.
    ///
    /// # Panics
    /// If the number was given out by another session.
    #[must_use]
    pub fn document(&self, file: FileId) -> &Document {
        resolve::Shelf::document(&self.files, file)
    }

    /// The piece of a root.
    pub fn piece(&mut self, root: FileId) -> Arc<Piece> {
        Arc::clone(&self.work(root).piece)
    }

    /// What was found while a root and what it uses were read and linked, in the order in which it
    /// was found.
    pub fn findings_of_source(&mut self, root: FileId) -> Vec<Diagnostic> {
        self.work(root).of_source.clone()
    }

    /// The files that a root was read from, itself first.
    pub fn files_of(&mut self, root: FileId) -> Vec<FileId> {
        self.work(root).files.clone()
    }

    /// The scorings of a root worked out: those that were chosen in that order, or all in their
    /// order in the piece.
    pub fn arrangements(&mut self, root: FileId) -> Vec<Arc<Arrangement>> {
        let movements = self.work(root).movements.clone();
        if !movements.is_empty() {
            return self.joined_arrangements(root, &movements);
        }
        let Some(work) = self.works.get_mut(&root) else { return Vec::new() };
        work.arrange(self.once);
        work.arrangements.clone()
    }

    /// The scorings of a piece in movements: of each those movements that have it.
    fn joined_arrangements(&mut self, root: FileId, files: &[FileId]) -> Vec<Arc<Arrangement>> {
        let movements: Vec<_> =
            files.iter().map(|file| (self.piece(*file), self.arrangements(*file))).collect();
        let Some(work) = self.works.get_mut(&root) else { return Vec::new() };
        if work.arrangements.is_empty() {
            let whole = Arc::clone(&work.piece);
            let wanted = |name: &String| work.chosen.as_ref().is_none_or(|all| all.contains(name));
            let scorings = whole.scorings.iter().filter(|scoring| wanted(&scoring.name));
            let join = |scoring: &Arc<resolve::Scoring>| {
                let of = |arranged: &Vec<Arc<Arrangement>>| {
                    arranged.iter().find(|one| one.scoring.name == scoring.name).cloned()
                };
                let (pieces, arranged): (Vec<_>, Vec<_>) = movements
                    .iter()
                    .enumerate()
                    .filter_map(|(number, (piece, all))| Some(((number, piece), of(all)?)))
                    .unzip();
                let piece = Arc::new(resolve::join(&whole, &pieces));
                let scoring = piece.scorings.iter().find(|one| one.name == scoring.name)?;
                Some(Arc::new(arrange::join(&piece, scoring, arranged)))
            };
            work.arrangements = scorings.filter_map(join).collect();
        }
        work.arrangements.clone()
    }

    /// One scoring of a root worked out.
    pub fn arrangement(&mut self, root: FileId, scoring: &str) -> Option<Arc<Arrangement>> {
        self.arrangements(root).into_iter().find(|a| a.scoring.name == scoring)
    }

    /// The chords of a root, as declared or else as inferred from its voices.
    pub fn harmony(&mut self, root: FileId) -> Arc<[HarmonyEvent]> {
        let piece = self.piece(root);
        let work = self.works.entry(root).or_default();
        let same = |old: &Piece| {
            Arc::ptr_eq(&old.form, &piece.form)
                && old.voices.len() == piece.voices.len()
                && old.voices.iter().zip(&piece.voices).all(|(old, new)| Arc::ptr_eq(old, new))
                && old.harmony == piece.harmony
        };
        if let Some((_, known)) = work.harmony.as_ref().filter(|(old, _)| same(old)) {
            return Arc::clone(known);
        }
        let harmony: Arc<[HarmonyEvent]> = harmony_of(&piece).into();
        work.harmony = Some((piece, Arc::clone(&harmony)));
        harmony
    }

    /// All findings of a root and what it uses, in the order of the source. They stay true of later
    /// texts until something is edited that they speak of; [`Session::sources`] shows them where
    /// they stand.
    pub fn findings(&mut self, root: FileId) -> Arc<[Diagnostic]> {
        let movements = self.work(root).movements.clone();
        if !movements.is_empty() {
            return self.findings_of_movements(root, &movements, |session, file, seated| {
                let arranged = session.arrangements(file);
                seated.extend(arranged.iter().map(|arrangement| Seated::in_one(arrangement)));
                session.findings(file)
            });
        }
        let Some(work) = self.works.get_mut(&root) else { return Arc::from([]) };
        if let Some(known) = &work.findings {
            return Arc::clone(known);
        }
        let of_source = work.of_source.clone();
        work.arrange(self.once);
        work.checked.forgets = self.once;
        let arranged = work.arrangements.iter().map(|arrangement| &**arrangement);
        let all =
            check::report_again(&work.piece, of_source, arranged, &self.options, &mut work.checked);
        work.found(all, self.files.sources())
    }

    /// The same for who wants nothing but the findings: the movements and their scorings are worked out
    /// and judged one after the other, and none of them stays.
    pub fn findings_alone(&mut self, root: FileId) -> Arc<[Diagnostic]> {
        if !self.once {
            return self.findings(root);
        }
        let movements = self.work(root).movements.clone();
        if !movements.is_empty() {
            return self.findings_of_movements(root, &movements, |session, file, seated| {
                session.judged_alone(file, |one| seated.push(Seated::in_one(one)))
            });
        }
        self.judged_alone(root, |_| {})
    }

    /// The findings of a piece without movements, each of whose scorings is shown to `look` before it is
    /// judged and let go.
    fn judged_alone(
        &mut self,
        root: FileId,
        mut look: impl FnMut(&Arrangement),
    ) -> Arc<[Diagnostic]> {
        self.work(root);
        let Some(work) = self.works.get_mut(&root) else { return Arc::from([]) };
        let of_source = work.of_source.clone();
        let piece = Arc::clone(&work.piece);
        let scorings = work.scorings(&piece);
        let arranged = scorings.into_iter().map(|scoring| {
            let arrangement = arrange_once(&piece, scoring);
            look(&arrangement);
            arrangement
        });
        work.checked.forgets = true;
        let all =
            check::report_again(&piece, of_source, arranged, &self.options, &mut work.checked);
        work.found(all, self.files.sources())
    }

    /// The findings of a piece in movements: its own, and of each movement what `of_movement` gives, which
    /// says too who plays there.
    fn findings_of_movements(
        &mut self,
        root: FileId,
        movements: &[FileId],
        mut of_movement: impl FnMut(&mut Session, FileId, &mut Vec<Seated>) -> Arc<[Diagnostic]>,
    ) -> Arc<[Diagnostic]> {
        if let Some(known) = self.works.get(&root).and_then(|work| work.findings.as_ref()) {
            return Arc::clone(known);
        }
        let mut seated = Vec::new();
        let found: Vec<_> =
            movements.iter().map(|file| of_movement(self, *file, &mut seated)).collect();
        let Some(work) = self.works.get_mut(&root) else { return Arc::from([]) };
        let all = of_each_once(work.of_source.clone(), &found);
        work.found(without_resting(all, &seated), self.files.sources())
    }

    /// What was worked out for a root, resolved anew if a text has changed since.
    fn work(&mut self, root: FileId) -> &Work {
        let work = self.works.entry(root).or_default();
        if work.revision != self.revision {
            self.files.begin(root);
            work.resolved.forgets = self.once;
            (work.piece, work.of_source) = resolve_again(&mut self.files, root, &mut work.resolved);
            work.files = self.files.reached();
            work.findings = None;
            work.revision = self.revision;
            work.movements = work.piece.movements.iter().map(|movement| movement.file).collect();
            if !work.movements.is_empty() {
                self.join(root);
            } else if self.once {
                work.resolved = resolve::Kept::default();
            }
        }
        &self.works[&root]
    }

    /// Joins the movements of a piece that names them.
    fn join(&mut self, root: FileId) {
        let Some(work) = self.works.get(&root) else { return };
        let (whole, files) = (Arc::clone(&work.piece), work.movements.clone());
        let mut reached = work.files.clone();
        let mut pieces = Vec::with_capacity(files.len());
        for file in &files {
            let movement = self.work(*file);
            pieces.push(Arc::clone(&movement.piece));
            for file in &movement.files {
                if !reached.contains(file) {
                    reached.push(*file);
                }
            }
        }
        let Some(work) = self.works.get_mut(&root) else { return };
        let joined: Vec<resolve::Joined> =
            pieces.iter().enumerate().filter(|(_, piece)| !piece.scorings.is_empty()).collect();
        work.of_source.extend(resolve::without_scorings(&whole, &pieces));
        work.piece = Arc::new(resolve::join(&whole, &joined));
        work.files = reached;
        work.arrangements.clear();
    }
}

/// The players of a scoring in one movement, and who of them has something to play there.
struct Seated {
    scoring: String,
    players: Vec<(Arc<Player>, bool)>,
}

impl Seated {
    fn in_one(arrangement: &Arrangement) -> Seated {
        let players = arrangement.parts.iter();
        let players = players.map(|part| (Arc::clone(&part.player), !part.notes.is_empty()));
        Seated { scoring: arrangement.scoring.name.clone(), players: players.collect() }
    }
}

/// Who has nothing to play in one movement, and plays in another, is tacet there: that is no fault.
fn without_resting(mut all: Vec<Diagnostic>, seated: &[Seated]) -> Vec<Diagnostic> {
    let plays = |scoring: &str, player: &str| {
        let everybody = || {
            let of_scoring = seated.iter().filter(|seated| seated.scoring == scoring);
            of_scoring.flat_map(|seated| &seated.players)
        };
        let mut meant = everybody().filter(|(known, _)| known.id == player);
        meant.any(|(one, _)| {
            everybody().any(|(other, plays)| *plays && resolve::is_same_chair(one, other))
        })
    };
    all.retain(|finding| match (&finding.scoring, &finding.player) {
        (Some(scoring), Some(player)) if finding.code == "names/idle-player" => {
            let also = finding.also_in.iter().all(|scoring| plays(scoring, player));
            !(plays(scoring, player) && also)
        }
        _ => true,
    });
    all
}

/// The findings of a piece and of its movements: what several share, such as an ensemble, is told
/// once.
fn of_each_once(own: Vec<Diagnostic>, of_movements: &[Arc<[Diagnostic]>]) -> Vec<Diagnostic> {
    let mut all = own;
    for findings in of_movements {
        let known = all.len();
        for finding in findings.iter() {
            if !all[..known].contains(finding) {
                all.push(finding.clone());
            }
        }
    }
    all
}

impl Work {
    /// The scorings of the piece that are asked about, in the order in which they are.
    fn scorings<'p>(&self, piece: &'p Piece) -> Vec<&'p Arc<resolve::Scoring>> {
        match &self.chosen {
            None => piece.scorings.iter().collect(),
            Some(names) => {
                let named = |name: &String| piece.scorings.iter().find(|s| s.name == *name);
                names.iter().filter_map(named).collect()
            }
        }
    }

    /// Keeps all findings, in the order of the source.
    fn found(&mut self, mut all: Vec<Diagnostic>, sources: &Sources) -> Arc<[Diagnostic]> {
        let files = &self.files;
        in_order(&mut all, sources, |of| files.iter().position(|file| *file == of));
        let all: Arc<[Diagnostic]> = all.into();
        self.findings = Some(Arc::clone(&all));
        all
    }

    /// Works out the scorings that are not those of the piece as it is; where the source is asked
    /// about once, without what a next run would take over.
    fn arrange(&mut self, once: bool) {
        let before = std::mem::take(&mut self.arrangements);
        let scorings = self.scorings(&self.piece);
        let arranged = scorings.into_iter().map(|scoring| {
            let known = before.iter().find(|known| known.scoring.name == scoring.name);
            match known.filter(|known| Arc::ptr_eq(&known.piece, &self.piece)) {
                Some(known) => Arc::clone(known),
                None if once => Arc::new(arrange_once(&self.piece, scoring)),
                None => {
                    let known = known.map(|known| &**known);
                    Arc::new(arrange_again(&self.piece, scoring, known))
                }
            }
        });
        self.arrangements = arranged.collect();
    }
}
