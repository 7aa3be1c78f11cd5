//! The printed files of one scoring, drawn on all cores.

use std::io;
use std::ops::Range;
use std::sync::{Arc, Mutex, PoisonError};

use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::Span;
use ripieno_writers::edition::{self, Edition, Halves};
use ripieno_writers::notate::Pitches;
use ripieno_writers::render::{self, Notated, ScoreKind, Wanted};

use crate::draw::{pdf, png, svg};
use crate::page::{Draw, Page, Pages, Shape, Turn};
use crate::paper::{MARGINS, Paper, SCORE_STAFF, Setup};
use crate::sheet::Sheet;
use crate::store::{NewScratch, Store, in_memory};
use crate::{layout, overrides, reading};

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

/// A score or the part of a player.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Of {
    /// A score of some kind.
    Score(ScoreKind),
    /// The part of the player of that index.
    Part(usize),
}

/// A part or a score as it was printed.
#[derive(Clone, Debug)]
pub struct Printed {
    /// Whose it is.
    pub of: Of,
    /// How many pages it has.
    pub pages: usize,
    /// Indices of the bars with which pages begin, in the form.
    pub first_bars: Vec<usize>,
    /// … and lines; none where nothing is played.
    pub lines: Vec<usize>,
    /// The turns that fall to the player.
    pub turns: Vec<Turn>,
    /// Height of its staves in millimetres.
    pub staff_height: f64,
    /// What would make the staves of a score larger that cannot be read.
    pub larger: Option<Larger>,
    /// The players whose staves were left out of a system.
    pub hidden: Vec<usize>,
    /// Words with characters that no face has, and these characters.
    pub boxes: Vec<(String, String)>,
    /// The lines of layouts by which signs were moved.
    pub nudged: Vec<Span>,
}

/// What would make staves larger, each with their height in millimetres then, as far as it can be said
/// without trying.
#[derive(Clone, PartialEq, Debug)]
pub struct Larger {
    /// The paper that they are on.
    pub on: Paper,
    /// Are they that small because a layout wants them so?
    pub chosen: bool,
    /// The page upright, where it lies on its side.
    pub upright: Option<f64>,
    /// The smallest paper on which they can be read, or the largest that there is.
    pub paper: Option<(Paper, f64)>,
    /// A condensed score.
    pub condensed: Option<f64>,
}

/// A file as it was drawn: what is to be added to its name, the format, and what stands in it.
pub type File = (String, Drawn, Content);

/// What stands in a file; much of it may lie elsewhere until it is written.
pub struct Content {
    what: What,
    store: Arc<Mutex<Store>>,
}

enum What {
    /// A picture.
    Piece(Range<u64>),
    /// A document with its title and who wrote it.
    Document(Box<pdf::Document>, String, Option<String>),
}

impl Content {
    /// Writes it.
    ///
    /// # Errors
    ///
    /// What writing answers, or what happened while it was put aside.
    pub fn write(&self, out: &mut dyn io::Write) -> io::Result<()> {
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        match &self.what {
            What::Piece(piece) => out.write_all(&store.get(piece.clone())?),
            What::Document(document, title, author) => {
                document.write(title, author.as_deref(), &mut store, out)
            }
        }
    }

    /// It in memory.
    ///
    /// # Errors
    ///
    /// What happened while it was put aside.
    pub fn bytes(&self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.write(&mut bytes)?;
        Ok(bytes)
    }
}

/// What is printed: the arrangement as it is notated, with what is asked of its pages.
struct Work<'a> {
    arrangement: &'a Arrangement,
    wanted: &'a Wanted,
    written: Notated<'a>,
    concert: Option<Notated<'a>>,
}

/// The scores asked for and all parts, drawn in the formats asked for on so many threads. The files of
/// each are handed over as soon as they are drawn, not in order; what is given back is in order, the
/// scores first, and without the files. The same arrangement gives the same bytes. What is drawn of a
/// long one lies in files of `scratch` until it is written, and its scores are drawn by themselves.
///
/// # Errors
///
/// What `take` answers ends the work.
pub fn each_output<E>(
    arrangement: &Arrangement,
    wanted: &Wanted,
    setups: &Setups,
    formats: &[Drawn],
    (threads, scratch): (usize, &NewScratch),
    mut take: impl FnMut(Of, File) -> Result<(), E>,
) -> Result<Vec<Printed>, E> {
    let notated = |pitches| Notated::new(arrangement, wanted, pitches);
    let concert = wanted.scores.contains(&ScoreKind::Concert).then(|| notated(Pitches::Concert));
    let work = Work { arrangement, wanted, written: notated(Pitches::Written), concert };
    let scores = wanted.scores.iter().map(|&kind| Of::Score(kind));
    let all: Vec<Of> = scores.chain(arrangement.desks().map(|desk| Of::Part(desk.start))).collect();
    let mut told = Vec::with_capacity(all.len());
    let mut print = |numbers: Range<usize>, threads: usize| {
        let first = numbers.start;
        let one = |number: usize| work.printed(all[first + number], setups, (formats, scratch));
        let take = |number, (printed, files): (Printed, Vec<File>)| {
            let of = printed.of;
            told.push((first + number, printed));
            files.into_iter().try_for_each(|file| take(of, file))
        };
        render::streamed(numbers.len(), threads, one, take)
    };
    if work.written.is_kept() {
        print(0..all.len(), threads)?;
    } else {
        // As many parts at a time as there are threads take more room than a score.
        print(wanted.scores.len()..all.len(), threads)?;
        print(0..wanted.scores.len(), 1)?;
    }
    told.sort_unstable_by_key(|(number, _)| *number);
    Ok(told.into_iter().map(|(_, printed)| printed).collect())
}

