//! Reads MusicXML, partwise or timewise (W3C Music Notation Community Group, "MusicXML 4.0",
//! 2021): what sounds and what players read, not how a page is laid out.
//!
//! A file is gone through once. Each element of a measure becomes a small tree that the next one
//! uses again, so that a large file needs little more than the notes that are made of it. Document
//! types and entities are never fetched or looked up.

mod direction;
mod harmonics;
mod note;
mod tags;
mod tree;
mod values;

use std::collections::HashMap;

use super::Error;
use super::loss::{Losses, NOWHERE};
use super::raw::{RawInstrument, RawMeasure, RawMetre, RawPart, RawScore};
use crate::music::{Interval, PitchName, Time};
use crate::narrow::Narrow;

use tree::{Element, Malformed, Step, Tree, Walker, attribute};

/// More parts than any score has; a guard against files that are made to hurt.
const MOST_PARTS: usize = 1000;
/// More measures than a source may have.
const MOST_MEASURES: usize = crate::limits::BARS as usize;
/// Longer than any measure is.
const LONGEST_MEASURE: Time = Time::of(64, 1);

/// Reads a file.
pub(super) fn read(text: &str, losses: &mut Losses) -> Result<RawScore, Error> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut walker = Walker::new(text);
    let (name, empty) = match walker.step().map_err(malformed)? {
        Step::Begin { name, empty, .. } => (name, empty),
        _ => return Err(Error::new("there is no music in the file: it has no elements")),
    };
    let timewise = match name {
        "score-partwise" => false,
        "score-timewise" => true,
        other => {
            return Err(Error::new(format!(
                "the file is no MusicXML score: it begins with <{other}> instead of <score-partwise>"
            )));
        }
    };
    let mut reader = Reader {
        tree: Tree::default(),
        score: RawScore::default(),
        states: Vec::new(),
        ids: HashMap::new(),
        losses,
    };
    if !empty {
        reader.score(&mut walker, timewise)?;
    }
    if reader.score.parts.iter().all(|part| part.measures.is_empty()) {
        return Err(Error::new("there is no music in the file: no part has a measure"));
    }
    Ok(reader.score)
}

fn malformed(malformed: Malformed) -> Error {
    Error::new(format!("line {}: the file is broken here: {}", malformed.line, malformed.why))
}

struct Reader<'a, 'l> {
    tree: Tree<'a>,
    score: RawScore,
    /// What holds on from measure to measure, part by part.
    states: Vec<PartState>,
    ids: HashMap<String, usize>,
    losses: &'l mut Losses,
}

/// What holds on in a part from measure to measure.
struct PartState {
    /// Divisions of a quarter; 0 where the file has not said.
    divisions: i64,
    transposition: Interval,
    voices: HashMap<String, u16>,
    /// The voice that was met last: most notes follow one of their own voice.
    last_voice: Option<(String, u16)>,
}

/// Where a measure stands while it is read.
struct Cursor {
    /// In divisions from the beginning of the measure.
    ticks: i64,
    at: Time,
    /// Exact times of places that were met, so that rounded durations come together again.
    known: Vec<(i64, Time)>,
    /// Where the note before began, and how long it was: a chord begins there too.
    last: (Time, Time),
    measure: RawMeasure,
    /// The longest rest of a whole bar.
    rest: Time,
    /// Where figures stand next, if several stand under one note: the place of the note and how
    /// much later.
    figured: (i64, i64),
    index: usize,
    part: usize,
}

