//! "Tasto solo": where the harmony rests, whoever makes chords over a bass plays the bass alone.
//!
//! A bass without figures has a common chord on each note, so that silence must be told. It holds
//! until figures come again, or "continuo" (after C. P. E. Bach, Versuch, part 2, 1762, the chapter on
//! accompaniment with the left hand alone, from memory).

use crate::arrange::{Arrangement, Part};
use crate::music::Time;
use crate::resolve::{Form, HarmonyEvent};

use super::{Origin, Staff, directions, hands};

/// From a note of the bass with which the harmony rests to the first that has a chord again, or to
/// the end of the piece. `notes` are where the notes of the bass begin, in order.
///
/// Nobody makes chords over an up-beat or a short note anyway, so that rests of less than a bar are
/// not told (our heuristic), nor is a bass that begins before the harmony does.
pub(super) fn stretches(
    form: &Form,
    harmony: &[HarmonyEvent],
    notes: impl IntoIterator<Item = Time>,
) -> Vec<(Time, Time)> {
    let Some(first) = harmony.first() else { return Vec::new() };
    let rests = |at: Time| {
        let next = harmony.partition_point(|event| event.start + event.length <= at);
        harmony.get(next).is_none_or(|event| event.start > at)
    };
    let mut found: Vec<(Time, Time)> = Vec::new();
    let mut open = None;
    for at in notes.into_iter().filter(|at| *at >= first.start) {
        if rests(at) {
            open.get_or_insert(at);
        } else {
            found.extend(open.take().map(|from| (from, at)));
        }
    }
    found.extend(open.map(|from| (from, end(form))));
    found.retain(|(from, to)| *to - *from >= form.bar_at(*from).metre.bar_length());
    found
}

/// Tells it to a part whose bass asks for chords: by figures, or as a continuo without them.
pub(super) fn set(staff: &mut Staff, part: &Part, arrangement: &Arrangement) {
    let piece = &arrangement.piece;
    if piece.harmony.is_empty() {
        return;
    }
    let continuo = hands::is_continuo(part);
    let figured = |note: &crate::arrange::PackedNote| {
        let line = part.line_of(note);
        arrangement.lines.get(line.index()).is_some_and(|line| line.figures)
    };
    let basses = part.notes.iter().filter(|note| continuo || figured(note));
    for (from, to) in stretches(&piece.form, &piece.harmony, basses.map(|note| note.start())) {
        if !say(staff, part, &piece.form, from, "tasto solo") {
            continue;
        }
        let mut after = part.notes.iter().skip_while(|note| note.start() < to);
        if after.next().is_some_and(|note| note.start() == to && !figured(note)) {
            say(staff, part, &piece.form, to, "continuo");
        }
    }
}

/// Puts words where a note begins, unless the arranger says as much there: are they new?
fn say(staff: &mut Staff, part: &Part, form: &Form, at: Time, words: &str) -> bool {
    let index = form.index_at(at);
    let (Some(bar), Some(measure)) = (form.bars.get(index), staff.measures.get_mut(index)) else {
        return false;
    };
    let origin = Origin { source: None, line: part.line_at(at) };
    directions::say_of_chords(measure, at - bar.start, words, origin)
}

/// Where the piece ends.
fn end(form: &Form) -> Time {
    form.bars.last().map_or(Time::ZERO, |bar| bar.start + bar.length)
}

#[cfg(test)]
mod tests {
    use crate::notate::notate;
    use crate::notate::testing::directions;

    const SOURCE: &str = "piece \"Weir\" { }\nform { 1 metre 4/4, key C major\n 7 end }\n\
        voice low { 1: 1/1 C3 | 2: 1/2 D3 E | 3: 1/2 F3 G | 4: 1/1 C3 | 5: 1/2 G3 F | 6: 1/2 E3 C |\n\
        7: 1/1 C3 | }\n\
        harmony { 1: C | rest 2 | 4: C | 5: 1/2 G rest | 6: C | 7: C | }\n\
        ensemble duo { era 1725\n cello 2 players, harpsichord\n}\n";

    fn score(lines: &str) -> crate::notate::Score {
        let source = format!("{SOURCE}scoring plain for duo {{\n{lines}\n}}\n");
        let mut sources = crate::diagnostics::Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, findings) =
            crate::resolve::resolve(&mut sources, file, &mut crate::resolve::NoFiles);
        assert!(findings.is_empty(), "{findings:?}");
        notate(&crate::arrange::arrange(&piece, &piece.scorings[0]))
    }

    /// The half bar of bar 5 is not told: nobody strikes a chord anew for so short a rest.
    #[test]
    fn a_bass_whose_harmony_rests_is_played_alone_until_chords_come_again() {
        let score = score("cello plays low with figures, as bass\nharpsichord plays low as bass");
        let continuo = "1 0/1 \"basso continuo\", 2 0/1 \"tasto solo\", 4 0/1 \"continuo\"";
        assert_eq!(directions(&score, 0), continuo);
        assert_eq!(directions(&score, 1), "2 0/1 \"tasto solo\", 4 0/1 5/3, 6 0/1 6");
    }

    #[test]
    fn what_the_arranger_says_is_not_said_again() {
        let score = score(
            "cello rests\nharpsichord plays low bars 1..1 as bass\n\
            harpsichord plays low bars 2..7 as bass, \"tasto solo\"",
        );
        assert_eq!(directions(&score, 0), "1 0/1 \"basso continuo\", 2 0/1 \"tasto solo\"");
    }

    #[test]
    fn hands_that_are_written_out_are_not_told() {
        let score = score("cello plays low as bass\nharpsichord realises low as bass");
        assert!(!directions(&score, 0).contains("tasto"));
        assert!(!directions(&score, 1).contains("tasto"));
    }
}
