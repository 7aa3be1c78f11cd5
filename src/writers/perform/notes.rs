//! From what a player sounds to keys that are struck.

use crate::arrange::{PackedNote, Part, SoundRef, tremolo_of_two};
use crate::instruments::{Instrument, MidiSound};
use crate::music::{Pitch, Time};
use crate::narrow::Narrow;
use crate::notate::{ElementKind, FrameBar, Staff};
use crate::resolve::{Form, Mark, Marks};

use super::lengths;
use super::loudness::Loudness;
use super::ornaments::{Ornament, Step, neighbour, trills_from_above};
use super::strokes::{self, QUICK, quick};
use super::swell;
use super::timeline::Timeline;

/// A key that is struck and let go, in played time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct KeyStroke {
    /// The key: 60 is middle C; of percussion, the number of the sound.
    pub key: u8,
    /// Is it a sound of unpitched percussion?
    pub percussion: bool,
    /// How hard it is struck, from 1 to 127.
    pub velocity: u8,
    /// When it is struck, in played time.
    pub on: Time,
    /// When it is let go, in played time.
    pub off: Time,
}

/// Where all players are: what their music stands in, and the year whose customs hold.
#[derive(Clone, Copy)]
pub(super) struct Setting<'a> {
    pub(super) form: &'a Form,
    pub(super) frame: &'a [FrameBar],
    pub(super) era: i32,
    pub(super) timeline: &'a Timeline,
}

/// All notes of a part as they are played, in order of time. Notes of one key do not overlap.
pub(super) fn of_part(setting: Setting, part: &Part, staff: Option<&Staff>) -> Vec<KeyStroke> {
    let mut player = Player {
        setting,
        part,
        loudness: Loudness::new(&part.directions),
        short: staff.map(|staff| printed_short(setting.frame, staff)).unwrap_or_default(),
        strokes: Vec::with_capacity(part.notes.len()),
    };
    for play in plays(part, setting.timeline) {
        player.play(&play);
    }
    without_overlaps(player.strokes)
}

/// Beginnings of what is printed with a dot or a wedge: of a tied note the last piece.
fn printed_short(frame: &[FrameBar], staff: &Staff) -> Vec<Time> {
    let mut short = Vec::new();
    for (index, bar) in frame.iter().enumerate() {
        for element in staff.in_bar(index).flat_map(|measure| &measure.elements) {
            let ElementKind::Note(note) = &element.kind else { continue };
            if note.marks.has(Mark::Staccato) || note.marks.has(Mark::Staccatissimo) {
                short.push(bar.start + element.at);
            }
        }
    }
    // Two hands may have a dot each.
    short.sort_unstable();
    short
}

/// A note as it is played once, or what is left of it after a jump.
struct Play<'a> {
    note: &'a PackedNote,
    instrument: &'static Instrument,
    index: usize,
    /// Is it what is left of a note that began before a jump?
    taken_up: bool,
    /// Written time less played time.
    shift: Time,
    /// Where it is struck, after grace notes that take their time from it.
    start: Time,
    /// Where it ends on paper.
    end: Time,
    /// Where it must end for the grace notes of the next note.
    until: Time,
    /// Where what is played of it ends in written time.
    written_end: Time,
    /// Where its grace notes begin, and how long each lasts.
    graces: Option<(Time, Time)>,
}

impl Play<'_> {
    fn written(&self, played: Time) -> Time {
        played + self.shift
    }
}

fn plays<'a>(part: &'a Part, timeline: &Timeline) -> Vec<Play<'a>> {
    let mut plays: Vec<Play> = Vec::with_capacity(part.notes.len());
    for segment in &timeline.segments {
        // Notes do not overlap, so their ends are in order too.
        let first = part.notes.partition_point(|note| note.end() <= segment.from);
        let sounding = part.notes[first..].iter().take_while(|note| note.start() < segment.to);
        for (index, note) in (first..).zip(sounding) {
            let from = note.start().max(segment.from);
            let start = segment.played(from);
            let end = segment.played(note.end().min(segment.to));
            let shift = from - start;
            let taken_up = from > note.start();
            let written_end = note.end().min(segment.to);
            // Held from before two endings into the later one: it sounds on over the jump.
            if let Some(before) = plays.last_mut()
                && (before.index, before.end) == (index, start)
                && before.written_end < from
            {
                (before.end, before.until, before.written_end) = (end, end, written_end);
                continue;
            }
            let mut play = Play {
                note,
                instrument: part.instrument_at(note.start()),
                index,
                taken_up,
                shift,
                start,
                end,
                until: end,
                written_end,
                graces: None,
            };
            // A note that is taken up after a jump has had its grace notes.
            if !taken_up {
                lead_in(&mut play, plays.last_mut());
            }
            plays.push(play);
        }
    }
    plays
}

