//! What is sung: syllables as they stand in a file, and as the language writes them under a voice.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::loss::Losses;
use super::raw::{Sung, Syllable};
use super::score::{Bar, PartLine};
use super::signs;

/// The most verses under one voice.
pub(super) const MOST_VERSES: u8 = 20;

const SOFT_HYPHEN: char = '\u{ad}';
/// What stands for a hyphen between syllables.
const HYPHENS: [char; 4] = ['-', '\u{2010}', '\u{2011}', SOFT_HYPHEN];

/// A syllable of a file; `None` if nothing of its text can stand in lyrics.
pub(super) fn syllable(verse: u8, text: &str, goes_on: bool) -> Option<Syllable> {
    // Blanks part syllables, and these signs have a meaning of their own.
    let plain: String = text
        .chars()
        .filter(|c| !matches!(c, '|' | '{' | '}' | '+' | '=' | '_') && !c.is_control())
        .collect();
    let plain = plain.replace("//", "/");
    let words: Vec<&str> = plain.split_whitespace().collect();
    let joined = words.join("+");
    let goes_on = goes_on || joined.ends_with(HYPHENS);
    let text = joined.trim_matches(|c| HYPHENS.contains(&c) || c == '+');
    // A hyphen inside is none between syllables.
    let text = text.replace(SOFT_HYPHEN, "").replace('-', "\u{2011}");
    (!text.is_empty()).then_some(Syllable { verse, text, goes_on })
}

/// Adds syllables to those of a note; gives back how many verses were there already with others.
pub(super) fn add(sung: &mut Sung, more: Sung) -> usize {
    let Some(more) = more else { return 0 };
    let Some(sung) = sung else {
        *sung = Some(more);
        return 0;
    };
    let mut left = 0;
    for syllable in *more {
        match sung.iter().find(|other| other.verse == syllable.verse) {
            Some(other) => left += usize::from(other.text != syllable.text),
            None => sung.push(syllable),
        }
    }
    left
}

/// Adds a syllable to those of its note; what one verse has twice is sung together.
pub(super) fn join(sung: &mut Sung, syllable: Syllable) {
    let all = sung.get_or_insert_default();
    match all.iter_mut().find(|other| other.verse == syllable.verse) {
        Some(other) => {
            other.text.push('+');
            other.text += &syllable.text;
            other.goes_on = syllable.goes_on;
        }
        None => all.push(syllable),
    }
}

/// Writes the verses of a line. `struck` are the notes as they are written, each with the index of
/// its bar.
pub(super) fn write(
    out: &mut String,
    line: &PartLine,
    struck: &[(usize, usize)],
    bars: &[Bar],
    (part, losses): (usize, &mut Losses),
) {
    let sung = |note: usize, verse: u8| {
        let all = line.notes[note].lyrics.iter().flat_map(|sung| sung.iter());
        all.into_iter().find(move |syllable| syllable.verse == verse)
    };
    let verses: BTreeSet<u8> = line
        .notes
        .iter()
        .flat_map(|note| note.lyrics.iter().flat_map(|sung| sung.iter()))
        .map(|syllable| syllable.verse)
        .collect();
    for verse in verses {
        let mut rows: Vec<(usize, Vec<Option<&Syllable>>)> = Vec::new();
        let mut begun = false;
        for notes in struck.chunk_by(|one, two| one.0 == two.0) {
            let bar = notes[0].0;
            let row: Vec<Option<&Syllable>> =
                notes.iter().map(|(_, note)| sung(*note, verse)).collect();
            let count = row.iter().flatten().count();
            if count == 0 {
                continue;
            }
            let bytes: usize = row.iter().map(|it| 2 + it.map_or(0, |it| it.text.len())).sum();
            let why = match () {
                () if !begun && row[0].is_none() => {
                    "sung words of a bar whose first notes have none"
                }
                () if bytes > signs::FULL_LINE => {
                    "sung words of a bar, more than stand on a line of a source"
                }
                () => "",
            };
            if !why.is_empty() {
                for _ in 0..count {
                    losses.left_out(why, Some(part), bar);
                }
                continue;
            }
            begun = true;
            rows.push((bar, row));
        }
        let count: usize = rows.iter().map(|(_, row)| row.iter().flatten().count()).sum();
        if count == 0 {
            continue;
        }
        let _ = match verse {
            1 => writeln!(out, "\nlyrics for {} {{", line.name),
            _ => writeln!(out, "\nlyrics for {} verse {verse} {{", line.name),
        };
        let mut written = 0;
        for (bar, row) in rows {
            let _ = write!(out, "  {}:", bars[bar].number);
            // A word that goes on is written without a blank.
            let mut joins = false;
            for syllable in row {
                if !joins || syllable.is_none() {
                    out.push(' ');
                }
                joins = false;
                let Some(syllable) = syllable else {
                    out.push('=');
                    continue;
                };
                written += 1;
                out.push_str(&syllable.text);
                if syllable.goes_on && written < count {
                    out.push('-');
                    joins = true;
                }
            }
            out.push_str(" |\n");
        }
        out.push_str("}\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_become_syllables() {
        let text = |text: &str| syllable(1, text, false).map(|s| (s.text, s.goes_on));
        assert_eq!(text("la"), Some(("la".to_string(), false)));
        assert_eq!(text("ma-"), Some(("ma".to_string(), true)));
        assert_eq!(text("gio\u{ad}"), Some(("gio".to_string(), true)));
        assert_eq!(text("\u{ad} ti\u{ad}on"), Some(("tion".to_string(), false)));
        assert_eq!(text(" o il "), Some(("o+il".to_string(), false)));
        assert_eq!(text("{a|"), Some(("a".to_string(), false)));
        assert_eq!(text("= _"), None);
    }
}
