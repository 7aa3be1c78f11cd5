//! The files of one scoring: names and contents, not yet written anywhere.

use unicode_normalization::UnicodeNormalization;

use super::{midi, musicxml, text};
use crate::arrange::Arrangement;
use crate::{edition, notate};

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

/// The score and all parts of an arrangement in the formats asked for, one file at a time, so that
/// no more than one need be in memory. The same arrangement gives the same bytes.
pub fn outputs<'a>(
    arrangement: &'a Arrangement,
    formats: &'a [Format],
) -> impl Iterator<Item = Output> + 'a {
    let score = notate::notate(arrangement);
    let files = formats.iter().flat_map(|&format| {
        let parts = (0..arrangement.parts.len()).map(Some);
        std::iter::once(None).chain(parts).map(move |part| (format, part))
    });
    files.map(move |(format, part)| output(arrangement, &score, format, part))
}

/// The file of the score, or of the part of that index.
fn output(
    arrangement: &Arrangement,
    score: &notate::Score,
    format: Format,
    part: Option<usize>,
) -> Output {
    let bytes = match (format, part) {
        (Format::Text, None) => text::score(score).into_bytes(),
        (Format::Text, Some(part)) => text::part(score, part).into_bytes(),
        (Format::Midi, None) => midi::score(arrangement, score),
        (Format::Midi, Some(part)) => midi::part(arrangement, score, part),
        (Format::MusicXml, None) => musicxml::write(&edition::full_score(score)),
        (Format::MusicXml, Some(part)) => musicxml::write(&edition::part(score, part)),
    };
    let name = part.map_or("score".to_string(), |part| {
        format!("parts/{:02}-{}", part + 1, slug(&arrangement.parts[part].player.id))
    });
    Output { path: format!("{name}.{}", format.ending()), format, bytes }
}

/// Bytes that the name of a folder or file has at most: a file system takes 255, and a number, a
/// hyphen and an ending come to it.
const LONGEST_SLUG: usize = 120;
/// Names that some systems keep for devices, whatever their ending.
/// Source: Microsoft, Naming Files, Paths, and Namespaces, from memory.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A name for files and folders: small letters and digits, with `-` for everything between. However
/// its letters are composed, one name gives one slug.
#[must_use]
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.nfc() {
        if c.is_ascii_alphanumeric() {
            slug.push(c.to_ascii_lowercase());
        } else if c.is_alphanumeric() {
            slug.extend(c.to_lowercase());
        } else if !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug = slug.trim_matches('-');
    let fits =
        slug.char_indices().map(|(at, c)| at + c.len_utf8()).take_while(|&end| end <= LONGEST_SLUG);
    let slug = slug[..fits.last().unwrap_or(0)].trim_end_matches('-');
    let numbered = slug.strip_suffix(|c: char| c.is_ascii_digit()).unwrap_or(slug);
    if slug.is_empty() {
        "untitled".to_string()
    } else if DEVICES.contains(&numbered) {
        format!("{slug}-")
    } else {
        slug.to_string()
    }
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

    #[test]
    fn every_file_system_takes_the_names() {
        let long = slug(&"𝒲eir ".repeat(80));
        assert!(long.len() <= LONGEST_SLUG && long.starts_with("𝒲eir-𝒲eir"), "{long}");
        assert_eq!(slug("Fe\u{302}te"), slug("F\u{ea}te"));
        assert_eq!(slug("Aux"), "aux-");
        assert_eq!(slug("Com1"), "com1-");
        assert_eq!(slug("Console"), "console");
    }
}
