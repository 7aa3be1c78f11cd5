//! What a source may hold: texts that are too long are cut and told, and a file with more voices or
//! players than a source may have is refused with what to do.

use super::loss::{Losses, NOWHERE};
use super::score::{Bar, Says, Score};
use super::{Error, Setting};
use crate::limits;

/// Refuses more lines than there may be voices, or players where a scoring is made.
pub(super) fn refuse(score: &Score, setting: Setting) -> Result<(), Error> {
    let lines: usize = score.parts.iter().map(|part| part.lines.len()).sum();
    let refused = |whole: &str, of: &str, most: usize, remedy: &str| {
        Err(Error::new(format!(
            "the file has {lines} lines of music, and {whole} may have {most} {of}; import single parts with `--part`{remedy}"
        )))
    };
    if lines > limits::VOICES {
        return refused("a source", "voices", limits::VOICES, "");
    }
    if setting == Setting::Scoring && lines > limits::PARTS {
        return refused(
            "an ensemble",
            "parts",
            limits::PARTS,
            ", or voices alone with `--as voices`",
        );
    }
    Ok(())
}

/// Cuts what stands between quotes, and syllables, to what one may hold.
pub(super) fn cut(score: &mut Score, losses: &mut Losses) {
    let head = &mut score.head;
    for text in [
        &mut head.title,
        &mut head.subtitle,
        &mut head.composer,
        &mut head.arranger,
        &mut head.rights,
        &mut head.revision,
    ] {
        shorten(text.as_mut(), None, NOWHERE, losses);
    }
    for (index, bar) in score.bars.iter_mut().enumerate() {
        shorten(bar.mark.as_mut(), None, index, losses);
        let words = bar.tempo.as_mut().and_then(|tempo| tempo.words.as_mut());
        shorten(words, None, index, losses);
    }
    for (part, in_part) in score.parts.iter_mut().enumerate() {
        shorten(Some(&mut in_part.name), Some(part), NOWHERE, losses);
        for line in &mut in_part.lines {
            for direction in &mut line.directions {
                if let Says::Words(words) = &mut direction.says {
                    let bar = bar_of(&score.bars, direction.at);
                    shorten(Some(words), Some(part), bar, losses);
                }
            }
            for note in &mut line.notes {
                for syllable in note.lyrics.iter_mut().flat_map(|sung| sung.iter_mut()) {
                    let bar = bar_of(&score.bars, note.start);
                    shorten(Some(&mut syllable.text), Some(part), bar, losses);
                }
            }
        }
    }
}

fn bar_of(bars: &[Bar], at: crate::music::Time) -> usize {
    bars.partition_point(|bar| bar.end() <= at).min(bars.len().saturating_sub(1))
}

fn shorten(text: Option<&mut String>, part: Option<usize>, bar: usize, losses: &mut Losses) {
    let Some(text) = text.filter(|text| text.len() > limits::WORD) else { return };
    if text.chars().count() > limits::WORD {
        *text = text.chars().take(limits::WORD - 1).chain(['…']).collect();
        losses.changed("texts of more than 500 characters, cut", part, bar);
    }
}
