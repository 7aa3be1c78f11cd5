//! Figures under a bass, where a scoring line asks for them.
//!
//! A figure stands where a chord begins and where the bass goes on to another note of it on a beat, or strikes
//! its note again there, but for notes that are drummed: a new note without figures is a common chord. What the bass only passes through has
//! none. (Common practice; that notes between the beats have none is our heuristic.)

use crate::arrange::{Arrangement, Claim, Part};
use crate::music::{Figure, Figures, Interval, PitchName, Time, all_figures, figures};
use crate::resolve::{Bar, HarmonyEvent};

use super::{Origin, Pitches, Staff, StaffDirection, StaffDirectionKind, tasto};

/// A note of the bass.
#[derive(Clone, Copy)]
struct Bass {
    start: Time,
    end: Time,
    name: PitchName,
}

/// Puts the figures of the harmony under the notes that lines `with figures` give to a part.
pub(super) fn set(
    staff: &mut Staff,
    part: &Part,
    arrangement: &Arrangement,
    harmony: &[HarmonyEvent],
    pitches: Pitches,
) {
    let piece = &arrangement.piece;
    for claim in &part.claims {
        let Some(line) = arrangement.lines.get(claim.line.index()).filter(|line| line.figures)
        else {
            continue;
        };
        let bass = match line.realises.and_then(|voice| piece.voices.get(voice)) {
            Some(voice) => {
                let notes = voice.music.notes.iter();
                notes.filter_map(|note| of(note.start, note.length, note.sound.pitches())).collect()
            }
            None => {
                let notes = part.notes.iter().filter(|note| part.line_of(note) == claim.line);
                notes
                    .filter_map(|note| of(note.start(), note.length(), note.sound().pitches()))
                    .collect::<Vec<_>>()
            }
        };
        let starts = bass.iter().map(|note| note.start);
        let starts = starts.filter(|at| claim.from <= *at && *at < claim.to);
        let silent = tasto::stretches(&piece.form, harmony, starts);
        let mut said: Option<(Bass, &HarmonyEvent, Figures)> = None;
        for (at, note, event) in places(&piece.form, harmony, &bass, claim) {
            let by = match pitches {
                Pitches::Written => -part.transposition_at(at),
                Pitches::Concert => Interval::UNISON,
            };
            let moved = |name: PitchName| name.at(4).transposed_or_respelled(by).name();
            let mut chord = event.chord;
            chord.root = moved(chord.root);
            chord.bass = chord.bass.map(moved);
            let key = piece.form.bar_at(at).key.transposed(by);
            let mut shown = figures(&chord, moved(note.name), key);
            if let Some((before, chord_before, figures_before)) = &said {
                let same = before.name == note.name && *chord_before == event;
                if same && (shown.is_empty() || drums(&bass, note, piece.form.bar_at(at))) {
                    continue;
                }
                if before.start == note.start && !figures_before.is_empty() {
                    resolve(
                        &mut shown,
                        figures_before,
                        &all_figures(&chord, moved(note.name), key),
                    );
                }
            }
            // A common chord, too, is told to who was to play none.
            let again = silent.iter().any(|(_, to)| *to == note.start);
            if shown.is_empty() && again && at == note.start {
                shown.extend([Figure::plain(5), Figure::plain(3)]);
            }
            said = Some((note, event, shown.clone()));
            let index = piece.form.index_at(at);
            let rows = if staff.lower.is_empty() { &mut staff.measures } else { &mut staff.lower };
            let (Some(bar), Some(measure)) = (piece.form.bars.get(index), rows.get_mut(index))
            else {
                continue;
            };
            if shown.is_empty() {
                continue;
            }
            let origin = Origin { source: Some(event.span), line: Some(claim.line) };
            let kind = StaffDirectionKind::Figures(shown);
            let figured = StaffDirection { at: at - bar.start, kind, origin };
            let place = measure.directions.partition_point(|other| other.at <= figured.at);
            measure.directions.insert(place, figured);
        }
    }
}

/// Does a note of a beat at most go on as the one before it in its bar, at its pitch and as long? What is drummed keeps
/// the figures of its first note. (Our heuristic.)
fn drums(bass: &[Bass], note: Bass, bar: &Bar) -> bool {
    let before = bass.partition_point(|other| other.start < note.start).checked_sub(1);
    let length = note.end - note.start;
    before.map(|before| bass[before]).is_some_and(|before| {
        before.end == note.start
            && before.name == note.name
            && before.end - before.start == length
            && length <= bar.metre.beat()
            && bar.start <= before.start
    })
}

/// Writes out what a chord resolves over a held bass, by the figures before and all of its own: a suspension by the
/// interval into which it goes (9 8, 4 3), and a common chord as such behind what does not go down by step.
/// (Common practice.)
fn resolve(shown: &mut Figures, before: &Figures, all: &Figures) {
    let had = |number| before.iter().any(|figure| figure.number == number);
    let goes_to = |figure: &Figure| match figure.number - 1 {
        8 => Some(Figure::plain(8)),
        into if had(into) => None,
        into => all.iter().find(|figure| figure.number == into).copied(),
    };
    let gone = before.iter().filter(|old| all.iter().all(|figure| figure.number != old.number));
    let into: Vec<(u8, Option<Figure>)> = gone.map(|old| (old.number, goes_to(old))).collect();
    if !shown.is_empty() {
        // A fourth beside a sixth is no suspension: behind “6 4” a 7 says it all.
        let is_held = |number: u8| number == 9 || number == 4 && !had(6);
        let new = into.iter().filter(|(number, _)| is_held(*number)).filter_map(|(_, new)| *new);
        for new in new {
            if shown.iter().all(|figure| figure.number != new.number) {
                shown.push(new);
            }
        }
    } else if !into.is_empty() && into.iter().all(|(_, new)| new.is_some()) {
        shown.extend(into.into_iter().filter_map(|(_, new)| new));
    } else {
        shown.extend((!had(5)).then_some(Figure::plain(5)));
        shown.push(Figure::plain(3));
    }
    shown.sort_unstable_by(|a, b| b.cmp(a));
}

