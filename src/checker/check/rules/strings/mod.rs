//! What the left hand reaches, how a section divides, and time for the bow.

pub mod divisi;
pub mod double_stop;
pub mod no_time_to_change;
pub mod slur_too_long;

use crate::instruments::{Hand, Instrument};
use crate::music::Pitch;

/// How far the left hand reaches across, as a share of the string's length: from half position a
/// fifth on the violin, a tritone on the viola, somewhat more than a major third on the cello, a
/// whole tone on the double bass. Semitones lie closer higher up, so the hand spans more of them
/// there. Our heuristic, after the common practice of fingering and what public scores ask for.
///
/// A soloist stretches a quarter farther, to a tenth on the violin.
fn reach(instrument: &Instrument, solo: bool) -> f64 {
    let reach = |hand: &Hand| f64::from(if solo { hand.solo_reach } else { hand.reach }) / 1000.0;
    // Where no hand is known, nothing is out of its reach.
    instrument.hand.as_ref().map_or(1.0, reach)
}

/// Where a finger stands on a string, as a share of its length from the nut.
fn place(semitones: i32) -> f64 {
    1.0 - 2.0_f64.powf(-f64::from(semitones) / 12.0)
}

/// Can one hand stop these notes (from the lowest up) at once? The bow needs neighbouring strings,
/// the plucking finger does not.
///
/// Open strings need no finger. Up to two notes are held together; three and four are broken, and
/// need neighbouring strings all the same.
fn one_hand(
    instrument: &Instrument,
    era: i32,
    pitches: &[Pitch],
    plucked: bool,
    solo: bool,
) -> bool {
    let Some(row) = instrument.open_strings(era) else { return true };
    let strings: Vec<i32> = row.strings.iter().map(|pitch| pitch.midi()).collect();
    let notes: Vec<i32> = pitches.iter().map(|pitch| pitch.midi()).collect();
    if notes.len() > strings.len() {
        return false;
    }
    let reach = reach(instrument, solo);
    choices(strings.len(), notes.len(), plucked).into_iter().any(|chosen| {
        let stopped: Vec<i32> =
            notes.iter().zip(chosen).map(|(note, string)| note - strings[string]).collect();
        let fingers = stopped.iter().copied().filter(|up| *up != 0);
        let nearest = place(fingers.clone().min().unwrap_or(0));
        let farthest = place(fingers.max().unwrap_or(0));
        stopped.iter().all(|up| *up >= 0) && farthest - nearest <= reach
    })
}

/// Can one hand stop a note on some string and touch that string at another one? An open string needs
/// no finger. What lies below every string is not its business.
fn can_touch(
    instrument: &Instrument,
    era: i32,
    [stopped, touched]: [Pitch; 2],
    solo: bool,
) -> bool {
    let Some(row) = instrument.open_strings(era) else { return true };
    let reach = reach(instrument, solo);
    let mut has_it = row.strings.iter().filter(|string| string.midi() <= stopped.midi()).peekable();
    has_it.peek().is_none()
        || has_it.any(|string| {
            let [nearer, farther] = [stopped, touched].map(|pitch| pitch.midi() - string.midi());
            nearer == 0 || place(farther) - place(nearer) <= reach
        })
}

/// Which strings may take so many notes, the lowest first: neighbours, or any if they are plucked.
fn choices(strings: usize, notes: usize, plucked: bool) -> Vec<Vec<usize>> {
    (0..1_usize << strings)
        .map(|set| (0..strings).filter(|string| set >> string & 1 == 1).collect::<Vec<usize>>())
        .filter(|chosen| chosen.len() == notes)
        .filter(|chosen| plucked || chosen.windows(2).all(|pair| pair[1] == pair[0] + 1))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cello(chord: &[&str], plucked: bool) -> bool {
        let pitches: Vec<Pitch> = chord.iter().map(|name| name.parse().unwrap()).collect();
        let instrument = crate::instruments::find("cello").unwrap();
        one_hand(instrument, 1810, &pitches, plucked, false)
    }

    #[test]
    fn a_hand_touches_a_string_where_it_reaches_from_the_stopped_note() {
        let touches = |id: &str, solo: bool, notes: [&str; 2]| {
            let pitches = notes.map(|name| name.parse().unwrap());
            can_touch(crate::instruments::find(id).unwrap(), 1890, pitches, solo)
        };
        assert!(touches("violin", false, ["E4", "A4"]));
        assert!(touches("violin", false, ["G#3", "D#4"]), "the fifth on the violin");
        assert!(!touches("violin", false, ["G#3", "G#4"]), "no octave beside the nut");
        assert!(touches("viola", false, ["D3", "G3"]));
        assert!(touches("cello", false, ["E3", "A3"]));
        assert!(!touches("cello", false, ["C#2", "F#2"]), "no fourth beside the nut");
        assert!(!touches("double-bass", false, ["F1", "Bb1"]));
        assert!(touches("double-bass", false, ["G2", "C3"]), "the string is open");
        // A fourth lies in the hand of the double bass from the octave on, by the thumb.
        assert!(touches("double-bass", false, ["C4", "F4"]));
        assert!(
            touches("cello", false, ["B1", "E2"]),
            "below the compass, which another rule says"
        );
    }

    #[test]
    fn plucked_strings_need_not_be_neighbours() {
        assert!(cello(&["Db2", "B3"], true));
        assert!(!cello(&["Db2", "B3"], false));
    }

    #[test]
    fn a_solo_violin_takes_tenths() {
        let violin = crate::instruments::find("violin").unwrap();
        for tenth in [["A3", "C5"], ["Bb3", "D5"], ["A3", "C#5"]] {
            let pitches: Vec<Pitch> = tenth.iter().map(|name| name.parse().unwrap()).collect();
            assert!(one_hand(violin, 1885, &pitches, false, true), "{tenth:?}");
            assert!(!one_hand(violin, 1885, &pitches, false, false), "{tenth:?}");
        }
    }

    #[test]
    fn the_hand_spans_more_semitones_higher_up() {
        assert!(cello(&["Eb3", "F3"], false));
        assert!(!cello(&["Db2", "D3"], false), "from the first semitone to the seventh");
        assert!(!cello(&["D2", "E2"], true), "two notes on one string");
    }
}
