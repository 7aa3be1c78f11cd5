//! The files of one scoring: names and contents, not yet written anywhere.

use std::sync::OnceLock;

use unicode_normalization::UnicodeNormalization;

use super::{midi, musicxml, packed, streamed, text};
use crate::arrange::Arrangement;
use crate::edition::{self, Cueing};
use crate::music::Time;
use crate::notate::{
    self, FrameBar, Origin, Pitches, Score, Staff, StaffDirection, StaffDirectionKind,
};
use crate::perform::{Performance, perform};

/// A format that a score and its parts are written in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Format {
    /// Plain text to read and print.
    Text,
    /// Standard MIDI File.
    Midi,
    /// MusicXML 4.0.
    MusicXml,
    /// MusicXML, compressed.
    Mxl,
}

impl Format {
    /// All formats with the word that names them and the ending of their files.
    pub const ALL: [(Format, &'static str, &'static str); 4] = [
        (Format::Text, "text", "txt"),
        (Format::Midi, "midi", "mid"),
        (Format::MusicXml, "musicxml", "musicxml"),
        (Format::Mxl, "mxl", "mxl"),
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

/// A kind of score.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum ScoreKind {
    /// Each part as its player reads it.
    Full,
    /// Each part as it sounds.
    Concert,
    /// Players of a kind on one staff.
    Condensed,
}

impl ScoreKind {
    /// All kinds with the word that names them and the name of their files.
    pub const ALL: [(ScoreKind, &'static str, &'static str); 3] = [
        (ScoreKind::Full, "full", "score"),
        (ScoreKind::Concert, "concert", "score-concert"),
        (ScoreKind::Condensed, "condensed", "score-condensed"),
    ];

    /// The word that names it on the command line.
    #[must_use]
    pub fn word(self) -> &'static str {
        ScoreKind::ALL[self as usize].1
    }

    /// The name of its files, without their ending.
    #[must_use]
    pub fn file_name(self) -> &'static str {
        ScoreKind::ALL[self as usize].2
    }
}

/// What is asked of [`outputs_of`].
#[derive(Clone, Debug)]
pub struct Wanted {
    /// In which formats.
    pub formats: Vec<Format>,
    /// Which scores, beside the parts. Of MIDI there is one, and of text none that is condensed.
    pub scores: Vec<ScoreKind>,
    /// How text is laid out.
    pub text: text::Style,
    /// Which entries have cues.
    pub cueing: Cueing,
    /// The bars of each part, by their indices, that are said to be revised; empty where nothing is.
    pub revised: Vec<Vec<usize>>,
    /// A mark of the source for the head of each page: see [`Head::source`](edition::Head::source).
    pub source: Option<String>,
}

impl Wanted {
    /// These formats; the full score, and cues as usual.
    #[must_use]
    pub fn formats(formats: &[Format]) -> Wanted {
        Wanted {
            formats: formats.to_vec(),
            scores: vec![ScoreKind::Full],
            text: text::Style::default(),
            cueing: Cueing::default(),
            revised: Vec::new(),
            source: None,
        }
    }
}

/// The score and all parts of an arrangement in the formats asked for, one file at a time, so that
/// no more than one need be in memory. The same arrangement gives the same bytes.
pub fn outputs<'a>(
    arrangement: &'a Arrangement,
    formats: &[Format],
) -> impl Iterator<Item = Output> + 'a {
    outputs_of(arrangement, Wanted::formats(formats))
}

/// The same, with all that can be asked for.
pub fn outputs_of(
    arrangement: &Arrangement,
    wanted: Wanted,
) -> impl Iterator<Item = Output> + use<'_> {
    let pages = Pages::new(arrangement, wanted);
    let mut files = pages.files().into_iter();
    std::iter::from_fn(move || files.next().map(|file| pages.write(file)))
}

/// The same on so many threads, each file handed over as soon as it is made: not in order, and no
/// more than a few are in memory at a time.
///
/// # Errors
///
/// What `take` answers ends the work.
pub fn each_output<E>(
    arrangement: &Arrangement,
    wanted: Wanted,
    threads: usize,
    mut take: impl FnMut(Output) -> Result<(), E>,
) -> Result<(), E> {
    let pages = Pages::new(arrangement, wanted);
    let files = pages.files();
    let write = |number: usize| pages.write(files[number]);
    streamed(files.len(), threads, write, |_, output| take(output))
}

/// One part in one format.
#[must_use]
pub fn part_of(arrangement: &Arrangement, wanted: Wanted, format: Format, part: usize) -> Output {
    Pages::new(arrangement, wanted).write(File::Part(format, part))
}

/// An arrangement as it is notated, with the mark of its source, and where it is revised.
#[must_use]
pub fn notated(arrangement: &Arrangement, wanted: &Wanted, pitches: Pitches) -> Score {
    let mut score = notate::notate_at(arrangement, pitches);
    score.source.clone_from(&wanted.source);
    let revised = wanted.revised.iter().zip(&mut score.staves);
    revised.for_each(|(bars, staff)| say_revised(bars, &score.frame, staff));
    score
}

/// Would a condensed score of an arrangement differ from the full one: do any two players share a staff?
#[must_use]
pub fn condenses(arrangement: &Arrangement) -> bool {
    edition::condenses(&notate::notate(arrangement))
}

/// The mark of sources with that digest: its beginning.
#[must_use]
pub fn source_mark(digest: &str) -> String {
    digest.chars().take(8).collect()
}

