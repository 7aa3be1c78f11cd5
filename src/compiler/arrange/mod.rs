//! From a piece and a scoring to what each player sounds.
//!
//! Nothing here knows staves, clefs or file formats: pitches are sounding, times are exact, and
//! every note carries its role, the span of the note it comes from and the line that gave it.

mod arrangement;
mod claims;
mod computing;
mod coverage;
mod derive;
mod directions;
mod doubling;
mod doubt;
mod fermatas;
mod idiom;
mod join;
mod kept;
mod notes;
mod packed_note;
#[cfg(test)]
mod packed_note_tests;
#[cfg(test)]
mod slur_tests;
mod smaller;
mod taking;
#[cfg(test)]
mod tests;
mod told;
mod words;

use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::Arc;

use crate::diagnostics::Diagnostic;
use crate::instruments::Tuning;
use crate::limits;
use crate::music::Time;
use crate::resolve::{
    BarIndices, Bars, Ensemble, Fermata, Form, HarmonyEvent, Line, Piece, Player, Scoring, Verb,
};

pub use arrangement::{
    ArrangedMovement, Arrangement, Claim, LineId, LineOrigin, Part, SoundingNote, Wait,
    tremolo_of_two,
};
pub use coverage::{VoiceCoverage, coverage_again};
pub use doubt::Doubt;
pub use idiom::{has_mark, has_technique};
pub use join::join;
use kept::{Before, Event, KeptWork, Once};
pub use notes::Notes;
pub use packed_note::{AttachedRef, PackedNote, SoundRef};
use smaller::Smaller;
use taking::{Run, empty_run};

/// Works a scoring out: what every player of its ensemble sounds.
///
/// # Panics
/// If `scoring` is not one of the scorings of `piece`.
#[must_use]
pub fn arrange(piece: &Arc<Piece>, scoring: &Arc<Scoring>) -> Arrangement {
    arrange_again(piece, scoring, None)
}

/// The same with what an earlier run made of the scoring: parts that nothing new reaches are taken
/// over, and are the same `Arc`.
///
/// # Panics
/// If `scoring` is not one of the scorings of `piece`.
#[must_use]
pub fn arrange_again(
    piece: &Arc<Piece>,
    scoring: &Arc<Scoring>,
    before: Option<&Arrangement>,
) -> Arrangement {
    work_out(piece, scoring, before, false)
}

/// Works a scoring out for who asks once: without what a next run would take over, and without
/// putting any of it down on the way.
///
/// # Panics
/// If `scoring` is not one of the scorings of `piece`.
#[must_use]
pub fn arrange_once(piece: &Arc<Piece>, scoring: &Arc<Scoring>) -> Arrangement {
    work_out(piece, scoring, None, true).without_memory()
}

/// Works a scoring out; `once` says that there will be no next run.
fn work_out(
    piece: &Arc<Piece>,
    scoring: &Arc<Scoring>,
    before: Option<&Arrangement>,
    once: bool,
) -> Arrangement {
    let ensemble = &piece.ensembles[scoring.ensemble];
    let mut diagnostics = Vec::new();
    let layers = piece.layers(scoring);
    let lines: Vec<GivenLine> = claims::lines(piece, ensemble, &layers, &mut diagnostics);
    let claims = claims::claims(piece, ensemble, &lines, &mut diagnostics);
    let parts: Vec<Arc<Part>> = ensemble
        .players
        .iter()
        .zip(claims)
        .enumerate()
        .map(|(index, (player, claims))| Arc::new(part(piece, player, index, &lines, claims)))
        .collect();
    let origins = lines
        .iter()
        .map(|given| LineOrigin {
            span: given.line.span,
            role: given.line.role,
            kept: given.layer > 0,
            lyrics: given.line.lyrics,
            chords: given.line.chords,
            figures: given.line.figures,
            realises: match given.line.verb {
                Verb::Realises { voice } => Some(voice),
                _ => None,
            },
        })
        .collect();
    let smaller = Smaller::of(piece, scoring, before, once);
    let settled_before = before.and_then(|before| before.kept.settled.clone());
    let before = before.and_then(|before| Before::new(before, piece, ensemble, &lines, &parts));
    let mut work = Work {
        piece,
        ensemble,
        lines: &lines,
        state: vec![State::Waiting; parts.len()],
        events: vec![Vec::new(); parts.len()],
        parts,
        before,
        smaller,
        taken: HashMap::new(),
        computes: false,
        harmony_ahead: None,
        harmony: None,
        at_hand: computing::AtHand::default(),
        derived: HashMap::new(),
        settled_before,
        settled: None,
        once,
        left_out: BTreeMap::new(),
        moved: BTreeMap::new(),
        balanced: Vec::new(),
        told: HashSet::new(),
        sounding: 0,
        diagnostics,
    };
    work.infer_ahead();
    work.take_ahead();
    for index in 0..work.parts.len() {
        work.fill(index);
    }
    // Nobody looks at these any more.
    (work.taken, work.at_hand, work.derived) = Default::default();
    work.tell_moved();
    work.tell_left_out();
    work.tell_kept();
    let held = fermatas::held(piece, work.lines, work.parts.iter().map(|part| &**part));
    let sounding = work.under_fermatas(&held);
    let doubt = doubt::doubt(piece, &layers, &lines, &sounding);
    let Work { parts: before_fermatas, events, diagnostics, smaller, .. } = work;
    let settled = work.settled.or(work.settled_before);
    let smaller = smaller.map(Smaller::into_inner);
    Arrangement {
        piece: Arc::clone(piece),
        scoring: Arc::clone(scoring),
        era: ensemble.era,
        parts: sounding,
        lines: origins,
        doubt,
        diagnostics,
        movements: Vec::new(),
        kept: KeptWork { lines, before_fermatas, events, held, smaller, settled },
    }
}

