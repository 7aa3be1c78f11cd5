//! What could be done instead, computed from the catalogue: another octave, another player.

use super::context::Context;
use super::passage::Passage;
use super::words;
use crate::arrange::{LineId, PackedNote, Part};
use crate::diagnostics::Diagnostic;
use crate::instruments::{Compass, Family, Instrument, Limit, PartialClass};
use crate::music::{Interval, Pitch, Time};
use crate::resolve::Verb;

/// On which side of a compass a pitch lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Outside {
    Below,
    Above,
    /// Within the ends, but the instrument lacks it.
    Missing,
}

/// The compass by which a note is judged: a solo by what soloists could do.
pub(super) fn custom(instrument: &Instrument, solo: bool, era: i32) -> Option<&Compass> {
    let soloist = solo.then(|| instrument.compass(Limit::Solo, era)).flatten();
    match (soloist, solo) {
        (Some(compass), _) => Some(compass),
        (None, true) => instrument.compass(Limit::Instrument, era),
        (None, false) => instrument.compass(Limit::Custom, era),
    }
}

/// A sounding pitch in the pitch in which the catalogue states the compass.
pub(super) fn in_compass_pitch(part: &Part, sounding: Pitch, time: Time) -> Pitch {
    if part.instrument_at(time).compass_is_written {
        part.written(sounding, time)
    } else {
        sounding
    }
}

/// The key number of a sounding pitch in the pitch in which the catalogue states the compass.
pub(super) fn height(part: &Part, sounding: Pitch, time: Time) -> i32 {
    if part.instrument_at(time).compass_is_written {
        sounding.midi() - part.transposition_at(time).semitones
    } else {
        sounding.midi()
    }
}

/// Does a sounding pitch lie outside a compass, and where?
pub(super) fn outside(
    part: &Part,
    compass: &Compass,
    sounding: Pitch,
    time: Time,
) -> Option<Outside> {
    let height = height(part, sounding, time);
    if height < compass.low.midi() {
        return Some(Outside::Below);
    }
    if height > compass.high.midi() {
        return Some(Outside::Above);
    }
    let missing = compass.missing.iter().any(|pitch| pitch.midi() == height);
    missing.then_some(Outside::Missing)
}

/// Has a player a note in the ordinary way: within custom, open and in tune on natural brass,
/// tuned on drums?
pub(super) fn has(part: &Part, sounding: Pitch, note: &PackedNote, era: i32) -> bool {
    let instrument = part.instrument_at(note.start());
    if instrument.unpitched {
        return false;
    }
    if !instrument.drums.is_empty() {
        return tuned(part, sounding, note);
    }
    if let Some(series) = &instrument.natural {
        let written = part.written(sounding, note.start());
        if !matches!(series.classify(written, era), PartialClass::OpenInTune(_)) {
            return false;
        }
    }
    custom(instrument, note.solo(), era)
        .is_none_or(|compass| outside(part, compass, sounding, note.start()).is_none())
}

/// Is a drum of a player tuned to a sounding pitch when a note begins?
pub(super) fn tuned(part: &Part, sounding: Pitch, note: &PackedNote) -> bool {
    let after = part.drums.partition_point(|(from, _)| *from <= note.start());
    let drums = part.drums.get(after.saturating_sub(1));
    drums.is_some_and(|(_, notes)| notes.iter().any(|n| n.midi() == sounding.midi()))
}

/// All pitches of a note at which fingers stand, those of its grace notes too.
pub(super) fn all_pitches(note: &PackedNote) -> impl Iterator<Item = Pitch> + '_ {
    let graces = note.attached().graces.into_iter().flat_map(|graces| &graces.notes);
    note.fingered().into_iter().chain(graces.flat_map(|(_, pitches)| pitches.iter().copied()))
}

fn moved(pitch: Pitch, octaves: i8) -> Pitch {
    pitch.transposed_or_respelled(Interval::octaves(i32::from(octaves)))
}

/// The fewest octaves by which a player has all of these notes.
fn octave<'n>(
    part: &Part,
    notes: impl Iterator<Item = &'n PackedNote> + Clone,
    era: i32,
) -> Option<i8> {
    [-1, 1, -2, 2].into_iter().find(|&octaves| {
        notes
            .clone()
            .all(|note| all_pitches(note).all(|pitch| has(part, moved(pitch, octaves), note, era)))
    })
}

/// The octave move that mends a whole `plays` line for all whom it names, with the place where it
/// is to be written.
fn line_octave(cx: &Context, id: LineId) -> Option<(i8, crate::diagnostics::Span)> {
    let Verb::Plays { span, octaves: 0, .. } = &cx.line(id)?.verb else { return None };
    [-1, 1, -2, 2]
        .into_iter()
        .find(|&octaves| {
            cx.arrangement.parts.iter().all(|part| {
                part.notes.iter().filter(|note| part.line_of(note) == id).all(|note| {
                    all_pitches(note).all(|pitch| has(part, moved(pitch, octaves), note, cx.era))
                })
            })
        })
        .map(|octaves| (octaves, span.after()))
}

