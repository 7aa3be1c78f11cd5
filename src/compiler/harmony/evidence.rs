//! What the voices sound in each beat, and what each note weighs for or against a chord.

use crate::diagnostics::Span;
use crate::music::{Key, PitchName, Time};
use crate::narrow::Narrow;
use smallvec::SmallVec;

use crate::resolve::{Bar, Form, Note, Piece, WrittenNotes};

/// A beat (or part of a long beat) in which the harmony stands still.
pub(super) struct Slot {
    pub(super) start: Time,
    pub(super) length: Time,
    /// Index of its bar.
    pub(super) bar: usize,
    pub(super) key: Key,
    /// Weight in the metre, 3 (first beat) to 0 (between the beats).
    pub(super) weight: u8,
    /// How much of each pitch class sounds; 1 is one voice for the whole slot.
    pub(super) sounding: [f32; 12],
    /// The same, with what excuses notes outside a chord taken off: passing notes and their like.
    pub(super) foreign: [f32; 12],
    /// How present each class is, 0 to 1; what the rest of the bar sounds counts a little.
    pub(super) present: [f32; 12],
    /// Spelling of each class that sounds, as a place on the line of fifths.
    pub(super) names: [Option<i8>; 12],
    /// The lowest note where the slot begins (or the first that follows).
    pub(super) bass: Option<Bass>,
    /// The highest note where the slot begins (or the first that follows).
    pub(super) top: Option<Top>,
    /// How many voices sound in it, as in most of the piece; [`Texture::More`] where it is otherwise.
    pub(super) texture: Texture,
    /// What sounds in it, where few voices do.
    pub(super) heard: SmallVec<[Heard; 4]>,
    /// Does a note begin in it?
    pub(super) struck: bool,
    /// Does the tune rest on a note, or pause after it?
    pub(super) goal: bool,
    /// How much sounds in it: 1 is one voice for the whole slot.
    pub(super) total: f32,
    /// How many notes sound in it.
    notes: u16,
}

/// How many voices sound together, doublings and chords counted note by note.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(super) enum Texture {
    #[default]
    Silent,
    /// A melody alone.
    One,
    /// Two voices, or what comes to as much.
    Two,
    More,
}

impl Texture {
    /// By how many notes sound, for their share of the slot.
    pub(super) fn of(sounding: f32) -> Texture {
        match sounding {
            s if s <= 0.0 => Texture::Silent,
            s if s <= 1.3 => Texture::One,
            s if s <= 2.3 => Texture::Two,
            _ => Texture::More,
        }
    }
}

/// How much of a pitch class sounds in one way.
#[derive(Clone, Copy)]
pub(super) struct Heard {
    pub(super) class: u8,
    pub(super) excuse: Excuse,
    pub(super) share: f32,
}

/// What excuses a note outside the chord.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Excuse {
    None,
    Suspension,
    AccentedPassing,
    Passing,
    Appoggiatura,
    Escape,
    Anticipation,
}

/// The highest note of a slot.
pub(super) struct Top {
    pub(super) class: u8,
    height: i32,
    onset: Time,
    pub(super) length: Time,
    pub(super) held: bool,
}

impl Slot {
    /// Adds to what is heard; beyond two voices nobody asks for it.
    fn hear(&mut self, class: usize, excuse: Excuse, share: f32) {
        let class = class.narrow::<u8>();
        let same = |heard: &Heard| heard.class == class && heard.excuse == excuse;
        match self.heard.iter().position(same) {
            Some(place) => self.heard[place].share += share,
            None if self.heard.len() < MOST_HEARD => {
                self.heard.push(Heard { class, excuse, share });
            }
            None => {}
        }
    }
}

/// More than this is told apart only in full textures.
const MOST_HEARD: usize = 24;

/// The lowest note of a slot.
pub(super) struct Bass {
    pub(super) name: PitchName,
    /// How much it counts against chords that do not have it, 0 to 1.
    pub(super) foreign: f32,
    pub(super) excuse: Excuse,
    /// Did it begin before the slot?
    pub(super) held: bool,
    /// Is there another note above it?
    pub(super) supports: bool,
    /// By how many semitones the bass has come here from its last other note, and goes on from here
    /// to its next one; 0 where there is none.
    pub(super) reached: i8,
    pub(super) left: i8,
    pub(super) span: Span,
    pub(super) height: i32,
    onset: Time,
}