/// A scoring line with the players of this ensemble to whom it speaks.
#[derive(Clone, PartialEq, Debug)]
struct GivenLine {
    line: Arc<Line>,
    /// Indices of players, in the order in which the line names them.
    players: Vec<usize>,
    /// For each of them the octaves up by which his group sets him.
    octaves: Vec<i8>,
    /// How many `keep`s away it stands: 0 for the scoring's own lines.
    layer: usize,
}

impl GivenLine {
    /// Octaves up by which the player's group sets him.
    fn octaves_of(&self, player: usize) -> i8 {
        let place = self.players.iter().position(|&other| other == player);
        place.map_or(0, |place| self.octaves[place])
    }

    /// Is it the same line, speaking to the same players?
    fn is_same(&self, other: &GivenLine) -> bool {
        Arc::ptr_eq(&self.line, &other.line)
            && (&self.players, &self.octaves, self.layer)
                == (&other.players, &other.octaves, other.layer)
    }
}

/// A part with its claims and its crooks and tunings, and no notes yet.
fn part(
    piece: &Piece,
    player: &Arc<Player>,
    index: usize,
    lines: &[GivenLine],
    claims: Vec<Claim>,
) -> Part {
    let mut part = Part {
        player: Arc::clone(player),
        notes: Notes::default(),
        tuplets: Vec::new(),
        rests: Vec::new(),
        directions: Vec::new(),
        claims,
        instruments: vec![(Time::ZERO, player.instrument)],
        tunings: player.tuning.map(|tuning| (Time::ZERO, tuning)).into_iter().collect(),
        drums: Vec::new(),
        takes: Vec::new(),
        waits: Vec::new(),
    };
    if !player.drums.is_empty() {
        part.drums.push((Time::ZERO, player.drums.clone()));
    }
    // Kept lines come first, so that a scoring's own line has the last word.
    let taken: Vec<_> = lines
        .iter()
        .enumerate()
        .rev()
        .filter(|(_, given)| given.players.contains(&index))
        .filter_map(|(id, given)| match &given.line.verb {
            Verb::Takes { instrument, tuning, drums, from } => {
                let at = from.map_or(Time::ZERO, |bar| piece.form.bars[bar].start);
                put(&mut part.takes, at, LineId::new(id));
                Some((at, *instrument, *tuning, drums))
            }
            _ => None,
        })
        .collect();
    for &(at, instrument, ..) in &taken {
        if let Some(instrument) = instrument {
            put(&mut part.instruments, at, instrument);
        }
    }
    for &(at, instrument, tuning, drums) in &taken {
        let in_hand = part.instrument_at(at);
        // A kept line may speak of a crook to a player who now has valves.
        let fits = |t: &&Tuning| {
            in_hand.tuning(&t.name).is_some_and(|own| own.transposition == t.transposition)
        };
        let own = || player.tuning.filter(|_| std::ptr::eq(in_hand, player.instrument));
        match (tuning.filter(fits), instrument) {
            (Some(tuning), _) => put(&mut part.tunings, at, tuning),
            (None, Some(_)) => {
                part.tunings.retain(|(time, _)| *time != at);
                part.tunings.extend(own().map(|tuning| (at, tuning)));
                part.tunings.sort_by_key(|(time, _)| *time);
            }
            (None, None) => {}
        }
        if !drums.is_empty() && !in_hand.drums.is_empty() {
            put(&mut part.drums, at, drums.clone());
        }
    }
    part
}

