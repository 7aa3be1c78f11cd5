//! A bass with its chords: what a continuo player makes of figures.
//!
//! The left hand plays the bass as it is written, and strikes a long note of it again with each
//! chord that changes over it, since plucked and struck strings do not sound on (common practice).
//! The right hand strikes the chord in three notes
//! where it changes and on strong beats, by the rules of four parts: bass and right hand have the
//! chord complete, no leading note and no seventh twice, no fifths and octaves in parallel, leading
//! notes up and sevenths down, least movement, the hand close. (The rules from memory, after C. P. E.
//! Bach, Versuch, part 2, 1762, chapters 1 to 3; the weights are our heuristic.)
//!
//! From the pianos of the nineteenth century on, hands are fuller: in forte the bass goes in octaves
//! and the right hand closes its chord with the octave of its lowest note, where that may be
//! doubled. (Common practice; the year is our heuristic.)

use smallvec::SmallVec;

use super::super::search::{Choice, cheapest};
use super::super::supply::{Supplies, Supply};
use super::super::texture::Texture;
use super::super::{DerivedPart, Request, chord_at, findings};
use super::breath::Loudness;
use super::cost::leading_class;
use crate::arrange::SoundingNote;
use crate::diagnostics::{Diagnostic, Span};
use crate::music::{Chord, Key, Pitch, Time};
use crate::resolve::{Pitches, Sound};

/// The right hand lies between these notes and likes its top about here.
const LOWEST: i32 = 55;
const HIGHEST: i32 = 79;
const TOP: i32 = 72;
/// No hand plays wider than this.
const SPAN: i32 = 12;

/// What faults cost, beside the semitones that the hand moves.
const PARALLEL: u32 = 60;
const UNRESOLVED: u32 = 25;
const DOUBLED_THIRD: u32 = 5;
const WITHOUT_FIFTH: u32 = 8;
const ABOVE_TUNE: u32 = 6;
/// For each semitone of a gap beyond a fourth between two fingers, and for an octave in the hand.
const WIDE: u32 = 2;
const OCTAVE: u32 = 6;

/// The year from which hands are full, the degree of loudness from which they are (forte), and the
/// lowest note of an octave in the left hand.
const FULL_HANDS: i32 = 1830;
const LOUD: u8 = 5;
const DEEPEST: i32 = 28;

/// When something is struck.
struct Stroke {
    start: Time,
    end: Time,
    /// The bass.
    bass: SmallVec<[Pitch; 4]>,
    /// The bass that sounds under the chord.
    under: Option<Pitch>,
    chord: Option<(Chord, Key)>,
    span: Span,
}

type Hand = SmallVec<[Pitch; 3]>;

