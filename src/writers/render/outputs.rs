//! The files of one scoring: names and contents, not yet written anywhere.

use std::borrow::Cow;
use std::io;
use std::ops::Range;
use std::sync::{Mutex, OnceLock, PoisonError};

use unicode_normalization::UnicodeNormalization;

use super::{midi, musicxml, packed, streamed, text};
use crate::arrange::Arrangement;
use crate::edition::{self, Cueing, Edition, Halves};
use crate::music::Time;
use crate::notate::{
    self, FrameBar, Notation, Origin, Pitches, Score, Staff, StaffDirection, StaffDirectionKind,
};
use crate::perform::{self, Performance, Played};

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
    /// Notes of all parts up to which all staves are notated once and kept; where there are more, they
    /// are notated player by player. The bytes are the same.
    pub kept: usize,
}

/// Notes of all parts up to which they are kept notated: one takes some 350 bytes so.
const KEPT: usize = 60_000;

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
            kept: KEPT,
        }
    }
}

/// The score and all parts of an arrangement in the formats asked for: the scores, then player by
/// player, so that no more than what one of them reads need be in memory. The same arrangement
/// gives the same bytes.
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
    let files = Files::new(arrangement, wanted);
    files.jobs().into_iter().flat_map(move |job| {
        let written = Mutex::new(Vec::new());
        let taken = files.write(job, &|path, format, write| {
            let mut bytes = Vec::new();
            write(&mut bytes)?;
            let output = Output { path: path.to_owned(), format, bytes };
            written.lock().unwrap_or_else(PoisonError::into_inner).push(output);
            Ok::<(), io::Error>(())
        });
        // Writing to memory does not fail.
        debug_assert!(taken.is_ok());
        written.into_inner().unwrap_or_else(PoisonError::into_inner)
    })
}

/// What writes a file.
pub type Write<'a> = dyn FnMut(&mut dyn io::Write) -> io::Result<()> + 'a;

/// The same on so many threads. Each file is handed over as it is written: `take` gets its path
/// below the scoring's folder and what writes it, from any thread and not in order.
///
/// # Errors
///
/// What `take` answers ends the work.
pub fn each_output<E: Send>(
    arrangement: &Arrangement,
    wanted: Wanted,
    threads: usize,
    take: impl Fn(&str, &mut Write) -> Result<(), E> + Sync,
) -> Result<(), E> {
    let files = Files::new(arrangement, wanted);
    let jobs = files.jobs();
    let write = |number: usize| files.write(jobs[number], &|path, _, write| take(path, write));
    streamed(jobs.len(), threads, write, |_, done| done)
}

/// One part in one format.
#[must_use]
pub fn part_of(arrangement: &Arrangement, wanted: Wanted, format: Format, part: usize) -> Output {
    let files = Files::new(arrangement, wanted);
    let path = format!("{}.{}", part_name(arrangement, part), format.ending());
    let mut bytes = Vec::new();
    let notated = files.written.players(arrangement.desk(part));
    let written = files.part(&notated, part, format, &mut bytes);
    // Writing to memory does not fail.
    debug_assert!(written.is_ok());
    Output { path, format, bytes }
}

/// An arrangement whose staves are written as they are asked for, with the mark of its source and
/// where it is revised. What is small is written once.
pub struct Notated<'a> {
    notation: Notation<'a>,
    wanted: Wanted,
    /// All staves, where they are few.
    whole: Option<Score>,
    /// Who shares a staff of a condensed score, once it is known.
    condensed: OnceLock<Vec<Range<usize>>>,
}

impl<'a> Notated<'a> {
    /// Nothing large is written yet.
    #[must_use]
    pub fn new(arrangement: &'a Arrangement, wanted: &Wanted, pitches: Pitches) -> Notated<'a> {
        let notation = Notation::new(arrangement, pitches);
        let (wanted, condensed) = (wanted.clone(), OnceLock::new());
        let mut notated = Notated { notation, wanted, whole: None, condensed };
        let all = 0..arrangement.parts.len();
        notated.whole = (arrangement.notes() <= notated.wanted.kept).then(|| notated.score_of(all));
        notated
    }

    fn score_of(&self, players: Range<usize>) -> Score {
        let mut score = self.notation.score(players.clone());
        say(&mut score, &self.wanted);
        score
    }

    /// All parts.
    #[must_use]
    pub fn score(&self) -> Cow<'_, Score> {
        let players = self.notation.players();
        self.whole.as_ref().map_or_else(|| Cow::Owned(self.score_of(players)), Cow::Borrowed)
    }

    /// The players of each staff of a full score, the two staves of one player counted as one: the
    /// halves of a section that divides stand on one.
    #[must_use]
    pub fn full(&self) -> Vec<Range<usize>> {
        let share = |desk: &Range<usize>| {
            let score = self.players(desk.clone());
            let pair = score.staff_of(desk.start).zip(score.staff_of(desk.end - 1));
            pair.is_some_and(|(first, second)| edition::share_staff(first, second))
        };
        let desks = self.notation.desks().into_iter();
        let staves = desks.flat_map(|desk| match desk.len() > 1 && !share(&desk) {
            true => desk.map(|player| player..player + 1).collect(),
            false => vec![desk],
        });
        staves.collect()
    }

