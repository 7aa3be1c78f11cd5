//! From what a player sounds to notes in ticks.

use crate::arrange::{Part, SoundingNote};
use crate::instruments::{Family, Instrument, MidiSound};
use crate::music::{Letter, Pitch, Time};
use crate::resolve::{Form, Graces, Mark, Sound};

use super::loudness::Loudness;
use super::strokes::{QUICK, stroke};
use super::timeline::{Segment, Timeline};

/// A note as the file holds it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct KeyStroke {
    pub(super) key: u8,
    /// Does it belong on the channel of percussion?
    pub(super) percussion: bool,
    pub(super) velocity: u8,
    /// Ticks from the beginning.
    pub(super) on: i64,
    pub(super) off: i64,
}

/// All notes of a part as they are played, in order of time. Notes of one key do not overlap.
pub(super) fn of_part(form: &Form, part: &Part, timeline: &Timeline) -> Vec<KeyStroke> {
    let loudness = Loudness::new(&part.directions);
    let mut player =
        Player { form, part, timeline, loudness, strokes: Vec::new(), percussion: false };
    for segment in &timeline.segments {
        // Notes do not overlap, so their ends are in order too.
        let first = part.notes.partition_point(|note| note.end() <= segment.from);
        for note in part.notes[first..].iter().take_while(|note| note.start < segment.to) {
            player.note(note, segment);
        }
    }
    without_overlaps(player.strokes)
}

struct Player<'a> {
    form: &'a Form,
    part: &'a Part<'a>,
    timeline: &'a Timeline,
    loudness: Loudness,
    strokes: Vec<KeyStroke>,
    /// Is the instrument in hand one of the keys of percussion?
    percussion: bool,
}

