//! What is selected step by step around a place: the note, the beat, the bar, the phrase, the
//! block, the file.

use std::ops::Range;

use super::workspace::At;
use crate::music::Time;
use crate::resolve::{Note, Verb};
use crate::session::Session;
use crate::syntax::{BarTree, Element, Node, Spanned, VerbTree};

/// The ranges around a place, each within the next, from the smallest on; never empty.
pub fn ranges(session: &mut Session, at: At) -> Vec<Range<usize>> {
    let piece = session.piece(at.root);
    let document = session.document(at.file);
    let sources = session.sources();
    let text = document.text();
    let offset = at.offset.min(text.len());
    let holds = |range: &Range<usize>| range.start <= offset && offset <= range.end;
    let whole = 0..text.len();
    let mut all: Vec<Range<usize>> = Vec::from([whole]);
    let mut block = None;
    let mut here = None;
    for (start, item) in document.items() {
        if start > offset && here.is_some() && block.is_none() {
            break;
        }
        if item.node.opens().is_some() {
            block = Some(start);
        }
        let range = start..start + item.length();
        if holds(&range) && item.length() > 0 {
            here = Some((range.clone(), item));
        }
        if matches!(item.node, Node::Close | Node::Unclosed)
            && let Some(first) = block.take()
        {
            let whole = first..range.end;
            if holds(&whole) {
                all.push(whole);
                break;
            }
        }
    }
    let Some((range, item)) = here else { return finished(all, offset) };
    all.push(range);
    let mut bars: Vec<&BarTree> = Vec::new();
    match &item.node {
        Node::Bar(bar) => bars.push(bar),
        Node::ScoringLine(line) => {
            all.extend(line.who.iter().map(|who| sources.range(who.span)));
            all.extend(line.modifiers.iter().map(|m| sources.range(m.span)));
            if let VerbTree::Writes(written) = &line.verb {
                bars.extend(written.iter().map(|bar| &**bar));
            }
        }
        _ => {}
    }
    for bar in bars {
        let range = sources.range(bar.span());
        if !holds(&range) {
            continue;
        }
        all.push(range.clone());
        elements(&bar.read(), &mut |span| {
            let range = sources.range(span);
            if holds(&range) {
                all.push(range);
            }
        });
    }
    let voices = piece.voices.iter().map(|voice| &voice.music);
    let written = piece.scorings.iter().flat_map(|scoring| &scoring.lines);
    let written = written.filter_map(|line| match &line.verb {
        Verb::Writes(music) => Some(music),
        _ => None,
    });
    for music in voices.chain(written) {
        let own = |note: &Note| {
            note.span.file == at.file
                && note.span.first == item.id
                && holds(&sources.range(note.span))
        };
        let notes = &music.notes.to_vec()[..];
        if let Some(index) = notes.iter().rposition(own) {
            let note = &notes[index];
            let bytes = |first: usize, last: usize| {
                let (first, last) = (&notes[first], &notes[last]);
                let same_file = first.span.file == at.file && last.span.file == at.file;
                same_file.then(|| sources.range(first.span).start..sources.range(last.span).end)
            };
            if let Some(bar) = piece.form.bars.get(piece.form.index_at(note.start)) {
                let beat = bar.metre.beat();
                let number = |time: Time| (time - bar.start).div_floor(beat);
                let together = |other: &Note| {
                    other.start >= bar.start && number(other.start) == number(note.start)
                };
                all.extend(bytes(
                    run_down(notes, index, |other, _| together(other)),
                    run_up(notes, index, |other, _| together(other)),
                ));
            }
            // A phrase goes from rest to rest, and a slur holds it together.
            let joined = |first: &Note, second: &Note| first.start + first.length >= second.start;
            all.extend(bytes(
                run_down(notes, index, |other, next| joined(other, next)),
                run_up(notes, index, |other, before| joined(before, other)),
            ));
            break;
        }
    }
    finished(all, offset)
}

/// The first note of a run that ends with that of an index.
fn run_down(notes: &[Note], index: usize, goes_on: impl Fn(&Note, &Note) -> bool) -> usize {
    let mut first = index;
    while first > 0 && goes_on(&notes[first - 1], &notes[first]) {
        first -= 1;
    }
    first
}

/// The last note of a run that begins with that of an index.
fn run_up(notes: &[Note], index: usize, goes_on: impl Fn(&Note, &Note) -> bool) -> usize {
    let mut last = index;
    while last + 1 < notes.len() && goes_on(&notes[last + 1], &notes[last]) {
        last += 1;
    }
    last
}

fn elements(list: &[Spanned<Element>], push: &mut impl FnMut(crate::diagnostics::Span)) {
    for element in list {
        push(element.span);
        if let Element::Tuplet(_, _, inner) | Element::Grace(_, inner) = &element.value {
            elements(inner, push);
        }
        if let Element::Note(pitches, _) = &element.value {
            pitches.iter().for_each(|pitch| push(pitch.span));
        }
    }
}

/// In order, each within the next; what crosses another is left out.
fn finished(mut all: Vec<Range<usize>>, offset: usize) -> Vec<Range<usize>> {
    all.retain(|range| range.start <= offset && offset <= range.end);
    all.sort_by_key(|range| (range.len(), range.start));
    all.dedup();
    let mut kept: Vec<Range<usize>> = Vec::new();
    for range in all {
        let around = |inner: &Range<usize>| range.start <= inner.start && inner.end <= range.end;
        if kept.last().is_none_or(around) {
            kept.push(range);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    #[test]
    fn a_selection_grows_from_the_note_to_the_file() {
        let source = format!(
            "{FORM}voice upper {{\n  1: 1/4 D5 1/8 E ‸F 1/4 G rest |\n  2: 1/4 A5 G F E |\n  3: 1/1 D5 |\n}}\n"
        );
        let (mut session, at) = text(&source);
        let found = ranges(&mut session, at);
        let text = session.document(at.file).text();
        let words: Vec<&str> = found.iter().map(|range| &text[range.clone()]).collect();
        assert_eq!(words[..4], ["F", "E F", "D5 1/8 E F 1/4 G", "1: 1/4 D5 1/8 E F 1/4 G rest |"]);
        assert!(words[4].starts_with("voice upper {") && words[4].ends_with('}'));
        assert_eq!(words[5], text);
    }

    #[test]
    fn any_place_of_any_text_has_ranges_within_each_other() {
        for source in [
            "",
            "voice a {\n 1: 3:2(1/8 D5 E F) |",
            "scoring s for e {\n oboe, horn plays a bars 1..2 as bass\n}",
            "🎻",
        ] {
            for offset in (0..=source.len()).filter(|at| source.is_char_boundary(*at)) {
                let (mut session, at) = text(source);
                let found = ranges(&mut session, At { offset, ..at });
                assert!(found.windows(2).all(|w| w[1].start <= w[0].start && w[0].end <= w[1].end));
                assert_eq!(found.last(), Some(&(0..source.len())));
            }
        }
    }
}
