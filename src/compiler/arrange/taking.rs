//! Takes notes out of voices and written lines.

use std::collections::HashMap;

use super::{AttachedRef, Claim, GivenLine, LineId, Notes, PackedNote, SoundingNote, Work};
use crate::cores::on_all_cores;
use crate::limits;
use crate::music::Time;
use crate::resolve::{
    Attached, Line, Music, Note, Pitches, Rest, Role, Sound, Tuplet, Verb, WrittenNotes,
};

/// The run of a claim, without notes yet.
pub(super) fn empty_run(claim: Claim) -> Run {
    let Claim { from, to, line } = claim;
    Run { from, to, line, notes: Notes::default(), tuplets: Vec::new(), rests: Vec::new() }
}

/// What one line claims of a part without a break, and what it gives there.
#[derive(Clone)]
pub(super) struct Run {
    pub(super) from: Time,
    pub(super) to: Time,
    pub(super) line: LineId,
    pub(super) notes: Notes,
    pub(super) tuplets: Vec<Tuplet>,
    pub(super) rests: Vec<Rest>,
}

/// What is to be taken: for which parts and places of claims in them, what is claimed of which
/// music, and octaves up.
type Wanted<'a> = (Vec<(usize, usize)>, Claim, &'a Music, i8);

/// What makes notes that are taken the same: the voice, from when to when, octaves up, role and
/// whether they are a solo.
pub(super) type Same = (usize, Time, Time, i8, Option<Role>, bool);

/// What makes the notes the same that a line gives from a time to a time, so many octaves up.
pub(super) fn same(voice: usize, (from, to): (Time, Time), octaves: i8, line: &Line) -> Same {
    (voice, from, to, octaves, line.role, line.solo)
}

impl Work<'_> {
    /// Takes from the voices, on all cores, what the parts that are new will ask for.
    pub(super) fn take_ahead(&mut self) {
        let mut wanted: Vec<Wanted> = Vec::new();
        let mut known: HashMap<Same, usize> = HashMap::new();
        let mut notes = 0;
        for (index, part) in self.parts.iter().enumerate() {
            if self.before.as_mut().is_some_and(|before| before.keeps(index)) {
                continue;
            }
            for (place, claim) in part.claims.iter().enumerate() {
                let given = &self.lines[claim.line.index()];
                let Verb::Plays { voice, octaves, .. } = given.line.verb else { continue };
                let music = &self.piece.voices[voice].music;
                let begun = |time| music.notes.begun_before(time);
                notes += begun(claim.to) - begun(claim.from);
                let octaves = octaves + given.octaves_of(index);
                // Who plays the same of a voice has the same notes.
                let key = same(voice, (claim.from, claim.to), octaves, &given.line);
                let same = *known.entry(key).or_insert(wanted.len());
                match wanted.get_mut(same) {
                    Some((keys, ..)) => keys.push((index, place)),
                    None => wanted.push((vec![(index, place)], *claim, music, octaves)),
                }
            }
        }
        // Where there are too many, the first are told one after the other.
        if notes > limits::NOTES {
            return;
        }
        let taken = on_all_cores(&wanted, notes, |(_, claim, music, octaves)| {
            let mut run = empty_run(*claim);
            take(music, &self.lines[claim.line.index()].line, *octaves, &mut run);
            run
        });
        for ((keys, ..), run) in wanted.iter().zip(taken) {
            self.taken.extend(keys.iter().map(|&(index, place)| {
                let line = self.parts[index].claims[place].line;
                ((index, place), Run { line, ..run.clone() })
            }));
        }
    }
}

/// The notes of a voice or a written line side by side, for who looks at them to and fro. Their role
/// means nothing.
pub(super) fn at_hand(notes: &WrittenNotes) -> Notes {
    let sounding = notes.iter().map(|Note { start, length, sound, attached, span }| {
        let (role, solo) = (Role::Harmony, false);
        SoundingNote { start, length, sound, attached, role, solo, source: span }
    });
    sounding.collect()
}

