//! What is to be engraved: staves with their bars, whoever notated them.

use std::ops::Range;

use ripieno_compiler::instruments::Clef;
use ripieno_compiler::music::{Metre, Time};
use ripieno_compiler::resolve::{BarLine, Ending, Tempo};
use ripieno_writers::edition::{DirectionKind, GroupSign};
use ripieno_writers::notate::{Element, ElementKind, Sign};

use crate::page::Origin;
use crate::rows::{Spans, Stretch};

/// A part or a score before it is laid out.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// Title of the piece.
    pub title: String,
    /// Second line of the head.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence of the music.
    pub licence: Option<String>,
    /// Which version it is, or of when.
    pub revision: Option<String>,
    /// Name of the scoring.
    pub scoring: String,
    /// What the pages are: "Score", "Oboe 2".
    pub name: String,
    /// What the player needs beside it: keys and crooks, other instruments.
    pub needs: Option<String>,
    /// A mark of the source from which the pages were made.
    pub source: Option<String>,
    /// Is it the part of a player, who turns the pages?
    pub is_part: bool,
    /// Does the player rest throughout?
    pub tacet: bool,
    /// The bars; rests that are counted together are one, and movements that are tacet have none.
    pub bars: Vec<Bar>,
    /// What stands behind the last bar: the headings of movements that are tacet.
    pub closing: Vec<Heading>,
    /// The staves, from the top.
    pub staves: Vec<Staff>,
    /// Brackets and braces, the outer ones first.
    pub groups: Vec<Group>,
}

/// A bracket or brace before staves.
#[derive(Clone, Debug)]
pub struct Group {
    /// The staves.
    pub staves: Range<usize>,
    /// Its sign.
    pub sign: GroupSign,
    /// Do bar lines go through it?
    pub bar_lines: bool,
}

/// What stands over a movement.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Heading {
    /// "II. Minuet", "II. Minuet: tacet".
    pub words: String,
    /// Does the player rest through it? Then none of its bars follow.
    pub tacet: bool,
}

/// What all staves share in one bar.
#[derive(Clone, Debug)]
pub struct Bar {
    /// Index in the form (of the first, where several bars of rest are one).
    pub index: usize,
    /// How many bars it stands for.
    pub count: u32,
    /// Its number; 0 for a pick-up.
    pub number: i32,
    /// How long it is.
    pub length: Time,
    /// Where in the bar of the form it begins: behind its beginning where a bar that is longer than a
    /// line is divided.
    pub begins_at: Time,
    /// Of an up-beat that is parted from its bar: where in that bar it begins.
    pub up_beat: Option<Time>,
    /// Does the bar go on with the next, without a line between?
    pub goes_on: bool,
    /// The metre in force.
    pub metre: Metre,
    /// Is it printed here?
    pub metre_shown: bool,
    /// The heading of the movement that begins here, behind those of tacet ones before it.
    pub headings: Vec<Heading>,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark.
    pub mark: Option<String>,
    /// Does a repeat begin here?
    pub repeat_starts: bool,
    /// Does a repeat end with it?
    pub repeat_ends: bool,
    /// An ending that begins with it.
    pub ending_starts: Option<Ending>,
    /// An ending that ends with it.
    pub ending_ends: Option<Ending>,
    /// The line at its end.
    pub line: BarLine,
    /// Does nobody count it?
    pub implicit: bool,
    /// Signs that tell where to go on.
    pub signs: Vec<Sign>,
    /// Seconds of a quarter.
    pub pace: f64,
}

/// One staff.
#[derive(Clone, Debug)]
pub struct Staff {
    /// Name before the first system, line by line; empty where another staff has it.
    pub name: String,
    /// Short name before each later system.
    pub abbreviation: String,
    /// Index of what is named together with it.
    pub part: usize,
    /// Its players, as indices in the arrangement.
    pub players: Vec<usize>,
    /// The upper one of two staves that a brace joins.
    pub braced: bool,
    /// Does a tempo stand over it, in a score? Over the uppermost strings.
    pub strings_begin: bool,
    /// Its voices among those of all staves.
    pub lanes: Range<usize>,
    /// The bars, as many as [`Sheet::bars`], or those of them that are being drawn.
    pub bars: Stretch<StaffBar>,
    /// Slurs, hairpins and lines: all, or those that touch these bars.
    pub spans: Spans,
    /// Does it stand only in some systems, for a pair that may share a staff?
    pub of_pair: Option<OfPair>,
}

