//! Lyrics: syllables put under the notes of who sings them.

use crate::arrange::LineOrigin;
use crate::instruments::Family;
use crate::resolve::Lyrics;

use super::{ElementKind, Measure, Staff};

/// Puts syllables under the notes of a staff: those of singers, and of who plays by a line that
/// says `with lyrics`. A syllable stands at the first piece of its note. Where several verses begin
/// together they are numbered, and again after notes without words or with one verse (common
/// practice).
pub(super) fn set(staff: &mut Staff, lyrics: &Lyrics, lines: &[LineOrigin]) {
    let sings: Vec<bool> = (0..staff.measures.len())
        .map(|bar| staff.instrument_in(bar).family == Family::Voice)
        .collect();
    set_measures(&mut staff.measures, &sings, lyrics, lines);
    set_measures(&mut staff.lower, &sings, lyrics, lines);
}

fn set_measures(measures: &mut [Measure], sings: &[bool], lyrics: &Lyrics, lines: &[LineOrigin]) {
    let mut before = None;
    let (mut numbered, mut held) = (false, false);
    for (measure, sings) in measures.iter_mut().zip(sings) {
        for element in &mut measure.elements {
            let ElementKind::Note(note) = &mut element.kind else { continue };
            if note.grace.is_some() {
                continue;
            }
            let source = element.origin.source;
            let begins = source != before;
            before = source;
            let asked = || {
                let line = element.origin.line.and_then(|line| lines.get(line.index()));
                line.is_some_and(|line| line.lyrics)
            };
            if begins
                && !note.tie_from
                && (*sings || asked())
                && let Some(source) = source
            {
                note.lyrics = lyrics.of(source).to_vec();
            }
            if begins && !note.tie_from {
                let starts = note.lyrics.iter().all(|syllable| !syllable.continues);
                match note.lyrics.len() {
                    0 => numbered &= held,
                    1 => numbered = false,
                    _ if !numbered && starts => (numbered, note.verses_numbered) = (true, true),
                    _ => {}
                }
                if !note.lyrics.is_empty() {
                    held = note.lyrics.iter().any(|syllable| syllable.melisma);
                }
            }
        }
    }
}