/// Puts the notes of a piece of music that lie within a run into it, moved by octaves.
pub(super) fn take(music: &Music, line: &Line, octaves: i8, run: &mut Run) {
    // A note that is held into the run sounds there too: look back to the one before.
    let first = music.notes.begun_before(run.from).saturating_sub(1);
    let within = music.notes.begun_before(run.to);
    let mut notes: Vec<PackedNote> = Vec::with_capacity(within.saturating_sub(first));
    for (index, note) in (first..).zip(music.notes.within(first..within.max(first))) {
        let (start, end) = (note.start.max(run.from), (note.start + note.length).min(run.to));
        if start >= end {
            continue;
        }
        let mut attached = note.attached;
        if let Some(graces) = attached.graces.as_mut() {
            for (_, pitches) in &mut graces.notes {
                raise(pitches, octaves);
            }
        }
        if start > note.start {
            attached.graces = None;
        }
        if notes.is_empty() && start == run.from {
            let on = music.notes.starting_with(index).take(SLURRED_ON).map(|note| {
                let Attached { slur_starts, slur_ends, .. } = note.attached;
                (slur_starts, slur_ends)
            });
            attached.slur_starts |= is_slurred_on(on);
        }
        let mut sound = note.sound;
        if let Sound::Pitches(pitches) = &mut sound {
            raise(pitches, octaves);
        }
        notes.push(PackedNote::from(SoundingNote {
            start,
            length: end - start,
            sound,
            attached,
            role: line.role.unwrap_or(Role::Harmony),
            solo: line.solo,
            source: note.span,
        }));
    }
    run.notes = notes.into();
    let first = music.tuplets.partition_point(|tuplet| tuplet.start < run.from);
    run.tuplets.extend(music.tuplets[first..].iter().take_while(|t| t.start < run.to));
    take_rests(&music.rests, run);
}

/// Puts the rests that lie within a run into it, cut at its ends.
pub(super) fn take_rests(rests: &[Rest], run: &mut Run) {
    let first = rests.partition_point(|rest| rest.start + rest.length <= run.from);
    let within = rests[first..].iter().take_while(|rest| rest.start < run.to);
    run.rests.extend(within.map(|rest| {
        let start = rest.start.max(run.from);
        let length = (rest.start + rest.length).min(run.to) - start;
        Rest { start, length, span: rest.span }
    }));
}

pub(super) fn raise(pitches: &mut Pitches, octaves: i8) {
    if octaves != 0 {
        for pitch in pitches {
            *pitch = pitch.octaves_up(octaves);
        }
    }
}

/// Gives a run the notes that lie within it, cut at its ends: the very same ones where it has all of
/// them.
pub(super) fn cut(notes: &Notes, run: &mut Run) {
    let within =
        |first: &PackedNote, last: &PackedNote| first.start() >= run.from && last.end() <= run.to;
    if run.notes.is_empty() && notes.first().zip(notes.last()).is_some_and(|(a, b)| within(a, b)) {
        run.notes = notes.clone();
        return;
    }
    let first = notes.partition_point(|note| note.end() <= run.from);
    for note in &notes[first..] {
        if note.start() >= run.to {
            break;
        }
        let mut note = note.unpacked();
        let end = note.end().min(run.to);
        if note.start < run.from {
            note.start = run.from;
            note.attached.graces = None;
        }
        note.length = end - note.start;
        run.notes.list().push(note.into());
    }
    slur_on(&notes[first..], run);
}

/// Heuristic: a slur that comes from before is looked for so many notes on.
const SLURRED_ON: usize = 64;

/// Does a slur from before go on over the first of these notes to the next? Each says whether one begins on it, and
/// whether one ends. Who enters there is slurred from his first note (common practice in parts).
fn is_slurred_on(mut notes: impl Iterator<Item = (bool, bool)>) -> bool {
    notes.next() == Some((false, false))
        && notes.find(|&(starts, ends)| starts || ends).is_some_and(|(_, ends)| ends)
}

/// Lets the slur that comes into a run from before go on from its first note; `notes` are those of it on from there.
pub(super) fn slur_on(notes: &[PackedNote], run: &mut Run) {
    let on = notes.iter().take(SLURRED_ON).map(|note| {
        let AttachedRef { slur_starts, slur_ends, .. } = note.attached();
        (slur_starts, slur_ends)
    });
    if run.notes.first().is_some_and(|first| first.start() == run.from) && is_slurred_on(on) {
        run.notes.list()[0].change(|note| note.attached.slur_starts = true);
    }
}