impl Bass {
    /// The class from which it falls by a tone and on by a step, if it passes so below one voice.
    pub(super) fn passes_from(&self) -> Option<i32> {
        let passes = self.supports && self.reached == -2 && (-2..=-1).contains(&self.left);
        passes.then(|| (self.name.class() + 2).rem_euclid(12))
    }
}

/// Voices beyond which further ones add no evidence: doublings do not make a chord surer.
pub(super) const FULL_TEXTURE: f32 = 4.0;

/// Some bars of a piece cut into slots, with what sounds in them.
pub(super) struct Laid {
    pub(super) slots: Vec<Slot>,
    /// Index of the bar behind them.
    pub(super) after: usize,
    /// Of each voice the index of the first note that may sound behind them.
    pub(super) notes: Box<[usize]>,
}

/// Lays out at least so many slots from a bar on, to the end of a bar, if the piece has so many;
/// of each voice the first note that may sound in them is known.
pub(super) fn lay_out(piece: &Piece, bar: usize, notes: &[usize], least: usize) -> Laid {
    let mut slots = Vec::with_capacity(least);
    let mut after = bar;
    while after < piece.form.bars.len() && slots.len() < least {
        cut(&piece.form, after, &mut slots);
        after += 1;
    }
    let voices = piece.voices.iter().zip(notes);
    let notes = voices.map(|(voice, first)| hear(&voice.music.notes, *first, &mut slots)).collect();
    for slot in &mut slots {
        slot.total = slot.sounding.iter().sum();
        slot.texture = Texture::of(slot.total);
        if slot.total > FULL_TEXTURE {
            let scale = FULL_TEXTURE / slot.total;
            slot.sounding.iter_mut().chain(&mut slot.foreign).for_each(|weight| *weight *= scale);
        }
        if let Some(bass) = &mut slot.bass {
            bass.supports = slot.notes > 1;
        }
    }
    spread(&mut slots);
    Laid { slots, after, notes }
}

/// Length of the slots of a bar: its beat; the half or the quarter of long beats; never less than
/// an eighth.
fn slot_length(bar: &Bar) -> Time {
    let mut length = bar.metre.beat();
    if bar.metre.is_compound() && length >= Time::of(3, 4) {
        return length.scaled(1, 3).unwrap_or(length);
    }
    while length >= Time::of(1, 2) {
        length = length.scaled(1, 2).unwrap_or(Time::QUARTER);
    }
    while length < Time::EIGHTH {
        length = length * 2;
    }
    length
}

fn cut(form: &Form, index: usize, slots: &mut Vec<Slot>) {
    let bar = &form.bars[index];
    let step = slot_length(bar);
    let end = bar.start + bar.length;
    let full_start = form.full_start(index);
    let mut start = bar.start;
    while start < end {
        let position = start - full_start;
        let to_next = step - position % step;
        let length = to_next.min(end - start);
        slots.push(Slot {
            start,
            length,
            bar: index,
            key: bar.key,
            weight: bar.metre.weight(position),
            sounding: [0.0; 12],
            foreign: [0.0; 12],
            present: [0.0; 12],
            names: [None; 12],
            bass: None,
            top: None,
            texture: Texture::Silent,
            heard: SmallVec::new(),
            struck: false,
            goal: false,
            total: 0.0,
            notes: 0,
        });
        start += length;
    }
}

/// Adds the notes of one voice, from an index on, to the slots in which they sound; gives the index
/// of the first that may sound behind them.
fn hear(notes: &WrittenNotes, from: usize, slots: &mut [Slot]) -> usize {
    let Some(behind) = slots.last().map(|last| last.start + last.length) else { return from };
    let mut first = 0;
    let (mut index, mut goes_on) = (from, None);
    let mut before = from.checked_sub(1).and_then(|before| notes.get(before));
    let mut notes = notes.starting_with(from).peekable();
    while let Some(note) = notes.next_if(|note| note.start < behind) {
        let end = note.start + note.length;
        if end > behind {
            goes_on.get_or_insert(index);
        }
        index += 1;
        while first < slots.len() && slots[first].start + slots[first].length <= note.start {
            first += 1;
        }
        let after = notes.peek();
        for slot in slots[first..].iter_mut().take_while(|slot| slot.start < end) {
            let from = note.start.max(slot.start);
            let to = end.min(slot.start + slot.length);
            if to <= from {
                continue;
            }
            let share = ((to - from).to_f64() / slot.length.to_f64()).narrow::<f32>();
            let held = note.start < slot.start;
            slot.struck |= !held;
            for pitch in note.sound.pitches() {
                let motion = Motion::of(pitch.midi(), &note, before.as_ref(), after);
                let excuse = motion.excuse(held, note.start == slot.start);
                let class = pitch.name().class() as usize;
                slot.sounding[class] += share;
                slot.foreign[class] += share * excuse.weight();
                slot.hear(class, excuse, share);
                slot.names[class].get_or_insert(pitch.name().fifths().narrow::<i8>());
                slot.notes += 1;
                let lower = slot
                    .bass
                    .as_ref()
                    .is_none_or(|bass| (from, pitch.midi()) < (bass.onset, bass.height));
                if lower {
                    slot.bass = Some(Bass {
                        name: pitch.name(),
                        foreign: excuse.weight(),
                        excuse,
                        held,
                        supports: false,
                        reached: 0,
                        left: 0,
                        span: note.span,
                        height: pitch.midi(),
                        onset: from,
                    });
                }
                let higher = slot
                    .top
                    .as_ref()
                    .is_none_or(|top| (from, -pitch.midi()) < (top.onset, -top.height));
                if higher {
                    slot.top = Some(Top {
                        class: class.narrow::<u8>(),
                        height: pitch.midi(),
                        onset: from,
                        length: note.length,
                        held,
                    });
                }
            }
        }
        before = Some(note);
    }
    goes_on.unwrap_or(index)
}

