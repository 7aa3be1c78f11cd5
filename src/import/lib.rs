//! Brings a piece that exists into the language: from MusicXML and from MIDI files.
//!
//! Data go one way: a reader makes a raw score of a file (`musicxml`, `midi`), `frame` lays
//! out the bars, `lines` finds the lines of each part, and the writers (`form`, `voice`,
//! `scoring`) make a source of them. What the language cannot say is counted by `loss` and told in
//! one report, never dropped in silence.
//!
//! Nothing here reads or writes a file, and nothing knows how a source is parsed.

mod bounds;
mod directions;
mod figures;
mod form;
mod frame;
mod input;
mod jumps;
mod keys;
mod lines;
mod loss;
mod lyrics;
mod midi;
mod musicxml;
mod names;
mod passages;
mod players;
mod raw;
mod reach;
mod reduce;
mod register;
mod score;
mod scoring;
mod select;
mod signs;
#[cfg(test)]
mod tests;
mod tuplets;
mod voice;
mod words;

use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt::{self, Write};

// The stages before, under the names they have everywhere.
use ripieno_compiler::diagnostics::BarNumbers;
use ripieno_compiler::{instruments, limits, music, narrow, resolve};

pub use input::LARGEST;
pub use loss::{Fate, Loss, Report};

use loss::Losses;
use raw::RawScore;
use score::{PartLine, Score};
use scoring::Scoring;
use select::Kept;

/// What is made of a piece.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Setting {
    /// Voices alone.
    #[default]
    Voices,
    /// Voices, and an ensemble and a scoring as the file has them.
    Scoring,
}

/// To how many voices a fuller score is brought.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Reduction {
    /// Melody and bass.
    Two,
    /// Melody, a filler and bass.
    Three,
}

/// What to import and how.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Options {
    /// What is made of the piece.
    pub setting: Setting,
    /// Whether the score is brought to fewer voices.
    pub reduce: Option<Reduction>,
    /// Names of the parts that are wanted; none for all.
    pub parts: Vec<String>,
    /// First and last bar that are wanted, by the numbers of the file.
    pub bars: Option<BarNumbers>,
    /// A block of harmony to be written in place of the chord symbols of the file.
    pub harmony: Option<String>,
    /// The title where the file has none.
    pub title: String,
}

/// An imported piece.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Import {
    /// The source, in the language.
    pub source: String,
    /// What is not in it as it was, and what was concluded.
    pub report: Report,
}

/// Why a file cannot be imported: what, and what to do.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Error(String);

