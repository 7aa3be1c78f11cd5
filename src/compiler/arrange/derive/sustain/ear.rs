//! What is heard while a chord is held: the source voices, what is written around the players, and
//! what other choirs hold.

use super::cost::{self, REST, Tendency, UNISON, Wants};
use super::seats::{Choir, Duty, Seat};
use super::slots::Slot;
use super::voicings::Desk;
use crate::arrange::derive::Sounding;
use crate::arrange::derive::texture::{Outer, Texture, beats_from, weight};
use crate::arrange::{Notes, PackedNote};
use crate::music::{Chord, Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::Form;

/// What it costs to hold the leading note that a source voice or another choir holds too, or the
/// seventh of another choir, where only a few play, or in unison.
const DOUBLES_TENDER: u32 = 450;

/// The same in another octave of a tutti, where it is common practice, and in unison with another
/// family of a full orchestra, each of which is complete in itself.
const OCTAVE_OF_TUTTI: u32 = 15;
const UNISON_OF_FULL: u32 = 30;

/// The same in another octave of a few, of whom those of his choir are a whole chord.
const OCTAVE_OF_CHOIR: u32 = 40;

/// The same of a note that has to fall and that an outer voice of a tutti has: it is dearer than to
/// do without.
const DOUBLES_FALLING: u32 = 100;

/// From so many players on who hold or accompany, all is a tutti, and a full one. (Our heuristic.)
const TUTTI: usize = 6;
const FULL: usize = 12;

/// A bass instrument that does not have the bass: tubas and double basses go with it always.
const NOT_THE_BASS: u32 = 600;
/// Another below the bass, where it changes the inversion.
const BELOW_THE_BASS: u32 = 400;
/// A low one that does not.
const LOW_NOT_THE_BASS: u32 = 30;

/// What it costs to have a tender note with the bass that somebody else of the choir has, too.
const WITH_BASS_TWICE: u32 = 200;

/// What it costs to hold a seventh that the top voice takes to its resolution: one could only go along
/// with it, or leave it hanging.
const TAKEN_TO_ITS_GOAL: u32 = 250;

/// What it costs to stand too close above or below another note low down: in seconds, and wider.
const MUDDY_SECOND: u32 = 400;
const MUDDY: u32 = 300;

/// Violas keep within a tenth of the bass, or below this B; what a semitone above costs. (The tenor of the
/// strings, which leaves no hole above the cellos: common practice; the weight is our heuristic.)
const CLOSE_TO_THE_BASS: i16 = 16;
const TENOR: i16 = 59;
const HOLE: u32 = 3;

/// What somebody else holds, with his choir.
pub(super) type Held = (Choir, i16);

/// How an outer note is heard beside a held one.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Heard {
    /// It is of the chord.
    OfChord,
    /// It is not, where the chord begins or on a strong beat.
    Foreign,
    /// It is not, and passes by on a weak beat.
    Passing,
}

impl Heard {
    /// What it costs to stand a semitone (or its octaves) beside it.
    fn rub(self) -> u32 {
        match self {
            // The major seventh of a chord rubs by nature, a suspension must not.
            Heard::OfChord => 20,
            Heard::Foreign => 150,
            Heard::Passing => 15,
        }
    }
}

/// What is heard at a slot besides those who are worked out.
#[derive(Hash)]
pub(super) struct Ear {
    /// Outer notes of the voices where it begins.
    pub(super) outer: Option<(i16, i16)>,
    /// Outer notes just before, each with whether it bears on the ear: a note of the chord that
    /// holds, or one that was struck on a beat.
    pub(super) before: Option<[(i16, bool); 2]>,
    /// Is the lower of the outer notes a bass?
    has_bass: bool,
    /// The pitch class of the bass note of the chord.
    bass: i8,
    /// The one that bass instruments have: of the bass, if it stays on a note of the chord, else that
    /// of the chord.
    ground: i8,
    /// Pitch classes of all voices on strong beats or held for a beat, as a set of bits.
    pub(super) classes: u16,
    /// The seventh to which the top voice comes at last, as a set of bits.
    seventh: u16,
    /// Is it a tutti, and a full one?
    pub(super) tutti: bool,
    full: bool,
    /// What only those need who look for notes, as long as they do.
    near: Option<Box<Near>>,
}

