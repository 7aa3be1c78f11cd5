//! Brings a piece that exists into the language: from MusicXML and from MIDI files.
//!
//! Data go one way: a reader makes a raw score of a file ([`musicxml`], [`midi`]), `frame` lays
//! out the bars, `lines` finds the lines of each part, and the writers (`form`, `voice`,
//! `scoring`) make a source of them. What the language cannot say is counted by `loss` and told in
//! one report, never dropped in silence.
//!
//! Nothing here reads or writes a file, and nothing knows how a source is parsed.

mod form;
mod frame;
mod input;
mod keys;
mod lines;
mod loss;
mod marks;
mod midi;
mod musicxml;
mod names;
mod players;
mod raw;
mod score;
mod scoring;
mod signs;
#[cfg(test)]
mod tests;
mod tuplets;
mod voice;
mod words;

use std::fmt::{self, Write};

pub use input::LARGEST;
pub use loss::{Fate, Loss, Report};

use loss::Losses;
use raw::RawScore;
use score::Score;
use scoring::Scoring;

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
    pub bars: Option<(i32, i32)>,
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
            assemble(raw, options, &mut losses, &mut guesses)?
        }
        input::Input::Midi => midi::read(bytes, &mut losses, &mut guesses)?,
    };
    names::give(&mut score);
    let scoring = (options.setting == Setting::Scoring)
        .then(|| scoring::make(&score, &mut losses, &mut guesses));
    let source = source(&score, scoring.as_ref(), options, &mut losses);
    let first = score.bars.first().map_or(1, |bar| bar.number);
    let last = score.bars.last().map_or(1, |bar| bar.number);
    let names: Vec<String> = score.parts.iter().map(|part| part.name.clone()).collect();
    let part = |index: usize| match names.get(index) {
        Some(name) if !name.is_empty() => name.clone(),
        _ => format!("part {}", index + 1),
    };
    let number = |index: usize| {
        let number = first.checked_add(i32::try_from(index).ok()?)?;
        (number <= last).then_some(number)
    };
    let losses = losses.finish(part, number);
    Ok(Import { source, report: Report { losses, guesses } })
}

/// From measures to bars and lines.
fn assemble(
    mut raw: RawScore,
    _options: &Options,
    losses: &mut Losses,
    guesses: &mut Vec<String>,
) -> Result<Score, Error> {
    let mut score = Score { head: std::mem::take(&mut raw.head), ..Score::default() };
    let _modeless = frame::lay_out(&mut raw, &mut score, losses, guesses);
    if score.end() > crate::music::Time::of(20_000, 1) {
        return Err(Error::new(
            "the piece is longer than 20 000 whole notes; import its movements one by one",
        ));
    }
    for (index, part) in raw.parts.into_iter().enumerate() {
        score.parts.push(lines::part(part, index, &score.bars, losses));
    }
    Ok(score)
}

fn source(
    score: &Score,
    scoring: Option<&Scoring>,
    options: &Options,
    losses: &mut Losses,
) -> String {
    let mut out = String::new();
    let head = &score.head;
    let title = head.title.as_deref().unwrap_or(&options.title);
    let _ = writeln!(out, "piece {} {{", voice::quoted(title));
    for (word, text) in [
        ("subtitle", &head.subtitle),
        ("composer", &head.composer),
        ("arranger", &head.arranger),
        ("licence", &head.rights),
    ] {
        if let Some(text) = text {
            let _ = writeln!(out, "  {word} {}", voice::quoted(text));
        }
    }
    out.push_str("}\n\n");
    form::form(&mut out, score);
    form::harmony(&mut out, score, losses);
    for (part, in_part) in score.parts.iter().enumerate() {
        for (index, line) in in_part.lines.iter().enumerate() {
            if scoring.is_some_and(|scoring| scoring.is_doubling(part, index)) {
                continue;
            }
            let _ = writeln!(out, "\nvoice {} {{", line.name);
            voice::write(&mut out, line, &score.bars, (part, losses));
            out.push_str("}\n");
        }
    }
    if let Some(scoring) = scoring {
        out.push_str(scoring.text());
    }
    out
}