/// Staves of two players who share one where they can. Such three staves follow one another; a system
/// has either the first or the other two.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OfPair {
    /// The one that they share; in systems in which they do not cross.
    Shared,
    /// One player by himself; in systems in which they do.
    Alone,
}

/// A place of a staff: bar of the sheet, voice, element.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct SheetPlace {
    /// Index of the bar in the sheet.
    pub bar: usize,
    /// Voice, from 0.
    pub voice: usize,
    /// Index of the element in the voice of its bar.
    pub element: usize,
}

/// Something from one place to another.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Span {
    /// What it is.
    pub kind: SpanKind,
    /// Does it stand above?
    pub above: bool,
    /// Did it begin before the bars of the sheet, and does it go on behind them?
    pub cut: (bool, bool),
}

/// Kinds of spans.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum SpanKind {
    /// A slur between two notes.
    Slur(SheetPlace, SheetPlace),
    /// The beginning of a slur over both staves of a player, which ends on one of them in that bar at that
    /// time.
    SlurLeaves(SheetPlace, (usize, Time)),
    /// The end of such a slur, which began in that bar at that time.
    SlurArrives((usize, Time), SheetPlace),
    /// A hairpin between two times, each a bar and a time in it.
    Hairpin {
        /// Where it begins.
        from: (usize, Time),
        /// Where it ends.
        to: (usize, Time),
        /// Does it grow?
        grows: bool,
    },
    /// The wavy line behind a trill.
    Trill(SheetPlace, SheetPlace),
    /// A line that moves what stands under it by octaves.
    Octave {
        /// Where it begins.
        from: (usize, Time),
        /// Where it ends.
        to: (usize, Time),
        /// Octaves up.
        octaves: i8,
    },
}

/// One bar of one staff.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct StaffBar {
    /// Lines of the staff: five, or one for an instrument without pitch.
    pub lines: u8,
    /// The clef in force at its beginning.
    pub clef: Clef,
    /// Sharps (positive) or flats of the signature in force.
    pub key: i32,
    /// Is the signature printed here, and what was in force before?
    pub key_change: Option<i32>,
    /// Clefs that change in it: time, clef; at time zero, before the bar line.
    pub clefs: Vec<(Time, Clef)>,
    /// Notes and rests of each voice in order.
    pub voices: Vec<BarVoice>,
    /// Directions in order of time.
    pub directions: Vec<Direction>,
    /// Do two players who share the staff part in it?
    pub parted: bool,
    /// Is it of the lower of two staves in a movement in which the player reads one? Systems of it do
    /// not have the staff.
    pub absent: bool,
    /// What a system that begins with the bar says of who plays of those who share the staff: "1.",
    /// "a 2".
    pub who: Option<Direction>,
}

/// One voice in one bar.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct BarVoice {
    /// Is it the upper or the lower of two?
    pub side: Option<Side>,
    /// Notes and rests in order.
    pub events: Vec<Event>,
}

/// A side of a staff.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Side {
    /// Above.
    Upper,
    /// Below.
    Lower,
}

/// What is said at a place.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Direction {
    /// Time from the bar's beginning.
    pub at: Time,
    /// What it says.
    pub kind: DirectionKind,
    /// Does it stand above the staff?
    pub above: bool,
}

/// A note, chord or rest.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Event {
    /// What is printed.
    pub element: Element,
    /// Where it comes from.
    pub origin: Origin,
}

impl Sheet {
    /// Does a brace join a staff with the one below it in a bar?
    pub(crate) fn is_braced(&self, staff: usize, bar: usize) -> bool {
        let lower = || self.staves.get(staff + 1)?.bars.get(bar);
        self.staves[staff].braced && lower().is_some_and(|bar| !bar.absent)
    }

