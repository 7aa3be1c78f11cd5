//! Formats by their names, and what a build prints: which files, on how many pages, turned where.

use std::ops::Range;

use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::BarNumbers;
use ripieno_compiler::resolve::{BarIndices, Form};
use ripieno_engrave::outputs::{self, Content, Drawn, Of, Printed, Setups};
use ripieno_engrave::paper::Paper;
use ripieno_engrave::store::NewScratch;
use ripieno_engrave::{layout, overrides, reading};
use ripieno_writers::edition;
use ripieno_writers::notate::{self, Pitches};
use ripieno_writers::render::{self, ScoreKind, text};

use super::Failure;

/// A format that a build writes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Format {
    /// By the writers of text and sound.
    Written(render::Format),
    /// Printed pages: documents, or pictures, which are written only when asked for.
    Pdf,
    Svg,
    Png,
}

impl Format {
    /// All formats in the order in which they are told.
    pub(super) fn all() -> impl Iterator<Item = Format> {
        let written = render::Format::ALL.into_iter().map(|(format, ..)| Format::Written(format));
        written.chain([Format::Pdf, Format::Svg, Format::Png])
    }

    pub(super) fn word(self) -> &'static str {
        match self {
            Format::Written(format) => format.word(),
            Format::Pdf => "pdf",
            Format::Svg => "svg",
            Format::Png => "png",
        }
    }

    fn drawn(self, resolution: u16) -> Option<Drawn> {
        match self {
            Format::Written(_) => None,
            Format::Pdf => Some(Drawn::Pdf),
            Format::Svg => Some(Drawn::Svg),
            Format::Png => Some(Drawn::Png { resolution }),
        }
    }
}

/// The formats to write: those asked for, or all but pictures and MusicXML
/// packed.
pub(super) fn formats(only: &[Format]) -> Vec<Format> {
    let wanted = |format: &Format| match only {
        [] => !matches!(format, Format::Svg | Format::Png | Format::Written(render::Format::Mxl)),
        only => only.contains(format),
    };
    Format::all().filter(wanted).collect()
}

/// The formats that can show a few bars.
fn shows_passages(format: Format) -> bool {
    !matches!(format, Format::Written(_)) || format == Format::Written(render::Format::Text)
}

/// The format of that name.
pub(super) fn format(word: &str) -> Result<Format, String> {
    Format::all().find(|format| format.word() == word).ok_or_else(|| {
        let known: Vec<&str> = Format::all().map(Format::word).collect();
        format!("known formats are {}", known.join(", "))
    })
}

/// How pages are to be printed.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct Printing {
    /// Write only these bars of the score, as text, pdf, svg or png: 9..16.
    #[arg(long, value_name = "FROM..TO")]
    bars: Option<BarNumbers>,
    /// The paper, if not that of the layout in the source: a4 (the default), a3, letter, 9x12 or
    /// 10x13 (inches).
    #[arg(long, value_name = "SIZE", value_parser = paper)]
    paper: Option<Paper>,
    /// Print the score in landscape.
    #[arg(long)]
    landscape: bool,
    /// Leave staves that only rest out of the systems of the score.
    #[arg(long)]
    hide_empty: bool,
    /// Resolution of png pictures, in dots per inch.
    #[arg(long, value_name = "DPI", default_value_t = RESOLUTION, value_parser = clap::value_parser!(u16).range(20..=1200))]
    resolution: u16,
}

/// Dots to the inch, if nothing else is asked for.
const RESOLUTION: u16 = 200;

fn paper(word: &str) -> Result<Paper, String> {
    let known = Paper::WORDS.into_iter().find(|(_, known)| *known == word);
    known.map(|(paper, _)| paper).ok_or_else(|| {
        let words: Vec<&str> = Paper::WORDS.into_iter().map(|(_, word)| word).collect();
        format!("known papers are {}", words.join(", "))
    })
}

/// A printed file: its path below the folder of the scoring, and what stands in it.
pub(super) type File = (String, Vec<u8>);

/// Where the files go: how many threads draw them, and what makes files for what must wait.
pub(super) type Drawing<'a> = (usize, &'a NewScratch<'a>);

impl Printing {
    fn setups(&self) -> Setups {
        Setups { paper: self.paper, landscape: self.landscape, hide_empty: self.hide_empty }
    }

    /// Draws the printed files of an arrangement and hands over each as soon as it is drawn, on so
    /// many threads; gives back lines that tell of parts, pages and turns, and what is
    /// found on the pages.
    pub(super) fn each_file(
        &self,
        arrangement: &Arrangement,
        wanted: &render::Wanted,
        formats: &[Format],
        drawing: Drawing,
        mut take: impl FnMut(&str, &Content) -> Result<(), Failure>,
    ) -> Result<(String, overrides::Found), Failure> {
        let drawn: Vec<Drawn> =
            formats.iter().filter_map(|format| format.drawn(self.resolution)).collect();
        if drawn.is_empty() {
            return Ok((String::new(), overrides::Found::default()));
        }
        let take = |of: Of, (page, format, content): outputs::File| {
            let name = match of {
                Of::Part(part) => render::part_name(arrangement, part),
                Of::Score(kind) => kind.file_name().to_owned(),
            };
            take(&format!("{name}{page}.{}", format.ending()), &content)
        };
        let printed =
            outputs::each_output(arrangement, wanted, &self.setups(), &drawn, drawing, take)?;
        Ok((told(arrangement, &printed), overrides::findings(arrangement, &printed)))
    }