/// What is heard note by note.
#[derive(Hash)]
struct Near {
    /// The outer notes that a held note must live with.
    watched: Vec<(i16, Heard)>,
    /// What the voices sound where it begins.
    voices: Vec<i16>,
    /// What each of those holds whose notes are written or kept, or [`REST`].
    fixed: Vec<Held>,
    /// Pitch classes that each family has with the melody or the bass, as a set of bits.
    leading: Vec<(Choir, u16)>,
}

static NOTHING_NEAR: Near =
    Near { watched: Vec::new(), voices: Vec::new(), fixed: Vec::new(), leading: Vec::new() };

impl Ear {
    fn near(&self) -> &Near {
        self.near.as_deref().unwrap_or(&NOTHING_NEAR)
    }

    /// Lets go what only those need who look for notes.
    pub(super) fn forget(&mut self) {
        self.near = None;
    }

    /// What each of those holds whose notes are written or kept, or [`REST`].
    pub(super) fn fixed(&self) -> &[Held] {
        &self.near().fixed
    }

    /// May this leader go along with the bass, in unison or octaves: who is there for it, and in a
    /// tutti the lowest of a choir that goes down so far? (Common practice.)
    pub(super) fn goes_with_bass(
        &self,
        seat: &Seat,
        desk: &Desk,
        leader: usize,
        slot: &Slot,
    ) -> bool {
        let lowest = leader + 1 == desk.leaders.len() && desk.players() >= cost::COMPLETE;
        self.leans_on_bass(seat) || (self.tutti && lowest && seat.supplies.at(slot.start).is_deep())
    }

    /// Does this player rather have the bass than another note?
    pub(super) fn leans_on_bass(&self, seat: &Seat) -> bool {
        match seat.place {
            Duty::Free => false,
            Duty::LowInTutti => self.tutti,
            Duty::Ground | Duty::Low => true,
        }
    }

    /// Is this the note that the bass itself has, or its octave below?
    pub(super) fn is_with_bass(&self, height: i16) -> bool {
        let low = self.outer.filter(|_| self.has_bass).map(|(low, _)| low);
        low.is_some_and(|low| height <= low && (low - height) % 12 == 0)
    }

    /// The pitch classes that players of this choir have with the melody or the bass.
    pub(super) fn leading_of(&self, choir: Choir) -> u16 {
        self.near()
            .leading
            .iter()
            .find(|(other, _)| *other == choir)
            .map_or(0, |(_, classes)| *classes)
    }

    /// Is it a tutti for players of this choir? The strings have the tune for the most part.
    pub(super) fn is_tutti_for(&self, choir: Choir) -> bool {
        self.tutti && choir != Choir::Strings
    }
}

/// All that is heard beside those who are worked out.
pub(super) struct Hearing<'h> {
    pub(super) form: &'h Form,
    pub(super) texture: &'h Texture,
    pub(super) sounding: &'h Sounding,
    /// Is it a tutti, however many play?
    pub(super) tutti: bool,
}