fn of(start: Time, length: Time, pitches: &[crate::music::Pitch]) -> Option<Bass> {
    pitches.first().map(|pitch| Bass { start, end: start + length, name: pitch.name() })
}

/// Where figures may stand: each place with the note of the bass and the chord.
fn places<'h>(
    form: &crate::resolve::Form,
    harmony: &'h [HarmonyEvent],
    bass: &[Bass],
    claim: &Claim,
) -> Vec<(Time, Bass, &'h HarmonyEvent)> {
    let mut found = Vec::new();
    for note in bass.iter().filter(|note| note.start < claim.to && note.end > claim.from) {
        let (from, to) = (note.start.max(claim.from), note.end.min(claim.to));
        let first = harmony.partition_point(|event| event.start + event.length <= from);
        for event in harmony[first..].iter().take_while(|event| event.start < to) {
            let at = event.start.max(from);
            let begins = event.start == at;
            let class = note.name.class();
            let member = event.chord.has_class(class) || event.chord.bass_note().class() == class;
            if begins || (member && form.weight(at) >= 1) {
                found.push((at, *note, event));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use crate::notate::notate;
    use crate::notate::testing::directions;

    /// The figures of a cello on a bass under a harmony, both by bars.
    fn under(low: &str, harmony: &str) -> String {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key C minor\n 4 end }}\n\
            voice low {{ {low} }}\nharmony {{ {harmony} }}\n\
            ensemble duo {{ era 1725\n cello, harpsichord\n}}\n\
            scoring plain for duo {{\n cello plays low with figures, as bass\n \
            harpsichord realises low as bass\n}}\n"
        );
        let mut sources = crate::diagnostics::Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, _) = crate::resolve::resolve(&mut sources, file, &mut crate::resolve::NoFiles);
        let score = notate(&crate::arrange::arrange(&piece, &piece.scorings[0]));
        let cello = score.staves.iter().position(|staff| staff.id == "cello").unwrap();
        directions(&score, cello)
    }

    #[test]
    fn figures_stand_under_the_bass_where_chords_begin_and_the_bass_goes_on() {
        assert_eq!(
            under(
                "1: 1/2 C3 Eb | 2: 1/1 G2 | 3: 1/4 B2 C D G | 4: 1/1 C3 |",
                "1: Cm | 2: 1/2 Cm/G G7 | 3: 1/2 G7/B G7 | 4: Cm |"
            ),
            "1 1/2 6, 2 0/1 6/4, 2 1/2 7/♮, 3 0/1 6/5, 3 1/2 ♮6/4/3, 3 3/4 7/♮"
        );
    }

    #[test]
    fn a_suspension_over_a_held_bass_is_resolved_by_its_interval() {
        assert_eq!(
            under(
                "1: 1/1 C3 | 2: 1/1 F2 | 3: 1/1 Bb2 | 4: 1/1 C3 |",
                "1: 1/2 Cmadd9 Cm | 2: 1/2 Fsus4 Fm | 3: 1/2 Bb7sus4 Bb7 | 4: 1/2 Ab/C Cm |"
            ),
            "1 0/1 9, 1 1/2 8, 2 0/1 5/4, 2 1/2 3, 3 0/1 7/4, 3 1/2 7/3, 4 0/1 6, 4 1/2 5"
        );
        // What does not go down by step ends in a common chord.
        assert_eq!(
            under(
                "1: 1/1 Bb2 | 2: 1/1 C3 | 3: rest | 4: rest |",
                "1: 1/2 Bb7 Bb | 2: Cm | 3: Cm | 4: Cm |"
            ),
            "1 0/1 7, 1 1/2 5/3"
        );
    }

    #[test]
    fn a_bass_that_is_struck_again_on_a_beat_has_its_figures_again() {
        assert_eq!(
            under(
                "1: 1/2 G2 1/4 G2 1/8 G2 G2 | 2: 1/2 C3 C3 | 3: 1/2 Eb3 Eb3 | 4: 1/1 C3 |",
                "1: G7 | 2: Cm | 3: Cm/Eb | 4: Cm |"
            ),
            "1 0/1 7/♮, 1 1/2 7/♮, 1 3/4 7/♮, 3 0/1 6, 3 1/2 6"
        );
        // Drummed quarters have them once in a bar.
        let drummed = "1: 1/4 G2 G2 G2 G2 | 2: 1/4 G2 G2 G2 G2 | 3: 1/1 C3 | 4: 1/1 C3 |";
        let harmony = "1: G7 | 2: G7 | 3: Cm | 4: Cm |";
        assert_eq!(under(drummed, harmony), "1 0/1 7/♮, 2 0/1 7/♮");
    }
}
