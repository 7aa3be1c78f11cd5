//! Lines of octaves ("8va", "8vb") over passages that would need many ledger lines.
//!
//! Which instruments read them, and from which note on, stands in the catalogue. A line begins and
//! ends with a note beyond that limit, or with the slur over it; between two of them it goes on over notes that stand well
//! on the staff an octave lower (or higher), if they last no longer than a bar together. Fewer
//! than three such notes, or less than a bar of them, are read with ledger lines, for a line is
//! another thing to see. The rest of the last bar goes with them where all of it lies beyond three ledger lines.
//! Nothing is moved inside a tie or in front of the note of a grace note.
//! (Common practice; the figures are our heuristic.)
//!
//! Pitches stay what they are; whoever draws the staff moves the heads.

use crate::instruments::{Clef, Instrument, OctaveLines};
use crate::music::{Interval, Pitch, Time};
use crate::notate::{Beam, Element, ElementKind, FrameBar, Origin, stems};

use super::{EditionStaff, Spanner, SpannerKind};

/// The fewest notes of a line.
const FEWEST: usize = 3;

/// From the middle line to the space beyond the third ledger line, in steps.
const FAR: i32 = 11;

/// A note of the staff.
struct Read {
    bar: usize,
    at: Time,
    end: Time,
    /// Where it begins in the piece.
    start: Time,
    /// Does it lie beyond the limit, and can it stand under a line?
    beyond: bool,
    fits: bool,
    /// Does it lie beyond three ledger lines?
    far: bool,
    tie_from: bool,
    tie_to: bool,
    grace: bool,
    /// Does a beam come from the note before?
    beamed: bool,
    /// Does a slur come from the note before?
    slurred: bool,
}

/// The lines of a staff of one player; the stems under them are set for where the heads stand.
pub(super) fn lines(
    staff: &mut EditionStaff,
    frame: &[FrameBar],
    first: &'static Instrument,
) -> Vec<Spanner> {
    let mut spans = Vec::new();
    let uses = |instrument: &Instrument| instrument.octave_lines.is_some();
    if !uses(first) && !staff.bars.iter().filter_map(|bar| bar.instrument).any(uses) {
        return spans;
    }
    for octaves in [1, -1] {
        let notes = notes(staff, frame, (first, octaves));
        for (from, to) in passages(&notes, frame) {
            let (first, last) = (&notes[from], &notes[to]);
            spans.push(Spanner {
                kind: SpannerKind::OctaveLine {
                    from: (first.bar, first.at),
                    to: (last.bar, last.end),
                    octaves,
                },
                above: octaves > 0,
                number: 1,
                origin: Origin::default(),
            });
        }
    }
    for span in &spans {
        set_stems(staff, span);
    }
    spans
}

fn limit(lines: &OctaveLines, octaves: i8) -> Option<Pitch> {
    if octaves > 0 { lines.above } else { lines.below }
}