impl Hearing<'_> {
    /// What is heard at a slot.
    pub(super) fn ear(&self, (slots, seats): (&[Slot], &[Seat]), at: usize) -> Ear {
        let Hearing { form, texture, sounding, tutti } = *self;
        let slot = &slots[at];
        let chord_before = at.checked_sub(1).filter(|_| slot.joined).map(|at| &slots[at].chord);
        let heights =
            |outer: Outer| (outer.low.midi().narrow::<i16>(), outer.high.midi().narrow::<i16>());
        let fixed: Vec<Held> = sounding
            .around
            .iter()
            .map(|(choir, notes)| (*choir, first_within(notes, slot.start, slot.end)))
            .collect();
        let known = fixed.iter().filter(|(_, height)| *height != REST).count();
        let players = slot.active.iter().filter(|active| **active).count() + known;
        let voices = texture.sounding(slot.start).flat_map(|note| note.sound().pitches());
        let ground = ground(form, slot, texture);
        let seventh = seventh_at_last(slot, texture);
        let mut leading = leading(form, slot, &sounding.leading);
        // Bass instruments that are worked out go with the bass, too.
        for (seat, _) in seats.iter().zip(&*slot.active).filter(|(_, active)| **active) {
            if seat.place == Duty::Ground {
                family_has(&mut leading, seat.choir, 1 << ground);
            }
        }
        let near = Near {
            watched: watched(form, slot, texture),
            voices: voices.map(|pitch| pitch.midi().narrow::<i16>()).collect(),
            fixed,
            leading,
        };
        Ear {
            outer: texture.outer(slot.start).map(heights),
            before: before(form, slot.start, chord_before, texture),
            has_bass: texture.has_bass(slot.start),
            bass: slot.chord.bass_note().class().narrow::<i8>(),
            ground: ground.narrow::<i8>(),
            classes: classes(form, slot, texture) | seventh,
            seventh,
            tutti: tutti || players >= TUTTI,
            full: players >= FULL,
            near: Some(Box::new(near)),
        }
    }
}

fn ground(form: &Form, slot: &Slot, texture: &Texture) -> i32 {
    let bass = texture.bass_that_stays(form, slot.start, slot.end).map(|bass| bass.name().class());
    bass.filter(|class| slot.chord.has_class(*class)).unwrap_or(slot.chord.bass_note().class())
}

/// What a player sounds first between two times, or [`REST`].
fn first_within(notes: &[PackedNote], from: Time, to: Time) -> i16 {
    let note = notes.get(notes.partition_point(|note| note.end() <= from));
    let pitch =
        note.filter(|note| note.start() < to).and_then(|note| note.sound().pitches().first());
    pitch.map_or(REST, |pitch| pitch.midi().narrow::<i16>())
}

/// What the families have with the melody or the bass where a slot begins, on strong beats and for a
/// beat and more.
fn leading(form: &Form, slot: &Slot, players: &[(Choir, Notes)]) -> Vec<(Choir, u16)> {
    let mut found: Vec<(Choir, u16)> = Vec::new();
    for (choir, notes) in players {
        let first = notes.partition_point(|note| note.end() <= slot.start);
        for note in notes[first..].iter().take_while(|note| note.start() < slot.end) {
            let at = note.start().max(slot.start);
            let long = || weight(form, at) > 0 && note.length() >= form.bar_at(at).metre.beat();
            if at != slot.start && weight(form, at) < 2 && !long() {
                continue;
            }
            let classes = note.sound().pitches().iter();
            let classes = classes.fold(0, |all, pitch| all | 1 << pitch.midi().rem_euclid(12));
            family_has(&mut found, *choir, classes);
        }
    }
    found
}

fn family_has(found: &mut Vec<(Choir, u16)>, choir: Choir, classes: u16) {
    match found.iter_mut().find(|(other, _)| *other == choir) {
        Some((_, all)) => *all |= classes,
        None => found.push((choir, classes)),
    }
}

fn watched(form: &Form, slot: &Slot, texture: &Texture) -> Vec<(i16, Heard)> {
    let mut found: Vec<(i16, Heard)> = Vec::new();
    let mut watch = |pitch: Pitch, strong: bool| {
        let heard = match slot.chord.has_class(pitch.name().class()) {
            true => Heard::OfChord,
            false if strong => Heard::Foreign,
            false => Heard::Passing,
        };
        let entry = (pitch.midi().narrow::<i16>(), heard);
        if !found.contains(&entry) {
            found.push(entry);
        }
    };
    for (at, beat) in beats_from(form, slot.start, slot.end) {
        let Some(outer) = texture.outer(at) else { continue };
        let begins = at == slot.start;
        let strong = begins || weight(form, at) >= 2;
        // A short note between two steps passes on a strong beat, too, while its chord is held.
        let bears = |pitch: Pitch| strong && (begins || !texture.is_between_steps(at, pitch, beat));
        if strong || texture.top_note(at).is_some_and(|note| note.length() >= beat) {
            watch(outer.high, bears(outer.high));
        }
        if strong {
            watch(outer.low, bears(outer.low));
        }
    }
    found
}