    /// Has the left hand of a player of two staves a bar to itself? What is said there stands by it, between the
    /// staves. Common practice.
    pub(crate) fn left_hand_alone(&self, staff: usize, bar: usize) -> bool {
        let upper = &self.staves[staff];
        let lower = || self.staves.get(staff + 1)?.bars.get(bar);
        upper.braced && upper.bars[bar].is_silent() && lower().is_some_and(|bar| !bar.is_silent())
    }

    /// Some of its bars alone. The first shows its metre.
    #[must_use]
    pub fn passage(&self, bars: Range<usize>) -> Sheet {
        let (from, to) = (bars.start, bars.end);
        let mut passage = self.clone();
        passage.bars = self.bars[from..to].to_vec();
        passage.closing.clear();
        for staff in &mut passage.staves {
            let mut bars = staff.bars[from..to].to_vec();
            if let Some(first) = bars.first_mut() {
                first.key_change = None;
            }
            staff.bars = Stretch::new(0, bars);
            let mut spans = std::mem::take(&mut staff.spans).into_all();
            let spans = spans.drain(..).filter_map(|span| span.within(from..to)).collect();
            staff.spans = Spans::new(spans);
        }
        if let Some(first) = passage.bars.first_mut() {
            first.metre_shown = true;
        }
        passage
    }
}

impl Staff {
    /// Does it stand in systems in which no players cross?
    #[must_use]
    pub fn is_usual(&self) -> bool {
        self.of_pair != Some(OfPair::Alone)
    }

    /// Has it from a bar on, which is not its first, another number of lines? It begins there as if anew (common
    /// practice): with its clef and signature behind the bar line, and none told before it.
    #[must_use]
    pub fn new_lines(&self, bar: usize) -> bool {
        let of = |bar: usize| self.bars.get(bar).map(|bar| bar.lines);
        bar.checked_sub(1).is_some_and(|before| of(bar).is_some() && of(before) != of(bar))
    }
}

/// What says how prominently somebody plays, and not who.
const PROMINENT: [&str; 3] = ["solo", "soli", "tutti"];

impl StaffBar {
    /// How far the staff, or a bar line on its one line, reaches from its middle, in staff spaces.
    #[must_use]
    pub fn half(&self) -> f64 {
        if self.lines == 1 { 1.0 } else { f64::from(self.lines - 1) / 2.0 }
    }

    /// Who plays of those who share a staff, or whose cue it is, for a line that begins with the bar: it is
    /// said again at the head of each system, since nobody turns back for it (Gould, chapter 19, from memory).
    #[must_use]
    pub fn said_again(&self) -> Option<&Direction> {
        let who = self.who.as_ref()?;
        let kind = std::mem::discriminant(&who.kind);
        // Which of them plays is not said by how prominent he is.
        let prominent = |said: &DirectionKind| match said {
            DirectionKind::Who(words) => PROMINENT.contains(&&**words),
            _ => false,
        };
        let said = |said: &Direction| {
            let alike = std::mem::discriminant(&said.kind) == kind;
            alike && said.at <= who.at && !prominent(&said.kind)
        };
        (!self.directions.iter().any(said)).then_some(who)
    }

    /// Does nobody play here?
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.voices
            .iter()
            .flat_map(|voice| &voice.events)
            .all(|event| event.element.cue || !matches!(event.element.kind, ElementKind::Note(_)))
    }

    /// The end of the last note that begins here before a time, or that time where it goes on.
    #[must_use]
    pub(crate) fn played_until(&self, time: Time) -> Option<Time> {
        let events = self.voices.iter().flat_map(|voice| &voice.events);
        let elements = events.map(|event| &event.element);
        let played = elements
            .filter(|one| !one.cue && one.at < time && matches!(one.kind, ElementKind::Note(_)));
        played.map(|one| (one.at + one.length).min(time)).max()
    }

    /// Is there nothing to read here but rests: does nobody play, and is nobody told in words what to
    /// take or do meanwhile?
    #[must_use]
    pub fn is_idle(&self) -> bool {
        let words = |said: &Direction| {
            matches!(
                said.kind,
                DirectionKind::Technique(_)
                    | DirectionKind::Change(_)
                    | DirectionKind::Words(_)
                    | DirectionKind::Who(_)
            )
        };
        self.is_silent() && !self.directions.iter().any(words)
    }
}