/// Finds room for the grace notes of a note: in the rest before it, or at the end of the note
/// before it, of which they take half at most; else at its own beginning.
fn lead_in(play: &mut Play, before: Option<&mut Play>) {
    let Some(graces) = play.note.attached().graces else { return };
    let count = graces.notes.len() as i64;
    let room = before.as_ref().map_or(play.start * 2, |before| {
        ((play.start - before.end) * 2).max(play.start - before.start)
    });
    if let Some(value) = quick(2 * count, room) {
        let first = play.start - value * count;
        if let Some(before) = before {
            before.until = before.until.min(first);
        }
        play.graces = Some((first, value));
    } else if let Some(value) = quick(2 * count, play.end - play.start) {
        play.graces = Some((play.start, value));
        play.start += value * count;
    }
}

struct Player<'a> {
    setting: Setting<'a>,
    part: &'a Part,
    loudness: Loudness,
    /// Beginnings of what is printed short, in order.
    short: Vec<Time>,
    strokes: Vec<KeyStroke>,
}

impl Player<'_> {
    fn play(&mut self, play: &Play) {
        self.graces(play);
        let keys = keys(play.note.sound(), play.instrument);
        let end = play.until.min(play.start + self.sounding(play));
        if let Some(notes) = tremolo_of_two(&self.part.notes, play.index) {
            return self.by_turns(notes, play, end);
        }
        if play.note.attached().tremolo > 0 {
            return self.tremolo(&keys, play, end);
        }
        let marks = play.note.attached().marks;
        let from_above = self.trills_from_above(play);
        let ornament = Ornament::of(marks, from_above)
            // A note that is taken up after a jump goes on with its trill, but has had its turn.
            .filter(|ornament| !play.taken_up || matches!(ornament, Ornament::Trill { .. }));
        let drum = play.instrument.unpitched || !play.instrument.drums.is_empty();
        match (ornament, play.note.sound().pitches().last()) {
            (Some(ornament), Some(&main)) if !drum => {
                self.ornament(&keys, play, end, ornament, main)
            }
            (Some(Ornament::Trill { .. }), _) => {
                // A trill on a drum is a roll.
                self.repeat(&keys, play, (play.start, end), QUICK);
            }
            _ if marks.has(Mark::Arpeggio) && !drum && !play.taken_up => {
                self.spread(&keys, play, end);
            }
            _ => self.strike(&keys, play, (play.start, end), self.velocity(play)),
        }
    }

    /// The notes of a chord one after the other from the lowest up, each held to the end.
    fn spread(&mut self, keys: &[u8], play: &Play, end: Time) {
        let mut keys = keys.to_vec();
        keys.sort_unstable();
        let each = strokes::spread(keys.len(), end - play.start);
        let velocity = self.velocity(play);
        for (index, key) in (0..).zip(keys) {
            self.strike(&[key], play, (play.start + each * index, end), velocity);
        }
    }

    fn velocity(&self, play: &Play) -> u8 {
        self.loudness.velocity(play.written(play.start), play.note.attached().marks)
    }

    /// How long a note sounds of the time that it has on paper.
    fn sounding(&self, play: &Play) -> Time {
        let mut marks = play.note.attached().marks;
        let is_cut = play.written_end < play.note.end();
        let place = self.short.partition_point(|short| *short < play.note.end());
        let short = self.short[..place].last().filter(|short| **short >= play.note.start());
        let mut shortened = play.start;
        match short.filter(|_| !is_cut) {
            // What is tied to the piece with the dot is held.
            Some(_) if marks.has(Mark::Fermata) => {}
            Some(short) => shortened = shortened.max(*short - play.shift),
            None => {
                marks.remove(Mark::Staccato);
                marks.remove(Mark::Staccatissimo);
            }
        }
        if is_cut {
            marks.remove(Mark::Breath);
        }
        shortened - play.start + lengths::sounding(marks, play.end - shortened)
    }

    fn trills_from_above(&self, play: &Play) -> bool {
        let graces = play.graces.and(play.note.attached().graces);
        match graces.and_then(|graces| graces.notes.last()) {
            Some((_, last)) => last.last() == play.note.sound().pitches().last(),
            None => trills_from_above(self.setting.era),
        }
    }

    fn strike(&mut self, keys: &[u8], play: &Play, (on, off): (Time, Time), velocity: u8) {
        let percussion = matches!(play.instrument.midi, MidiSound::PercussionKey(_));
        let stroke = |&key| KeyStroke { key, percussion, velocity, on, off };
        self.strokes.extend(keys.iter().map(stroke));
    }

    fn graces(&mut self, play: &Play) {
        let Some((first, value)) = play.graces else { return };
        let Some(graces) = play.note.attached().graces else { return };
        let velocity = self.loudness.velocity(play.note.start(), Marks::NONE);
        for (index, (_, pitches)) in (0..).zip(&graces.notes) {
            let keys = keys(SoundRef::of_grace(pitches), play.instrument);
            let on = first + value * index;
            self.strike(&keys, play, (on, on + value), velocity);
        }
    }

    /// A tremolo between two notes, as far as the time of one of them goes: strokes are counted from
    /// where it begins.
    fn by_turns(&mut self, [one, two]: [&PackedNote; 2], play: &Play, end: Time) {
        let begins = one.start();
        let keys = [one, two].map(|note| keys(note.sound(), play.instrument));
        let (value, _) = strokes::tremolo(self.part, play.note, play.written(play.start));
        let swells = swell::by_expression(play.instrument);
        let mut velocity = self.velocity(play);
        // A stroke over the border between the two halves is one stroke.
        let goes_on = std::ptr::eq(play.note, one) && play.written(end) == one.end();
        let last = if goes_on { two.end() - play.shift } else { end };
        let mut now = play.start;
        let into = play.written(now) - begins;
        let into = into - value * into.div_floor(value);
        if !std::ptr::eq(play.note, one) && !play.taken_up && into.is_positive() {
            now += value - into;
        }
        while now < end && value.is_positive() {
            let stroke = (play.written(now) - begins).div_floor(value);
            if !swells && now > play.start {
                velocity = self.loudness.velocity(play.written(now), Marks::NONE);
            }
            let next = (begins + value * (stroke + 1) - play.shift).min(last);
            let which = usize::from(stroke.rem_euclid(2) == 1);
            self.strike(&keys[which], play, (now, next), velocity);
            now = next;
        }
    }

    /// Strokes whose value may change within the note, where a tuplet ends or begins.
    fn tremolo(&mut self, keys: &[u8], play: &Play, end: Time) {
        let mut now = play.start;
        while now < end {
            let (value, border) = strokes::tremolo(self.part, play.note, play.written(now));
            let border = (border - play.shift).min(end);
            if border <= now {
                return;
            }
            self.repeat(keys, play, (now, border), value);
            now = border;
        }
    }

    /// Strokes of a value; where they do not fill the time, the last one is shorter. Under a
    /// hairpin each is as loud as its time asks for, unless expression does that.
    fn repeat(&mut self, keys: &[u8], play: &Play, (from, to): (Time, Time), value: Time) {
        let swells = swell::by_expression(play.instrument);
        let mut velocity = self.velocity(play);
        let mut now = from;
        while now < to && value.is_positive() {
            if !swells && now > play.start {
                velocity = self.loudness.velocity(play.written(now), Marks::NONE);
            }
            let next = (now + value).min(to);
            self.strike(keys, play, (now, next), velocity);
            now = next;
        }
    }

    /// The ornament on the highest note of a chord, the others held.
    fn ornament(&mut self, keys: &[u8], play: &Play, end: Time, ornament: Ornament, main: Pitch) {
        let velocity = self.velocity(play);
        let others = &keys[..keys.len().saturating_sub(1)];
        self.strike(others, play, (play.start, end), velocity);
        let key =
            |step: Step| folded(neighbour(self.setting.form, self.part, play.index, main, step));
        let mut now = play.start;
        for (step, length) in ornament.notes(end - play.start) {
            self.strike(&[key(step)], play, (now, now + length), velocity);
            now += length;
        }
    }
}

fn keys(sound: SoundRef, instrument: &Instrument) -> Vec<u8> {
    match (instrument.midi, sound) {
        (MidiSound::PercussionKey(key), _) => vec![key.min(127)],
        (MidiSound::Program(_), SoundRef::Pitches(pitches)) => {
            pitches.iter().map(|&pitch| folded(pitch.midi())).collect()
        }
        // A stroke without pitch on an instrument that has programs: the middle of the keys.
        (MidiSound::Program(_), SoundRef::Stroke) => vec![60],
    }
}

/// A key of the format, by octaves where the note lies beyond it.
fn folded(key: i32) -> u8 {
    let key = if key < 0 { key.rem_euclid(12) } else { key };
    let key = if key > 127 { 116 + (key - 116).rem_euclid(12) } else { key };
    key.narrow::<u8>()
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
