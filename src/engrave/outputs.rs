//! The printed files of one scoring, drawn on all cores.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use ripieno_writers::edition;
use ripieno_writers::notate::Score;

use crate::draw::{pdf, png, svg};
use crate::page::{Pages, Turn};
use crate::paper::Setup;
use crate::{layout, reading};

/// A format that pages are drawn in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Drawn {
    /// One document for each part and for the score.
    Pdf,
    /// One picture of each page.
    Svg,
    /// The same in dots, so many to the inch.
    Png {
        /// Dots per inch.
        resolution: u16,
    },
}

impl Drawn {
    /// The ending of its files, without the dot.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            Drawn::Pdf => "pdf",
            Drawn::Svg => "svg",
            Drawn::Png { .. } => "png",
        }
    }
}

/// A part or the score as it was printed.
#[derive(Clone, Debug)]
pub struct Printed {
    /// Index of the player; nothing for the score.
    pub player: Option<usize>,
    /// How many pages it has.
    pub pages: usize,
    /// The turns that fall to the player.
    pub turns: Vec<Turn>,
    /// What is to be added to the name of the file, the format, and what stands in it.
    pub files: Vec<(String, Drawn, Vec<u8>)>,
}

/// The score and all parts, in that order, drawn in the formats asked for. The same score gives the
/// same bytes.
#[must_use]
pub fn outputs(score: &Score, setup: &Setups, formats: &[Drawn]) -> Vec<Printed> {
    let count = score.staves.len() + 1;
    let next = AtomicUsize::new(0);
    let cores = thread::available_parallelism().map_or(1, usize::from).min(count);
    let work = || {
        let mut done = Vec::new();
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            if place >= count {
                return done;
            }
            done.push((place, printed(score, place.checked_sub(1), setup, formats)));
        }
    };
    let mut all: Vec<(usize, Printed)> = thread::scope(|scope| {
        let others: Vec<_> = (1..cores).map(|_| scope.spawn(work)).collect();
        let mut all = work();
        for other in others {
            // A panic goes on where it was waited for.
            all.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        all
    });
    all.sort_by_key(|(place, _)| *place);
    all.into_iter().map(|(_, printed)| printed).collect()
}

/// How the score is to be set, and how the parts.
#[derive(Clone, Default, Debug)]
pub struct Setups {
    /// The score.
    pub score: Setup,
    /// Every part.
    pub parts: Setup,
}

fn printed(score: &Score, player: Option<usize>, setups: &Setups, formats: &[Drawn]) -> Printed {
    let pages = match player {
        Some(player) => {
            layout::pages(&reading::sheet(&edition::part(score, player)), &setups.parts)
        }
        None => layout::pages(&reading::sheet(&edition::full_score(score)), &setups.score),
    };
    let files = formats.iter().flat_map(|&format| files(&pages, format)).collect();
    Printed { player, pages: pages.pages.len(), turns: pages.turns, files }
}

/// The files of some pages: one document, or a picture of each page.
#[must_use]
pub fn files(pages: &Pages, format: Drawn) -> Vec<(String, Drawn, Vec<u8>)> {
    let one = |n: usize| if pages.pages.len() > 1 { format!("-{}", n + 1) } else { String::new() };
    match format {
        Drawn::Pdf => vec![(String::new(), format, pdf::document(pages))],
        Drawn::Svg => {
            let draw = |(n, page)| (one(n), format, svg::page(page).into_bytes());
            pages.pages.iter().enumerate().map(draw).collect()
        }
        Drawn::Png { resolution } => {
            let draw = |(n, page)| Some((one(n), format, png::page(page, f64::from(resolution))?));
            pages.pages.iter().enumerate().filter_map(draw).collect()
        }
    }
}
