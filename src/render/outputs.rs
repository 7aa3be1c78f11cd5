//! The files of one scoring: names and contents, not yet written anywhere.

use super::{midi, musicxml, text};
use crate::arrange::Arrangement;
use crate::notate;

/// A format that a score and its parts are written in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Format {
    /// Plain text to read and print.
    Text,
    /// Standard MIDI File.
    Midi,
    /// MusicXML 4.0.
    MusicXml,
}

impl Format {
    /// All formats with the word that names them and the ending of their files.
    pub const ALL: [(Format, &'static str, &'static str); 3] = [
        (Format::Text, "text", "txt"),
        (Format::Midi, "midi", "mid"),
        (Format::MusicXml, "musicxml", "musicxml"),
    ];

    /// The word that names it on the command line.
    #[must_use]
    pub fn word(self) -> &'static str {
        Format::ALL[self as usize].1
    }

    /// The ending of its files, without the dot.
    #[must_use]
    pub fn ending(self) -> &'static str {
        Format::ALL[self as usize].2
    }
}

/// One file to be written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Output {
    /// Path below the scoring's folder, with `/`: `score.mid`, `parts/03-oboe-1.txt`.
    pub path: String,
    /// Its format.
    pub format: Format,
    /// What stands in it.
    pub bytes: Vec<u8>,
}

/// The score and all parts of an arrangement in the formats asked for. The same arrangement gives
/// the same bytes.
#[must_use]
pub fn outputs(arrangement: &Arrangement, formats: &[Format]) -> Vec<Output> {
    let score = notate::notate(arrangement);
    let mut outputs = Vec::with_capacity(formats.len() * (arrangement.parts.len() + 1));
    for &format in formats {
        let ending = format.ending();
        let bytes = match format {
            Format::Text => text::score(&score).into_bytes(),
            Format::Midi => midi::score(arrangement, &score),
            Format::MusicXml => musicxml::score(&score),
        };
        outputs.push(Output { path: format!("score.{ending}"), format, bytes });
        for (index, part) in arrangement.parts.iter().enumerate() {
            let bytes = match format {
                Format::Text => text::part(&score, index).into_bytes(),
                Format::Midi => midi::part(arrangement, &score, index),
                Format::MusicXml => musicxml::part(&score, index),
            };
            let name = slug(&part.player.id);
            let path = format!("parts/{:02}-{name}.{ending}", index + 1);
            outputs.push(Output { path, format, bytes });
        }
    }
    outputs
}

/// A name for files and folders: small letters and digits, with `-` for everything between.
#[must_use]
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if c.is_alphanumeric() {
            slug.extend(c.to_lowercase());
        } else if !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug: String = slug.trim_matches('-').chars().take(80).collect();
    if slug.is_empty() { "untitled".to_string() } else { slug }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_title_leads_out_of_the_folder() {
        assert_eq!(slug("../../etc/passwd"), "etc-passwd");
        assert_eq!(slug("Evening at the Locks"), "evening-at-the-locks");
        assert_eq!(slug(".."), "untitled");
        assert_eq!(slug("Fête à l'écluse"), "fête-à-l-écluse");
        assert_eq!(slug("oboe.2"), "oboe-2");
    }
}
