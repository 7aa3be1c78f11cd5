//! Which clef stands where.
//!
//! A note costs nothing in a clef that suits it, a point if a more usual clef of the instrument
//! would suit it as well, and its ledger lines (at least one point) in a clef that does not suit it.
//! A change of clef costs as much as so many points: least after a rest, where a phrase begins, more
//! at the beginning of a bar, more at a beat inside a bar, most at a bar inside a slur. There is none
//! inside a beam or a tie, nor, within a bar, inside a slur. It costs more to leap over a clef (from
//! bass to treble where there is a tenor). The cheapest row of clefs is found from the last note to
//! the first; a change comes as late as possible. (Our heuristic.)

use crate::narrow::Narrow;
use smallvec::SmallVec;

use crate::instruments::{Clef, ClefUse, Instrument};
use crate::music::{Interval, Letter, Pitch, Time};

use super::{Beam, Element, ElementKind, Measure, Pitches};

/// What another clef than the usual one costs at the head, and a change of clef after a rest, as much as so many ledger lines; at the beginning of a bar;
/// inside one; inside a slur; and for each clef that is leapt over.
const HEAD: u32 = 8;
const CHANGE: u32 = 6;
const CHANGE_AT_BAR: u32 = 10;
const CHANGE_INSIDE: u32 = 13;
const CHANGE_SLURRED: u32 = 20;
const LEAP: u32 = 2;

/// Puts the clefs into the measures of a staff: one in the first bar, and every change. `instrument`
/// is in hand at the beginning; the measures tell where another one is taken.
pub(super) fn place_clefs(
    measures: &mut [Measure],
    instrument: &'static Instrument,
    pitches: Pitches,
) {
    let concert = pitches == Pitches::Concert;
    let sounds = |measures: &[Measure]| concert.then_some(measures[0].transposition).flatten();
    let mut at_pitch = false;
    // Where another crook is put in, other clefs may suit what sounds.
    let together = move |next: &Measure| !concert || next.transposition.is_none();
    place(measures, instrument, together, |instrument, measures| {
        at_pitch = sounds(measures).map_or(at_pitch, |by| by == Interval::UNISON);
        let own: Uses = instrument.clefs.iter().copied().collect();
        match own.as_slice() {
            [only] if at_pitch && only.clef == Clef::Treble => {
                for_low_sounds(measures).unwrap_or(own)
            }
            _ => own,
        }
    });
}

/// What stands in for the treble clef alone where low horns or clarinets are written as they sound, if a note
/// stood five ledger lines or more below it: the treble clef down to its third ledger line and the bass clef
/// up to its own. The bass clef is the usual one where it saves more than two ledger lines a note. Common
/// practice; the overlap and what is usual are our heuristic.
fn for_low_sounds(measures: &[Measure]) -> Option<Uses> {
    let elements = measures.iter().flat_map(|measure| &measure.elements);
    let (mut low, mut saved) = (false, 0);
    for element in elements {
        let ElementKind::Note(note) = &element.kind else { continue };
        for pitch in note.heads.iter().map(|head| head.pitch) {
            let lines = ledger_lines(pitch, Clef::Treble);
            low |= lines >= 5;
            saved += i64::from(lines) - i64::from(ledger_lines(pitch, Clef::Bass)) - 2;
        }
    }
    let natural = |letter, octave| Pitch::new(letter, 0, octave);
    let suits = |clef, low, high| ClefUse { clef, low, high };
    let treble = suits(Clef::Treble, natural(Letter::F, 3), natural(Letter::G, 6));
    let bass = suits(Clef::Bass, natural(Letter::C, 1), natural(Letter::E, 4));
    let usual_first = if saved > 0 { [bass, treble] } else { [treble, bass] };
    low.then(|| SmallVec::from_slice(&usual_first))
}

/// The same for the lower of two staves, and for one staff in the clef of the lower one.
pub(super) fn place_lower_clefs(measures: &mut [Measure], instrument: &'static Instrument) {
    place(
        measures,
        instrument,
        |_| true,
        |instrument, _| {
            let mut clefs: Uses = instrument.clefs.iter().copied().collect();
            if instrument.staves > 1 && clefs.len() > 1 {
                clefs.swap(0, 1);
            }
            clefs
        },
    );
}

