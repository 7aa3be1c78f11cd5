//! Every bar of every staff is full, and the staves of a part sound what the part sounds.

use ripieno::arrange::{Arrangement, PackedNote, Part};
use ripieno::music::{Interval, Time};
use ripieno::narrow::Narrow;
use ripieno::notate::{ElementKind, Measure, Score, StaffNote};

/// A key that sounds from one time to another. A stroke without pitch is key -1.
type Sounding = (Time, Time, i32);

const STROKE: i32 = -1;

pub(super) fn assert_full_and_sounding(arrangement: &Arrangement, score: &Score) {
    for (part, staff) in arrangement.parts.iter().zip(&score.staves) {
        let mut read = Vec::new();
        for measures in [&staff.measures, &staff.lower] {
            if !measures.is_empty() {
                assert_eq!(measures.len(), score.frame.len());
                assert_full(score, measures, &staff.id);
                read.extend(sounding(score, measures));
            }
        }
        assert_same(part, arrangement.piece.form.end(), read);
    }
}

fn assert_full(score: &Score, measures: &[Measure], id: &str) {
    for (measure, bar) in measures.iter().zip(&score.frame) {
        let mut at = Time::ZERO;
        for element in &measure.elements {
            assert_eq!(element.at, at, "{id}, bar {}", bar.number);
            at += element.length;
            let graced = matches!(&element.kind, ElementKind::Note(note) if note.grace.is_some());
            assert_eq!(graced, element.length == Time::ZERO);
            if graced || matches!(element.kind, ElementKind::BarRest { .. }) {
                continue;
            }
            let (actual, normal) = element.tuplet.map_or((1, 1), |t| (t.actual, t.normal));
            let printed = element.value.length().scaled(normal.into(), actual.into());
            assert_eq!(printed, Some(element.length), "{id}, bar {}: {element:?}", bar.number);
        }
        assert_eq!(at, bar.length, "{id}: bar {} is not full", bar.number);
    }
}

/// What a reader of the staff sounds: ties joined, every written pitch moved by what is in force.
fn sounding(score: &Score, measures: &[Measure]) -> Vec<Sounding> {
    let mut sounding: Vec<Sounding> = Vec::new();
    let mut transposition = Interval::UNISON;
    // Where the notes begin that are tied on.
    let mut tied: Option<usize> = None;
    for (measure, bar) in measures.iter().zip(&score.frame) {
        transposition = measure.transposition.unwrap_or(transposition);
        for element in &measure.elements {
            let ElementKind::Note(note) = &element.kind else {
                assert_eq!(tied, None, "a tie leads to a rest in bar {}", bar.number);
                continue;
            };
            if note.grace.is_some() {
                continue;
            }
            assert_eq!(note.tie_from, tied.is_some(), "a tie in bar {}", bar.number);
            let (from, to) = (bar.start + element.at, bar.start + element.at + element.length);
            let keys = keys(note, transposition);
            let first = match tied {
                Some(first) => {
                    let held: Vec<i32> = sounding[first..].iter().map(|(.., key)| *key).collect();
                    assert_eq!(held, keys, "a tie leads elsewhere in bar {}", bar.number);
                    sounding[first..].iter_mut().for_each(|(_, end, _)| *end = to);
                    first
                }
                None => {
                    let sounds = keys.len();
                    sounding.extend(keys.into_iter().map(|key| (from, to, key)));
                    sounding.len() - sounds
                }
            };
            tied = note.tie_to.then_some(first);
        }
    }
    assert_eq!(tied, None, "a tie leads beyond the end");
    sounding
}

fn keys(note: &StaffNote, transposition: Interval) -> Vec<i32> {
    if note.heads.is_empty() {
        return vec![STROKE];
    }
    let heads: Vec<i32> =
        note.heads.iter().map(|head| head.pitch.midi() + transposition.semitones).collect();
    if let Some(sounding) = note.harmonic {
        let [stopped, touched] = heads[..] else { panic!("a harmonic has two heads: {heads:?}") };
        let key = harmonic(stopped, touched);
        assert_eq!(key, sounding.midi() + transposition.semitones, "what a harmonic sounds");
        return vec![key];
    }
    heads
}

/// What a string sounds that is stopped at one key and touched at another: the partial at whose node the
/// touching finger lies.
fn harmonic(stopped: i32, touched: i32) -> i32 {
    let free = 2.0_f64.powf(f64::from(stopped - touched) / 12.0);
    let partial = (1.0 / (1.0 - free)).round();
    stopped + (12.0 * partial.log2()).round().narrow::<i32>()
}

fn keys_of(part: &Part, note: &PackedNote) -> Vec<i32> {
    let pitches = note.sound().pitches();
    if pitches.is_empty() || part.instrument_at(note.start()).unpitched {
        return vec![STROKE];
    }
    pitches.iter().map(|pitch| pitch.midi()).collect()
}

/// Each note of the part is there as it is; one with a tremolo may be written out in pieces.
fn assert_same(part: &Part, end: Time, mut read: Vec<Sounding>) {
    read.sort();
    read.dedup();
    let mut written_out = Vec::new();
    for note in part.notes.iter().filter(|note| note.start() < end) {
        let (from, to) = (note.start(), note.end().min(end));
        let mut keys = keys_of(part, note);
        keys.sort_unstable();
        keys.dedup();
        for key in keys {
            match read.binary_search(&(from, to, key)) {
                Ok(place) => {
                    read.remove(place);
                }
                Err(_) if note.attached().tremolo > 0 => written_out.push((from, to, key)),
                Err(_) => panic!("{}: no staff has {key} from {from} to {to}", part.player.id),
            }
        }
    }
    for (mut from, to, key) in written_out {
        while from < to {
            let piece = read.iter().position(|piece| piece.0 == from && piece.2 == key);
            let piece = piece.unwrap_or_else(|| {
                panic!("{}: no staff has {key} at {from}, in a tremolo", part.player.id)
            });
            from = read.remove(piece).1;
        }
        assert_eq!(from, to, "{}: a tremolo on {key} is too long", part.player.id);
    }
    assert!(read.is_empty(), "{}: nobody sounds {read:?}", part.player.id);
}