/// Says where bars are revised, and to which bar: "revised", "revised to bar 12".
fn say_revised(bars: &[usize], frame: &[FrameBar], staff: &mut Staff) {
    for run in bars.chunk_by(|bar, next| bar + 1 == *next) {
        let (Some(&first), Some(&last)) = (run.first(), run.last()) else { continue };
        let number = frame.get(last).map_or(0, |bar| bar.number);
        let words =
            if first == last { "revised".into() } else { format!("revised to bar {number}") };
        let kind = StaffDirectionKind::Words(words);
        let said = StaffDirection { at: Time::ZERO, kind, origin: Origin::default() };
        if let Some(measure) = staff.measures.get_mut(first) {
            measure.directions.insert(0, said);
        }
    }
}

/// A file of a scoring.
#[derive(Clone, Copy, Debug)]
enum File {
    Score(Format, ScoreKind),
    Part(Format, usize),
}

/// A scoring as it was notated, and what is asked of it.
struct Pages<'a> {
    arrangement: &'a Arrangement,
    wanted: Wanted,
    written: Score,
    concert: Option<Score>,
    /// What sounds, worked out for the first file that wants it.
    performance: OnceLock<Performance>,
}

impl<'a> Pages<'a> {
    fn new(arrangement: &'a Arrangement, wanted: Wanted) -> Pages<'a> {
        let written = notated(arrangement, &wanted, Pitches::Written);
        let concert = wanted.scores.contains(&ScoreKind::Concert);
        let concert = concert.then(|| notated(arrangement, &wanted, Pitches::Concert));
        Pages { arrangement, wanted, written, concert, performance: OnceLock::new() }
    }

    fn files(&self) -> Vec<File> {
        let mut files = Vec::new();
        for &format in &self.wanted.formats {
            let suits = |kind: &ScoreKind| match format {
                Format::MusicXml | Format::Mxl => true,
                Format::Text => *kind != ScoreKind::Condensed,
                Format::Midi => *kind == ScoreKind::Full,
            };
            let kinds = self.wanted.scores.iter().filter(|kind| suits(kind));
            files.extend(kinds.map(|&kind| File::Score(format, kind)));
            files.extend((0..self.arrangement.parts.len()).map(|part| File::Part(format, part)));
        }
        files
    }

    fn performance(&self) -> &Performance {
        self.performance.get_or_init(|| perform(self.arrangement, &self.written))
    }

    fn text_score(&self, score: &Score) -> Vec<u8> {
        text::write(&edition::full_score(score), self.wanted.text).into_bytes()
    }

    fn edition_of(&self, part: usize) -> edition::Edition<'_> {
        let (arrangement, cueing) = (self.arrangement, self.wanted.cueing);
        edition::part_with_cues(arrangement, &self.written, part, cueing)
    }

    fn write(&self, file: File) -> Output {
        match file {
            File::Score(Format::Mxl, kind) => {
                packed(self.write(File::Score(Format::MusicXml, kind)))
            }
            File::Part(Format::Mxl, part) => packed(self.write(File::Part(Format::MusicXml, part))),
            file => self.write_plain(file),
        }
    }

    fn write_plain(&self, file: File) -> Output {
        let score = &self.written;
        let concert = self.concert.as_ref().unwrap_or(score);
        let (format, name, bytes) = match file {
            File::Score(format, kind) => {
                let bytes = match (format, kind) {
                    (Format::Text, ScoreKind::Concert) => self.text_score(concert),
                    (Format::Text, _) => self.text_score(score),
                    (Format::Midi, _) => midi::score(self.arrangement, self.performance()),
                    (Format::MusicXml | Format::Mxl, ScoreKind::Full) => {
                        musicxml::write(&edition::full_score(score))
                    }
                    (Format::MusicXml | Format::Mxl, ScoreKind::Concert) => {
                        musicxml::write(&edition::full_score(concert))
                    }
                    (Format::MusicXml | Format::Mxl, ScoreKind::Condensed) => {
                        musicxml::write(&edition::condensed_score(score))
                    }
                };
                (format, kind.file_name().to_owned(), bytes)
            }
            File::Part(format, part) => {
                let bytes = match format {
                    Format::Text => {
                        text::write(&self.edition_of(part), self.wanted.text).into_bytes()
                    }
                    Format::Midi => midi::part(self.arrangement, self.performance(), part),
                    Format::MusicXml | Format::Mxl => musicxml::write(&self.edition_of(part)),
                };
                (format, part_name(self.arrangement, part), bytes)
            }
        };
        Output { path: format!("{name}.{}", format.ending()), format, bytes }
    }
}

/// MusicXML in its compressed form.
fn packed(plain: Output) -> Output {
    let stem = plain.path.strip_suffix(Format::MusicXml.ending()).unwrap_or(&plain.path);
    let path = format!("{stem}{}", Format::Mxl.ending());
    let name = plain.path.rsplit('/').next().unwrap_or(&plain.path);
    Output { format: Format::Mxl, bytes: packed::pack(name, &plain.bytes), path }
}

/// The name of a part's files without their ending: `parts/03-oboe-1`.
#[must_use]
pub fn part_name(arrangement: &Arrangement, part: usize) -> String {
    format!("parts/{:02}-{}", part + 1, slug(&arrangement.parts[part].player.id))
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
