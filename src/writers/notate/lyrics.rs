//! Lyrics: syllables put under the notes of who sings them.

use crate::arrange::LineOrigin;
use crate::instruments::Family;
use crate::resolve::Lyrics;

use super::{ElementKind, Measure, Staff};

/// Puts syllables under the notes of a staff: those of singers, and of who plays by a line that
/// says `with lyrics`. A syllable stands at the first piece of its note; the last one of a word whose note is tied over
/// a bar line is held as one on several notes is (source: Gould, Behind Bars, 2011, chapter Vocal Music, from memory). Where several verses begin
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
    for (bar, sings) in sings.iter().enumerate().take(measures.len()) {
        let (earlier, rest) = measures.split_at_mut(bar);
        let mut first = true;
        for element in &mut rest[0].elements {
            let ElementKind::Note(note) = &mut element.kind else { continue };
            if note.grace.is_some() {
                continue;
            }
            if std::mem::take(&mut first) && note.tie_from {
                hold_over(earlier);
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

/// The last syllable in these bars is held behind them, if it ends its word.
fn hold_over(bars: &mut [Measure]) {
    let elements = bars.iter_mut().flat_map(|bar| &mut bar.elements).rev();
    let mut notes = elements.filter_map(|element| match &mut element.kind {
        ElementKind::Note(note) if note.grace.is_none() => Some(note),
        _ => None,
    });
    // Pieces of one note: the first has the syllable.
    let Some(sung) = notes.find(|note| !note.tie_from) else { return };
    for syllable in sung.lyrics.iter_mut().filter(|syllable| !syllable.goes_on) {
        syllable.melisma = true;
    }
}

#[cfg(test)]
mod tests {
    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::notate::{ElementKind, notate};
    use crate::resolve::{NoFiles, resolve};

    #[test]
    fn the_end_of_a_word_that_is_tied_over_a_bar_line_is_held() {
        let source = "piece \"Weir\" { }\nform { 1 metre 2/4, key C major\n 5 end }\n\
             voice tune { 1: 1/4 D5 1/4 E5 | 2: 1/4 = D5 | 3: 1/4 E5 F5 | 4: 1/4 = G5 | 5: 1/2 C5 | }\n\
             lyrics for tune { 1: The tar | 2: is | 3: o ver- | 4: all | 5: now | }\n\
             ensemble few { era 1885\n soprano\n }\n\
             scoring plain for few { soprano plays tune as melody }\n";
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source.to_owned());
        let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
        let score = notate(&arrange(&piece, &piece.scorings[0]));
        let elements = score.staves[0].measures.iter().flat_map(|measure| &measure.elements);
        let held = elements.filter_map(|element| match &element.kind {
            ElementKind::Note(note) => Some(&note.lyrics),
            _ => None,
        });
        let held = held.flatten().filter(|syllable| syllable.melisma);
        assert_eq!(held.map(|syllable| &*syllable.text).collect::<Vec<_>>(), ["tar"]);
    }
}