    /// Are all staves there, notated once?
    #[must_use]
    pub fn is_kept(&self) -> bool {
        self.whole.is_some()
    }

    /// A score in which at least this player is.
    #[must_use]
    pub fn part(&self, player: usize) -> Cow<'_, Score> {
        self.players(player..player + 1)
    }

    /// A score in which at least these players are.
    #[must_use]
    pub fn players(&self, players: Range<usize>) -> Cow<'_, Score> {
        let own = || Cow::Owned(self.score_of(players));
        self.whole.as_ref().map_or_else(own, Cow::Borrowed)
    }

    /// The players of each staff of a condensed score, the two staves of one player counted as one.
    #[must_use]
    pub fn condensed(&self) -> &[Range<usize>] {
        self.condensed.get_or_init(|| {
            let mut staves: Vec<Range<usize>> = Vec::new();
            let mut before: Option<Cow<Score>> = None;
            for player in self.notation.players() {
                let score = self.part(player);
                let alone = staves.last().filter(|last| last.len() == 1).is_some();
                let shares = before.filter(|_| alone).is_some_and(|before| {
                    let pair = before.staff_of(player - 1).zip(score.staff_of(player));
                    pair.is_some_and(|(first, second)| edition::share_staff(first, second))
                });
                match staves.last_mut().filter(|_| shares) {
                    Some(last) => last.end = player + 1,
                    None => staves.push(player..player + 1),
                }
                before = Some(score);
            }
            staves
        })
    }
}

/// An arrangement as it is notated, with the mark of its source, and where it is revised.
#[must_use]
pub fn notated(arrangement: &Arrangement, wanted: &Wanted, pitches: Pitches) -> Score {
    let mut score = notate::notate_at(arrangement, pitches);
    say(&mut score, wanted);
    score
}

/// Says of which source a score is, and where it is revised.
fn say(score: &mut Score, wanted: &Wanted) {
    score.source.clone_from(&wanted.source);
    let revised = wanted.revised.iter().skip(score.first).zip(&mut score.staves);
    revised.for_each(|(bars, staff)| say_revised(bars, &score.frame, staff));
}

/// Would a condensed score of an arrangement differ from the full one: do any two players share a staff?
#[must_use]
pub fn condenses(arrangement: &Arrangement) -> bool {
    let notated = Notated::new(arrangement, &Wanted::formats(&[]), Pitches::Written);
    notated.condensed().len() < notated.full().len()
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

/// What is written in one go.
#[derive(Clone, Copy, Debug)]
enum Job {
    /// A score in one format.
    Score(Format, ScoreKind),
    /// What a player reads, in all formats.
    Part(usize),
}

/// The files of a scoring, and what is asked of them.
struct Files<'a> {
    arrangement: &'a Arrangement,
    wanted: Wanted,
    written: Notated<'a>,
    concert: Option<Notated<'a>>,
    /// What all players go by, worked out for the first file that wants it.
    stage: OnceLock<Performance>,
    /// What they sound, where that is kept: see [`KEPT`].
    played: Vec<OnceLock<Played>>,
}

