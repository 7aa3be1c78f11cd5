//! Numbers and words of the format as values of music.

use super::tree::Element;
use crate::music::{Chord, ChordQuality, Interval, Letter, Metre, Pitch, PitchName, Time};
use crate::narrow::Narrow;
use crate::raw::RawMetre;

/// A place or length in divisions; where no note value or tuplet has it, the nearest time that the
/// arithmetic holds; `None` if it is too long for that.
pub(super) fn time(ticks: i64, divisions: i64) -> Option<Time> {
    Time::new(ticks, divisions.checked_mul(4)?).or_else(|| {
        let grain = 1024 * 45045;
        let wholes = ticks as f64 / (divisions as f64 * 4.0);
        (wholes.abs() < 10_000.0)
            .then(|| (wholes * grain as f64).round().narrow::<i64>())
            .and_then(|grains| Time::new(grains, grain))
    })
}

/// A time in divisions of a quarter, rounded.
pub(super) fn ticks(time: Time, divisions: i64) -> i64 {
    (time.to_f64() * 4.0 * divisions as f64).round().narrow::<i64>()
}

/// The value of a printed note without dots.
pub(super) fn value(kind: &str) -> Option<Time> {
    Some(match kind {
        "1024th" => Time::of(1, 1024),
        "512th" => Time::of(1, 512),
        "256th" => Time::of(1, 256),
        "128th" => Time::of(1, 128),
        "64th" => Time::of(1, 64),
        "32nd" => Time::of(1, 32),
        "16th" => Time::of(1, 16),
        "eighth" => Time::EIGHTH,
        "quarter" => Time::QUARTER,
        "half" => Time::of(1, 2),
        "whole" => Time::WHOLE,
        "breve" => Time::of(2, 1),
        "long" => Time::of(4, 1),
        "maxima" => Time::of(8, 1),
        _ => return None,
    })
}

/// A value with dots.
pub(super) fn dotted(value: Time, dots: usize) -> Option<Time> {
    if dots == 0 {
        return Some(value);
    }
    let dots = u32::try_from(dots).ok().filter(|dots| *dots <= 4)?;
    value.scaled((1 << (dots + 1)) - 1, 1 << dots)
}

/// The way from written to sounding pitch.
pub(super) fn transposition(element: Element) -> Interval {
    let chromatic =
        (element.number_of::<f64>("chromatic").unwrap_or(0.0).clamp(-48.0, 48.0)).narrow::<i32>();
    let octaves = element.number_of::<i32>("octave-change").unwrap_or(0).clamp(-4, 4);
    let steps = match element.number_of::<i32>("diatonic") {
        Some(steps) => steps.clamp(-28, 28),
        // The plainest step for so many semitones.
        None => {
            let within =
                [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6][chromatic.unsigned_abs() as usize % 12];
            let up = within + 7 * (chromatic.abs() / 12);
            if chromatic < 0 { -up } else { up }
        }
    };
    Interval::new(steps + 7 * octaves, chromatic + 12 * octaves)
}

/// The metre as a count and a unit, and as it stands in the file where it adds up several.
pub(super) fn metre(element: Element) -> (Option<RawMetre>, Option<String>) {
    let mut pairs: Vec<(u32, u32)> = Vec::new();
    let mut printed: Vec<String> = Vec::new();
    let mut additive = false;
    let mut groups: Vec<u8> = Vec::new();
    let mut beats: Option<(u32, String)> = None;
    for child in element.children() {
        match child.name() {
            "beats" => {
                let text = child.raw();
                additive |= text.contains('+');
                groups.extend(text.split('+').filter_map(|beat| beat.trim().parse::<u8>().ok()));
                let sum = text
                    .split('+')
                    .try_fold(0u32, |sum, beat| sum.checked_add(beat.trim().parse::<u32>().ok()?));
                beats = sum.map(|sum| (sum, text.to_string()));
            }
            "beat-type" => {
                let (Some((count, text)), Ok(unit)) = (beats.take(), child.raw().parse::<u32>())
                else {
                    return (None, None);
                };
                printed.push(format!("{text}/{unit}"));
                pairs.push((count, unit));
            }
            _ => {}
        }
    }
    let Some(unit) = pairs.iter().map(|(_, unit)| *unit).max() else { return (None, None) };
    let sum = pairs.iter().try_fold(0u32, |sum, (count, of)| {
        let fits = *of > 0 && unit.is_multiple_of(*of);
        sum.checked_add(count.checked_mul(if fits { unit / of } else { return None })?)
    });
    additive |= pairs.len() > 1;
    let written = match (element.attribute("symbol").as_deref(), sum) {
        (Some("common"), Some(4)) if unit == 4 => Some(Metre::COMMON),
        (Some("cut"), Some(2)) if unit == 2 => Some(Metre::CUT),
        _ if additive && pairs.iter().all(|(_, other)| *other == unit) => {
            u8::try_from(unit).ok().and_then(|unit| Metre::additive(&groups, unit))
        }
        _ => None,
    };
    if let Some(metre) = written {
        return (Some(RawMetre::Written(metre)), None);
    }
    let plain = sum.map(|sum| RawMetre::Plain(sum, unit));
    (plain, additive.then(|| printed.join(" + ")))
}