/// The clefs of a staff that two share, bar by bar, so that the notes of both are read with ease, `without` those of
/// some bars. On the instruments that the first has in hand, of which one is that.
pub(crate) fn of_two(
    pair: [&[Measure]; 2],
    instrument: &'static Instrument,
    without: &[bool],
) -> Vec<SmallVec<[(Time, Clef); 1]>> {
    let bars = pair[0].iter().zip(pair[1]).zip(without);
    let mut both: Vec<Measure> = bars
        .map(|((first, second), without)| {
            let mut bar = first.clone();
            bar.clefs.clear();
            bar.elements.clear();
            if !without {
                bar.elements.extend(at_once(first, second));
            }
            bar
        })
        .collect();
    place(
        &mut both,
        instrument,
        |_| true,
        |instrument, _| instrument.clefs.iter().copied().collect(),
    );
    both.into_iter().map(|bar| bar.clefs).collect()
}

/// What two play in a bar, as if one played it: of all that begins at one time one chord. Where something still sounds
/// it is tied, so that no clef changes before it.
fn at_once(first: &Measure, second: &Measure) -> Vec<Element> {
    let mut all: Vec<&Element> = first.elements.iter().chain(&second.elements).collect();
    all.sort_by_key(|element| element.at);
    let mut sounds_to = Time::ZERO;
    let mut chords = Vec::new();
    for begun in all.chunk_by(|a, b| a.at == b.at) {
        let notes = || {
            begun.iter().filter_map(|element| match &element.kind {
                ElementKind::Note(note) => Some((element, note)),
                _ => None,
            })
        };
        let Some((element, note)) = notes().next() else {
            chords.push(begun[0].clone());
            continue;
        };
        let mut note = note.clone();
        note.grace = None;
        note.tie_from |= element.at < sounds_to;
        let mut chord = (*element).clone();
        for (element, other) in notes() {
            for head in &other.heads {
                if note.heads.iter().all(|own| own.pitch != head.pitch) {
                    note.heads.push(*head);
                }
            }
            note.tie_from |= other.tie_from;
            note.slur_starts |= other.slur_starts;
            note.slur_ends |= other.slur_ends;
            if chord.beams.is_empty() {
                chord.beams.clone_from(&element.beams);
            }
            sounds_to = sounds_to.max(element.at + element.length);
        }
        chord.kind = ElementKind::Note(note);
        chords.push(chord);
    }
    chords
}

/// The clefs of an instrument, the usual one first.
type Uses = SmallVec<[ClefUse; 3]>;

/// Puts in the clefs for bars that are read `together` in the clefs that one of the instruments `uses` there.
fn place(
    measures: &mut [Measure],
    instrument: &'static Instrument,
    together: impl Fn(&Measure) -> bool,
    mut uses: impl FnMut(&Instrument, &[Measure]) -> Uses,
) {
    let mut last = None;
    let mut in_hand = instrument;
    for measures in measures.chunk_by_mut(|_, next| next.instrument.is_none() && together(next)) {
        in_hand = measures[0].instrument.unwrap_or(in_hand);
        let uses = uses(in_hand, measures);
        last = clefs_of(measures, (in_hand, &uses), last);
    }
}

/// The clefs of bars that are read on one instrument, after the last clef of those before; gives
/// back the last one.
fn clefs_of(
    measures: &mut [Measure],
    (instrument, uses): (&Instrument, &[ClefUse]),
    last: Option<Clef>,
) -> Option<Clef> {
    measures.first()?;
    if uses.len() < 2 || instrument.unpitched {
        let usual = if instrument.unpitched { Clef::Percussion } else { Clef::Treble };
        let clef = uses.first().map_or(usual, |only| only.clef);
        if last != Some(clef) {
            measures[0].clefs.push((Time::ZERO, clef));
        }
        return Some(clef);
    }
    let count = uses.len();
    let slots = slots(measures);
    // Cheapest way from each slot to the end, for each clef: slot by slot in one row.
    let mut to_end = vec![0_u32; (slots.len() + 1) * count];
    let leap = |from: usize, to: usize| LEAP * (from.abs_diff(to).max(1) - 1).narrow::<u32>();
    let best_from = |costs: &[u32], clef: usize| {
        let reached = |to: usize| (costs[to].saturating_add(leap(clef, to)), to);
        (0..count).filter(|to| *to != clef).map(reached).min().unwrap_or((u32::MAX, clef))
    };
    for (index, slot) in slots.iter().enumerate().rev() {
        let next: SmallVec<[u32; 4]> =
            SmallVec::from_slice(&to_end[(index + 1) * count..(index + 2) * count]);
        let change = slots.get(index + 1).and_then(|next| next.change);
        for clef in 0..count {
            let stay = next[clef];
            let go =
                change.map_or(u32::MAX, |change| best_from(&next, clef).0.saturating_add(change));
            let element = &measures[slot.bar].elements[slot.element];
            to_end[index * count + clef] =
                element_cost(element, uses, clef).saturating_add(stay.min(go));
        }
    }
    // The reader expects the usual clef at the head too, and of another instrument that he takes.
    let mut clef = 0;
    let mut begin = None;
    for (index, slot) in slots.iter().enumerate() {
        let costs = &to_end[index * count..(index + 1) * count];
        let first = index == 0;
        let change = if first { Some(HEAD) } else { slot.change };
        let changes = change.is_some_and(|change| {
            let (cost, _) = best_from(costs, clef);
            cost.saturating_add(change) < costs[clef]
        });
        if changes {
            clef = best_from(costs, clef).1;
        }
        if first {
            begin = Some(clef);
        } else if changes {
            let at = measures[slot.bar].elements[slot.element].at;
            measures[slot.bar].clefs.push((at, uses[clef].clef));
        }
    }
    // What the first note needs stands at the beginning, were it after rests.
    let first_clef = uses[begin.unwrap_or(0)].clef;
    if last != Some(first_clef) {
        measures[0].clefs.insert(0, (Time::ZERO, first_clef));
    }
    Some(uses[clef].clef)
}