impl Error {
    fn new(message: impl Into<String>) -> Error {
        Error(message.into())
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Error {}

/// Makes a source of the bytes of a MusicXML or MIDI file.
///
/// # Errors
/// Says why the file cannot be read, or which part or bar it does not have.
pub fn import(bytes: &[u8], options: &Options) -> Result<Import, Error> {
    let mut losses = Losses::default();
    let mut guesses = Vec::new();
    let mut score = match input::open(bytes)? {
        input::Input::Xml(text) => {
            let raw = musicxml::read(&text, &mut losses)?;
            drop(text);
            assemble(raw, &mut losses, &mut guesses)?
        }
        input::Input::Midi => midi::read(bytes, &mut losses, &mut guesses)?,
    };
    let count = score.parts.len();
    let kept = Kept {
        parts: select::parts(&mut score, &options.parts)?,
        first_bar: match options.bars {
            Some(bars) => select::bars(&mut score, bars, &mut losses)?,
            None => 0,
        },
    };
    let mut names: HashMap<usize, String> =
        kept.parts.iter().copied().zip(part_names(&score)).collect();
    losses.renumber(kept.parts, kept.first_bar);
    let mut parted = 0;
    for part in &mut score.parts {
        parted += register::part(part);
    }
    if parted > 0 {
        guesses.push(format!("chords that flow are parted by register into {parted} more voices"));
    }
    if let Some(reduction) = options.reduce {
        guesses.extend(reduce::reduce(&mut score, reduction == Reduction::Three));
        // What is told of the new parts is not of those of the file.
        let parts: Vec<usize> = (count..).take(score.parts.len()).collect();
        names.extend(parts.iter().copied().zip(part_names(&score)));
        losses.renumber(parts, kept.first_bar);
    }
    bounds::refuse(&score, options.setting)?;
    score.head.title.get_or_insert_with(|| options.title.clone());
    bounds::cut(&mut score, &mut losses);
    for (part, in_part) in score.parts.iter_mut().enumerate() {
        for line in &mut in_part.lines {
            reach::line(line, &score.bars, (part, &mut losses));
        }
    }
    names::give(&mut score);
    let scoring = match options.setting {
        Setting::Voices => None,
        Setting::Scoring => Some(scoring::make(&score, &mut guesses)?),
    };
    let source = source(&score, scoring.as_ref(), options, &mut losses);
    let numbers: Vec<i32> = score.bars.iter().map(|bar| bar.number).collect();
    let number = |index: usize| numbers.get(index.checked_sub(kept.first_bar)?).copied();
    let losses = losses.finish(|part| names.get(&part).cloned(), number);
    Ok(Import { source, report: Report { losses, guesses } })
}

/// What parts are called in the report: no two alike.
fn part_names(score: &Score) -> Vec<String> {
    let names: Vec<&str> = score.parts.iter().map(|part| part.name.as_str()).collect();
    names
        .iter()
        .enumerate()
        .map(|(index, name)| match names.iter().filter(|other| *other == name).count() {
            _ if name.is_empty() => format!("part {}", index + 1),
            1 => (*name).to_string(),
            _ => format!("{name} (part {})", index + 1),
        })
        .collect()
}

/// More bars in all lines together than any score has; a guard against files that are made to hurt.
const MOST_BARS_OF_LINES: usize = 5_000_000;

/// From measures to bars and lines.
fn assemble(
    mut raw: RawScore,
    losses: &mut Losses,
    guesses: &mut Vec<String>,
) -> Result<Score, Error> {
    let mut score = Score { head: std::mem::take(&mut raw.head), ..Score::default() };
    let modeless = frame::lay_out(&mut raw, &mut score, losses, guesses);
    if score.end() > music::Time::of(i64::from(limits::BARS), 1) {
        return Err(Error::new(
            "the piece is longer than 20,000 whole notes; import its movements one by one",
        ));
    }
    for (index, mut part) in raw.parts.into_iter().enumerate() {
        let figured = figures::of(&mut part, &score.bars);
        score.parts.push(lines::part(part, index, &score.bars, losses));
        figures::harmony(figured, index, &mut score, losses, guesses);
    }
    let lines: usize = score.parts.iter().map(|part| part.lines.len()).sum();
    if lines.saturating_mul(score.bars.len()) > MOST_BARS_OF_LINES {
        return Err(Error::new(format!(
            "{lines} lines of {} bars are too much for one source; import single parts with `--part`",
            score.bars.len()
        )));
    }
    modes(&mut score, &modeless, guesses);
    Ok(score)
}

/// Finds out whether a signature without a mode stands for major or minor.
fn modes(score: &mut Score, modeless: &[usize], guesses: &mut Vec<String>) {
    for &first in modeless {
        let after = (first + 1..score.bars.len()).find(|index| score.bars[*index].key_shown);
        let last = after.unwrap_or(score.bars.len());
        let (begin, end) = (score.bars[first].start, score.bars[last - 1].end());
        let pitched = |line: &&PartLine| line.stroke.is_none();
        let mut weights = [0.0; 12];
        let mut lowest: Option<(crate::music::Time, i32)> = None;
        for line in score.parts.iter().flat_map(|part| &part.lines).filter(pitched) {
            let from = line.notes.partition_point(|note| note.end <= begin);
            for note in line.notes[from..].iter().take_while(|note| note.start < end) {
                for pitch in &note.pitches {
                    let length = note.end - note.start;
                    weights[pitch.midi().rem_euclid(12) as usize] += length.to_f64();
                    let key = (note.end, -pitch.midi());
                    lowest = Some(lowest.map_or(key, |other| other.max(key)));
                }
            }
        }
        let last_note = lowest.and_then(|(_, key)| u8::try_from(-key).ok());
        let (key, better) = keys::mode(&weights, score.bars[first].key.fifths(), last_note);
        let number = score.bars[first].number;
        score.bars[first..last].iter_mut().for_each(|bar| bar.key = key);
        let guess = format!(
            "the key from bar {number}: {key}, the mode from the notes, {}",
            keys::how_sure(better)
        );
        if guesses.len() < 200 {
            guesses.push(guess);
        }
    }
}

fn source(
    score: &Score,
    scoring: Option<&Scoring>,
    options: &Options,
    losses: &mut Losses,
) -> String {
    let mut out = String::new();
    let head = &score.head;
    let title = head.title.as_deref().unwrap_or_default();
    let _ = writeln!(out, "piece {} {{", voice::quoted(title));
    for (word, text) in [
        ("subtitle", &head.subtitle),
        ("composer", &head.composer),
        ("arranger", &head.arranger),
        ("licence", &head.rights),
        ("revision", &head.revision),
    ] {
        if let Some(text) = text {
            let _ = writeln!(out, "  {word} {}", voice::quoted(text));
        }
    }
    out.push_str("}\n\n");
    form::form(&mut out, score);
    match &options.harmony {
        Some(block) => {
            let _ = write!(out, "\n{}\n", block.trim());
        }
        None => form::harmony(&mut out, score, losses),
    }
    for (part, in_part) in score.parts.iter().enumerate() {
        for (index, line) in in_part.lines.iter().enumerate() {
            if scoring.is_some_and(|scoring| scoring.is_doubling(part, index)) {
                continue;
            }
            let _ = writeln!(out, "\nvoice {} {{", line.name);
            let passages = scoring.map_or(&[][..], |scoring| scoring.passages(part, index));
            let line = match passages {
                [] => Cow::Borrowed(line),
                _ => Cow::Owned(passages::silenced(line, passages, &score.bars)),
            };
            let struck = voice::write(&mut out, &line, &score.bars, (part, losses));
            out.push_str("}\n");
            lyrics::write(&mut out, &line, &struck, &score.bars, (part, losses));
        }
    }
    if let Some(scoring) = scoring {
        out.push_str(scoring.text());
    }
    out
}