/// The notes of `realises`, one entry for each player of the line.
pub(in crate::arrange) fn realise(
    request: &Request,
    voice: usize,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<DerivedPart> {
    let texture = Texture::of(request);
    let bars = request.bars();
    if !bars.is_empty() && request.harmony.is_empty() {
        diagnostics.push(findings::no_harmony(request, &bars));
    }
    let parts = 0..request.parts.len();
    parts
        .map(|player| DerivedPart {
            notes: of_player(request, player, voice, &texture),
            tuplets: Vec::new(),
        })
        .collect()
}

fn of_player(
    request: &Request,
    player: usize,
    voice: usize,
    texture: &Texture,
) -> Vec<SoundingNote> {
    let supplies = Supplies::new(request.parts[player], request.era);
    // Who cannot sound a chord plays the bass alone.
    let alone = request.instrument(player).voices < 4;
    let strokes = strokes(request, player, voice, alone);
    let struck: Vec<&Stroke> = strokes.iter().filter(|stroke| stroke.chord.is_some()).collect();
    let stages: Vec<Vec<Choice<Hand>>> = struck
        .iter()
        .map(|stroke| match stroke.chord {
            Some((chord, key)) if !alone => {
                let tune = texture.outer(stroke.start).map(|outer| outer.high.midi());
                hands(&chord, key, stroke.under, tune, supplies.at(stroke.start))
            }
            _ => vec![Choice { state: Hand::new(), cost: 0 }],
        })
        .collect();
    let way = cheapest(&stages, |stage, a, b, _| {
        let (before, now) = (struck[stage - 1], struck[stage]);
        Some(step((before, a), (now, b)))
    });
    let mut hands: Vec<&Hand> = Vec::new();
    if let Some((_, way)) = &way {
        hands.extend(way.iter().zip(&stages).map(|(choice, stage)| &stage[*choice].state));
    }
    let mut hands = hands.into_iter();
    let loudness = Loudness::new(request);
    let full = |at: Time| !alone && request.era >= FULL_HANDS && loudness.at(at) >= LOUD;
    let mut notes = Vec::with_capacity(strokes.len());
    for stroke in &strokes {
        let mut pitches: Pitches = stroke.bass.iter().copied().collect();
        let supply = supplies.at(stroke.start);
        if full(stroke.start)
            && let [bass] = stroke.bass[..]
        {
            let octave = bass.octaves_up(-1);
            if octave.midi() >= DEEPEST && supply.has(octave) {
                pitches.push(octave);
            }
        }
        if let Some((chord, key)) = &stroke.chord
            && let Some(hand) = hands.next()
        {
            pitches.extend(hand.iter().copied());
            if full(stroke.start) {
                pitches.extend(closing(hand, chord, *key, supply));
            }
        }
        pitches.sort_unstable();
        pitches.dedup();
        let Some(&lowest) = pitches.first() else { continue };
        let mut note = request.note(stroke.start, stroke.end, Some(lowest), stroke.span);
        note.sound = Sound::Pitches(pitches);
        notes.push(note);
    }
    notes
}

/// The octave of the lowest note of a close hand, where that may be doubled and is not there yet.
fn closing(hand: &Hand, chord: &Chord, key: Key, supply: &Supply) -> Option<Pitch> {
    let lowest = *hand.first()?;
    let class = lowest.name().class();
    let member = chord.members().iter().position(|member| member.class() == class)?;
    let tender = leading_class(chord, key) == Some(class) || member > 2;
    let octave = lowest.octaves_up(1);
    let fits = !tender && !hand.contains(&octave) && octave.midi() <= HIGHEST + 3;
    (fits && supply.has(octave)).then_some(octave)
}

/// The notes of the bass, and the chords over them where they change and on strong beats.
fn strokes(request: &Request, player: usize, voice: usize, alone: bool) -> Vec<Stroke> {
    let form = &request.piece.form;
    let music = &request.piece.voices[voice].music;
    let mut strokes: Vec<Stroke> = Vec::new();
    let mut struck: Option<Time> = None;
    for bars in request.own_bars(player) {
        let (from, to) = form.times_of(bars);
        for note in &music.notes {
            let end = note.start + note.length;
            if end <= from || note.start >= to {
                continue;
            }
            let mut at = note.start.max(from);
            let end = end.min(to);
            let bass: SmallVec<[Pitch; 4]> = note.sound.pitches().iter().copied().collect();
            let under = bass.first().copied();
            while at < end {
                let event = chord_at(request.harmony, at);
                let until = match event {
                    _ if alone => end,
                    Some(event) => (event.start + event.length).min(end),
                    None => {
                        let starts = request.harmony.iter().map(|event| event.start);
                        starts.filter(|start| *start > at).min().map_or(end, |next| next.min(end))
                    }
                };
                let is_new = event.is_some_and(|event| struck != Some(event.start));
                let strong = form.weight(at) >= 2;
                let chord = event.filter(|_| is_new || strong);
                if let Some(event) = chord {
                    struck = Some(event.start);
                }
                strokes.push(Stroke {
                    start: at,
                    end: until,
                    bass: bass.clone(),
                    under,
                    chord: chord.map(|event| (event.chord, event.key)),
                    span: note.span,
                });
                at = until;
            }
        }
    }
    strokes
}

/// Three notes of the chord in one hand that make it complete with the bass.
fn hands(
    chord: &Chord,
    key: Key,
    bass: Option<Pitch>,
    tune: Option<i32>,
    supply: &Supply,
) -> Vec<Choice<Hand>> {
    let members = chord.members();
    let class = |index: usize| members.get(index).map(|member| member.class());
    let (third, fifth, seventh) = (class(1), class(2), class(3));
    let leading = leading_class(chord, key);
    let floor = bass.map_or(LOWEST, |bass| LOWEST.max(bass.midi() + 1));
    let mut has: Vec<Pitch> = supply.of_chord(chord);
    has.retain(|pitch| (floor..=HIGHEST).contains(&pitch.midi()));
    has.sort_by_key(|pitch| pitch.midi());
    let mut choices: Vec<Choice<Hand>> = Vec::new();
    for (low, &a) in has.iter().enumerate() {
        for (middle, &b) in has.iter().enumerate().skip(low + 1) {
            for &c in has.iter().skip(middle + 1) {
                if c.midi() - a.midi() > SPAN {
                    break;
                }
                let hand = [a, b, c];
                let sounds = |class: Option<i32>| {
                    let own = hand.iter().filter(|pitch| Some(pitch.name().class()) == class);
                    own.count() + usize::from(bass.map(|bass| bass.name().class()) == class)
                };
                let wanting = sounds(third) == 0 || seventh.is_some_and(|_| sounds(seventh) == 0);
                let twice = leading.is_some_and(|_| sounds(leading) > 1)
                    || seventh.is_some_and(|_| sounds(seventh) > 1);
                if wanting || twice {
                    continue;
                }
                let mut cost = (c.midi() - TOP).unsigned_abs();
                if fifth.is_some() && sounds(fifth) == 0 {
                    cost += WITHOUT_FIFTH;
                }
                if sounds(class(0)) == 0 {
                    cost += WITHOUT_FIFTH * 2;
                }
                if sounds(third) > 1 {
                    cost += DOUBLED_THIRD;
                }
                for pair in hand.windows(2) {
                    cost += WIDE * (pair[1].midi() - pair[0].midi() - 5).max(0).unsigned_abs();
                }
                if c.midi() - a.midi() == SPAN {
                    cost += OCTAVE;
                }
                if let Some(tune) = tune {
                    cost += ABOVE_TUNE * (c.midi() - tune).max(0).unsigned_abs();
                }
                choices.push(Choice { state: Hand::from_slice(&hand), cost });
            }
        }
    }
    if choices.is_empty() {
        choices.push(Choice { state: Hand::new(), cost: 0 });
    }
    choices
}

/// What it costs to go from one hand over its bass to the next.
fn step((before, from): (&Stroke, &Hand), (now, hand): (&Stroke, &Hand)) -> u32 {
    let mut cost = 0;
    let voices: SmallVec<[(i32, i32); 4]> = from
        .iter()
        .zip(hand)
        .chain(before.under.iter().zip(&now.under))
        .map(|(a, b)| (a.midi(), b.midi()))
        .collect();
    for (index, &(a, b)) in voices.iter().enumerate() {
        if index < hand.len() {
            cost += (a - b).unsigned_abs();
        }
        for &(other_a, other_b) in &voices[index + 1..] {
            let apart = |x: i32, y: i32| (x - y).abs() % 12;
            let same = apart(a, other_a) == apart(b, other_b);
            let perfect = matches!(apart(a, other_a), 0 | 7);
            let together = (b - a).signum() == (other_b - other_a).signum() && a != b;
            if same && perfect && together {
                cost += PARALLEL;
            }
        }
    }
    // Leading notes go up and sevenths down, if what they lead to is in the chord.
    if let Some((chord, key)) = &before.chord
        && now.chord.is_some_and(|(next, _)| next != *chord)
    {
        let leading = leading_class(chord, *key);
        let seventh = chord.members().get(3).map(|member| member.class());
        for (a, b) in from.iter().zip(hand) {
            let class = Some(a.name().class());
            let step = b.midi() - a.midi();
            let goes = |wanted: [i32; 2]| {
                let can = hand.iter().chain(&now.under).any(|pitch| {
                    wanted.iter().any(|w| (pitch.midi() - a.midi() - w).rem_euclid(12) == 0)
                });
                can && !wanted.contains(&step) && step != 0
            };
            if class == leading && goes([1, 1]) || class == seventh && goes([-1, -2]) {
                cost += UNRESOLVED;
            }
        }
    }
    cost
}