impl Work<'_> {
    fn printed(
        &self,
        of: Of,
        setups: &Setups,
        (formats, scratch): (&[Drawn], &NewScratch),
    ) -> (Printed, Vec<File>) {
        let setup = overrides::setup(self.arrangement, setups, of);
        let new = || Drawing::new(formats, scratch);
        let ((pages, drawing), staves) = match of {
            Of::Part(player) => (self.part(player, &setup, &new), None),
            Of::Score(kind) => {
                let concert = self.concert.as_ref().filter(|_| kind == ScoreKind::Concert);
                score(concert.unwrap_or(&self.written), kind, &setup, &new)
            }
        };
        let staff_height = drawing.space.map_or(f64::MAX, |space| space * 4.0);
        let larger = staves.and_then(|staves| larger(of, &setup, staff_height, staves));
        let printed = Printed {
            of,
            pages: drawing.pages,
            staff_height,
            boxes: drawing.boxes.clone(),
            first_bars: pages.first_bars,
            lines: pages.lines,
            turns: pages.turns,
            larger,
            hidden: pages.hidden,
            nudged: pages.nudged,
        };
        (printed, drawing.files(&pages.title, pages.author.as_deref()))
    }

    fn part<D: Draw>(&self, player: usize, setup: &Setup, new: &impl Fn() -> D) -> (Pages, D) {
        let read = |look: &mut dyn FnMut(Edition)| {
            let score = self.written.players(self.arrangement.desk(player));
            let cueing = self.wanted.cueing;
            look(edition::part_with_cues(self.arrangement, &score, player, cueing));
        };
        if !self.written.is_kept()
            && let Some(packed) = reading::packed(1, |_, look| read(look), setup)
        {
            return layout::drawn_packed(packed, setup, new);
        }
        let mut sheet = Sheet::default();
        read(&mut |edition| sheet = reading::sheet_for(&edition, setup));
        layout::drawn(&sheet, setup, new)
    }
}

/// A score, with how many staves it has and would have if it were condensed, the two of one player
/// counted as one. A long one is notated part by part, and packed.
fn score<D: Draw>(
    notated: &Notated,
    kind: ScoreKind,
    setup: &Setup,
    new: &impl Fn() -> D,
) -> ((Pages, D), Option<(usize, usize)>) {
    let condensed = notated.condensed();
    let players = condensed.last().map_or(0, |last| last.end);
    let staves = Some((players, condensed.len()));
    if notated.is_kept() || players == 0 {
        let score = notated.score();
        let edition = match kind {
            ScoreKind::Full | ScoreKind::Concert => edition::full_score(&score),
            ScoreKind::Condensed => edition::condensed_score(&score),
        };
        let sheet = reading::sheet_for(&edition, setup);
        return (layout::drawn(&sheet, setup, new), staves);
    }
    let packed = if kind == ScoreKind::Condensed {
        let one = |number: usize, look: &mut dyn FnMut(Edition)| {
            let players = &condensed[number];
            let score = notated.players(players.clone());
            look(edition::players_of_condensed(&score, players.clone()));
        };
        reading::packed(condensed.len(), one, setup)
    } else {
        let staves = notated.full();
        let one = |staff: usize, look: &mut dyn FnMut(Edition)| {
            let players = staves[staff].clone();
            let score = notated.players(players.clone());
            look(edition::players_of_score(&score, players, Halves::Together));
        };
        reading::packed(staves.len(), one, setup)
    };
    let packed = packed.unwrap_or_else(|| unreachable!("there are players"));
    (layout::drawn_packed(packed, setup, new), staves)
}

