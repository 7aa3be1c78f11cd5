//! One note, chord or rest by itself: heads on their sides of the stem, accidentals in columns,
//! dots, and how much room it needs to the left and right. `x` counts from the left edge of a head
//! that stands on its usual side, `y` downwards from the middle line.

use ripieno_compiler::instruments::Clef;
use ripieno_compiler::music::{Pitch, Time};
use ripieno_compiler::narrow::Narrow;
use ripieno_compiler::resolve::Mark;
use ripieno_writers::notate::{Beam, ElementKind, Grace, NoteValue, StaffNote, Stem};

mod accidentals;

pub(super) use accidentals::{
    IN_PARENTHESES, PARENTHESIS, alter, gap_before, lay_accidentals, restated, shorten_ledgers,
};

use super::measures::{
    DOT_GAP, LEDGER_REACH, SHORTEST_FLAGGED, SHORTEST_STEM, SMALL, STEM, STEM_LENGTH, STEM_PER_FLAG,
};
use crate::glyphs::Glyph;
use crate::page::Origin;
use crate::sheet::{BarVoice, Event, Side, StaffBar};
use crate::text::{Face, Run, shape};

/// A head in its chord.
#[derive(Clone, Debug)]
pub(super) struct Head {
    /// Steps above the middle line.
    pub place: i32,
    pub x: f64,
    pub glyph: Glyph,
    /// Its accidental and where that stands.
    pub accidental: Option<(Glyph, f64)>,
    /// Does it stand in parentheses?
    pub courtesy: bool,
    /// Index among the heads of the note.
    pub index: u8,
}

/// What an event looks like.
#[derive(Clone, Debug)]
pub(super) enum Look {
    Note { heads: Vec<Head>, up: bool, stemmed: bool },
    Rest { glyph: Glyph, y: f64, whole_bar: bool },
}

/// A note, chord or rest.
#[derive(Clone, Debug)]
pub(super) struct Chord<'a> {
    pub event: &'a Event,
    pub look: Look,
    /// Size: 1, or less for grace and cue notes.
    pub scale: f64,
    pub left: f64,
    pub right: f64,
    /// Places of the dots: x, steps above the middle line.
    pub dots: Vec<(f64, i32)>,
    /// Grace notes before it, with their places (negative).
    pub graces: Vec<(f64, Chord<'a>)>,
    /// A clef that stands before it, with its place.
    pub clef: Option<(Clef, f64)>,
    /// The width of the arpeggio sign is reserved here.
    pub spread: Option<f64>,
    /// Does one such sign go over both staves of the player?
    pub joined: bool,
    /// Is it the lower one of them, so that the sign reaches above it?
    pub under_spread: bool,
    /// Is it of one of two voices?
    pub side: Option<Side>,
    /// How far it stands beside its column, because of another voice.
    pub shift: f64,
    /// How far heads and accidentals reach to the left, without what stands before them.
    pub signed: f64,
    /// The syllables that begin with it.
    pub sung: Vec<Sung>,
}

/// The room of a syllable along the line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sung {
    pub verse: u8,
    /// How far it reaches before its note, and behind the left edge of that, with the hyphen or the air
    /// behind it.
    pub left: f64,
    pub right: f64,
}