impl<'a> Files<'a> {
    fn new(arrangement: &'a Arrangement, wanted: Wanted) -> Files<'a> {
        let written = Notated::new(arrangement, &wanted, Pitches::Written);
        let concert = wanted.scores.contains(&ScoreKind::Concert);
        let concert = concert.then(|| Notated::new(arrangement, &wanted, Pitches::Concert));
        let kept = if written.whole.is_some() { arrangement.parts.len() } else { 0 };
        let played = (0..kept).map(|_| OnceLock::new()).collect();
        Files { arrangement, wanted, written, concert, stage: OnceLock::new(), played }
    }

    fn jobs(&self) -> Vec<Job> {
        let mut jobs = Vec::new();
        for &format in &self.wanted.formats {
            let suits = |kind: &ScoreKind| match format {
                Format::MusicXml | Format::Mxl => true,
                Format::Text => *kind != ScoreKind::Condensed,
                Format::Midi => *kind == ScoreKind::Full,
            };
            let kinds = self.wanted.scores.iter().filter(|kind| suits(kind));
            jobs.extend(kinds.map(|&kind| Job::Score(format, kind)));
        }
        if !self.wanted.formats.is_empty() {
            jobs.extend(self.arrangement.desks().map(|desk| Job::Part(desk.start)));
        }
        jobs
    }

    fn write<E>(
        &self,
        job: Job,
        take: &impl Fn(&str, Format, &mut Write) -> Result<(), E>,
    ) -> Result<(), E> {
        match job {
            Job::Score(format, kind) => {
                let path = format!("{}.{}", kind.file_name(), format.ending());
                take(&path, format, &mut |out| self.score(format, kind, out))
            }
            Job::Part(part) => {
                let notated = self.written.players(self.arrangement.desk(part));
                let name = part_name(self.arrangement, part);
                self.wanted.formats.iter().try_for_each(|&format| {
                    let path = format!("{name}.{}", format.ending());
                    take(&path, format, &mut |out| self.part(&notated, part, format, out))
                })
            }
        }
    }

    fn score(&self, format: Format, kind: ScoreKind, out: &mut dyn io::Write) -> io::Result<()> {
        let concert = self.concert.as_ref().filter(|_| kind == ScoreKind::Concert);
        let notated = concert.unwrap_or(&self.written);
        let parts = self.arrangement.parts.len();
        let player = |player, look: &mut dyn FnMut(Edition) -> io::Result<()>| {
            let one = player..player + 1;
            look(edition::players_of_score(&notated.part(player), one, Halves::Apart))
        };
        match format {
            // Nobody plays: there is a score all the same.
            Format::Text if notated.is_kept() || parts == 0 => {
                let score = notated.score();
                let edition = edition::full_score_with(&score, Halves::Apart);
                let text = text::write(&edition, self.wanted.text);
                out.write_all(text.as_bytes())
            }
            Format::Text => text::write_by_parts(parts, player, self.wanted.text, out),
            Format::Midi => {
                let all: Vec<usize> = (0..self.arrangement.parts.len()).collect();
                let played = |player| self.played(&notated.part(player), player);
                midi::write(self.arrangement, self.stage(), &all, played, out)
            }
            Format::MusicXml if parts == 0 => {
                let score = notated.score();
                let edition = match kind {
                    ScoreKind::Condensed => edition::condensed_score(&score),
                    ScoreKind::Full | ScoreKind::Concert => edition::full_score(&score),
                };
                musicxml::write_to(&edition, out)
            }
            Format::MusicXml if kind == ScoreKind::Condensed => {
                let staves = notated.condensed();
                let one = |staff: usize, look: &mut dyn FnMut(Edition) -> io::Result<()>| {
                    let players = &staves[staff];
                    let score = notated.players(players.clone());
                    look(edition::players_of_condensed(&score, players.clone()))
                };
                musicxml::write_by_parts(staves.len(), one, out)
            }
            Format::MusicXml => {
                let staves = notated.full();
                let one = |staff: usize, look: &mut dyn FnMut(Edition) -> io::Result<()>| {
                    let players = &staves[staff];
                    let score = notated.players(players.clone());
                    look(edition::players_of_score(&score, players.clone(), Halves::Together))
                };
                musicxml::write_by_parts(staves.len(), one, out)
            }
            Format::Mxl => {
                let plain = format!("{}.{}", kind.file_name(), Format::MusicXml.ending());
                packed(&plain, |out| self.score(Format::MusicXml, kind, out), out)
            }
        }
    }

    fn part(
        &self,
        notated: &Score,
        part: usize,
        format: Format,
        out: &mut dyn io::Write,
    ) -> io::Result<()> {
        let (arrangement, cueing) = (self.arrangement, self.wanted.cueing);
        let edition = || edition::part_with_cues(arrangement, notated, part, cueing);
        match format {
            Format::Text if arrangement.desk(part).len() > 1 => {
                let apart = edition::part_with(notated, part, Halves::Apart);
                out.write_all(text::write(&apart, self.wanted.text).as_bytes())
            }
            Format::Text => out.write_all(text::write(&edition(), self.wanted.text).as_bytes()),
            Format::Midi => {
                let desk: Vec<usize> = arrangement.desk(part).collect();
                let played = |player| self.played(notated, player);
                midi::write(arrangement, self.stage(), &desk, played, out)
            }
            Format::MusicXml => musicxml::write_to(&edition(), out),
            Format::Mxl => {
                let plain = format!("{}.{}", part_name(arrangement, part), "musicxml");
                packed(&plain, |out| self.part(notated, part, Format::MusicXml, out), out)
            }
        }
    }

    fn stage(&self) -> &Performance {
        self.stage.get_or_init(|| perform::stage(self.arrangement))
    }

    fn played(&self, notated: &Score, player: usize) -> Cow<'_, Played> {
        let play = || perform::played(self.arrangement, self.stage(), notated, player);
        match self.played.get(player) {
            Some(kept) => Cow::Borrowed(kept.get_or_init(play)),
            None => Cow::Owned(play()),
        }
    }
}

/// MusicXML in its compressed form.
fn packed(
    plain: &str,
    write: impl FnOnce(&mut dyn io::Write) -> io::Result<()>,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let name = plain.rsplit('/').next().unwrap_or(plain);
    out.write_all(&packed::pack(name, write)?)
}

/// The name of a part's files without their ending: `parts/03-oboe-1`.
#[must_use]
pub fn part_name(arrangement: &Arrangement, part: usize) -> String {
    let desk = arrangement.desk(part);
    let (name, _) = arrangement.parts[part].player.part();
    // Two who read from one page have one number.
    let before = arrangement.desks().take_while(|before| before.start < desk.start).count();
    format!("parts/{:02}-{}", before + 1, slug(name))
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