impl Player<'_> {
    fn note(&mut self, note: &SoundingNote, segment: &Segment) {
        let from = note.start.max(segment.from);
        let mut length = note.end().min(segment.to) - from;
        let mut start = segment.played(from);
        let velocity = self.loudness.velocity(from, note.attached.marks);
        let instrument = self.part.instrument_at(note.start);
        self.percussion = matches!(instrument.midi, MidiSound::PercussionKey(_));
        // A note that is only taken up again after a jump has had its grace notes.
        if let Some(graces) = note.attached.graces.as_ref().filter(|_| from == note.start) {
            let taken = self.graces(graces, instrument, (start, length), velocity);
            start += taken;
            length -= taken;
        }
        let keys = self.keys(&note.sound, instrument);
        if note.attached.tremolo > 0 {
            let value = stroke(self.part, note).unwrap_or(QUICK);
            return self.repeat(&keys, start, length, value, velocity);
        }
        if !note.attached.marks.has(Mark::Trill) {
            return self.strike(&keys, start, length, velocity);
        }
        let drum = instrument.family == Family::Percussion;
        match note.sound.pitches().last() {
            Some(&main) if !drum => {
                let held = &keys[..keys.len().saturating_sub(1)];
                self.strike(held, start, length, velocity);
                let upper = self.upper_neighbour(main, from);
                self.trill([key_of(main), upper], start, length, velocity);
            }
            // A trill on a drum is a roll.
            _ => self.repeat(&keys, start, length, QUICK, velocity),
        }
    }

    fn keys(&self, sound: &Sound, instrument: &Instrument) -> Vec<u8> {
        match (instrument.midi, sound) {
            (MidiSound::PercussionKey(key), _) => vec![key.min(127)],
            (MidiSound::Program(_), Sound::Pitches(pitches)) => {
                pitches.iter().map(|&pitch| key_of(pitch)).collect()
            }
            // A stroke without pitch on an instrument that has programs: the middle of the keys.
            (MidiSound::Program(_), Sound::Stroke) => vec![60],
        }
    }

    fn strike(&mut self, keys: &[u8], start: Time, length: Time, velocity: u8) {
        let (on, off) = (self.timeline.ticks(start), self.timeline.ticks(start + length));
        let percussion = self.percussion;
        let stroke = |&key| KeyStroke { key, percussion, velocity, on, off };
        self.strokes.extend(keys.iter().map(stroke));
    }

    /// Strokes of a value; where they do not fill the length, the last one is shorter.
    fn repeat(&mut self, keys: &[u8], start: Time, length: Time, value: Time, velocity: u8) {
        let mut done = Time::ZERO;
        while done < length && value.is_positive() {
            let next = value.min(length - done);
            self.strike(keys, start + done, next, velocity);
            done += next;
        }
    }

    /// Main note and neighbour in turn. The last note is the main one and takes what is left.
    fn trill(&mut self, keys: [u8; 2], start: Time, length: Time, velocity: u8) {
        let mut value = QUICK;
        if length < QUICK * 3 {
            let Some(third) = length.scaled(1, 3) else {
                return self.strike(&keys[..1], start, length, velocity);
            };
            value = third;
        }
        let fitting = length.div_floor(value).max(1);
        let last = if fitting % 2 == 0 { fitting - 2 } else { fitting - 1 };
        for turn in 0..last {
            let key = keys[(turn % 2) as usize];
            self.strike(&[key], start + value * turn, value, velocity);
        }
        self.strike(&keys[..1], start + value * last, length - value * last, velocity);
    }

    /// Strikes the grace notes and says how much of the note's own time they take.
    fn graces(
        &mut self,
        graces: &Graces,
        instrument: &Instrument,
        (start, length): (Time, Time),
        velocity: u8,
    ) -> Time {
        let count = graces.notes.len() as i64;
        let mut value = QUICK;
        let mut taken = Time::ZERO;
        if start < QUICK * count {
            let Some(most) = length.scaled(1, 2 * count) else { return Time::ZERO };
            value = value.min(most);
            taken = value * count;
        }
        let first = start + taken - value * count;
        for (index, (_, pitches)) in (0..).zip(&graces.notes) {
            let keys = self.keys(&Sound::Pitches(pitches.clone()), instrument);
            self.strike(&keys, first + value * index, value, velocity);
        }
        taken
    }

    /// The next note of the scale in force; at least a semitone and at most a whole tone higher.
    fn upper_neighbour(&self, main: Pitch, time: Time) -> u8 {
        let letter = Letter::from_step(main.step() + 1);
        let octave = main.octave.saturating_add(i8::from(letter == Letter::C));
        let alter =
            self.form.bars.get(self.form.index_at(time)).map_or(0, |bar| bar.key.alter(letter));
        let distance = Pitch::new(letter, alter, octave).midi() - main.midi();
        folded(main.midi() + distance.clamp(1, 2))
    }
}

fn key_of(pitch: Pitch) -> u8 {
    folded(pitch.midi())
}

/// A key of the format, by octaves where the note lies beyond it.
fn folded(key: i32) -> u8 {
    let key = if key < 0 { key.rem_euclid(12) } else { key };
    let key = if key > 127 { 116 + (key - 116).rem_euclid(12) } else { key };
    key as u8
}

/// Cuts a note where another of the same key begins, and leaves out what has no duration.
fn without_overlaps(mut strokes: Vec<KeyStroke>) -> Vec<KeyStroke> {
    strokes.sort_by_key(|stroke| (stroke.on, stroke.key));
    let mut sounding: [Option<usize>; 128] = [None; 128];
    for index in 0..strokes.len() {
        let KeyStroke { key, on, .. } = strokes[index];
        if let Some(before) = sounding[usize::from(key)].replace(index)
            && strokes[before].off > on
        {
            if strokes[before].on == on {
                strokes[index].off = strokes[index].off.max(strokes[before].off);
            }
            strokes[before].off = on;
        }
    }
    strokes.retain(|stroke| stroke.off > stroke.on);
    strokes
}