/// The bars of a form, divided where one of the players takes another instrument.
fn stretches(form: &Form, parts: &[&Part]) -> Bars {
    let mut borders: Vec<usize> = parts
        .iter()
        .flat_map(|part| &part.instruments[1..])
        .map(|(at, _)| form.index_at(*at))
        .chain([0, form.bars.len()])
        .collect();
    borders.sort_unstable();
    borders.dedup();
    borders.windows(2).map(|pair| BarIndices::new(pair[0], pair[1])).collect()
}

/// Puts what holds from a time on into a list in order of time, in place of what began there.
fn put<T>(list: &mut Vec<(Time, T)>, at: Time, what: T) {
    match list.binary_search_by_key(&at, |(time, _)| *time) {
        Ok(index) => list[index].1 = what,
        Err(index) => list.insert(index, (at, what)),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Waiting,
    Working,
    Done,
}

struct Work<'a> {
    piece: &'a Piece,
    ensemble: &'a Ensemble,
    lines: &'a [GivenLine],
    parts: Vec<Arc<Part>>,
    state: Vec<State>,
    /// For each part what happened while it was filled.
    events: Vec<Vec<Event>>,
    before: Option<Before<'a>>,
    /// The smaller scoring whose notes are kept.
    smaller: Option<Smaller>,
    /// What was taken from voices ahead, by part and the place of the claim in it.
    taken: HashMap<(usize, usize), Run>,
    /// Are there computed lines, that look at what was taken until all parts are filled?
    computes: bool,
    /// The chords of the piece, as long as no line has asked for them.
    harmony_ahead: Option<Cow<'a, [HarmonyEvent]>>,
    /// The chords from which computed lines take their notes, once a line has asked for them.
    harmony: Option<Cow<'a, [HarmonyEvent]>>,
    /// What computed lines look at, once one has asked for something.
    at_hand: computing::AtHand,
    /// What computed lines give to each of their players.
    derived: HashMap<LineId, Vec<derive::Derived>>,
    /// Passages of held lines that an earlier run worked out, and those of this run, if it worked
    /// out any.
    settled_before: Option<Arc<derive::Settled>>,
    settled: Option<Arc<derive::Settled>>,
    /// Will there be no next run?
    once: bool,
    /// By doubling line: players to whom notes are missing, with where they are.
    left_out: BTreeMap<LineId, Vec<(usize, Vec<Time>)>>,
    /// By doubling line: players, the parts that they double, and what they have in another octave.
    moved: BTreeMap<LineId, Vec<(usize, usize, doubling::Folded)>>,
    /// Notes that several players may have, with what is claimed by whoever has them, and the same
    /// with their slurs in balance.
    balanced: Vec<(Notes, Vec<Claim>, Notes)>,
    /// What is told once a line, and was.
    told: HashSet<(Once, LineId)>,
    /// How many notes all parts have together, so far.
    sounding: usize,
    diagnostics: Vec<Diagnostic>,
}