impl Chord<'_> {
    pub(super) fn origin(&self) -> Origin {
        self.event.origin
    }

    pub(super) fn at(&self) -> Time {
        self.event.element.at
    }

    pub(super) fn note(&self) -> Option<&StaffNote> {
        match &self.event.element.kind {
            ElementKind::Note(note) => Some(note),
            _ => None,
        }
    }

    pub(super) fn heads(&self) -> &[Head] {
        match &self.look {
            Look::Note { heads, .. } => heads,
            Look::Rest { .. } => &[],
        }
    }

    pub(super) fn is_up(&self) -> bool {
        matches!(self.look, Look::Note { up: true, .. })
    }

    pub(super) fn is_stemmed(&self) -> bool {
        matches!(self.look, Look::Note { stemmed: true, .. })
    }

    pub(super) fn is_beamed(&self) -> bool {
        self.event
            .element
            .beams
            .iter()
            .any(|beam| matches!(beam, Beam::Begins | Beam::Continues | Beam::Ends))
    }

    /// Lowest and highest place of its heads.
    pub(super) fn span(&self) -> (i32, i32) {
        let places = self.heads().iter().map(|head| head.place);
        (places.clone().min().unwrap_or(0), places.max().unwrap_or(0))
    }

    /// The half-spaces that heads take, with the accidentals before them: lowest and highest step.
    pub(super) fn band(&self) -> Option<(i32, i32)> {
        let of = |head: &Head| {
            let (down, up) = if head.accidental.is_some() { (3, 3) } else { (1, 1) };
            (head.place - down, head.place + up)
        };
        let own = self.heads().iter().map(of);
        let graces = self.graces.iter().filter_map(|(_, grace)| grace.band());
        own.chain(graces).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }

    /// The same with the dots and lines at the heads of a cue, which stand away from the stem on either side in
    /// the next free space.
    pub(super) fn marked_band(&self) -> Option<(i32, i32)> {
        const STEPS: i32 = 2;
        let (low, high) = self.band()?;
        let marks = [Mark::Staccato, Mark::Tenuto];
        let hung = |note: &StaffNote| marks.iter().filter(|mark| note.marks.has(**mark)).count();
        let cue = self.note().filter(|_| self.event.element.cue);
        let room = STEPS * cue.map_or(0, hung).narrow::<i32>();
        Some(if self.is_stemmed() && self.is_up() {
            (low - room, high)
        } else {
            (low, high + room)
        })
    }

    /// The half-spaces that it takes beside the notes of another voice: those of a rest too, unless it is that of
    /// a bar.
    pub(super) fn taken(&self) -> Option<(i32, i32)> {
        match self.look {
            Look::Rest { glyph, y, whole_bar: false } => {
                let (bounds, scale) = (glyph.bounds(), self.scale);
                let low = 2.0 * (bounds.y0 * scale - y);
                let high = 2.0 * (bounds.y1 * scale - y);
                Some((low.ceil().narrow::<i32>(), high.floor().narrow::<i32>()))
            }
            _ => self.band(),
        }
    }

    /// Heads and accidentals reach farther to the left: what stands before them gives way.
    pub(super) fn reach_left(&mut self, reach: f64) {
        let by = reach - self.signed;
        if by <= 0.0 {
            return;
        }
        self.signed = reach;
        self.left += by;
        self.graces.iter_mut().for_each(|(x, _)| *x -= by);
        if let Some((_, x)) = &mut self.clef {
            *x -= by;
        }
        if let Some(x) = &mut self.spread {
            *x -= by;
        }
    }

    /// Left edge of the stem's middle line.
    pub(super) fn stem_x(&self) -> f64 {
        let width = Glyph::NoteheadBlack.width() * self.scale;
        if self.is_up() { width - STEM / 2.0 } else { STEM / 2.0 }
    }

    /// How far the strokes of a tremolo reach to the right of it.
    pub(super) fn struck(&self) -> Option<f64> {
        let strokes = strokes(self.note()?, self.event.element.value);
        // Without a stem they lie over a head that is wider than they are.
        (strokes > 0 && self.is_stemmed()).then(|| self.stem_x() + half_stroke() * self.scale)
    }

    /// Flags or beams of its value.
    pub(super) fn flags(&self) -> usize {
        usize::try_from(self.event.element.value.log2 - 2).unwrap_or(0).min(5)
    }

    /// Where its stem ends if it is not beamed.
    pub(super) fn stem_end(&self) -> f64 {
        let (low, high) = self.span();
        let more = self.flags().saturating_sub(2) as f64 * STEM_PER_FLAG;
        let strokes = self.note().map_or(0, |note| strokes(note, self.event.element.value));
        let room = if strokes > 1 && self.flags() > 0 { 0.75 } else { 0.0 };
        let length = (STEM_LENGTH + more + room) * self.scale.sqrt().max(0.75);
        // A flag needs the length of its stem, or it grows into the head.
        let flagged = self.flags() > 0 && !self.is_beamed();
        let spare = STEM_LENGTH - if flagged { SHORTEST_FLAGGED } else { SHORTEST_STEM };
        if self.is_up() {
            let y = -f64::from(high) / 2.0;
            // A stem that points away from the staff is shorter the farther out it begins.
            let outside = ((-y - 0.5).max(0.0) * 0.5).min(spare);
            let end = y - length + outside;
            if self.scale < 1.0 { end } else { end.min(0.0) }
        } else {
            let y = -f64::from(low) / 2.0;
            let outside = ((y - 0.5).max(0.0) * 0.5).min(spare);
            let end = y + length - outside;
            if self.scale < 1.0 { end } else { end.max(0.0) }
        }
    }
}