/// What would make the staves of a score larger, if they are too small. It has
/// so many staves, and a condensed one so many.
fn larger(
    of: Of,
    setup: &Setup,
    height: f64,
    (staves, condensed): (usize, usize),
) -> Option<Larger> {
    let Of::Score(kind) = of else { return None };
    let least = SCORE_STAFF.1;
    if height >= least - 0.01 {
        return None;
    }
    // What takes room beside the music: margins, head and foot.
    let room = |height: f64| height - MARGINS.top - MARGINS.bottom - 20.0;
    let (wide, high) = setup.paper.millimetres();
    let now = room(if setup.landscape { wide } else { high });
    let on = |millimetres: f64| height * room(millimetres) / now;
    let of_paper = |paper: Paper| {
        let (wide, high) = paper.millimetres();
        on(if setup.landscape { wide } else { high })
    };
    let mut papers: Vec<(Paper, f64)> =
        Paper::WORDS.into_iter().map(|(paper, _)| (paper, of_paper(paper))).collect();
    papers.retain(|(_, larger)| *larger > height + 0.1);
    papers.sort_by(|a, b| a.1.total_cmp(&b.1));
    let fits = papers.iter().copied().find(|(_, larger)| *larger >= least);
    let fewer = kind == ScoreKind::Full && condensed < staves;
    Some(Larger {
        on: setup.paper,
        chosen: setup.staff_height.is_some_and(|chosen| chosen < least),
        upright: setup.landscape.then(|| on(high)),
        paper: fits.or(papers.last().copied()),
        condensed: fewer.then(|| height * staves as f64 / condensed as f64),
    })
}

/// Pages as they are drawn in the formats asked for.
struct Drawing<'f> {
    formats: &'f [Drawn],
    document: Option<pdf::Document>,
    /// The pictures of each format, each with the number of its page.
    pictures: Vec<Vec<(usize, Range<u64>)>>,
    store: Store,
    scratch: &'f NewScratch<'f>,
    pages: usize,
    /// Millimetres in a staff space of the first page.
    space: Option<f64>,
    /// Words with characters that no face has, and these.
    boxes: Vec<(String, String)>,
}

impl<'f> Drawing<'f> {
    fn new(formats: &'f [Drawn], scratch: &'f NewScratch<'f>) -> Drawing<'f> {
        Drawing {
            formats,
            document: formats.contains(&Drawn::Pdf).then(pdf::Document::default),
            pictures: vec![Vec::new(); formats.len()],
            store: Store::default(),
            scratch,
            pages: 0,
            space: None,
            boxes: Vec::new(),
        }
    }

    fn files(mut self, title: &str, author: Option<&str>) -> Vec<File> {
        let several = self.pages > 1;
        let store = Arc::new(Mutex::new(self.store));
        let mut files = Vec::new();
        for (&format, pictures) in self.formats.iter().zip(self.pictures) {
            if format == Drawn::Pdf {
                let document = Box::new(self.document.take().unwrap_or_default());
                let what = What::Document(document, title.to_owned(), author.map(str::to_owned));
                let store = Arc::clone(&store);
                files.push((String::new(), format, Content { what, store }));
            }
            files.extend(pictures.into_iter().map(|(number, piece)| {
                let name = if several { format!("-{number}") } else { String::new() };
                let store = Arc::clone(&store);
                (name, format, Content { what: What::Piece(piece), store })
            }));
        }
        files
    }
}

impl Draw for Drawing<'_> {
    fn page(&mut self, page: Page) {
        self.pages += 1;
        self.space.get_or_insert(page.space);
        self.boxes.extend(boxes(&page));
        let (store, scratch) = (&mut self.store, self.scratch);
        if let Some(document) = &mut self.document {
            document.add(&page, &mut |packed| store.put(packed, scratch));
        }
        for (format, pictures) in self.formats.iter().zip(&mut self.pictures) {
            let picture = match format {
                Drawn::Pdf => None,
                Drawn::Svg => Some(svg::page(&page).into_bytes()),
                Drawn::Png { resolution } => png::page(&page, f64::from(*resolution)),
            };
            pictures
                .extend(picture.map(|bytes| (self.pages, self.store.put(&bytes, self.scratch))));
        }
    }
}

/// The words of a page that have characters which no face has, with these.
fn boxes(page: &Page) -> impl Iterator<Item = (String, String)> {
    page.marks.iter().filter_map(|mark| {
        let Shape::Text { run, .. } = &mark.shape else { return None };
        let missing = run.missing();
        (!missing.is_empty()).then(|| (run.text.clone(), missing))
    })
}

/// What the command line asks of all pages; it goes before what a layout of the source says.
#[derive(Clone, Default, Debug)]
pub struct Setups {
    /// The paper, where one is asked for.
    pub paper: Option<Paper>,
    /// Is the paper of scores turned on its side?
    pub landscape: bool,
    /// Are staves left out of systems of a score in which they only rest?
    pub hide_empty: bool,
}

/// The files of some pages: one document, or a picture of each page.
#[must_use]
pub fn files(pages: &Pages, format: Drawn) -> Vec<File> {
    let formats = [format];
    let mut drawing = Drawing::new(&formats, &in_memory);
    pages.pages.iter().for_each(|page| drawing.page(page.clone()));
    drawing.files(&pages.title, pages.author.as_deref())
}
