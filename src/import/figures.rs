//! Chords from the figures under a bass.
//!
//! A figure counts the steps of the key above the bass; what is not written is understood: a
//! third and a fifth, with 6 a third, with 7 both, with 6 and 4 nothing more (common practice of
//! figured bass; Carl Philipp Emanuel Bach, Versuch über die wahre Art das Clavier zu spielen, part
//! 2, 1762, from memory). A bass note without figures has a triad, and one whose triad would be
//! diminished a sixth (the rule of the octave); that only notes of a beat or more count there is our
//! heuristic.

use smallvec::SmallVec;

use super::loss::Losses;
use super::raw::RawPart;
use super::score::{Bar, Score};
use crate::music::{Chord, ChordQuality, Key, Letter, PitchName, Time};

/// Figures that stand together: how many steps above the bass, and with which sign.
pub(super) type Figures = SmallVec<[(u8, Option<Change>); 4]>;

/// A sign beside a figure.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Change {
    /// An accidental: so many semitones from the natural note.
    To(i8),
    /// A stroke through the figure, or a cross: a semitone higher than in the key.
    Raised,
}

impl Change {
    /// A sign by its name in MusicXML.
    pub(super) fn of(name: &str) -> Option<Change> {
        Some(match name {
            "natural" => Change::To(0),
            "sharp" => Change::To(1),
            "flat" => Change::To(-1),
            "double-sharp" | "sharp-sharp" => Change::To(2),
            "flat-flat" | "double-flat" => Change::To(-2),
            "plus" | "cross" | "slash" | "back-slash" | "vertical" => Change::Raised,
            _ => return None,
        })
    }
}

/// Takes the figures out of a part, with the times from the beginning of the piece.
pub(super) fn of(part: &mut RawPart, bars: &[Bar]) -> Vec<(Time, Figures)> {
    let mut found = Vec::new();
    for (bar, measure) in bars.iter().zip(&mut part.measures) {
        let here = std::mem::take(&mut measure.figures).into_iter();
        found.extend(here.map(|(at, figures)| (bar.start + at, figures)));
    }
    found.sort_by_key(|(at, _)| *at);
    found
}

/// Adds the chords of a part's figures to the harmony. Where the file has chord symbols, or another
/// part has figures, these hold.
pub(super) fn harmony(
    figured: Vec<(Time, Figures)>,
    part: usize,
    score: &mut Score,
    losses: &mut Losses,
    guesses: &mut Vec<String>,
) {
    if figured.is_empty() {
        return;
    }
    let last = score.bars.len().saturating_sub(1);
    let bar_of = |at: Time| score.bars.partition_point(|bar| bar.end() <= at).min(last);
    if !score.chords.is_empty() {
        for (at, _) in &figured {
            losses.left_out(
                "figures under a bass that has chords already",
                Some(part),
                bar_of(*at),
            );
        }
        return;
    }
    let bass = bass(score, part);
    let mut chords: Vec<(Time, Chord)> = Vec::new();
    let mut triads = 0;
    let mut unfigured = bass.iter().filter(|(start, end, _)| {
        let beat = score.bars.get(bar_of(*start)).map(|bar| bar.metre.beat());
        let under = figured.partition_point(|(at, _)| at < start);
        beat.is_some_and(|beat| *end - *start >= beat)
            && figured.get(under).is_none_or(|(at, _)| at >= end)
    });
    let mut next = unfigured.next();
    let mut take_unfigured = |chords: &mut Vec<(Time, Chord)>, until: Option<Time>| {
        while let Some((start, _, name)) =
            next.filter(|(start, ..)| until.is_none_or(|t| *start < t))
        {
            let same = chords.last().is_some_and(|(_, chord)| chord.bass_note() == *name);
            if !same && let Some(bar) = score.bars.get(bar_of(*start)) {
                chords.extend(triad(*name, bar.key).map(|chord| (*start, chord)));
                triads += 1;
            }
            next = unfigured.next();
        }
    };
    for (at, figures) in &figured {
        take_unfigured(&mut chords, Some(*at));
        let index = bar_of(*at);
        let begun = bass.partition_point(|(start, ..)| start <= at);
        let under = bass[..begun].last().filter(|(_, end, _)| at < end);
        let (Some((.., name)), Some(bar)) = (under, score.bars.get(index)) else {
            losses.left_out("figures without a bass note", Some(part), index);
            continue;
        };
        match chord(*name, figures, bar.key) {
            Some((chord, true)) => chords.push((*at, chord)),
            Some((chord, false)) => {
                chords.push((*at, chord));
                losses.changed(
                    "figures of a suspension that no chord symbol has, written as the chord without it",
                    Some(part),
                    index,
                );
            }
            None => losses.left_out("figures that are no chord of the language", Some(part), index),
        }
    }
    take_unfigured(&mut chords, None);
    let notes = match triads {
        0 => String::new(),
        1 => "; 1 note of a beat or more without figures is read as a triad".to_string(),
        n => format!("; {n} notes of a beat or more without figures are read as triads"),
    };
    guesses.push(format!("the harmony: from the figures under the bass{notes}"));
    score.chords = chords.into_iter().map(|(at, chord)| (at, Some(chord))).collect();
}

/// The lowest notes of a part, with beginning and end.
fn bass(score: &Score, part: usize) -> Vec<(Time, Time, PitchName)> {
    let Some(part) = score.parts.get(part) else { return Vec::new() };
    let notes = part.lines.iter().flat_map(|line| &line.notes);
    let mut all: Vec<_> =
        notes.filter_map(|note| Some((note.start, note.end, *note.pitches.first()?))).collect();
    all.sort_by_key(|(start, _, pitch)| (*start, pitch.midi()));
    all.dedup_by_key(|(start, ..)| *start);
    all.into_iter().map(|(start, end, pitch)| (start, end, pitch.name())).collect()
}