/// How far a stroke of a tremolo reaches to either side of the stem.
pub(super) fn half_stroke() -> f64 {
    Glyph::Tremolo1.bounds().x1
}

/// Strokes through the stem beside flags and beams.
pub(super) fn strokes(note: &StaffNote, value: NoteValue) -> usize {
    let flags = usize::try_from(value.log2 - 2).unwrap_or(0);
    usize::from(note.tremolo).saturating_sub(flags)
}

/// Steps of a written pitch above the middle line.
pub(super) fn place(pitch: Pitch, clef: Clef) -> i32 {
    let step = 7 * i32::from(pitch.octave) + pitch.letter.step();
    let middle = match clef {
        Clef::Treble | Clef::TrebleOctave => 34,
        Clef::Alto => 28,
        Clef::Tenor => 26,
        Clef::Bass => 22,
        Clef::Percussion => step,
    };
    step - middle
}

/// The sign of a clef and the place of its origin.
pub(super) fn clef_sign(clef: Clef) -> (Glyph, i32) {
    match clef {
        Clef::Treble => (Glyph::GClef, -2),
        Clef::TrebleOctave => (Glyph::GClef8vb, -2),
        Clef::Alto => (Glyph::CClef, 0),
        Clef::Tenor => (Glyph::CClef, 2),
        Clef::Bass => (Glyph::FClef, 2),
        Clef::Percussion => (Glyph::UnpitchedPercussionClef1, 0),
    }
}

pub(super) fn accidental_sign(alter: i8) -> Glyph {
    match alter {
        i8::MIN..=-2 => Glyph::AccidentalDoubleFlat,
        -1 => Glyph::AccidentalFlat,
        0 => Glyph::AccidentalNatural,
        1 => Glyph::AccidentalSharp,
        2.. => Glyph::AccidentalDoubleSharp,
    }
}

fn head_sign(value: NoteValue) -> Glyph {
    match value.log2 {
        i8::MIN..=-1 => Glyph::NoteheadDoubleWhole,
        0 => Glyph::NoteheadWhole,
        1 => Glyph::NoteheadHalf,
        2.. => Glyph::NoteheadBlack,
    }
}

fn rest_sign(value: NoteValue) -> Glyph {
    match value.log2 {
        i8::MIN..=-1 => Glyph::RestDoubleWhole,
        0 => Glyph::RestWhole,
        1 => Glyph::RestHalf,
        2 => Glyph::RestQuarter,
        3 => Glyph::Rest8th,
        4 => Glyph::Rest16th,
        5 => Glyph::Rest32nd,
        6 => Glyph::Rest64th,
        7.. => Glyph::Rest128th,
    }
}

/// The notes and rests of one voice of one bar, grace notes with the note they stand before.
pub(super) fn chords<'a>(bar: &'a StaffBar, voice: &'a BarVoice) -> Vec<Chord<'a>> {
    let mut chords: Vec<Chord> = Vec::with_capacity(voice.events.len());
    let mut graces: Vec<Chord> = Vec::new();
    let mut clefs = bar.clefs.iter().filter(|(at, _)| *at > Time::ZERO).peekable();
    let mut clef = clef_at(bar, Time::ZERO);
    for event in &voice.events {
        let mut changed = None;
        while let Some((_, new)) = clefs.next_if(|(at, _)| *at <= event.element.at) {
            clef = *new;
            changed = Some(*new);
        }
        let mut chord = chord(event, voice.side, clef, bar.lines);
        if let Some(changed) = changed {
            let width = clef_sign(changed).0.width() * super::measures::SMALL_CLEF;
            chord.left += width + 0.7;
            chord.clef = Some((changed, -chord.left + 0.1));
        }
        if chord.note().is_some_and(|note| note.grace.is_some()) {
            graces.push(chord);
            continue;
        }
        place_graces(&mut chord, std::mem::take(&mut graces));
        chords.push(chord);
    }
    chords
}