impl<'a> Work<'a> {
    /// Gives a part its notes, tuplets and directions; parts that it doubles are filled first.
    fn fill(&mut self, index: usize) {
        if self.state[index] != State::Waiting {
            return;
        }
        let kept = self.before.as_mut().and_then(|before| {
            let new = &self.parts[index];
            before.keeps(index).then(|| (before.part(index, new), before.events(index)))
        });
        if let Some((part, events)) = kept {
            self.sounding += part.notes.len();
            self.parts[index] = part;
            self.state[index] = State::Done;
            for event in events {
                self.happens(index, event);
            }
            return;
        }
        self.state[index] = State::Working;
        let claims = self.parts[index].claims.clone();
        let mut runs = Vec::with_capacity(claims.len());
        for (place, claim) in claims.iter().enumerate() {
            // Computed lines look at the same notes.
            let taken = match self.computes {
                true => self.taken.get(&(index, place)).cloned(),
                false => self.taken.remove(&(index, place)),
            };
            let run = match taken {
                Some(run) => self.played(index, run),
                None => self.run(index, claim.line, empty_run(*claim)),
            };
            runs.push(self.within_limits(run));
        }
        let claims = taking::joined(&claims, self.lines, index);
        let part = Arc::make_mut(&mut self.parts[index]);
        directions::directions(self.piece, self.lines, part, &runs);
        let count: usize = runs.iter().map(|run| run.notes.len()).sum();
        for mut run in runs {
            let verb = &self.lines[run.line.index()].line.verb;
            if !matches!(verb, Verb::Writes(_)) {
                idiom::leave_out(&mut run.notes, part.instrument_at(run.from));
            }
            match part.notes.is_empty() {
                // Notes that fill the part may be those of others, too.
                true => part.notes = run.notes,
                false => {
                    let notes = part.notes.list();
                    notes.reserve_exact(count - notes.len());
                    notes.extend(run.notes.into_list());
                }
            }
            part.tuplets.extend(run.tuplets);
            part.rests.extend(run.rests);
        }
        let known = self
            .balanced
            .iter()
            .find(|(notes, known, _)| notes.are_shared(&part.notes) && *known == claims);
        match known {
            Some((.., balanced)) => part.notes = balanced.clone(),
            // Nobody else can have them.
            None if part.notes.is_alone() => taking::balance_slurs(&mut part.notes, &claims),
            None => {
                let notes = part.notes.clone();
                taking::balance_slurs(&mut part.notes, &claims);
                self.balanced.push((notes, claims, part.notes.clone()));
            }
        }
        words::leave_out(self.piece, part);
        self.state[index] = State::Done;
        self.share(index);
    }

    /// Lets a part have the very notes of another one that has the same.
    fn share(&mut self, index: usize) {
        let own = &self.parts[index];
        let alike = |other: &usize| {
            let part = &self.parts[*other];
            *other != index
                && self.state[*other] == State::Done
                && part.notes.len() == own.notes.len()
                && part.notes.last() == own.notes.last()
                && part.notes == own.notes
        };
        if let Some(other) = (0..self.parts.len()).find(alike) {
            let notes = self.parts[other].notes.clone();
            Arc::make_mut(&mut self.parts[index]).notes = notes;
        }
    }

    /// A run, or one without notes where all parts together would have more than there may be.
    fn within_limits(&mut self, mut run: Run) -> Run {
        let before = self.sounding;
        self.sounding += run.notes.len();
        if self.sounding > limits::NOTES {
            if before <= limits::NOTES {
                let most = limits::spaced(limits::NOTES);
                self.diagnostics.push(
                    Diagnostic::error(
                        "arrange/too-many-notes",
                        self.lines[run.line.index()].line.span,
                        format!(
                            "From this line on, all players together sound more than {most} notes."
                        ),
                    )
                    .with_help("Make several pieces of it, movement by movement."),
                );
            }
            (run.notes, run.tuplets) = (Notes::default(), Vec::new());
        }
        run
    }

    /// The parts with the fermatas under which all wait.
    fn under_fermatas(&self, held: &[Fermata]) -> Vec<Arc<Part>> {
        let pauses = fermatas::pauses(held);
        // Who shared his notes before does so after, if they are still the same.
        let mut shared: Vec<(usize, Notes)> = Vec::new();
        let under = |(index, part): (usize, &Arc<Part>)| {
            if pauses.is_empty() {
                return Arc::clone(part);
            }
            if let Some(before) = &self.before
                && let Some(known) = before.under_fermatas(index, part, held)
            {
                return known;
            }
            let before = part.notes.address();
            let mut part = Part::clone(part);
            fermatas::put(&self.piece.form, held, &pauses, &mut part, self.piece.span);
            let same = |(known, notes): &&(usize, Notes)| *known == before && *notes == part.notes;
            match shared.iter().find(same) {
                Some((_, notes)) => part.notes = notes.clone(),
                None => shared.push((before, part.notes.clone())),
            }
            Arc::new(part)
        };
        self.parts.iter().enumerate().map(under).collect()
    }