/// The outer notes just before a time; `chord` is the one that holds then.
fn before(
    form: &Form,
    time: Time,
    chord: Option<&Chord>,
    texture: &Texture,
) -> Option<[(i16, bool); 2]> {
    let outer = texture.outer_before(time)?;
    let bears = |pitch: Pitch| {
        let struck = texture.struck_before(time, pitch).is_some_and(|at| weight(form, at) >= 1);
        struck || chord.is_some_and(|chord| chord.has_class(pitch.name().class()))
    };
    Some([outer.low, outer.high].map(|pitch| (pitch.midi().narrow::<i16>(), bears(pitch))))
}

fn classes(form: &Form, slot: &Slot, texture: &Texture) -> u16 {
    let mut classes = 0;
    for (at, beat) in beats_from(form, slot.start, slot.end) {
        let strong = at == slot.start || weight(form, at) >= 2;
        for note in texture.sounding(at).filter(|note| strong || note.length() >= beat) {
            for pitch in note.sound().pitches() {
                classes |= 1 << pitch.midi().rem_euclid(12);
            }
        }
    }
    classes
}

/// What others sound at a slot beside one choir.
pub(super) struct Others {
    held: Vec<Held>,
    /// How many are of the choir.
    of_choir: usize,
    /// Their heights and that of the bass, as a set of bits.
    heights: u128,
}

impl Others {
    pub(super) fn new(choir: Choir, held: impl Iterator<Item = Held>, ear: &Ear) -> Others {
        let held: Vec<Held> = held.filter(|(_, height)| *height != REST).collect();
        let bass = ear.outer.filter(|_| ear.has_bass).map(|(low, _)| low);
        let bit = |height: i16| u32::try_from(height).ok().and_then(|at| 1u128.checked_shl(at));
        let all = held.iter().map(|(_, height)| *height).chain(bass).filter_map(bit);
        let heights = all.fold(0, |all, bit| all | bit);
        let of_choir = held.iter().filter(|(other, _)| *other == choir).count();
        Others { held, of_choir, heights }
    }

    pub(super) fn sounding(&self) -> &[Held] {
        &self.held
    }

    /// The nearest heights below and above one.
    fn beside(&self, height: i16) -> [Option<i16>; 2] {
        let Some(at) = u32::try_from(height).ok().filter(|at| *at < 127) else { return [None; 2] };
        let below = self.heights & ((1 << at) - 1);
        let above = self.heights >> (at + 1);
        let bits = |count: u32| count.narrow::<i16>();
        [
            (below != 0).then(|| 127 - bits(below.leading_zeros())),
            (above != 0).then(|| height + 1 + bits(above.trailing_zeros())),
        ]
    }
}

/// The seventh of a chord, as a set of bits, if the top voice comes to it at last and so takes it to its
/// resolution: nobody else misses it, who could only go along or leave it hanging.
fn seventh_at_last(slot: &Slot, texture: &Texture) -> u16 {
    let top = texture.outer_before(slot.end).map(|outer| outer.high.name().class());
    let members = slot.chord.members();
    let above = members.iter().skip(3).map(|member| member.class());
    top.into_iter()
        .filter(|top| above.clone().any(|class| class == *top))
        .fold(0, |_, top| 1 << top)
}