/// The clef in force at a time of a bar.
pub(super) fn clef_at(bar: &StaffBar, at: Time) -> Clef {
    bar.clefs.iter().take_while(|(time, _)| *time <= at).last().map_or(bar.clef, |(_, clef)| *clef)
}

/// Grace notes stand before the accidentals of their note.
fn place_graces<'a>(chord: &mut Chord<'a>, graces: Vec<Chord<'a>>) {
    let mut x = -chord.left;
    for grace in graces.into_iter().rev() {
        let at = x - 0.35 - grace.right;
        x = at - grace.left;
        chord.graces.insert(0, (at, grace));
    }
    chord.left = -x;
}

fn chord(event: &Event, side: Option<Side>, clef: Clef, lines: u8) -> Chord<'_> {
    let value = event.element.value;
    let mut chord = Chord {
        event,
        look: Look::Rest { glyph: rest_sign(value), y: 0.0, whole_bar: false },
        scale: 1.0,
        left: 0.0,
        right: 0.0,
        dots: Vec::new(),
        graces: Vec::new(),
        clef: None,
        spread: None,
        joined: false,
        under_spread: false,
        side,
        shift: 0.0,
        signed: 0.0,
        sung: Vec::new(),
    };
    // Rests of two voices lie apart; those of a cue in the staff, over the player's own.
    let aside = match side {
        Some(_) if event.element.cue => 0.0,
        Some(Side::Upper) => -2.0,
        Some(Side::Lower) => 2.0,
        None => 0.0,
    };
    match &event.element.kind {
        ElementKind::Note(note) => {
            if note.grace.is_some() || event.element.cue {
                chord.scale = SMALL;
            }
            if note.grace.is_some() && event.element.cue {
                chord.scale *= SMALL_IN_CUE;
            }
            let up = match (event.element.stem, side) {
                (Stem::Up, _) | (Stem::None, Some(Side::Upper)) => true,
                (Stem::Down, _) | (Stem::None, Some(Side::Lower)) => false,
                (Stem::None, None) => {
                    let places = note.heads.iter().map(|head| place(head.pitch, clef));
                    let (low, high) = (places.clone().min(), places.max());
                    lines == 1 || -low.unwrap_or(0) > high.unwrap_or(0)
                }
            };
            lay_heads(&mut chord, note, up, clef);
            lay_lyrics(&mut chord, note);
        }
        ElementKind::BarRest { .. } => {
            let y = aside + if lines == 5 { -1.0 } else { 0.0 };
            chord.look = Look::Rest { glyph: Glyph::RestWhole, y, whole_bar: true };
        }
        ElementKind::Rest { .. } => {
            let glyph = rest_sign(value);
            let y = aside + if glyph == Glyph::RestWhole && lines == 5 { -1.0 } else { 0.0 };
            if event.element.cue {
                chord.scale = SMALL;
            }
            chord.look = Look::Rest { glyph, y, whole_bar: false };
            chord.right = glyph.width() * chord.scale;
            chord.left = -glyph.bounds().x0.min(0.0) * chord.scale;
            let place = 1 - (2.0 * aside).narrow::<i32>();
            lay_dots(&mut chord, &[place], value.dots, None);
        }
    }
    chord
}