/// A note name of its step and alteration; the alteration rounded, if it is of no semitone.
pub(super) fn name(step: &str, alter: f64) -> Option<PitchName> {
    let letter = step.chars().next().and_then(Letter::from_char)?;
    let alter = alter.round();
    (alter.abs() <= 2.0).then_some(PitchName::new(letter, alter.narrow::<i8>()))
}

/// A pitch, and whether it had to be changed to be one of the language.
pub(super) fn pitch(element: Element) -> Option<(Pitch, Option<&'static str>)> {
    let letter = element.child("step")?.raw().chars().next().and_then(Letter::from_char)?;
    let octave = element.number_of::<i8>("octave").filter(|octave| (-1..=10).contains(octave))?;
    let alter = match element.child("alter") {
        None => 0.0,
        Some(alter) => alter.raw().parse::<f64>().ok().filter(|alter| alter.abs() <= 12.0)?,
    };
    let rounded = alter.round();
    let natural = Pitch::new(letter, 0, octave);
    if rounded.abs() > 2.0 {
        let respelled = Pitch::from_midi(natural.midi() + rounded.narrow::<i32>());
        return Some((respelled, Some("triple accidentals, spelled otherwise")));
    }
    let changed = (rounded - alter).abs() > 0.01;
    let pitch = Pitch { alter: rounded.narrow::<i8>(), ..natural };
    Some((pitch, changed.then_some("quarter tones, rounded to the semitone")))
}

/// The quality of a chord by the words of the format, with what it says that the language cannot.
pub(super) fn quality(kind: &str, text: &str) -> (Option<ChordQuality>, bool) {
    use ChordQuality as Q;
    let exact = |quality| (Some(quality), true);
    let nearest = |quality| (Some(quality), false);
    match kind {
        "major" => exact(Q::Major),
        "minor" => exact(Q::Minor),
        "augmented" => exact(Q::Augmented),
        "diminished" => exact(Q::Diminished),
        "dominant" => exact(Q::DominantSeventh),
        "major-seventh" => exact(Q::MajorSeventh),
        "minor-seventh" => exact(Q::MinorSeventh),
        "diminished-seventh" => exact(Q::DiminishedSeventh),
        "augmented-seventh" => exact(Q::AugmentedSeventh),
        "half-diminished" => exact(Q::HalfDiminishedSeventh),
        "major-minor" => exact(Q::MinorMajorSeventh),
        "major-sixth" => exact(Q::MajorSixth),
        "minor-sixth" => exact(Q::MinorSixth),
        "dominant-ninth" => exact(Q::DominantNinth),
        "suspended-second" => exact(Q::SuspendedSecond),
        "suspended-fourth" if text.starts_with('7') => exact(Q::DominantSeventhSuspended),
        "suspended-fourth" => exact(Q::SuspendedFourth),
        "major-ninth" | "major-11th" | "major-13th" => nearest(Q::MajorSeventh),
        "minor-ninth" | "minor-11th" | "minor-13th" => nearest(Q::MinorSeventh),
        "dominant-11th" | "dominant-13th" => nearest(Q::DominantNinth),
        "Neapolitan" => nearest(Q::Major),
        "Italian" | "French" | "German" => nearest(Q::DominantSeventh),
        "Tristan" => nearest(Q::HalfDiminishedSeventh),
        _ => (None, false),
    }
}

/// A chord of its members.
pub(super) fn chord(root: PitchName, quality: ChordQuality, bass: Option<PitchName>) -> Chord {
    Chord { root, quality, bass: bass.filter(|bass| *bass != root) }
}