/// The notes of a staff, with what a line of so many octaves up would make of them.
fn notes(
    staff: &EditionStaff,
    frame: &[FrameBar],
    (first, octaves): (&'static Instrument, i8),
) -> Vec<Read> {
    let mut notes = Vec::new();
    let mut clef = Clef::Treble;
    let mut instrument = first;
    let mut slurred = false;
    for (bar, (content, frame)) in staff.bars.iter().zip(frame).enumerate() {
        instrument = content.instrument.unwrap_or(instrument);
        let limit = instrument.octave_lines.as_ref().and_then(|lines| limit(lines, octaves));
        let mut clefs = content.clefs.iter().peekable();
        // Cues and the voices of two players stay as they are.
        let [voice] = content.voices.as_slice() else { continue };
        for element in voice.elements.iter() {
            while let Some((_, next)) = clefs.next_if(|(at, _)| *at <= element.at) {
                clef = *next;
            }
            let ElementKind::Note(note) = &element.kind else { continue };
            let pitches = || note.heads.iter().map(|head| head.pitch);
            let (low, high) = (pitches().min(), pitches().max());
            let (beyond, fits, far) = match (limit, low, high) {
                (Some(limit), Some(low), Some(high)) if !element.cue => {
                    // An octave away it stands between the lines, or nearly.
                    let middle = stems::middle_step(clef);
                    if octaves > 0 {
                        let away = low.step() - middle;
                        (high > limit, away - 7 >= -4, away >= FAR)
                    } else {
                        let away = middle - high.step();
                        (low < limit, away - 7 >= -4, away >= FAR)
                    }
                }
                _ => (false, false, false),
            };
            notes.push(Read {
                bar,
                at: element.at,
                end: element.at + element.length,
                start: frame.start + element.at,
                beyond: beyond && fits,
                fits,
                far,
                tie_from: note.tie_from,
                tie_to: note.tie_to,
                grace: note.grace.is_some(),
                beamed: matches!(element.beams.first(), Some(Beam::Continues | Beam::Ends)),
                slurred,
            });
            slurred = (slurred && !note.slur_ends) || note.slur_starts;
        }
        if let Some((_, last)) = clefs.next_back() {
            clef = *last;
        }
    }
    notes
}

/// First and last notes of the passages that get a line.
fn passages(notes: &[Read], frame: &[FrameBar]) -> Vec<(usize, usize)> {
    let mut passages = Vec::new();
    let mut index = 0;
    while index < notes.len() {
        if !notes[index].beyond {
            index += 1;
            continue;
        }
        let mut last = index;
        for next in index + 1..notes.len() {
            let bar = frame[notes[last].bar].length;
            let away = notes[next].start - (notes[last].start + notes[last].end - notes[last].at);
            if !notes[next].fits || away >= bar {
                break;
            }
            if notes[next].beyond {
                last = next;
            }
        }
        let (mut from, mut to) = (index, last);
        // A tie is not cut: what it comes from and goes to stands under the line too. Nor is a beam,
        // where that can be.
        let goes_on = |to: usize, next: &Read| next.fits && (notes[to].tie_to || next.beamed);
        while notes.get(to + 1).is_some_and(|next| goes_on(to, next)) {
            to += 1;
        }
        let comes_from =
            |from: usize| notes[from].tie_from || notes[from].beamed || notes[from - 1].grace;
        while from > 0 && notes[from - 1].fits && comes_from(from) {
            from -= 1;
        }
        (from, to) = with_slurs(notes, (from, to), frame);
        to = with_bar(notes, to);
        let whole = !notes[to].tie_to && !notes[from].tie_from && !notes[to].grace;
        let beyond = notes[from..=to].iter().filter(|note| note.beyond && !note.grace).count();
        let lasts = notes[to].start + notes[to].end - notes[to].at - notes[from].start;
        let long = beyond >= FEWEST && lasts * 2 >= frame[notes[from].bar].length;
        if whole && long {
            passages.push((from, to));
        }
        index = last.max(to) + 1;
    }
    passages
}

/// A passage with the rest of the slurs that it would cut, where all of their notes can stand under the
/// line and those that need it no more last no longer than a bar: a line begins and ends with a phrase.
fn with_slurs(notes: &[Read], (from, to): (usize, usize), frame: &[FrameBar]) -> (usize, usize) {
    let bar = frame[notes[from].bar].length;
    let goes_on = notes[to + 1..].iter().take_while(|next| next.slurred).count();
    let comes = notes[..=from].iter().rev().take_while(|note| note.slurred).count();
    let (begin, end) = (from - comes.min(from), to + goes_on);
    let fits = |notes: &[Read]| notes.iter().all(|note| note.fits);
    let stop = |note: &Read| note.start + note.end - note.at;
    let whole = |note: &Read| !note.tie_from && !note.grace;
    let begin = if fits(&notes[begin..from])
        && whole(&notes[begin])
        && notes[from].start - notes[begin].start <= bar
    {
        begin
    } else {
        from
    };
    let last = &notes[end];
    let end = if fits(&notes[to + 1..=end]) && !last.tie_to && stop(last) - stop(&notes[to]) <= bar
    {
        end
    } else {
        to
    };
    (begin, end)
}

/// The last note of a line that also takes the rest of its bar, where all of that lies beyond three ledger
/// lines: nobody reads on in another way for a few notes like those before.
fn with_bar(notes: &[Read], to: usize) -> usize {
    let same = |next: &&Read| next.bar == notes[to].bar;
    let rest = notes[to + 1..].iter().take_while(same).count();
    let whole = notes[to + 1..=to + rest].iter().all(|next| next.fits && next.far);
    if whole && !notes[to + rest].tie_to { to + rest } else { to }
}

/// Sets the stems under a line for heads that stand an octave away.
fn set_stems(staff: &mut EditionStaff, span: &Spanner) {
    let SpannerKind::OctaveLine { from, to, octaves } = span.kind else { return };
    let away = Interval::octaves(-i32::from(octaves));
    let mut clef = Clef::Treble;
    for (bar, content) in staff.bars.iter_mut().enumerate().take(to.0 + 1) {
        let Some(voice) = content.voices.first_mut().filter(|_| bar >= from.0) else {
            clef = content.clefs.last().map_or(clef, |(_, last)| *last);
            continue;
        };
        let under =
            |element: &Element| ((from.0, from.1)..(to.0, to.1)).contains(&(bar, element.at));
        let mut moved = voice.elements.to_vec();
        for element in moved.iter_mut().filter(|element| under(element)) {
            if let ElementKind::Note(note) = &mut element.kind {
                for head in &mut note.heads {
                    head.pitch = head.pitch.transposed_or_respelled(away);
                }
            }
        }
        clef = stems::set_bar(&mut moved, &content.clefs, clef);
        for (element, moved) in voice.elements.to_mut().iter_mut().zip(&moved) {
            element.stem = moved.stem;
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::edition::{Edition, SpannerKind, full_score};
    use crate::instruments::find;
    use crate::notate::testing::Fixture;

    /// The lines of a harpist's upper and lower staff: bars and times, octaves.
    fn lines(id: &str, notes: &str) -> Vec<String> {
        let instrument = find(id).unwrap();
        let score = Fixture::new(&["4/4"; 6]).instrument(instrument).notes(notes).score();
        spans(&full_score(&score))
    }

    fn spans(edition: &Edition) -> Vec<String> {
        let spans = edition.staves.iter().flat_map(|staff| &staff.spans);
        spans
            .filter_map(|span| match &span.kind {
                SpannerKind::OctaveLine { from, to, octaves } => {
                    Some(format!("{} {} to {} {}: {octaves}", from.0 + 1, from.1, to.0 + 1, to.1))
                }
                _ => None,
            })
            .collect()
    }

    #[test]
    fn a_high_passage_has_a_line_from_its_first_to_its_last_high_note() {
        let high = "0/1 1/4 C6, 1/4 1/4 A6, 1/2 1/4 E6, 3/4 1/4 G6, 1/1 1/4 B6, 5/4 3/4 E6";
        assert_eq!(lines("harp", high), ["1 1/4 to 2 1/4: 1"]);
        assert_eq!(lines("violin", high), Vec::<String>::new());
        // A flute reads ledger lines.
        let higher = "0/1 1/4 B6, 1/4 1/4 C7, 1/2 1/4 B6, 3/4 1/4 C7";
        assert_eq!(lines("violin", higher), ["1 0/1 to 1 1/1: 1"]);
        assert_eq!(lines("flute", higher), Vec::<String>::new());
    }

    #[test]
    fn two_high_notes_and_notes_far_below_have_none() {
        assert!(lines("harp", "0/1 1/4 A6, 1/4 1/4 B6, 1/2 1/2 C6").is_empty());
        assert!(
            lines("harp", "0/1 1/1 A6, 1/1 1/1 D5, 2/1 1/1 A6, 3/1 1/1 D5, 4/1 1/1 A6").is_empty()
        );
    }

    #[test]
    fn a_line_begins_and_ends_with_a_beam() {
        let beamed =
            "0/1 1/8 C5, 1/8 1/8 C5, 1/4 1/8 E6, 3/8 1/8 A6, 1/2 1/4 A6, 3/4 1/8 B6, 7/8 1/8 D6";
        assert_eq!(lines("harp", beamed), ["1 1/4 to 1 1/1: 1"]);
    }

    #[test]
    fn a_line_takes_the_rest_of_a_slur_with_it() {
        let notes =
            "0/1 1/4 C6, 1/4 1/4 E6, 1/2 1/4 A6, 3/4 1/4 B6, 1/1 1/4 A6, 5/4 1/4 E6, 3/2 1/4 C6";
        let line = |slur: Option<(usize, usize)>| -> Vec<String> {
            let harp = find("harp").unwrap();
            let players = Fixture::new(&["4/4"; 3]).instrument(harp).notes(notes);
            let players = match slur {
                Some((from, to)) => players.slur(from, to),
                None => players,
            };
            let score = players.score();
            spans(&full_score(&score))
        };
        assert_eq!(line(None), ["1 1/2 to 2 1/4: 1"]);
        assert_eq!(line(Some((1, 5))), ["1 1/4 to 2 1/2: 1"]);
        assert_eq!(line(Some((4, 6))), ["1 1/2 to 2 3/4: 1"]);
    }

    #[test]
    fn a_line_takes_the_rest_of_a_bar_that_is_nearly_as_high() {
        let high = |last: &str| {
            let notes = format!("0/1 1/4 A6, 1/4 1/4 B6, 1/2 1/4 A6, 3/4 1/4 {last}, 1/1 1/1 E6");
            lines("harp", &notes)
        };
        assert_eq!(high("F6"), ["1 0/1 to 1 1/1: 1"]);
        assert_eq!(high("C6"), ["1 0/1 to 1 3/4: 1"]);
    }

    #[test]
    fn low_notes_have_one_below() {
        let low = "0/1 1/4 F1, 1/4 1/4 E1, 1/2 1/4 D1, 3/4 1/4 E1, 1/1 1/1 C3";
        assert_eq!(lines("piano", low), ["1 0/1 to 1 1/1: -1"]);
    }
}