    /// Are only some bars asked for?
    pub(super) fn is_passage(&self) -> bool {
        self.bars.is_some()
    }

    /// The formats to write: of a passage only those that can show it.
    pub(super) fn formats(&self, only: &[Format]) -> Result<Vec<Format>, Failure> {
        let mut formats = formats(only);
        if self.is_passage() {
            if let Some(other) = only.iter().find(|format| !shows_passages(**format)) {
                return Err(Failure(format!(
                    "`--bars` gives text, pdf, svg and png; {} holds the whole piece",
                    other.word()
                )));
            }
            formats.retain(|format| shows_passages(*format));
        }
        Ok(formats)
    }

    /// The files of a passage of the score; none where the whole is asked for.
    pub(super) fn passage(
        &self,
        arrangement: &Arrangement,
        wanted: &render::Wanted,
        formats: &[Format],
    ) -> Result<Vec<File>, Failure> {
        let Some(bars) = self.bars else { return Ok(Vec::new()) };
        let BarNumbers { first, last } = bars;
        let bars = within(&arrangement.piece.form, bars)?;
        let name =
            if first == last { format!("bar-{first}") } else { format!("bars-{first}-{last}") };
        let drawn: Vec<Drawn> =
            formats.iter().filter_map(|format| format.drawn(self.resolution)).collect();
        let in_text = formats.contains(&Format::Written(render::Format::Text));
        let mut files = Vec::new();
        for &kind in &wanted.scores {
            let concert = kind == ScoreKind::Concert;
            let pitches = if concert { Pitches::Concert } else { Pitches::Written };
            let beside = match kind {
                ScoreKind::Full => String::new(),
                other => format!("-{}", other.word()),
            };
            let mut score = notate::notate_at(arrangement, pitches);
            score.source.clone_from(&wanted.source);
            // Of text there is no condensed score.
            if in_text && kind != ScoreKind::Condensed {
                let text = text::passage(&score, bars.clone(), wanted.text);
                files.push((format!("{name}{beside}.txt"), text.into_bytes()));
            }
            if drawn.is_empty() {
                continue;
            }
            let edition = match kind {
                ScoreKind::Full | ScoreKind::Concert => edition::full_score(&score),
                ScoreKind::Condensed => edition::condensed_score(&score),
            };
            let sheet = reading::sheet(&edition);
            let sheet = sheet.passage(reading::shown(&sheet, bars.clone()));
            let setup = overrides::score_setup(arrangement, &self.setups(), kind);
            let pages = layout::passage(&sheet, &setup);
            for (page, format, content) in
                drawn.iter().flat_map(|&format| outputs::files(&pages, format))
            {
                let bytes = content.bytes().map_err(|error| Failure(error.to_string()))?;
                files.push((format!("{name}{beside}{page}.{}", format.ending()), bytes));
            }
        }
        if files.is_empty() {
            return Err(Failure(
                "a condensed score is not written as text: ask for pdf, svg or png".into(),
            ));
        }
        Ok(files)
    }
}

/// The bars of those numbers, as far as the piece has them.
fn within(form: &Form, bars: BarNumbers) -> Result<Range<usize>, Failure> {
    if !form.movements.is_empty() {
        // Numbers that begin afresh with each movement would stand for several bars.
        return Err(Failure(
            "`--bars` shows a passage of one movement: name the source of that movement".into(),
        ));
    }
    BarIndices::of_numbers(form, bars).map(BarIndices::range).ok_or_else(|| {
        let end = form.bars.last().map_or(0, |bar| bar.number);
        let begin = form.bars.first().map_or(0, |bar| bar.number);
        Failure(format!("the piece has bars {begin} to {end}; `--bars` must lie within"))
    })
}

/// What players are to know of their pages: those with more than one, and where they turn.
fn told(arrangement: &Arrangement, printed: &[Printed]) -> String {
    let form = &arrangement.piece.form;
    let number = |bar: usize| {
        let number = form.bars.get(bar).map_or(0, |bar| bar.number);
        let movement = form.movements.iter().rfind(|movement| movement.first <= bar);
        movement.map_or_else(|| number.to_string(), |one| format!("{number} of {}", one.title))
    };
    let mut text = String::new();
    for one in printed {
        let Of::Part(part) = one.of else { continue };
        if one.pages < 2 {
            continue;
        }
        let turns: Vec<String> = one
            .turns
            .iter()
            .map(|turn| {
                let rest = turn.seconds.round();
                let rest =
                    if rest < 1.0 { "no rest".to_string() } else { format!("{rest} s of rest") };
                format!("turn after bar {} ({rest})", number(turn.after))
            })
            .collect();
        let turns = if turns.is_empty() { "no turn".to_string() } else { turns.join(", ") };
        let name = arrangement.parts[part].full_name();
        text.push_str(&format!("  {name}: {} pages, {turns}\n", one.pages));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_drawn_only_when_asked_for() {
        let words = |only: &[Format]| -> Vec<&str> {
            formats(only).into_iter().map(Format::word).collect()
        };
        assert_eq!(words(&[]), ["text", "midi", "musicxml", "pdf"]);
        assert_eq!(words(&[Format::Png]), ["png"]);
    }
}