/// What one held note costs against what else is heard; `players` of his choir are worked out with
/// him.
pub(super) fn against(
    seat: &Seat,
    height: i16,
    wants: &Wants,
    ear: &Ear,
    others: &Others,
    players: usize,
) -> u32 {
    let mut cost = 0;
    for &(voice, heard) in &ear.near().watched {
        if matches!((voice - height).abs() % 12, 1 | 11) {
            let rub = heard.rub();
            cost += if (voice - height).abs() <= 13 { rub * 2 } else { rub };
        }
    }
    let same = |voice: i16| (voice - height) % 12 == 0;
    let ground = seat.place == Duty::Ground;
    let bass = height.rem_euclid(12) == i16::from(if ground { ear.ground } else { ear.bass });
    // Who goes with the bass doubles it, whatever it has.
    let leans = ear.leans_on_bass(seat);
    let with_bass = ground && bass || leans && ear.is_with_bass(height);
    let tender = wants.tender(height) && !with_bass;
    // So many players of a choir are a whole chord by themselves, as those of a tutti are.
    let whole = players.max(1 + others.of_choir) >= cost::COMPLETE;
    let doubles = |unison: bool| match unison {
        false if ear.tutti => OCTAVE_OF_TUTTI,
        false if whole => OCTAVE_OF_CHOIR,
        true if ear.full => UNISON_OF_FULL,
        _ => DOUBLES_TENDER,
    };
    let mut twice = 0;
    for &(choir, other) in others.held.iter().filter(|(_, other)| same(*other)) {
        let unison = other == height;
        if choir == seat.choir {
            cost += if unison { UNISON } else { 0 };
            twice = match tender {
                true => cost::TENDER_TWICE,
                false if wants.tender(height) && !ground => WITH_BASS_TWICE,
                false => twice,
            };
        } else if tender {
            twice = doubles(unison).max(twice);
        } else {
            cost += if unison { 3 } else { 0 };
        }
    }
    if wants.leading(height) && !with_bass && ear.classes >> height.rem_euclid(12) & 1 == 1 {
        twice = doubles(ear.near().voices.contains(&height)).max(twice);
        // His own family has it already.
        if ear.leading_of(seat.choir) >> height.rem_euclid(12) & 1 == 1
            && !ear.near().voices.contains(&height)
        {
            twice = cost::TENDER_TWICE;
        }
    }
    if ear.seventh >> height.rem_euclid(12) & 1 == 1 && !with_bass {
        cost += TAKEN_TO_ITS_GOAL;
    }
    cost += twice + mud(height, others);
    if ground && !bass {
        cost += NOT_THE_BASS;
    } else if leans && !bass {
        cost += LOW_NOT_THE_BASS;
    }
    let Some((low, high)) = ear.outer else { return cost };
    if ear.has_bass && seat.is_tenor() {
        let reach = (low + CLOSE_TO_THE_BASS).max(TENOR);
        cost += HOLE * u32::from((height - reach).max(0).unsigned_abs());
    }
    if !with_bass && !ground && ear.near().voices.contains(&height) {
        cost += 15;
    }
    if same(high) || (same(low) && !ground && !with_bass) {
        let class = usize::from(height.rem_euclid(12).unsigned_abs());
        cost += match (tender, ear.tutti) {
            // A seventh or a suspended fourth would have to fall in octaves with the voice.
            (true, true) if wants.tendencies[class] == Tendency::Down => DOUBLES_FALLING,
            (true, false) if !whole => 60,
            (true, _) => 20,
            (false, false) => 12 + wants.doubles_voice(height),
            (false, true) => 4,
        };
    }
    if height > high {
        cost += 60 + u32::from((height - high).unsigned_abs());
    }
    if !ear.has_bass {
        return cost;
    }
    if ground && height > low {
        // A bass instrument never stands above the bass.
        cost += 100 + u32::from((height - low).unsigned_abs());
    } else if height < low && !ground {
        cost += if bass { 25 } else { BELOW_THE_BASS };
    }
    cost
}

/// What it costs to stand too close to the nearest note below and above: of the bass and of all
/// who hold notes.
fn mud(height: i16, others: &Others) -> u32 {
    /// Above this nothing is muddy.
    const CLEAR: i16 = 64;
    if height > CLEAR {
        return 0;
    }
    let [below, above] = others.beside(height);
    let pairs = [below.map(|below| (below, height)), above.map(|above| (height, above))];
    let muddy = pairs.into_iter().flatten().filter(|(low, high)| cost::muddy(*low, *high));
    muddy.map(|(low, high)| if high - low <= 2 { MUDDY_SECOND } else { MUDDY }).sum()
}