/// Syllables need room around the head, and for the hyphen behind them; small ones overhang a
/// little. One that is held begins with its note and may end behind notes that have none.
fn lay_lyrics(chord: &mut Chord, note: &StaffNote) {
    let middle = 0.6 * chord.scale;
    for syllable in &note.lyrics {
        let width = shape(&syllable.text, Face::Roman, LYRIC).width;
        let half = width / 2.0;
        let behind = if syllable.goes_on { HYPHENED } else { BETWEEN_SYLLABLES };
        let number = if note.verses_numbered { verse(syllable.verse).width } else { 0.0 };
        chord.left = chord.left.max(half + number - middle - 0.1);
        chord.right = chord.right.max(middle + half + behind);
        let (before, after) =
            if syllable.melisma { (0.0, width) } else { (half - middle, half + middle) };
        let (left, right) = (before + number, after + behind);
        chord.sung.push(Sung { verse: syllable.verse, left, right });
    }
}

/// Air between a ledger line and the sign of a broken chord beside it, without which the line seems to grow out of
/// the sign. Our heuristic.
const BESIDE_LEDGER: f64 = 0.1;

/// Room between a syllable and the next one of its word, for the hyphen; and the least between words. Our
/// heuristic.
pub(super) const HYPHENED: f64 = 1.2;
pub(super) const BETWEEN_SYLLABLES: f64 = 0.25;

/// Room for the comma of a breath behind a note.
pub(super) const BREATH: f64 = 1.2;

/// The number of a verse, before its first syllable.
pub(super) fn verse(number: u8) -> Run {
    shape(&format!("{number}.\u{2002}"), Face::Roman, LYRIC)
}

/// Size of the words of singers.
pub(super) const LYRIC: f64 = 2.1;

/// Dots stand in spaces: that of a head on a line above it, in the lower of two voices below (Gould,
/// chapter 1, from memory).
fn lay_dots(chord: &mut Chord, places: &[i32], dots: u8, side: Option<Side>) {
    if dots == 0 {
        return;
    }
    let first = chord.right + DOT_GAP * chord.scale.max(0.8);
    let mut taken: Vec<i32> = Vec::new();
    for &place in places {
        // In the space; of two heads that want one space, the lower one goes below.
        let spaces = match (place % 2 == 0, side) {
            (true, Some(Side::Lower)) => [place - 1, place + 1],
            (true, _) => [place + 1, place - 1],
            (false, _) => [place, place - 2],
        };
        let free = spaces.into_iter().find(|space| !taken.contains(space));
        let Some(space) = free else { continue };
        taken.push(space);
        for dot in 0..dots {
            chord.dots.push((first + f64::from(dot) * (DOT_GAP + 0.16), space));
        }
    }
    let last = chord.dots.iter().map(|dot| dot.0).fold(0.0, f64::max);
    chord.right = last + 0.45 * chord.scale;
}