/// Players of other ensemble lines who have all notes of a passage, and whether they rest in all its bars: those who
/// rest first, those of the same family before strangers.
pub(super) fn who_else<T>(cx: &Context, passage: &Passage<T>) -> Vec<(usize, bool)> {
    let (Some(first), Some(last)) = (passage.notes().next(), passage.notes().last()) else {
        return Vec::new();
    };
    let own = &passage.part.player;
    // Who rests only between notes of his own has no time for those of others.
    let from = cx.form.bars[cx.bar(first)].start;
    let to = cx.form.end_of_bar_at(last.start()).max(last.end());
    let family = |part: &Part| part.instrument_at(first.start()).family;
    let mut found: Vec<(bool, bool, usize)> = cx
        .parts()
        .filter(|(_, part)| part.player.line_name != own.line_name)
        .filter(|(_, part)| !matches!(family(part), Family::Percussion | Family::Keyboard))
        .filter(|(_, part)| {
            passage.notes().all(|n| all_pitches(n).all(|p| has(part, p, n, cx.era)))
        })
        .map(|(player, part)| {
            let next = part.notes.partition_point(|note| note.end() <= from);
            let busy = part.notes.get(next).is_some_and(|note| note.start() < to);
            (busy, family(part) != family(passage.part), player)
        })
        .collect();
    found.sort_by_key(|(busy, stranger, _)| (*busy, *stranger));
    found.into_iter().map(|(busy, _, player)| (player, !busy)).collect()
}

/// Adds to a finding about notes out of reach what could be done, and a fix where the whole line
/// can move.
pub(super) fn advise<T>(
    cx: &Context,
    passage: &Passage<T>,
    mut finding: Diagnostic,
    more: Vec<String>,
) -> Diagnostic {
    let mut ways = Vec::new();
    let notes: Vec<&PackedNote> = passage.notes().collect();
    if let Some(octaves) = octave(passage.part, notes.iter().copied(), cx.era) {
        let it = if notes.len() == 1 { "the note" } else { "these notes" };
        ways.push(format!("set {it} {}", words::octaves(octaves)));
    }
    ways.extend(more);
    // Nobody gives up music of his own for it.
    let others = who_else(cx, passage);
    let resting = others.iter().filter(|(_, rests)| *rests).take(2);
    let resting: Vec<&String> = resting.map(|(player, _)| &cx.part(*player).player.name).collect();
    if !resting.is_empty() {
        ways.push(format!(
            "give the passage to {}, who can play it and {} there",
            words::list(&resting, "or"),
            if resting.len() == 1 && !resting[0].ends_with('s') { "rests" } else { "rest" },
        ));
    }
    let help = match ways.split_first() {
        Some((first, rest)) => {
            let mut help = sentence(first);
            for way in rest {
                help.push_str(&format!(" Or {way}."));
            }
            help
        }
        None => {
            let nobody = if others.is_empty() {
                "No other player of this ensemble has these notes"
            } else {
                "No other player of this ensemble who has these notes rests there"
            };
            format!(
                "{nobody}: write another line for the passage with `writes`, or let the player rest."
            )
        }
    };
    finding = finding.with_help(help);
    if let Some((octaves, place)) = line_octave(cx, passage.line) {
        let word = ["15mb", "8vb", "", "8va", "15ma"][(octaves + 2) as usize];
        finding = finding.with_fix(
            format!("play the whole line {}", words::octaves(octaves)),
            place,
            format!(" {word}"),
            false,
        );
    }
    finding
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| format!("{}{}.", c.to_uppercase(), letters.as_str()))
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    /// What is advised about a flute that has a note too low for it in bar 3, while the oboe and the violas play in
    /// the bars that their lines name.
    fn advised(oboe: &str, violas: &str) -> String {
        let text = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key G major, tempo 1/4 at 96\n4 end }}\n\
             voice tune {{ 1: 1/2 G5 B | 2: 1/2 A5 F# | 3: 1/2 C4 G5 | 4: 1/1 G5 | }}\n\
             voice held {{ 1: 1/1 G4 | 2: F#4 | 3: 1/2 rest G4 | 4: 1/1 G4 | }}\n\
             ensemble few {{ era 1810\nflute, oboe, viola 4 players }}\n\
             scoring few for few {{\nflute plays tune as melody\n{oboe}\n{violas} }}\n"
        );
        let found = findings(&text);
        let found = found.iter().find(|found| found.code == "compass/outside-custom");
        found.and_then(|found| found.help.clone()).unwrap_or_default()
    }

    #[test]
    fn only_who_rests_in_these_bars_is_proposed_for_a_passage_out_of_reach() {
        let oboe = "oboe plays held bars 1..2 as harmony\noboe rests bars 3..4";
        let violas = "viola plays held as harmony";
        // The violas rest for as long as the note lasts, but play in its bar.
        let told = advised(oboe, violas);
        assert!(
            told.contains("give the passage to Oboe, who can play it and rests there"),
            "{told}"
        );
        let told = advised("oboe plays held as harmony", violas);
        assert!(told.starts_with("Set the note an octave higher."), "{told}");
        assert!(!told.contains("Oboe") && !told.contains("Violas"), "{told}");
        let told = advised("oboe plays held as harmony", "viola rests");
        assert!(
            told.contains("give the passage to Violas, who can play it and rest there"),
            "{told}"
        );
    }

    #[test]
    fn a_run_too_fast_is_not_given_to_who_is_busy() {
        let help = |violas: &str| {
            let text = format!(
                "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key C major, tempo 1/4 at 120\n2 end }}\n\
                 voice tune {{ 1: 1/16 D5 E F G A G F E D E F G A G F E | 2: 1/1 D5 | }}\n\
                 voice held {{ 1: 1/2 rest C4 | 2: 1/1 B3 | }}\n\
                 ensemble few {{ era 1840\nhorn in F, viola 4 players }}\n\
                 scoring few for few {{\nhorn plays tune 8vb as harmony\nviola {violas} }}\n"
            );
            let found = findings(&text);
            let found = found.iter().find(|found| found.code == "agility/too-fast");
            found.and_then(|found| found.help.clone()).unwrap_or_default()
        };
        let share = "Let the player take every other note, or share the run between two players";
        assert_eq!(help("rests"), format!("{share}, or give it to Violas."));
        assert_eq!(help("plays held as harmony"), format!("{share}."));
    }
}
