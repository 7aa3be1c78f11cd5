//! A sheet of which only some bars are there at a time: the others are packed.
//!
//! What is printed repeats itself. A note by its looks, a bar by what it says beside its notes, and a
//! span by its form are kept once; what is then left of a note is the number of its looks and where it
//! stands in the source, some eight bytes in place of four hundred. Numbers take as many bytes as they
//! need (LEB128).

use std::collections::HashMap;
use std::hash::Hash;
use std::ops::Range;
use std::rc::Rc;

use ripieno_compiler::diagnostics::{FileId, ItemId, Span as SourceSpan};
use ripieno_compiler::narrow::Narrow;
use ripieno_writers::notate::Element;

use crate::page::Origin;
use crate::rows::{Spans, Stretch};
use crate::sheet::{BarVoice, Event, Sheet, Side, Span, StaffBar};

/// A sheet whose bars are packed.
pub struct Packed {
    /// All but the bars of the staves and what spans them.
    sheet: Sheet,
    rows: Vec<Row>,
    shared: Shared,
}

/// What many bars have.
#[derive(Default)]
struct Shared {
    elements: Vec<Rc<Element>>,
    /// Bars without their voices.
    bars: Vec<Rc<StaffBar>>,
    /// Spans moved to the first bar.
    spans: Vec<Rc<Span>>,
}

/// The bars of a staff.
#[derive(Default)]
struct Row {
    /// Index of the staff in the edition.
    number: u16,
    bytes: Vec<u8>,
    /// Where each bar begins.
    begins: Vec<u32>,
    /// For each bar the spans that touch it.
    spans: Vec<u8>,
    spans_begin: Vec<u32>,
}

/// Things that are alike, each kept once and known by its number.
struct Table<T> {
    all: Vec<Rc<T>>,
    numbers: HashMap<Rc<T>, u32>,
}

impl<T: Eq + Hash> Table<T> {
    fn number(&mut self, one: T) -> u32 {
        if let Some(&known) = self.numbers.get(&one) {
            return known;
        }
        let number = self.all.len().narrow::<u32>();
        let one = Rc::new(one);
        self.all.push(Rc::clone(&one));
        self.numbers.insert(one, number);
        number
    }
}

impl<T> Default for Table<T> {
    fn default() -> Table<T> {
        Table { all: Vec::new(), numbers: HashMap::new() }
    }
}

/// Packs the bars of one staff after the other.
#[derive(Default)]
pub struct Packer {
    rows: Vec<Row>,
    /// Does anybody play?
    plays: bool,
    elements: Table<Element>,
    bars: Table<StaffBar>,
    spans: Table<Span>,
}

impl Packer {
    /// Begins a staff, of that index in the edition.
    pub fn staff(&mut self, number: usize) {
        self.rows.push(Row { number: number.narrow::<u16>(), ..Row::default() });
    }

    /// Adds the next bar of the staff that was begun last.
    pub fn bar(&mut self, mut bar: StaffBar) {
        let Some(row) = self.rows.last_mut() else { return };
        row.begins.push(row.bytes.len().narrow::<u32>());
        self.plays |= !bar.is_silent();
        let voices = std::mem::take(&mut bar.voices);
        let bytes = &mut row.bytes;
        put(bytes, self.bars.number(bar));
        put(bytes, voices.len().narrow::<u32>());
        let mut before = SourceSpan::default();
        for voice in voices {
            put(bytes, voice.side.map_or(0, |side| 1 + side as u32));
            put(bytes, voice.events.len().narrow::<u32>());
            for Event { mut element, .. } in voice.events {
                let source = element.origin.source.take();
                put(bytes, self.elements.number(element) * 2 + u32::from(source.is_some()));
                if let Some(source) = source {
                    put_source(bytes, source, before);
                    before = source;
                }
            }
        }
    }

    /// Ends the staff with what spans its bars.
    pub fn spans(&mut self, spans: Vec<Span>) {
        let Some(row) = self.rows.last_mut() else { return };
        let mut touching: Vec<Vec<(u32, u32, u32)>> = vec![Vec::new(); row.begins.len()];
        for (number, mut span) in spans.into_iter().enumerate() {
            let (first, last) = span.bars();
            span.shift(first);
            let form = self.spans.number(span);
            for bar in first..=last.min(touching.len().saturating_sub(1)) {
                let since = (bar - first).narrow::<u32>();
                touching[bar].push((number.narrow::<u32>(), since, form));
            }
        }
        for spans in touching {
            row.spans_begin.push(row.spans.len().narrow::<u32>());
            for (number, since, form) in spans {
                put(&mut row.spans, number);
                put(&mut row.spans, since);
                put(&mut row.spans, form);
            }
        }
        row.bytes.shrink_to_fit();
        row.spans.shrink_to_fit();
    }

    /// The sheet of all staves that were added, in their order, with all else that stands on it.
    #[must_use]
    pub fn sheet(self, mut sheet: Sheet) -> Packed {
        sheet.tacet = sheet.is_part && !self.plays;
        let shared =
            Shared { elements: self.elements.all, bars: self.bars.all, spans: self.spans.all };
        Packed { sheet, rows: self.rows, shared }
    }
}

impl Packed {
    /// All that stands on the sheet but the bars of its staves and what spans them.
    #[must_use]
    pub fn frame(&self) -> &Sheet {
        &self.sheet
    }

