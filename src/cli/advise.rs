//! `ripieno advise`.

use std::fmt::Display;
use std::path::PathBuf;
use std::sync::Arc;

use clap::{Subcommand, ValueEnum};
use serde::Serialize;

use super::source::{self, has_errors};
use super::{End, Failure, Outcome, Show, print};
use ripieno_checker::{advise, draft};
use ripieno_compiler::diagnostics::did_you_mean;
use ripieno_compiler::resolve::{Piece, Scoring, Voice};

/// What `advise` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Show voice by voice who plays it in each scoring, who doubles it, and where no one does.
    Coverage {
        #[command(flatten)]
        asked: Asked,
        /// Only this scoring.
        #[arg(long, value_name = "NAME")]
        scoring: Option<String>,
    },
    /// Rank the crooks of natural horns and trumpets by how much of the harmony is open on them.
    Crooks {
        #[command(flatten)]
        asked: Asked,
        /// Go by the year and the players of this scoring's ensemble.
        #[arg(long, value_name = "NAME")]
        scoring: Option<String>,
        /// Go by this voice beside the harmony (otherwise by the first).
        #[arg(long, value_name = "NAME")]
        voice: Option<String>,
    },
    /// Rank the tunings of two and three timpani by how much of the harmony they cover.
    #[command(alias = "drums")]
    Timpani {
        #[command(flatten)]
        asked: Asked,
    },
    /// Count the players of each ensemble and how long each of them sounds.
    Forces {
        #[command(flatten)]
        asked: Asked,
        /// Only the ensemble of this scoring.
        #[arg(long, value_name = "NAME")]
        scoring: Option<String>,
    },
    /// Measure each voice and say who can take it.
    Voices {
        #[command(flatten)]
        asked: Asked,
        /// Only this voice.
        #[arg(long, value_name = "NAME")]
        voice: Option<String>,
    },
    /// Draft a whole scoring for an ensemble, as a block ready to paste: a beginning to argue with.
    Scoring {
        /// The source.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// The ensemble.
        #[arg(long = "for", value_name = "ENSEMBLE")]
        ensemble: String,
        /// Keep the notes of this scoring.
        #[arg(long, value_name = "SCORING")]
        keep: Option<String>,
        /// What the draft should be like.
        #[arg(long, value_enum, default_value = "full")]
        lean: Character,
        /// Another number gives another draft; the same one gives the same.
        #[arg(long, value_name = "NUMBER", default_value_t = 1)]
        seed: u64,
        /// Root folder: `use` cannot reach files outside it.
        #[arg(long, value_name = "DIR")]
        root: Option<PathBuf>,
    },
    /// Print the chords that the voices imply, as a block ready to paste.
    Harmony {
        #[command(flatten)]
        asked: Asked,
    },
}

/// The character of a draft.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Character {
    /// As few players as the piece needs at each moment.
    Lean,
    /// Everybody takes part.
    Full,
    /// The colour changes from section to section.
    Colourful,
}

/// What every kind of advice takes.
#[derive(clap::Args)]
struct Asked {
    /// The source.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// How the advice is shown.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

/// How advice is shown.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// As a table.
    Text,
    /// As data.
    Json,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    match &arguments.what {
        What::Coverage { asked, scoring } => asked
            .answer(|piece| Ok(advise::coverage(piece, scoring_named(piece, scoring.as_deref())?))),
        What::Crooks { asked, scoring, voice } => asked.answer(|piece| {
            let scoring = scoring_named(piece, scoring.as_deref())?;
            Ok(advise::crooks(piece, scoring, voice_named(piece, voice.as_deref())?))
        }),
        What::Timpani { asked } => asked.answer(|piece| Ok(advise::timpani(piece))),
        What::Forces { asked, scoring } => asked
            .answer(|piece| Ok(advise::forces(piece, scoring_named(piece, scoring.as_deref())?))),
        What::Voices { asked, voice } => {
            asked.answer(|piece| Ok(advise::voices(piece, voice_named(piece, voice.as_deref())?)))
        }
        What::Scoring { file, ensemble, keep, lean, seed, root } => {
            let (mut session, source) = source::session(file, root.as_deref())?;
            let asked = draft::Asked {
                ensemble: ensemble.clone(),
                keep: keep.clone(),
                lean: match lean {
                    Character::Lean => draft::Lean::Lean,
                    Character::Full => draft::Lean::Full,
                    Character::Colourful => draft::Lean::Colourful,
                },
                seed: *seed,
            };
            let text = draft::draft(&mut session, source, &asked)
                .map_err(|why| Failure(why.to_string()))?;
            print(text.trim_start_matches('\n'))?;
            Ok(End::Fine)
        }
        What::Harmony { asked } => asked.answer(|piece| Ok(advise::harmony(piece))),
    }
}

impl Asked {
    /// Reads the source and shows the advice, and on the standard error what is wrong with the
    /// source. What is wrong is left out of the piece, so there is advice all the same.
    fn answer<A: Display + Serialize>(
        &self,
        advise: impl FnOnce(&Arc<Piece>) -> Result<A, Failure>,
    ) -> Outcome {
        let (mut session, file) = source::session(&self.file, self.root.as_deref())?;
        let advice = advise(&session.piece(file))?;
        let findings = session.findings_of_source(file);
        source::show(session.sources(), &findings, Show::Rich)?;
        print(&match self.format {
            Format::Text => advice.to_string(),
            Format::Json => {
                let json = serde_json::to_string_pretty(&advice).map_err(|error| {
                    Failure(format!("cannot write the advice as data: {error}"))
                })?;
                json + "\n"
            }
        })?;
        Ok(if has_errors(&findings) { End::ErrorsInMusic } else { End::Fine })
    }
}

fn scoring_named<'p>(piece: &'p Piece, name: Option<&str>) -> Result<Option<&'p Scoring>, Failure> {
    let Some(name) = name else { return Ok(None) };
    let chosen = source::scorings(piece, &[name.to_string()])?;
    Ok(chosen.first().map(|scoring| &***scoring))
}

fn voice_named<'p>(piece: &'p Piece, name: Option<&str>) -> Result<Option<&'p Voice>, Failure> {
    let Some(name) = name else { return Ok(None) };
    let known: Vec<&str> = piece.voices.iter().map(|voice| voice.name.as_str()).collect();
    match piece.voices.iter().find(|voice| voice.name == name) {
        Some(voice) => Ok(Some(&**voice)),
        None => {
            Err(Failure(format!("unknown voice `{name}`. {}", did_you_mean(name, &known, "voice"))))
        }
    }
}
