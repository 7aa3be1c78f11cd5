//! Computed notes that begin or end within a tuplet of a voice, so that they can be written.

use super::DerivedPart;
use crate::arrange::SoundingNote;
use crate::music::Time;
use crate::resolve::{Piece, Tuplet, Voice};

/// What is no whole number of these needs a tuplet to be written.
const FINEST: Time = Time::of(1, 1024);
/// Where a note begins or ends that lies in no tuplet: halves of what lies in one.
const COARSE: Time = Time::of(1, 32);

/// Gives a part the tuplets of the voices in which its notes begin or end. Where it would need two
/// at a time, or half of one, the note is shortened to what can be written.
pub(super) fn settle(piece: &Piece, part: &mut DerivedPart) {
    if part.notes.iter().all(|note| is_plain(note.start) && is_plain(note.end())) {
        return;
    }
    loop {
        part.tuplets = needed(piece, &part.notes);
        let mut settled = true;
        for note in &mut part.notes {
            let (start, end) = (note.start, note.end());
            let (mut from, mut to) = (start, end);
            if !is_written(&part.tuplets, start) {
                let around = around(piece, start).map(|tuplet| tuplet.start + tuplet.length).max();
                from = around.unwrap_or(start - start % COARSE + COARSE);
            }
            if !is_written(&part.tuplets, end) {
                let around = around(piece, end).map(|tuplet| tuplet.start).min();
                to = around.unwrap_or(end - end % COARSE);
            }
            settled &= (from, to) == (start, end);
            (note.start, note.length) = (from, to - from);
        }
        part.notes.retain(|note| note.length.is_positive());
        if settled {
            return;
        }
    }
}

/// Can it be written without a tuplet?
pub(super) fn is_plain(time: Time) -> bool {
    time % FINEST == Time::ZERO
}

fn is_written(tuplets: &[Tuplet], time: Time) -> bool {
    // They are in order, and none begins before the one before ends.
    let before = tuplets.partition_point(|tuplet| tuplet.start < time).checked_sub(1);
    is_plain(time) || before.is_some_and(|before| is_inside(&tuplets[before], time))
}

fn is_inside(tuplet: &Tuplet, time: Time) -> bool {
    tuplet.start < time && time < tuplet.start + tuplet.length
}

/// Can plain values inside the tuplet reach that time? Down to the quarter of a unit they do.
fn is_reached(tuplet: &Tuplet, time: Time) -> bool {
    let finest = tuplet.length.scaled(1, 4 * i64::from(tuplet.actual));
    finest.is_some_and(|finest| (time - tuplet.start) % finest == Time::ZERO)
}

/// The tuplets of all voices in which a time lies.
fn around(piece: &Piece, time: Time) -> impl Iterator<Item = &Tuplet> {
    let of_voice = move |voice: &'_ Voice| -> Option<usize> {
        let after = voice.music.tuplets.partition_point(|tuplet| tuplet.start < time);
        after.checked_sub(1)
    };
    piece.voices.iter().filter_map(move |voice| {
        let tuplet = &voice.music.tuplets[of_voice(voice)?];
        is_inside(tuplet, time).then_some(tuplet)
    })
}

/// A tuplet for each time that needs one, in order, if all that happens in it can be written there.
fn needed(piece: &Piece, notes: &[SoundingNote]) -> Vec<Tuplet> {
    let times: Vec<Time> = notes.iter().flat_map(|note| [note.start, note.end()]).collect();
    let mut needed: Vec<Tuplet> = Vec::new();
    for &time in times.iter().filter(|time| !is_plain(**time)) {
        let after = needed.last().map_or(Time::ZERO, |last| last.start + last.length);
        if time < after {
            continue;
        }
        let fits = |tuplet: &&Tuplet| {
            let first = times.partition_point(|time| *time <= tuplet.start);
            let mut inside = times[first..].iter().take_while(|time| is_inside(tuplet, **time));
            tuplet.start >= after && inside.all(|time| is_reached(tuplet, *time))
        };
        needed.extend(around(piece, time).find(fits).copied());
    }
    needed
}

#[cfg(test)]
mod tests {
    use super::super::tests::piece;
    use crate::arrange::arrange;

    /// The notes and tuplets of a horn that has one line, over two voices in 4/4.
    fn told(upper: &str, lower: &str, line: &str) -> (String, String) {
        let piece = piece(&format!(
            "form {{\n 1 metre 4/4, key C major, tempo 1/4 at 60\n 1 end\n}}\nharmony {{ 1: C | }}\n\
             voice upper {{\n1: {upper} |\n}}\nvoice lower {{\n1: {lower} |\n}}\n\
             ensemble e {{\n era 1885\n horn in F\n}}\nscoring s for e {{\n horn {line}\n}}\n"
        ));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let part = &arrangement.parts[0];
        let notes = part.notes.iter().map(|note| format!("{}+{}", note.start(), note.length()));
        let tuplets = part.tuplets.iter().map(|t| format!("{}+{}", t.start, t.length));
        (notes.collect::<Vec<_>>().join(" "), tuplets.collect::<Vec<_>>().join(" "))
    }

    const TRIPLET: &str = "1/2 C5 1/4 C5 3:2(1/8 C5 C5 rest)";

    #[test]
    fn a_hold_that_ends_in_a_triplet_of_the_voice_brings_the_triplet() {
        let (notes, tuplets) = told(TRIPLET, "rest", "sustains");
        assert_eq!((notes.as_str(), tuplets.as_str()), ("0/1+11/12", "3/4+1/4"));
    }

    #[test]
    fn a_note_that_no_tuplet_can_show_is_shortened() {
        // The voices fall silent where neither 3:2 nor 5:4 reaches both ends.
        let (notes, tuplets) = told(
            "1/2 C5 5:4(1/8 C5 rest C5 rest rest)",
            "1/2 C4 3:2(1/4 rest C4 rest)",
            "sustains",
        );
        assert_eq!((notes.as_str(), tuplets.as_str()), ("0/1+1/2", ""));
    }
}