/// A note or chord before which the clef may change.
struct Slot {
    bar: usize,
    element: usize,
    /// What a change before it costs; `None` where there may be none.
    change: Option<u32>,
}

/// The notes of bars with what a change of clef before each would cost.
fn slots(measures: &[Measure]) -> Vec<Slot> {
    let mut slots = Vec::new();
    let mut slurred = false;
    let mut rested = true;
    for (bar, measure) in measures.iter().enumerate() {
        let mut beamed = false;
        let mut after_grace = false;
        for (element, printed) in measure.elements.iter().enumerate() {
            let ElementKind::Note(note) = &printed.kind else {
                rested = true;
                continue;
            };
            let at_bar = printed.at == Time::ZERO;
            let at_beat =
                printed.at % Time::EIGHTH == Time::ZERO && printed.tuplet.is_none_or(|t| t.starts);
            let change = match () {
                () if note.tie_from || after_grace => None,
                () if rested => Some(CHANGE),
                () if at_bar && slurred => Some(CHANGE_SLURRED),
                () if at_bar => Some(CHANGE_AT_BAR),
                () if beamed || slurred || !at_beat => None,
                () => Some(CHANGE_INSIDE),
            };
            slots.push(Slot { bar, element, change });
            after_grace = note.grace.is_some();
            rested = false;
            slurred = (slurred && !note.slur_ends) || note.slur_starts;
            beamed = matches!(printed.beams.first(), Some(Beam::Begins | Beam::Continues));
        }
    }
    slots
}

fn element_cost(element: &Element, uses: &[ClefUse], clef: usize) -> u32 {
    match &element.kind {
        ElementKind::Note(note) => {
            note.heads.iter().map(|head| note_cost(head.pitch, uses, clef)).sum()
        }
        _ => 0,
    }
}

fn note_cost(pitch: Pitch, uses: &[ClefUse], clef: usize) -> u32 {
    let suits = |use_: &ClefUse| (use_.low..=use_.high).contains(&pitch);
    if suits(&uses[clef]) {
        return u32::from(uses[..clef].iter().any(suits));
    }
    ledger_lines(pitch, uses[clef].clef).max(1)
}