/// How a note is reached and left in its voice.
struct Motion {
    reached_by_step: bool,
    repeats: bool,
    left_by_step: bool,
    left_downwards: bool,
    repeated_next: bool,
}

impl Motion {
    fn of(height: i32, note: &Note, before: Option<&Note>, after: Option<&Note>) -> Motion {
        let near = |other: Option<&Note>, touches: bool, way: fn(i32) -> bool| {
            touches
                && other.is_some_and(|other| {
                    other.sound.pitches().iter().any(|pitch| way(pitch.midi() - height))
                })
        };
        let joined = before.is_some_and(|b| b.start + b.length == note.start);
        let goes_on = after.is_some_and(|a| a.start == note.start + note.length);
        let step = |way: i32| (1..=2).contains(&way.abs());
        Motion {
            reached_by_step: near(before, joined, step),
            repeats: near(before, joined, |way| way == 0),
            left_by_step: near(after, goes_on, step),
            left_downwards: near(after, goes_on, |way| (-2..=-1).contains(&way)),
            repeated_next: near(after, goes_on, |way| way == 0),
        }
    }

    /// What excuses the note in a chord that does not hold it.
    fn excuse(&self, held: bool, on_the_beat: bool) -> Excuse {
        let prepared = held || (self.repeats && on_the_beat);
        if prepared && self.left_downwards {
            return Excuse::Suspension;
        }
        match (self.reached_by_step || self.repeats, self.left_by_step) {
            (true, true) if on_the_beat => Excuse::AccentedPassing,
            (true, true) => Excuse::Passing,
            (false, true) => Excuse::Appoggiatura,
            (true, false) if !on_the_beat => Excuse::Escape,
            _ if self.repeated_next && !on_the_beat => Excuse::Anticipation,
            _ => Excuse::None,
        }
    }
}

impl Excuse {
    /// How much of a note outside the chord still counts against it, 0 to 1 (our heuristic).
    fn weight(self) -> f32 {
        match self {
            Excuse::None => 1.0,
            Excuse::Suspension => 0.4,
            Excuse::AccentedPassing => 0.6,
            Excuse::Passing => 0.35,
            Excuse::Appoggiatura => 0.7,
            Excuse::Escape => 0.8,
            Excuse::Anticipation => 0.5,
        }
    }
}

/// What a class heard elsewhere in the bar counts as present in a slot (our heuristic).
const ELSEWHERE: f32 = 0.4;

/// Gives each slot the presence of the classes, its own and those of its bar.
fn spread(slots: &mut [Slot]) {
    let mut first = 0;
    while first < slots.len() {
        let bar = slots[first].bar;
        let after =
            slots[first..].iter().position(|s| s.bar != bar).map_or(slots.len(), |n| first + n);
        let mut whole = [0.0f32; 12];
        for slot in &slots[first..after] {
            for (sum, weight) in whole.iter_mut().zip(&slot.sounding) {
                *sum += weight;
            }
        }
        for slot in &mut slots[first..after] {
            for ((present, own), whole) in slot.present.iter_mut().zip(&slot.sounding).zip(&whole) {
                let own_presence = (2.0 * own).min(1.0);
                *present = own_presence.max((whole - own).min(1.0) * ELSEWHERE);
            }
        }
        first = after;
    }
}