/// The triad on a bass note that has no figures, or its sixth chord.
fn triad(bass: PitchName, key: Key) -> Option<Chord> {
    let (triad, _) = chord(bass, &Figures::new(), key)?;
    if triad.quality != ChordQuality::Diminished {
        return Some(triad);
    }
    Some(chord(bass, &Figures::from_slice(&[(6, None)]), key)?.0)
}

/// The chord of a bass note and figures, and whether it is all that they say.
fn chord(bass: PitchName, figures: &[(u8, Option<Change>)], key: Key) -> Option<(Chord, bool)> {
    let written: Figures = figures.iter().copied().filter(|(number, _)| *number != 8).collect();
    if let Some(chord) = exactly(bass, &written, key) {
        return Some((chord, true));
    }
    // A ninth is a second that comes from above; without it the chord is what it resolves to.
    let without: Figures =
        written.iter().copied().filter(|(number, _)| !matches!(number, 9 | 2)).collect();
    (without.len() < written.len())
        .then(|| exactly(bass, &without, key))
        .flatten()
        .map(|chord| (chord, false))
}

fn exactly(bass: PitchName, written: &[(u8, Option<Change>)], key: Key) -> Option<Chord> {
    let has = |number: u8| written.iter().any(|(other, _)| *other == number);
    let understood: &[u8] = match () {
        () if has(2) => &[4, 6],
        () if has(4) && has(3) => &[6],
        () if has(4) && has(6) => &[],
        () if has(4) => &[5],
        () if has(6) => &[3],
        () => &[3, 5],
    };
    let mut numbers: Figures = written.iter().copied().collect();
    numbers.extend(understood.iter().filter(|number| !has(**number)).map(|number| (*number, None)));
    let mut names: SmallVec<[PitchName; 6]> = SmallVec::from_slice(&[bass]);
    for (number, change) in numbers {
        let letter = Letter::from_step(bass.letter.step() + i32::from(number) - 1);
        let alter = match change {
            None if letter == bass.letter => bass.alter,
            None => key.alter(letter),
            Some(Change::To(alter)) => alter,
            Some(Change::Raised) => key.alter(letter) + 1,
        };
        names.push(PitchName::new(letter, alter));
    }
    let fits = |chord: &Chord| {
        let members = chord.members();
        members.iter().all(|name| names.contains(name)) && names.iter().all(|n| members.contains(n))
    };
    let all = names.iter().flat_map(|root| {
        ChordQuality::all().map(|quality| Chord {
            root: *root,
            quality,
            bass: (*root != bass).then_some(bass),
        })
    });
    // The same tones may be two chords: a seventh rather than a sixth that is added, and a
    // suspension over its own bass.
    all.filter(fits).min_by_key(|chord| {
        let added = matches!(chord.quality, ChordQuality::MajorSixth | ChordQuality::MinorSixth);
        (added, chord.bass.is_some())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn name(text: &str) -> PitchName {
        text.parse::<crate::music::Pitch>().expect("a pitch").name()
    }

    fn of_figures(
        bass: &str,
        figures: &[(u8, Option<Change>)],
        fifths: i32,
        major: bool,
    ) -> String {
        let key = crate::frame::key_of(fifths, major);
        chord(name(bass), figures, key).map_or("none".into(), |(chord, exact)| {
            format!("{chord}{}", if exact { "" } else { " nearly" })
        })
    }

    #[test]
    fn figures_of_the_handbooks_are_chords() {
        let plain = |numbers: &[u8]| numbers.iter().map(|n| (*n, None)).collect::<Vec<_>>();
        let c = |bass: &str, numbers: &[u8]| of_figures(bass, &plain(numbers), 0, true);
        assert_eq!(c("C3", &[]), "C");
        assert_eq!(c("E3", &[6]), "C/E");
        assert_eq!(c("G3", &[6, 4]), "C/G");
        assert_eq!(c("G3", &[7]), "G7");
        assert_eq!(c("B2", &[6, 5]), "G7/B");
        assert_eq!(c("D3", &[4, 3]), "G7/D");
        assert_eq!(c("F3", &[4, 2]), "G7/F");
        assert_eq!(c("F3", &[2]), "G7/F");
        assert_eq!(c("G3", &[4]), "Gsus4");
        assert_eq!(c("F3", &[6, 5]), "Dm7/F");
        assert_eq!(c("C3", &[9]), "Cadd9");
    }

    #[test]
    fn signs_change_what_they_stand_beside() {
        // In D minor: the dominant with its raised third, the leading note with a sixth, a raised
        // sixth, a seventh lowered by the key.
        let minor =
            |bass: &str, figures: &[(u8, Option<Change>)]| of_figures(bass, figures, -1, false);
        assert_eq!(minor("A2", &[(3, Some(Change::To(1)))]), "A");
        assert_eq!(minor("A2", &[(7, None), (3, Some(Change::To(1)))]), "A7");
        assert_eq!(minor("C#3", &[(6, None), (5, None)]), "A7/C#");
        assert_eq!(minor("E3", &[(6, Some(Change::Raised))]), "C#dim/E");
        assert_eq!(minor("C#3", &[(7, None)]), "C#dim7");
    }

    #[test]
    fn a_note_without_figures_has_a_triad_or_a_sixth() {
        let key = crate::frame::key_of(0, true);
        assert_eq!(triad(name("D3"), key).unwrap().to_string(), "Dm");
        assert_eq!(triad(name("B2"), key).unwrap().to_string(), "G/B");
    }
}