    fn run(&mut self, index: usize, id: LineId, mut run: Run) -> Run {
        let given = &self.lines[id.index()];
        let line = &*given.line;
        match &line.verb {
            Verb::Plays { voice, octaves, .. } => {
                let music = &self.piece.voices[*voice].music;
                taking::take(music, line, *octaves + given.octaves_of(index), &mut run);
                run = self.played(index, run);
            }
            Verb::Writes(music) => {
                taking::take(music, line, given.octaves_of(index), &mut run);
                self.tell_strokes(index, id, &run);
                self.thin(index, id, &mut run);
            }
            _ if self.keeps_notes(index, id, &mut run) => {}
            Verb::Doubles { .. } => self.double(index, id, &mut run),
            Verb::Sustains { .. }
            | Verb::Signals { .. }
            | Verb::Highlights { .. }
            | Verb::Realises { .. } => {
                self.derive(index, id, &mut run);
            }
            Verb::Rests | Verb::Takes { .. } | Verb::Unknown => {}
        }
        run
    }

    /// What a player has of a voice once it is taken for him.
    fn played(&mut self, index: usize, mut run: Run) -> Run {
        self.tell_strokes(index, run.line, &run);
        self.thin(index, run.line, &mut run);
        run
    }

    /// Leaves one note of each chord to a player who can sound only one.
    fn thin(&mut self, index: usize, id: LineId, run: &mut Run) {
        let player = &self.ensemble.players[index];
        let instrument = self.parts[index].instrument_at(run.from);
        if instrument.voices > 1 {
            return;
        }
        let given = &self.lines[id.index()];
        let desk: Vec<usize> = given
            .players
            .iter()
            .copied()
            .filter(|&other| self.ensemble.players[other].line_name == player.line_name)
            .collect();
        let place = desk.iter().position(|&other| other == index).unwrap_or(0);
        let left_out = taking::thin(&mut run.notes, place, desk.len());
        if let Some(note) = left_out
            && !self.tells(index, Once::Thinned, id)
        {
            let place = self.piece.form.place(note.start());
            let finding = Diagnostic::advice(
                    "arrange/chord-thinned",
                    given.line.span,
                    format!(
                        "The {} sounds one note at a time, so notes of chords are left out from {place} on.",
                        instrument.name.to_lowercase()
                    ),
                )
                .with_label(note.source(), "a chord of which notes are left out")
                .with_help("Name as many players as the chords have notes, or write the line out with `writes`.")
                .with_bars(place.bar, place.bar)
                .with_player(&player.id);
            self.happens(index, Event::Tell(Once::Thinned, id, finding));
        }
    }

    fn double(&mut self, index: usize, id: LineId, run: &mut Run) {
        let given = &self.lines[id.index()];
        let line = &*given.line;
        let Verb::Doubles { part, span, octaves } = &line.verb else { return };
        let sources = self.ensemble.players_named(part);
        let place = given.players.iter().position(|&player| player == index).unwrap_or(0);
        // Pairs double pairs, first the first and second the second.
        let Some(&source) = sources.get(place.min(sources.len().saturating_sub(1))) else { return };
        if self.state[source] == State::Working {
            let finding = Diagnostic::error(
                "names/cycle",
                line.span,
                format!(
                    "`{}` doubles `{part}`, which doubles it again.",
                    self.ensemble.players[index].id
                ),
            )
            .with_label(*span, "goes round in a circle")
            .with_help("One of the parts must play a voice or have notes of its own.");
            self.happens(index, Event::Tell(Once::Circle, id, finding));
            self.happens(index, Event::Circle);
            return;
        }
        let chosen = *octaves != 0;
        let octaves = *octaves + given.octaves_of(index);
        self.happens(index, Event::Fill(source));
        doubling::double(&self.parts[source], line, octaves, run);
        let part = Arc::clone(&self.parts[index]);
        let part = &part;
        // An octave that the line names is the arranger's choice: the rules on compass judge it.
        if !chosen && let Some(folded) = doubling::fold(part, self.ensemble.era, line, run) {
            self.happens(index, Event::Moved(id, source, folded));
        }
        let times = doubling::keep_what_he_has(part, self.ensemble.era, run);
        if !times.is_empty() {
            self.happens(index, Event::LeftOut(id, times));
        }
        self.tell_strokes(index, id, run);
        self.thin(index, id, run);
    }
}