impl Span {
    /// The bars of the sheet in which it begins and ends.
    #[must_use]
    pub fn bars(&self) -> (usize, usize) {
        match &self.kind {
            SpanKind::Slur(from, to) | SpanKind::Trill(from, to) => (from.bar, to.bar),
            SpanKind::SlurLeaves(from, to) => (from.bar, to.0),
            SpanKind::SlurArrives(from, to) => (from.0, to.bar),
            SpanKind::Hairpin { from, to, .. } | SpanKind::Octave { from, to, .. } => {
                (from.0, to.0)
            }
        }
    }

    /// Moves it so many bars towards the beginning.
    pub(crate) fn shift(&mut self, bars: usize) {
        self.each_bar(|bar| *bar -= bars);
    }

    /// What is left of it in some bars alone, from which they are counted. A trill that lies across their edge is left out.
    fn within(mut self, bars: Range<usize>) -> Option<Span> {
        let (from, to) = self.bars();
        self.cut = (from < bars.start, to >= bars.end);
        match &mut self.kind {
            _ if from >= bars.end || to < bars.start => return None,
            SpanKind::Slur(from, to) => {
                from.bar = from.bar.max(bars.start);
                to.bar = to.bar.min(bars.end - 1);
            }
            SpanKind::SlurLeaves(from, to) => {
                from.bar = from.bar.max(bars.start);
                to.0 = to.0.min(bars.end - 1);
            }
            SpanKind::SlurArrives(from, to) => {
                from.0 = from.0.max(bars.start);
                to.bar = to.bar.min(bars.end - 1);
            }
            SpanKind::Trill(..) if self.cut != (false, false) => return None,
            SpanKind::Trill(..) => {}
            SpanKind::Hairpin { from, to, .. } | SpanKind::Octave { from, to, .. } => {
                if *to <= (bars.start, Time::ZERO) {
                    return None;
                }
                let end = (bars.end, Time::ZERO);
                self.cut.1 = *to > end;
                *from = (*from).max((bars.start, Time::ZERO));
                *to = (*to).min(end);
            }
        }
        self.shift(bars.start);
        Some(self)
    }

    /// Moves it so many bars on.
    pub(crate) fn shift_on(&mut self, bars: usize) {
        self.each_bar(|bar| *bar += bars);
    }

    fn each_bar(&mut self, change: impl Fn(&mut usize)) {
        match &mut self.kind {
            SpanKind::Slur(from, to) | SpanKind::Trill(from, to) => {
                change(&mut from.bar);
                change(&mut to.bar);
            }
            SpanKind::SlurLeaves(from, to) => {
                change(&mut from.bar);
                change(&mut to.0);
            }
            SpanKind::SlurArrives(from, to) => {
                change(&mut from.0);
                change(&mut to.bar);
            }
            SpanKind::Hairpin { from, to, .. } | SpanKind::Octave { from, to, .. } => {
                change(&mut from.0);
                change(&mut to.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_spans_the_edge_of_a_passage_is_cut_there() {
        let span = |kind: SpanKind| Span { kind, above: true, cut: (false, false) };
        let octave = |from: usize, to: usize| {
            let (from, to) = ((from, Time::ZERO), (to, Time::ZERO));
            span(SpanKind::Octave { from, to, octaves: 1 })
        };
        let left = |span: Span| span.within(2..5).map(|span| (span.bars(), span.cut));
        assert_eq!(left(octave(1, 4)), Some(((0, 2), (true, false))));
        assert_eq!(left(octave(3, 5)), Some(((1, 3), (false, false))), "to the last bar line");
        assert_eq!(left(octave(3, 7)), Some(((1, 3), (false, true))));
        assert_eq!(left(octave(0, 2)), None, "it ends at the first bar line");
        assert_eq!(left(octave(5, 7)), None);
        let place = |bar: usize| SheetPlace { bar, voice: 0, element: 0 };
        let slur = |from: usize, to: usize| span(SpanKind::Slur(place(from), place(to)));
        assert_eq!(left(slur(1, 2)), Some(((0, 0), (true, false))));
        assert_eq!(left(slur(4, 5)), Some(((2, 2), (false, true))));
        assert_eq!(left(slur(0, 1)), None);
    }
}