    /// Puts some bars on a sheet that has the same frame, in place of those that were there.
    pub fn unpack(&self, bars: Range<usize>, sheet: &mut Sheet) {
        for (row, staff) in self.rows.iter().zip(&mut sheet.staves) {
            let own = bars.clone().map(|bar| {
                let index = sheet.bars.get(bar).map_or(0, |bar| bar.index);
                self.shared.bar(row, bar, index)
            });
            staff.bars = Stretch::new(bars.start, own.collect());
            staff.spans = Spans::new(self.shared.spans(row, bars.clone()));
        }
    }

    /// The sheet with all its bars.
    #[must_use]
    pub fn whole(&self) -> Sheet {
        let mut sheet = self.sheet.clone();
        self.unpack(0..sheet.bars.len(), &mut sheet);
        sheet
    }
}

impl Shared {
    fn bar(&self, row: &Row, bar: usize, index: usize) -> StaffBar {
        let mut reader = Reader(&row.bytes[row.begins[bar] as usize..]);
        let mut own = StaffBar::clone(&self.bars[reader.number() as usize]);
        let voices = reader.number();
        let mut before = SourceSpan::default();
        for voice in 0..voices {
            let side = match reader.number() {
                0 => None,
                1 => Some(Side::Upper),
                _ => Some(Side::Lower),
            };
            let events = (0..reader.number()).map(|number| {
                let what = reader.number();
                let mut element = Element::clone(&self.elements[(what / 2) as usize]);
                if what % 2 == 1 {
                    before = reader.source(before);
                    element.origin.source = Some(before);
                }
                let origin = Origin {
                    staff: row.number,
                    bar: index.narrow::<u32>(),
                    voice: voice.narrow::<u8>(),
                    element: number.narrow::<u16>(),
                    head: 0,
                    source: element.origin.source,
                };
                Event { element, origin }
            });
            let events = events.collect();
            own.voices.push(BarVoice { side, events });
        }
        own
    }

    /// The spans that touch some bars, in the order of the whole.
    fn spans(&self, row: &Row, bars: Range<usize>) -> Vec<Span> {
        let mut found: Vec<(u32, usize, u32)> = Vec::new();
        for bar in bars {
            let end = row.spans_begin.get(bar + 1).map_or(row.spans.len(), |end| *end as usize);
            let mut reader = Reader(&row.spans[row.spans_begin[bar] as usize..end]);
            while !reader.0.is_empty() {
                let (number, since, form) = (reader.number(), reader.number(), reader.number());
                found.push((number, bar - since as usize, form));
            }
        }
        found.sort_unstable();
        found.dedup();
        let span = |(_, from, form): (u32, usize, u32)| {
            let mut span = Span::clone(&self.spans[form as usize]);
            span.shift_on(from);
            span
        };
        found.into_iter().map(span).collect()
    }
}

fn put(bytes: &mut Vec<u8>, mut number: u32) {
    while number >= 0x80 {
        bytes.push(0x80 | (number & 0x7f).narrow::<u8>());
        number >>= 7;
    }
    bytes.push(number.narrow::<u8>());
}

/// A number from another one on, small in either direction.
fn put_step(bytes: &mut Vec<u8>, number: u32, before: u32) {
    let step = number.wrapping_sub(before);
    // The lowest bit says which way: one on is 2, one back is 1.
    put(bytes, if step >> 31 == 0 { step << 1 } else { !(step << 1) });
}

fn put_source(bytes: &mut Vec<u8>, source: SourceSpan, before: SourceSpan) {
    put_step(bytes, source.file.0, before.file.0);
    put_step(bytes, source.first.0, before.first.0);
    put_step(bytes, source.start, before.start);
    put_step(bytes, source.last.0, source.first.0);
    put_step(bytes, source.end, source.start);
}

/// What is left to read.
struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn number(&mut self) -> u32 {
        let mut number = 0;
        for shift in (0..32).step_by(7) {
            let Some((&byte, rest)) = self.0.split_first() else { break };
            self.0 = rest;
            number |= u32::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                break;
            }
        }
        number
    }

    fn step(&mut self, before: u32) -> u32 {
        let step = self.number();
        let step = if step & 1 == 0 { step >> 1 } else { !(step >> 1) };
        before.wrapping_add(step)
    }

    fn source(&mut self, before: SourceSpan) -> SourceSpan {
        let file = self.step(before.file.0);
        let first = self.step(before.first.0);
        let start = self.step(before.start);
        let last = self.step(first);
        let end = self.step(start);
        SourceSpan { file: FileId(file), first: ItemId(first), start, last: ItemId(last), end }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_come_out_as_they_went_in() {
        let numbers = [0, 1, 2, 127, 128, 300, 0x7fff_ffff, 0x8000_0000, u32::MAX - 1, u32::MAX];
        let mut bytes = Vec::new();
        for number in numbers {
            put(&mut bytes, number);
            numbers.iter().for_each(|before| put_step(&mut bytes, number, *before));
        }
        let mut reader = Reader(&bytes);
        for number in numbers {
            assert_eq!(reader.number(), number);
            numbers.iter().for_each(|before| assert_eq!(reader.step(*before), number));
        }
        assert!(reader.0.is_empty());
    }
}