fn lay_heads(chord: &mut Chord, note: &StaffNote, up: bool, clef: Clef) {
    let value = chord.event.element.value;
    let scale = chord.scale;
    let glyph = head_sign(value);
    let stemmed = value.log2 >= 1;
    let mut heads: Vec<Head> = note
        .heads
        .iter()
        .enumerate()
        .map(|(index, head)| Head {
            place: place(head.pitch, clef),
            x: 0.0,
            glyph: if note.is_touched(index) { Glyph::NoteheadDiamondHalf } else { glyph },
            accidental: head.accidental_shown.then(|| (accidental_sign(head.pitch.alter), 0.0)),
            courtesy: head.courtesy,
            index: index.narrow::<u8>(),
        })
        .collect();
    if heads.is_empty() {
        heads.push(Head { place: 0, x: 0.0, glyph, accidental: None, courtesy: false, index: 0 });
    }
    heads.sort_by_key(|head| head.place);
    // Of two heads a second apart the farther one from the stem's foot goes to the other side; where
    // a step stands there twice, with two accidentals, one more goes beside these.
    let width = glyph.width() * scale;
    let order: Vec<usize> =
        if up || !stemmed { (0..heads.len()).collect() } else { (0..heads.len()).rev().collect() };
    let step = if up || !stemmed { width - STEM } else { STEM - width };
    let mut columns: Vec<Vec<i32>> = Vec::new();
    for n in order {
        let place = heads[n].place;
        let is_free = |column: &Vec<i32>| column.iter().all(|other| (place - other).abs() > 1);
        let column = columns.iter().position(is_free).unwrap_or(columns.len());
        if column == columns.len() {
            columns.push(Vec::new());
        }
        columns[column].push(place);
        heads[n].x = step * column as f64;
        // A diamond is narrower: its corner meets the stem, or it stands in the middle of the column.
        let spare = width - heads[n].glyph.width() * scale;
        heads[n].x += match (stemmed, up) {
            (true, true) => spare,
            (true, false) => 0.0,
            (false, _) => spare / 2.0,
        };
    }
    let right = |head: &Head| head.x + head.glyph.width() * scale;
    chord.right = heads.iter().map(right).fold(0.0, f64::max);
    chord.left = heads.iter().map(|head| -head.x).fold(0.0, f64::max);
    let own = lay_accidentals(&mut [(&mut heads, 0.0, scale)]);
    chord.left = chord.left.max(own);
    let outside = heads.iter().any(|head| head.place.abs() >= 6);
    let is_broken = note.marks.has(ripieno_compiler::resolve::Mark::Arpeggio);
    if is_broken && outside {
        chord.left = chord.left.max(LEDGER_REACH * scale + BESIDE_LEDGER);
    }
    chord.signed = chord.left;
    let places: Vec<i32> = heads.iter().rev().map(|head| head.place).collect();
    if is_broken {
        chord.left += 0.75;
        chord.spread = Some(-chord.left);
        chord.left += 0.1;
    }
    chord.look = Look::Note { heads, up, stemmed };
    lay_dots(chord, &places, value.dots, chord.side);
    if note.tie_to && value.dots > 0 {
        chord.right += TIE_BEHIND_DOTS * scale;
    }
    if outside {
        chord.left = chord.left.max(LEDGER_REACH * scale);
        chord.right = chord.right.max(width + LEDGER_REACH * scale);
    }
    if stemmed && up && chord.flags() > 0 && !chord.is_beamed() {
        chord.right = chord.right.max(width + FLAG * scale);
    }
    if tied_behind_flag(chord) {
        let cue = chord.event.element.cue;
        let begins = if up { width } else { 0.0 } + FLAG * scale;
        let room = if cue { TIE_BEHIND_SMALL_FLAG } else { TIE_BEHIND_DOTS * scale };
        chord.right = chord.right.max(begins + room);
    }
    if note.paired.is_some_and(|two| two.starts) {
        chord.right += if stemmed { TREMOLO / 2.0 } else { TREMOLO };
    }
    if note.marks.has(ripieno_compiler::resolve::Mark::Breath) {
        chord.right += BREATH;
    }
    if matches!(note.grace, Some(Grace::Crushed)) {
        chord.left = chord.left.max(0.25);
    }
}

/// Grace notes within a cue are smaller still, lest they be counted with its notes (our heuristic).
const SMALL_IN_CUE: f64 = 0.8;

/// Room for the strokes between two notes without stems; with stems half of it is enough.
pub(super) const TREMOLO: f64 = 1.6;

/// Room of a tie behind dots, so that it need not begin over them: at the end of a line it would be read as a
/// fermata. Our heuristic.
const TIE_BEHIND_DOTS: f64 = 1.1;

/// Room of a tie behind the flag of a cue: its notes are small, but the tie must be seen all the same. Our heuristic.
const TIE_BEHIND_SMALL_FLAG: f64 = 1.5;

/// How far a flag goes to the right of its stem.
pub(super) const FLAG: f64 = 0.95;

/// Has a note of one of two voices a flag on the side of its tie, which would run through that: it begins
/// behind it? (Common practice: the voices keep their sides.)
pub(super) fn tied_behind_flag(chord: &Chord) -> bool {
    let flagged = chord.is_stemmed() && chord.flags() > 0 && !chord.is_beamed();
    let same = chord.side.is_some_and(|side| (side == Side::Upper) == chord.is_up());
    let tied = chord.note().is_some_and(|note| note.tie_to && note.grace.is_none());
    flagged && same && tied
}