/// Ledger lines that a written pitch needs in a clef.
pub(crate) fn ledger_lines(pitch: Pitch, clef: Clef) -> u32 {
    // Diatonic steps above C0 of the lowest line: E4, F3, D3, G2.
    let bottom = match clef {
        Clef::Treble | Clef::TrebleOctave | Clef::Percussion => 30,
        Clef::Alto => 24,
        Clef::Tenor => 22,
        Clef::Bass => 18,
    };
    let below = (bottom - pitch.step()).max(0) / 2;
    let above = (pitch.step() - bottom - 8).max(0) / 2;
    below.max(above).unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, cello, natural_horn};

    fn clefs(notes: &str) -> Vec<(usize, Clef)> {
        let score = Fixture::new(&["4/4"; 6]).instrument(cello()).notes(notes).score();
        let measures = score.staves[0].measures.iter().enumerate();
        measures.flat_map(|(bar, m)| m.clefs.iter().map(move |(_, clef)| (bar, *clef))).collect()
    }

    #[test]
    fn ledger_lines_are_counted_from_the_outer_lines() {
        let lines = |pitch: &str, clef| ledger_lines(pitch.parse().unwrap(), clef);
        assert_eq!(lines("C4", Clef::Treble), 1);
        assert_eq!(lines("D4", Clef::Treble), 0);
        assert_eq!(lines("C4", Clef::Bass), 1);
        assert_eq!(lines("A4", Clef::Bass), 3);
        assert_eq!(lines("C2", Clef::Bass), 2);
        assert_eq!(lines("C4", Clef::Alto), 0);
    }

    #[test]
    fn a_high_passage_changes_the_clef_at_its_first_bar() {
        let high = "0/1 1/1 C3, 2/1 1/4 F4, 9/4 1/4 A4, 5/2 1/4 G4, 11/4 1/4 A4, \
                    3/1 1/4 F4, 13/4 1/4 A4, 7/2 1/4 G4, 15/4 1/4 A4";
        assert_eq!(clefs(high), [(0, Clef::Bass), (2, Clef::Tenor)]);
    }

    #[test]
    fn two_high_notes_are_not_worth_a_change() {
        assert_eq!(clefs("0/1 1/1 C3, 1/1 1/2 A4, 3/2 1/2 B4, 2/1 1/1 C3"), [(0, Clef::Bass)]);
    }

    #[test]
    fn a_phrase_does_not_change_its_clef_where_it_could_begin_in_another() {
        let phrase = "1/1 1/4 C4, 5/4 1/4 Bb3, 3/2 1/2 Eb4, 2/1 1/4 F4, 9/4 1/4 A4, 5/2 1/2 A4, \
                      3/1 1/2 A4, 7/2 1/2 G4, 4/1 1/1 A4";
        assert_eq!(clefs(phrase), [(0, Clef::Tenor)]);
    }

    #[test]
    fn a_phrase_begins_in_its_clef_inside_the_bar_and_the_tenor_comes_before_the_treble() {
        let high = "0/1 1/1 C3, 1/1 1/4 C3, 3/2 1/4 F4, 7/4 1/4 A4, 2/1 1/4 G4, 9/4 1/4 A4, 5/2 1/2 A4, \
                    3/1 1/1 A4, 4/1 1/1 F4, 5/1 1/4 C2, 21/4 1/4 D2, 11/2 1/2 C2";
        let score = Fixture::new(&["4/4"; 6]).instrument(cello()).notes(high).score();
        let measures = &score.staves[0].measures;
        let clefs: Vec<_> = measures.iter().map(|measure| measure.clefs.to_vec()).collect();
        assert_eq!(clefs[0], [(Time::ZERO, Clef::Bass)]);
        assert_eq!(clefs[1], [(Time::of(1, 2), Clef::Tenor)]);
        assert_eq!(clefs[5], [(Time::ZERO, Clef::Bass)]);
        assert!(clefs[2..5].iter().all(Vec::is_empty));
    }

    #[test]
    fn low_horns_at_concert_pitch_have_the_bass_clef_too() {
        let clefs = |crook: &str, notes: &str, pitches| {
            let horn = Fixture::new(&["4/4"; 6]).instrument(natural_horn()).crook("0/1", crook);
            let arrangement = horn.notes(notes).arrangement();
            let score = crate::notate::notate_at(&arrangement, pitches);
            let measures = score.staves[0].measures.iter().enumerate();
            let all =
                measures.flat_map(|(bar, m)| m.clefs.iter().map(move |(_, clef)| (bar, *clef)));
            all.collect::<Vec<_>>()
        };
        let low = "0/1 1/1 D4, 1/1 1/1 A3, 2/1 1/2 D2, 5/2 1/2 D2, 3/1 1/2 A2, \
                   7/2 1/2 D2, 4/1 1/2 A4, 9/2 1/2 A4, 5/1 1/1 D5";
        let both = [(0, Clef::Treble), (2, Clef::Bass), (4, Clef::Treble)];
        assert_eq!(clefs("D", low, Pitches::Concert), both);
        assert_eq!(clefs("D", low, Pitches::Written), [(0, Clef::Treble)]);
        // An octave that is one of several crooks is none of the instrument's own. And a horn that is not low.
        assert_eq!(clefs("C basso", low, Pitches::Concert), both);
        assert_eq!(clefs("C basso", low, Pitches::Written), [(0, Clef::Treble)]);
        let high = "0/1 1/1 D4, 1/1 1/1 A3, 2/1 1/1 D3, 3/1 1/1 D3, 4/1 1/1 A4, 5/1 1/1 A4";
        assert_eq!(clefs("D", high, Pitches::Concert), [(0, Clef::Treble)]);
    }
}