impl<'a> Reader<'a, '_> {
    fn score(&mut self, walker: &mut Walker<'a>, timewise: bool) -> Result<(), Error> {
        let outer = if timewise { "measure" } else { "part" };
        let mut measures = 0;
        loop {
            match walker.step().map_err(malformed)? {
                Step::Begin { name, attributes, empty } if name == outer => {
                    if timewise {
                        measures += 1;
                        self.timewise_measure(walker, attributes, empty, measures - 1)?;
                    } else {
                        let part = self.part_of(attributes)?;
                        if !empty {
                            self.part(walker, part)?;
                        }
                    }
                }
                Step::Begin { name, attributes, empty } => {
                    walker.read(&mut self.tree, (name, attributes, empty)).map_err(malformed)?;
                    self.header()?;
                }
                Step::End => return Ok(()),
                Step::Eof => return Err(malformed(walker.ends_early())),
            }
        }
    }

    fn part(&mut self, walker: &mut Walker<'a>, part: usize) -> Result<(), Error> {
        loop {
            match walker.step().map_err(malformed)? {
                Step::Begin { name: "measure", attributes, empty } => {
                    self.measure(walker, part, (attributes, empty))?;
                }
                Step::Begin { empty: false, .. } => walker.skip().map_err(malformed)?,
                Step::Begin { .. } => {}
                Step::End => return Ok(()),
                Step::Eof => return Err(malformed(walker.ends_early())),
            }
        }
    }

    fn timewise_measure(
        &mut self,
        walker: &mut Walker<'a>,
        of_measure: &'a str,
        empty: bool,
        index: usize,
    ) -> Result<(), Error> {
        let mut open = !empty;
        while open {
            match walker.step().map_err(malformed)? {
                Step::Begin { name: "part", attributes, empty } => {
                    let part = self.part_of(attributes)?;
                    // A part that left measures out is silent there.
                    while self.score.parts[part].measures.len() < index {
                        self.score.parts[part].measures.push(RawMeasure::default());
                    }
                    self.measure(walker, part, (of_measure, empty))?;
                }
                Step::Begin { empty: false, .. } => walker.skip().map_err(malformed)?,
                Step::Begin { .. } => {}
                Step::End => open = false,
                Step::Eof => return Err(malformed(walker.ends_early())),
            }
        }
        Ok(())
    }

    /// The index of the part of that id; a part that the list does not have is added.
    fn part_of(&mut self, attributes: &str) -> Result<usize, Error> {
        let id = attribute(attributes, "id").unwrap_or_default().into_owned();
        if let Some(part) = self.ids.get(&id) {
            return Ok(*part);
        }
        self.new_part(RawPart { id, ..RawPart::default() })
    }

    fn new_part(&mut self, part: RawPart) -> Result<usize, Error> {
        let index = self.score.parts.len();
        if index >= MOST_PARTS {
            return Err(Error::new(format!("the file has more than {MOST_PARTS} parts")));
        }
        self.ids.insert(part.id.clone(), index);
        self.score.parts.push(RawPart { staves: 1, ..part });
        self.states.push(PartState {
            divisions: 0,
            transposition: Interval::UNISON,
            voices: HashMap::new(),
            last_voice: None,
        });
        Ok(index)
    }

    /// One measure of one part.
    fn measure(
        &mut self,
        walker: &mut Walker<'a>,
        part: usize,
        (attributes, empty): (&'a str, bool),
    ) -> Result<(), Error> {
        let index = self.score.parts[part].measures.len();
        if index >= MOST_MEASURES {
            return Err(Error::new(format!(
                "a part has more than {MOST_MEASURES} measures; a source may have that many bars, so import the movements one by one"
            )));
        }
        let label = attribute(attributes, "number").unwrap_or_default().into_owned();
        let mut cursor = Cursor {
            ticks: 0,
            at: Time::ZERO,
            known: Vec::new(),
            last: (Time::ZERO, Time::ZERO),
            measure: RawMeasure { label, ..RawMeasure::default() },
            rest: Time::ZERO,
            figured: (0, 0),
            index,
            part,
        };
        let mut open = !empty;
        while open {
            match walker.step().map_err(malformed)? {
                Step::Begin { name, attributes, empty } => {
                    walker.read(&mut self.tree, (name, attributes, empty)).map_err(malformed)?;
                    self.element(&mut cursor);
                }
                Step::End => open = false,
                Step::Eof => return Err(malformed(walker.ends_early())),
            }
        }
        let mut measure = cursor.measure;
        if measure.length == Time::ZERO {
            measure.length = cursor.rest;
        } else {
            measure.counted = true;
        }
        measure.notes.shrink_to_fit();
        self.score.parts[part].measures.push(measure);
        Ok(())
    }

    fn element(&mut self, cursor: &mut Cursor) {
        let tree = std::mem::take(&mut self.tree);
        let element = tree.root();
        match element.name() {
            "note" => self.note(cursor, element),
            "backup" => self.shift(cursor, element, -1),
            "forward" => self.shift(cursor, element, 1),
            "attributes" => self.attributes(cursor, element),
            "direction" => self.direction(cursor, element),
            "barline" => self.barline(cursor, element),
            "harmony" => self.harmony(cursor, element),
            "sound" => self.sound(cursor, element),
            "figured-bass" => self.figures(cursor, element),
            _ => {}
        }
        self.tree = tree;
    }

    fn shift(&mut self, cursor: &mut Cursor, element: Element, sign: i64) {
        let ticks = ticks(element).unwrap_or(0);
        self.advance(cursor, ticks.saturating_mul(sign), None);
        if sign > 0 {
            cursor.measure.length = cursor.measure.length.max(cursor.at);
        }
    }

    /// Moves on by so many divisions, which last exactly so long if that is known.
    fn advance(&mut self, cursor: &mut Cursor, ticks: i64, exact: Option<Time>) {
        let divisions = self.divisions(cursor);
        if cursor.known.is_empty() {
            cursor.known.push((0, Time::ZERO));
        }
        let target = cursor.ticks.saturating_add(ticks);
        if target < 0 {
            self.losses.changed(
                "a step back to before the beginning of a bar, read as its beginning",
                Some(cursor.part),
                cursor.index,
            );
        }
        cursor.ticks = target.max(0);
        let known = cursor.known.iter().rev().find(|(ticks, _)| *ticks == cursor.ticks);
        let at = match (known, exact) {
            (Some((_, at)), _) => *at,
            (None, Some(length)) => cursor.at + length,
            (None, None) => values::time(cursor.ticks, divisions).unwrap_or(LONGEST_MEASURE),
        };
        if at > LONGEST_MEASURE {
            self.losses.changed("a bar without end, cut short", Some(cursor.part), cursor.index);
        }
        cursor.at = at.min(LONGEST_MEASURE);
        if known.is_none() {
            cursor.known.push((cursor.ticks, cursor.at));
        }
    }

    /// Divisions of a quarter.
    fn divisions(&mut self, cursor: &Cursor) -> i64 {
        let state = &mut self.states[cursor.part];
        if state.divisions == 0 {
            self.losses.changed(
                "durations before the file says how many make a quarter, read as quarters",
                Some(cursor.part),
                cursor.index,
            );
            state.divisions = 1;
        }
        state.divisions
    }

    fn attributes(&mut self, cursor: &mut Cursor, element: Element) {
        // The transposition stands behind the key for which it holds.
        let transposes = |child: &Element| child.name() == "transpose";
        let others = element.children().filter(|child| !transposes(child));
        for child in element.children().filter(transposes).chain(others) {
            match child.name() {
                "divisions" => self.set_divisions(cursor, child),
                "key" => self.key(cursor, child),
                "time" => self.time(cursor, child),
                "staves" => {
                    let staves: u8 = child.raw().parse().unwrap_or(1);
                    self.score.parts[cursor.part].staves = staves.clamp(1, 8);
                }
                "transpose" => {
                    let by = values::transposition(child);
                    if child.child("double").is_some() {
                        self.losses.left_out(
                            "the lower octave of a part that sounds in two",
                            Some(cursor.part),
                            cursor.index,
                        );
                    }
                    self.states[cursor.part].transposition = by;
                    let part = &mut self.score.parts[cursor.part];
                    if cursor.index == 0 || part.transposition == Interval::UNISON {
                        part.transposition = by;
                    }
                }
                "measure-style" => {
                    let what = match child.children().next().map(Element::name) {
                        Some("measure-repeat") => "signs that repeat the bar before",
                        Some("beat-repeat") => "signs that repeat the beat before",
                        Some("slash") => "slashes for free playing",
                        _ => continue,
                    };
                    self.losses.left_out(what, Some(cursor.part), cursor.index);
                }
                _ => {}
            }
        }
    }

    fn set_divisions(&mut self, cursor: &mut Cursor, element: Element) {
        let divisions = element.raw().parse::<f64>().ok().filter(|d| *d >= 1.0 && *d <= 1e9);
        let Some(divisions) = divisions else {
            self.losses.changed(
                "divisions of a quarter that are no number, passed over",
                Some(cursor.part),
                cursor.index,
            );
            return;
        };
        let divisions = divisions.round().narrow::<i64>();
        let state = &mut self.states[cursor.part];
        if divisions != state.divisions && cursor.ticks > 0 {
            cursor.ticks = values::ticks(cursor.at, divisions);
            cursor.known = vec![(0, Time::ZERO), (cursor.ticks, cursor.at)];
        }
        state.divisions = divisions;
    }

    fn key(&mut self, cursor: &mut Cursor, element: Element) {
        let Some(fifths) = element.number_of::<i32>("fifths") else {
            self.losses.left_out(
                "key signatures that are of no key",
                Some(cursor.part),
                cursor.index,
            );
            return;
        };
        if cursor.at != Time::ZERO {
            self.losses.left_out("a change of key inside a bar", Some(cursor.part), cursor.index);
            return;
        }
        let written = PitchName::from_fifths(fifths.clamp(-14, 14));
        let by = self.states[cursor.part].transposition;
        let sounding =
            written.and_then(|tonic| tonic.transposed(by)).map_or(fifths, PitchName::fifths);
        let sounding = match sounding {
            8.. => sounding - 12,
            ..=-8 => sounding + 12,
            _ => sounding,
        };
        let major = match element.text_of("mode").as_deref() {
            Some("major") => Some(true),
            Some("minor") => Some(false),
            Some("none" | "") | None => None,
            Some(mode) => {
                self.losses.changed(
                    format!("a key in {mode}, read as major or minor"),
                    Some(cursor.part),
                    cursor.index,
                );
                None
            }
        };
        cursor.measure.signs.key = Some((sounding.clamp(-7, 7), major));
    }

    fn time(&mut self, cursor: &mut Cursor, element: Element) {
        let place = (Some(cursor.part), cursor.index);
        if cursor.at != Time::ZERO {
            self.losses.left_out("a change of metre inside a bar", place.0, place.1);
            return;
        }
        if element.child("senza-misura").is_some() {
            self.losses.changed("music without metre, barred as in the file", place.0, place.1);
            cursor.measure.signs.metre = Some(RawMetre::None);
            return;
        }
        let (metre, additive) = values::metre(element);
        match metre {
            Some(metre) => {
                if let (Some(additive), RawMetre::Plain(count, unit)) = (additive, &metre) {
                    let what = format!("metre {additive}, written as {count}/{unit}");
                    self.losses.changed(what, place.0, place.1);
                }
                cursor.measure.signs.metre = Some(metre);
            }
            None => self.losses.left_out("a metre that is none", place.0, place.1),
        }
    }

    /// Title, names, the list of parts.
    fn header(&mut self) -> Result<(), Error> {
        let tree = std::mem::take(&mut self.tree);
        let element = tree.root();
        match element.name() {
            "work" => {
                if let Some(title) = line_of(element, "work-title") {
                    self.score.head.title.get_or_insert(title);
                }
            }
            "movement-title" => {
                if let Some(title) = line(&element.text()) {
                    // The work's name says what the movement's alone does not.
                    match self.score.head.title.take() {
                        Some(work) if work != title => {
                            self.score.head.title = Some(work);
                            self.score.head.subtitle = Some(title);
                        }
                        _ => self.score.head.title = Some(title),
                    }
                }
            }
            "identification" => self.identification(element),
            "credit" => self.credit(element),
            "part-list" => self.part_list(element)?,
            _ => {}
        }
        self.tree = tree;
        Ok(())
    }

    fn identification(&mut self, element: Element) {
        let head = &mut self.score.head;
        for child in element.children() {
            if child.name() == "miscellaneous" {
                let mut fields = child.children();
                let revision = fields.find(|field| field.is("name", "revision"));
                head.revision = revision.and_then(|field| line(&field.text()));
                continue;
            }
            let Some(text) = line(&child.text()) else { continue };
            match child.name() {
                "creator" if child.is("type", "composer") => and(&mut head.composer, text),
                "creator" if child.is("type", "arranger") => and(&mut head.arranger, text),
                "creator" => {
                    let kind = child.attribute("type").filter(|kind| !kind.is_empty());
                    let kind = kind.unwrap_or("creator".into());
                    self.losses.left_out(format!("the name of the {kind}"), None, NOWHERE);
                }
                "rights" => and(&mut head.rights, text),
                _ => {}
            }
        }
    }

    /// Words on the first page, where nothing else says what they say.
    fn credit(&mut self, element: Element) {
        let head = &mut self.score.head;
        let place = match element.text_of("credit-type").as_deref().map(str::trim) {
            Some("title") => &mut head.title,
            Some("subtitle") => &mut head.subtitle,
            Some("composer") => &mut head.composer,
            Some("rights") => &mut head.rights,
            _ => return,
        };
        if place.is_none() {
            let words = element.children().filter(|child| child.name() == "credit-words");
            let words: Vec<String> = words.map(|words| words.text().into_owned()).collect();
            *place = line(&words.join(" "));
        }
    }

    fn part_list(&mut self, element: Element) -> Result<(), Error> {
        for entry in element.children().filter(|entry| entry.name() == "score-part") {
            let id = entry.attribute("id").unwrap_or_default().into_owned();
            let mut name = line_of(entry, "part-name").unwrap_or_default();
            if name.is_empty()
                && let Some(display) = entry.child("part-name-display")
            {
                name = line_of(display, "display-text").unwrap_or_default();
            }
            let mut instruments: Vec<RawInstrument> = Vec::new();
            for child in entry.children() {
                let id = child.attribute("id").unwrap_or_default().into_owned();
                match child.name() {
                    "score-instrument" => instruments.push(RawInstrument {
                        id,
                        name: line_of(child, "instrument-name").unwrap_or_default(),
                        sound: line_of(child, "instrument-sound").unwrap_or_default(),
                        ..RawInstrument::default()
                    }),
                    "midi-instrument" => {
                        if let Some(known) = instruments.iter_mut().find(|known| known.id == id) {
                            known.program = child.number_of("midi-program");
                            let key = child.number_of::<u8>("midi-unpitched");
                            known.key = key.map(|key| key.saturating_sub(1));
                        }
                    }
                    _ => {}
                }
            }
            if !self.ids.contains_key(&id) {
                self.new_part(RawPart { id, name, instruments, ..RawPart::default() })?;
            }
        }
        Ok(())
    }
}

/// One more name of a kind.
fn and(place: &mut Option<String>, name: String) {
    match place {
        Some(names) if *names != name => {
            names.push_str(", ");
            names.push_str(&name);
        }
        _ => *place = Some(name),
    }
}

/// The duration that an element has, in divisions; `None` if it has none that can be meant.
fn ticks(element: Element) -> Option<i64> {
    let raw = element.child("duration")?.raw();
    if let Ok(ticks) = raw.parse::<i64>() {
        return (0..=1_000_000_000_000).contains(&ticks).then_some(ticks);
    }
    let ticks = raw.parse::<f64>().ok()?;
    (0.0..=1e12).contains(&ticks).then_some(ticks.round().narrow::<i64>())
}

/// The text of an element on one line; `None` if it is empty.
fn line_of(element: Element, name: &str) -> Option<String> {
    line(&element.text_of(name)?)
}

fn line(text: &str) -> Option<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    (!words.is_empty()).then(|| words.join(" "))
}