/// Leaves to the player at `place` among `of` players of his kind one note of each chord: the top
/// one to the first, the next to the second; in the bass from the bottom up. Gives back the first
/// note from which something is left out because there are too few players.
pub(super) fn thin(notes: &mut Notes, place: usize, of: usize) -> Option<PackedNote> {
    let mut left_out = None;
    let many =
        |note: &PackedNote| note.sound().pitches().len() > 1 || note.attached().graces.is_some();
    let first = notes.iter().position(many)?;
    for packed in notes[first..].iter_mut().filter(|note| many(note)) {
        if packed.sound().pitches().len() > of && left_out.is_none() {
            left_out = Some(packed.clone());
        }
        packed.change(|note| thin_one(note, place));
    }
    left_out
}

/// Leaves to the player at `place` one of the notes that sound together.
fn thin_one(note: &mut SoundingNote, place: usize) {
    let from_below = note.role == Role::Bass;
    let Sound::Pitches(pitches) = &note.sound else { return };
    if let Some(graces) = note.attached.graces.as_mut() {
        for (_, grace) in &mut graces.notes {
            *grace = choose(grace, place, from_below);
        }
    }
    if pitches.len() > 1 {
        note.sound = Sound::Pitches(choose(pitches, place, from_below));
    }
}

fn choose(pitches: &Pitches, place: usize, from_below: bool) -> Pitches {
    let place = place.min(pitches.len() - 1);
    let index = if from_below { place } else { pitches.len() - 1 - place };
    pitches[index].into()
}

/// What is claimed of a part, where claims of one voice in the same octave that follow one another are one.
pub(super) fn joined(claims: &[Claim], lines: &[GivenLine], player: usize) -> Vec<Claim> {
    let music = |claim: &Claim| {
        let given = &lines[claim.line.index()];
        match given.line.verb {
            Verb::Plays { voice, octaves, .. } => Some((voice, octaves + given.octaves_of(player))),
            _ => None,
        }
    };
    let mut joined: Vec<Claim> = Vec::with_capacity(claims.len());
    for claim in claims {
        let goes_on = |last: &&mut Claim| {
            last.to == claim.from && music(claim).is_some_and(|own| music(last) == Some(own))
        };
        match joined.last_mut().filter(goes_on) {
            Some(last) => last.to = claim.to,
            None => joined.push(*claim),
        }
    }
    joined
}

/// Takes away the ends of slurs that do not begin and ends those that would not end, or would go on
/// from one claim into the next.
pub(super) fn balance_slurs(notes: &mut Notes, claims: &[Claim]) {
    let mut claims = claims.iter().peekable();
    let mut line = None;
    let mut open: Option<usize> = None;
    for index in 0..notes.len() {
        let start = notes[index].start();
        let before = line;
        while let Some(claim) = claims.next_if(|claim| claim.from <= start) {
            line = Some(claim.line);
        }
        let gap = index > 0 && (notes[index - 1].end() != start || before != line);
        if gap && let Some(start) = open.take() {
            close(notes, start, index - 1);
        }
        let AttachedRef { slur_starts, slur_ends, .. } = notes[index].attached();
        if slur_ends && open.take().is_none() {
            notes[index].change(|note| note.attached.slur_ends = false);
        }
        if slur_starts && open.is_some() {
            // The next line of the same voice goes on with it.
            notes[index].change(|note| note.attached.slur_starts = false);
        } else if slur_starts {
            open = Some(index);
        }
    }
    if let (Some(start), Some(last)) = (open, notes.len().checked_sub(1)) {
        close(notes, start, last);
    }
}

fn close(notes: &mut Notes, start: usize, last: usize) {
    if start == last {
        notes[start].change(|note| note.attached.slur_starts = false);
    } else if !notes[last].attached().slur_ends {
        notes[last].change(|note| note.attached.slur_ends = true);
    }
}

/// Where the notes of a music begin, between two times.
pub(super) fn sounds_in(notes: &[PackedNote], from: Time, to: Time) -> &[PackedNote] {
    let first = notes.partition_point(|note| note.end() <= from);
    let after = notes.partition_point(|note| note.start() < to);
    &notes[first..after.max(first)]
}
