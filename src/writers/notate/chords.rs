//! Chord symbols over a staff, where a scoring line asks for them.

use crate::arrange::{Arrangement, Part};
use crate::music::{Chord, Interval, PitchName, Time};
use crate::resolve::{BarLine, HarmonyEvent};

use super::{FrameBar, Origin, Pitches, Staff, StaffDirection, StaffDirectionKind};

/// Puts the symbols of the harmony over the bars that lines `with chords` claim, each where its
/// chord begins, and the chord in force where such a line begins. A chord that goes on over a bar
/// line has its symbol again only where a section begins; where the harmony rests, it says that there
/// is no chord (common practice).
pub(super) fn set(
    staff: &mut Staff,
    part: &Part,
    arrangement: &Arrangement,
    (frame, pitches): (&[FrameBar], Pitches),
) {
    let piece = &arrangement.piece;
    let mut before: Option<&HarmonyEvent> = None;
    let mut put = |at: Time, chord: Option<Chord>, origin: Origin| {
        let index = piece.form.index_at(at);
        let (Some(bar), Some(measure)) =
            (piece.form.bars.get(index), staff.measures.get_mut(index))
        else {
            return;
        };
        let by = match pitches {
            Pitches::Written => -part.transposition_at(at),
            Pitches::Concert => Interval::UNISON,
        };
        let kind = StaffDirectionKind::Chord(chord.map(|chord| moved(chord, by)));
        let said = StaffDirection { at: at - bar.start, kind, origin };
        let place = measure.directions.partition_point(|other| other.at < said.at);
        measure.directions.insert(place, said);
    };
    for claim in &part.claims {
        if !arrangement.lines.get(claim.line.index()).is_some_and(|line| line.chords) {
            continue;
        }
        let within = |event: &&HarmonyEvent| {
            event.start < claim.to && claim.from < event.start + event.length
        };
        let origin = |source| Origin { source, line: Some(claim.line) };
        // From when on nothing is said yet of the chord.
        let mut open = claim.from;
        for event in piece.harmony.iter().filter(within) {
            let at = event.start.max(claim.from);
            if open < at {
                put(open, None, origin(None));
            }
            open = event.start + event.length;
            // Two lines side by side go on with the same chord.
            if before.is_some_and(|before| before == event) {
                continue;
            }
            let index = piece.form.index_at(at);
            let goes_on = before.is_some_and(|before| {
                before.chord == event.chord && before.start + before.length == at
            });
            before = Some(event);
            let at_bar = piece.form.bars.get(index).is_some_and(|bar| bar.start == at);
            if goes_on && at_bar && !begins_section(frame, index) {
                continue;
            }
            put(at, Some(event.chord), origin(Some(event.span)));
        }
        if open < claim.to && !piece.harmony.is_empty() {
            put(open, None, origin(None));
        }
    }
}

/// Does a reader look for the chord in force at the beginning of a bar: behind a repeat or a line
/// that is not plain, at a rehearsal mark, or where the music jumps to?
fn begins_section(frame: &[FrameBar], index: usize) -> bool {
    let Some(bar) = frame.get(index) else { return true };
    let ends = |before: &FrameBar| before.repeat_ends || before.line != BarLine::Plain;
    bar.mark.is_some()
        || bar.is_jumped_into()
        || index.checked_sub(1).is_some_and(|before| ends(&frame[before]))
}

fn moved(chord: Chord, by: Interval) -> Chord {
    let name = |name: PitchName| name.at(4).transposed_or_respelled(by).name();
    Chord { root: name(chord.root), bass: chord.bass.map(name), ..chord }
}

#[cfg(test)]
mod tests {
    use crate::notate::{StaffDirectionKind, notate};

    /// The chord symbols of the first scoring over the staff of a player, with bar and place.
    fn shown(source: &str, player: &str) -> String {
        let mut sources = crate::diagnostics::Sources::new();
        let file = sources.add("weir.ripieno", source.to_string());
        let (piece, _) = crate::resolve::resolve(&mut sources, file, &mut crate::resolve::NoFiles);
        let score = notate(&crate::arrange::arrange(&piece, &piece.scorings[0]));
        let staff = score.staves.iter().find(|staff| staff.id == player).unwrap();
        let said = staff.measures.iter().zip(&piece.form.bars).flat_map(|(measure, bar)| {
            measure.directions.iter().filter_map(move |said| {
                let StaffDirectionKind::Chord(chord) = &said.kind else { return None };
                let chord = chord.map_or_else(|| "none".to_string(), |chord| chord.to_string());
                Some(format!("{} {} {chord}", bar.number, said.at))
            })
        });
        said.collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn symbols_stand_where_chords_begin_at_the_pitch_of_the_part() {
        let source = "piece \"Weir\" { }\nform { 1 metre 4/4, key C major\n 3 end }\n\
            voice tune { 1: 1/1 C5 | 2: D | 3: E | }\n\
            harmony { 1: C | 2: 1/2 Dm7 G7/B | 3: C | }\n\
            ensemble duo { era 1885\n clarinet in Bb, oboe\n}\n\
            scoring plain for duo {\n clarinet plays tune bars 1..2 with chords, as melody\n \
            clarinet plays tune bars 3 as melody\n oboe plays tune as melody\n}\n";
        assert_eq!(shown(source, "clarinet"), "1 0/1 D, 2 0/1 Em7, 2 1/2 A7/C#");
        assert_eq!(shown(source, "oboe"), "");
    }

    #[test]
    fn where_the_harmony_rests_the_reader_is_told() {
        let source = "piece \"Weir\" { }\nform { 0 metre 4/4, key C major, pick-up 1/4\n 4 end }\n\
            voice tune { 0: 1/4 G4 | 1: 1/1 C5 | 2: D | 3: E | 4: C | }\n\
            harmony { 1: 3/4 C 1/4 rest | 2: rest 2 | 4: 1/2 rest C | }\n\
            ensemble solo { era 1885\n oboe\n}\n\
            scoring plain for solo {\n oboe plays tune with chords, as melody\n}\n";
        assert_eq!(shown(source, "oboe"), "0 0/1 none, 1 0/1 C, 1 3/4 none, 4 1/2 C");
    }

    #[test]
    fn a_chord_that_goes_on_has_its_symbol_again_only_where_a_section_begins() {
        let source = "piece \"Weir\" { }\nform { 1 metre 4/4, key C major\n 3 double-bar\n 5 mark \"A\"\n \
            6..7 repeat\n 8 end }\n\
            voice tune { 1: 1/1 C5 | 2: C | 3: C | 4: C | 5: C | 6: C | 7: C | 8: C | }\n\
            harmony { 1: C | 2: 1/2 C C | 3: C | 4: C | 5: C | 6: C | 7: C | 8: 1/2 C F | }\n\
            ensemble solo { era 1885\n oboe\n}\n\
            scoring plain for solo {\n oboe plays tune with chords, as melody\n}\n";
        assert_eq!(
            shown(source, "oboe"),
            "1 0/1 C, 2 1/2 C, 4 0/1 C, 5 0/1 C, 6 0/1 C, 8 0/1 C, 8 1/2 F"
        );
    }
}
