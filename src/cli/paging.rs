//! Which scores and what parts: options that `build` and `watch` share.

use std::num::NonZero;

use ripieno_writers::edition::Cueing;
use ripieno_writers::render::text::Style;
use ripieno_writers::render::{self, Format, ScoreKind, Wanted};

/// Which pages are wanted.
#[derive(clap::Args, Clone, Debug)]
pub(super) struct Paging {
    /// Which scores to write beside the parts: full, concert (at sounding pitch), condensed (players
    /// of a kind on one staff, as MusicXML).
    #[arg(
        long,
        value_name = "KIND",
        value_delimiter = ',',
        value_parser = kind,
        default_value = "full"
    )]
    scores: Vec<ScoreKind>,
    /// Bars of rest after which an entry gets a cue in its part; 0 for no cues.
    #[arg(long, value_name = "BARS", default_value_t = 8)]
    cues: u32,
    /// How text is laid out: beats (notes under their beats), words (a bar a line, to be read
    /// aloud), lines (a bar a line in signs, to compare versions).
    #[arg(long, value_name = "LAYOUT", default_value = "beats", value_parser = text)]
    text: Style,
}

fn text(word: &str) -> Result<Style, String> {
    let found = Style::ALL.into_iter().find(|(_, known)| *known == word);
    found.map(|(style, _)| style).ok_or_else(|| {
        let known: Vec<&str> = Style::ALL.into_iter().map(|(_, word)| word).collect();
        format!("known layouts of text are {}", known.join(", "))
    })
}

fn kind(word: &str) -> Result<ScoreKind, String> {
    let found = ScoreKind::ALL.into_iter().find(|(_, known, _)| *known == word);
    found.map(|(kind, ..)| kind).ok_or_else(|| {
        let known: Vec<&str> = ScoreKind::ALL.into_iter().map(|(_, word, _)| word).collect();
        format!("known scores are {}", known.join(", "))
    })
}

impl Paging {
    /// What is asked of the writers; `source` is the digest of the sources, of which the pages show
    /// the beginning.
    pub(super) fn wanted(&self, formats: &[Format], source: &str) -> Wanted {
        let mut scores = self.scores.clone();
        scores.sort_unstable();
        scores.dedup();
        Wanted {
            scores,
            text: self.text,
            cueing: Cueing { after_bars: self.cues },
            source: Some(render::source_mark(source)),
            ..Wanted::formats(formats)
        }
    }
}

/// As many threads as the machine runs at once.
pub(super) fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, NonZero::get)
}
