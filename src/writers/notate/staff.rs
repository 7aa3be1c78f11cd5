//! One player's staff: notes and rests bar by bar.

use smallvec::SmallVec;

use crate::arrange::{PackedNote, Part, SoundRef, tremolo_of_two};
use crate::instruments::Instrument;
use crate::music::{Interval, Key, Metre, Pitch, Time};
use crate::resolve::{Graces, Mark, OfTwo, Tuplet};

use super::accidentals::Accidentals;
use super::grid::{Grid, Pieces};
use super::writing::Writing;
use super::{
    Element, ElementKind, FrameBar, Grace, Measure, NoteValue, Origin, PairedTremolo, Staff,
    StaffNote, Stem, TupletUse,
};
use super::{beams, clefs, directions, holds, in_hand, names, slurs, stems, tuplets};

mod heads;
mod neighbour;
#[cfg(test)]
mod tests;

use heads::Heads;

/// The bars of the piece with the accents of their metres, which all staves share.
pub(super) struct Bars<'a> {
    pub(super) frame: &'a [FrameBar],
    grids: Vec<Grid>,
    /// Which grid each bar has.
    grid_of: Vec<usize>,
    pub(super) pitches: super::Pitches,
    /// Are they of a cue?
    cued: bool,
    /// What all are told, and the order in which they play.
    pub(super) told: Option<&'a directions::Told<'a>>,
}

impl<'a> Bars<'a> {
    pub(super) fn new(frame: &'a [FrameBar], pitches: super::Pitches) -> Bars<'a> {
        let mut grids: Vec<Grid> = Vec::new();
        let mut find = |metre: Metre| {
            grids.iter().position(|grid| grid.metre() == metre).unwrap_or_else(|| {
                grids.push(Grid::new(metre));
                grids.len() - 1
            })
        };
        let grid_of = frame.iter().map(|bar| find(bar.metre)).collect();
        Bars { frame, grids, grid_of, pitches, cued: false, told: None }
    }

    /// The same for the notes of a cue, which keep the names that their player reads.
    pub(super) fn of_cue(self) -> Bars<'a> {
        Bars { cued: true, ..self }
    }

    /// The same for players who are told something.
    pub(super) fn with_told(self, told: &'a directions::Told<'a>) -> Bars<'a> {
        Bars { told: Some(told), ..self }
    }

    fn grid(&self, bar: usize) -> &Grid {
        &self.grids[self.grid_of[bar]]
    }

    /// The way from written to sounding pitch of a part at a time. At concert pitch only octaves
    /// are left that belong to the instrument (Gould, Behind Bars, 2011, from memory), not those of a key or crook of
    /// several: then a horn in C basso would not stand where it does in D.
    fn transposition(&self, part: &Part, at: Time) -> Interval {
        let by = part.transposition_at(at);
        match self.pitches {
            super::Pitches::Written => by,
            super::Pitches::Concert => {
                let own = !part.instrument_at(at).has_choice_of_keys();
                let octaves = Interval::octaves(by.whole_octaves());
                if own && by == octaves { by } else { Interval::UNISON }
            }
        }
    }

    /// How a part is written in a bar. Who has no signature because of crooks has that of the piece at concert pitch
    /// (common practice); timpani have none in either.
    fn writing(&self, part: &Part, bar: &FrameBar) -> Writing {
        let transposition = self.transposition(part, bar.start);
        let instrument = part.instrument_at(bar.start);
        match self.pitches {
            super::Pitches::Written if part.player.without_signature => {
                Writing::without_signature(transposition)
            }
            super::Pitches::Concert if instrument.has_choice_of_keys() => {
                Writing::in_key(bar.key, transposition)
            }
            _ => Writing::new(instrument, bar.key, transposition),
        }
    }

    /// Divides a note or rest within a bar into printed pieces. In a [free](FrameBar::is_free) bar what one value can
    /// show stands whole.
    fn split(&self, bar: usize, (from, to): (Time, Time), rest: bool, pieces: &mut Pieces) {
        let frame = &self.frame[bar];
        // Rests stay plain.
        let plain = |one: &NoteValue| one.dots == 0 && to - from <= frame.metre.bar_length();
        let value = NoteValue::of(to - from).filter(|one| !rest || plain(one));
        match value.filter(|_| frame.is_free()) {
            Some(value) => pieces.push((from, to, value)),
            None => self.grid(bar).split(from, to, rest, pieces),
        }
    }

    /// Where the last piece of a note begins that is no part of a tuplet, in written time.
    pub(super) fn last_piece(&self, (from, to): (Time, Time)) -> Time {
        let after = self.frame.partition_point(|bar| bar.start < to);
        let Some(index) = after.checked_sub(1) else { return from };
        let bar = &self.frame[index];
        let (from, shift) = (from.max(bar.start), bar.missing());
        let mut pieces = Pieces::new();
        let within = |time: Time| time - bar.start + shift;
        self.split(index, (within(from), within(to)), false, &mut pieces);
        pieces.last().map_or(from, |&(at, ..)| bar.start + at - shift)
    }

    pub(super) fn end(&self) -> Time {
        self.frame.last().map_or(Time::ZERO, |bar| bar.start + bar.length)
    }
}

/// Writes the staff of a part.
pub(super) fn staff(part: &Part, bars: &Bars) -> Staff {
    let mut measures = measures(&in_hand::as_read(part, bars.frame), bars);
    clefs::place_clefs(&mut measures, part.first_instrument(), bars.pitches);
    directions::place_directions(part, bars, &mut measures);
    finished(part, measures, Vec::new())
}

/// The measures of a part's notes on one staff, without clefs and without what is said, as its player reads
/// them ([`in_hand::as_read`]).
pub(super) fn measures(part: &Part, bars: &Bars) -> Vec<Measure> {
    measures_in(part, bars, 0..bars.frame.len())
}

/// The same for some bars only, as if the music began with them.
pub(super) fn measures_in(part: &Part, bars: &Bars, range: std::ops::Range<usize>) -> Vec<Measure> {
    let mut measures = Vec::with_capacity(range.len());
    let mut accidentals = Accidentals::new();
    let mut writer = BarWriter::new(part, bars);
    let mut before: Option<Writing> = None;
    // The signature that was printed last, which holds behind a stretch without pitch.
    let mut printed = 0;
    for index in range {
        let bar = &bars.frame[index];
        let transposition = bars.transposition(part, bar.start);
        let instrument = part.instrument_at(bar.start);
        let taken = !std::ptr::eq(instrument, writer.instrument);
        let writing = match before {
            Some(before) if before.transposition == transposition && !taken && !bar.key_shown => {
                before
            }
            _ => bars.writing(part, bar),
        };
        let writing = if bars.cued { writing.naming() } else { writing };
        let moved = before.is_none_or(|before| before.transposition != transposition);
        // A key that needs the same signature (a relative one) is not printed again.
        let fifths = |writing: &Writing| writing.signature.map(Key::fifths);
        let signed = before.is_none_or(|before| fifths(&before) != fifths(&writing));
        // Where the new instrument has no signature, that of the old one is taken back.
        let unsigned = writing.signature.is_none() && index > 0 && !instrument.unpitched;
        let taken_back = (unsigned && (signed || printed != 0)).then_some(Key::C_MAJOR);
        let mut measure = Measure {
            instrument: taken.then_some(instrument),
            transposition: moved.then_some(transposition),
            key: writing.signature.filter(|_| signed).or(taken_back),
            ..Measure::default()
        };
        printed = measure.key.map_or(printed, Key::fifths);
        if taken {
            writer.instrument = instrument;
        }
        if moved || taken {
            writer.rewrite(bar.start, &writing);
        }
        writer.write(index, &writing, &mut measure.elements);
        let signed = measure.key.is_some();
        accidentals.mark_bar(&mut measure.elements, writing.key(), signed, moved);
        beams::beam(&mut measure.elements, bars.grid(index), bar.missing());
        // A score has very many bars, and most of them few elements.
        measure.elements.shrink_to_fit();
        before = Some(writing);
        measures.push(measure);
    }
    slurs::balance(&mut measures);
    measures
}

/// Puts a player's name to what he reads; `lower` is empty where that is one staff.
pub(super) fn finished(part: &Part, measures: Vec<Measure>, lower: Vec<Measure>) -> Staff {
    let (mut measures, mut lower) = (measures, lower);
    stems::set(&mut measures);
    stems::set(&mut lower);
    let mut instruments = vec![part.first_instrument()];
    for taken in measures.iter().filter_map(|measure| measure.instrument) {
        if !instruments.iter().any(|known| std::ptr::eq(*known, taken)) {
            instruments.push(taken);
        }
    }
    Staff {
        id: part.player.id.clone(),
        name: part.full_name(),
        instrument_name: part.player.name.clone(),
        abbreviation: part.player.abbreviation.clone(),
        own_name: part.has_own_name(),
        instrument: instruments[0],
        instruments,
        family: part.player.instrument.family,
        key_name: names::first_key(part),
        key_names: names::all_keys(part),
        half_of: part.player.half_of.clone(),
        players: part.player.count,
        source: part.player.span,
        measures,
        lower,
    }
}

/// Goes through a part once and writes its notes and rests bar by bar.
struct BarWriter<'a> {
    bars: &'a Bars<'a>,
    part: &'a Part,
    instrument: &'static Instrument,
    notes: &'a [PackedNote],
    tuplets: Vec<Tuplet>,
    /// Where rests are divided for fermatas.
    borders: Vec<Time>,
    /// The first note and tuplet that are not over.
    note: usize,
    tuplet: usize,
    /// Written pitches of the note that sounds: it keeps them over the bar line.
    heads: Heads,
    /// The written pitch that it sounds, where it is an artificial harmonic.
    harmonic: Option<Pitch>,
    pieces: Pieces,
    /// Was the last piece a stroke of a tremolo that is written out? The next one is struck anew.
    struck: bool,
}

impl<'a> BarWriter<'a> {
    fn new(part: &'a Part, bars: &'a Bars) -> BarWriter<'a> {
        BarWriter {
            bars,
            part,
            // Another one that is taken at once is said with the first bar.
            instrument: part.instruments.first().map_or(part.player.instrument, |first| first.1),
            notes: &part.notes,
            tuplets: tuplets::needed(&part.tuplets, &part.notes),
            borders: holds::borders(part, bars),
            note: 0,
            tuplet: 0,
            heads: Heads::new(),
            harmonic: None,
            pieces: Pieces::new(),
            struck: false,
        }
    }

    /// A note held into another crook or key is written anew: it would sound otherwise.
    fn rewrite(&mut self, time: Time, writing: &Writing) {
        self.skip_to(time);
        let held = self.notes.get(self.note).filter(|note| note.start() < time);
        if let Some(note) = held {
            (self.heads, self.harmonic) = self.written_note(note, writing);
        }
    }

    fn write(&mut self, index: usize, writing: &Writing, elements: &mut Vec<Element>) {
        let bar = &self.bars.frame[index];
        let end = bar.start + bar.length;
        let mut cursor = bar.start;
        self.skip_to(cursor);
        let silent = self.notes.get(self.note).is_none_or(|note| note.start() >= end);
        // A bar that is shorter or longer than its metre shows how long its rest is, if anybody counts it.
        let whole = bar.length == bar.metre.bar_length();
        let undivided = whole && self.border_within((bar.start, end)).is_none();
        if silent && (undivided || bar.is_free()) {
            let value = NoteValue::of(bar.length).unwrap_or(NoteValue { log2: 0, dots: 0 });
            let kind = ElementKind::BarRest { fermata: false };
            let origin = self.origin_of_rest(bar.start);
            elements.push(element((Time::ZERO, bar.length), value, kind, origin));
            return;
        }
        elements.reserve(8);
        while cursor < end {
            self.skip_to(cursor);
            let next = self.notes.get(self.note);
            let sounding = next.filter(|note| note.start() <= cursor);
            let stop = next.map_or(end, |note| match sounding {
                Some(note) => note.end(),
                None => note.start(),
            });
            let mut stop = stop.min(end);
            let tuplet = self.tuplets.get(self.tuplet).copied();
            let inside = tuplet.filter(|tuplet| tuplet.start <= cursor);
            if let Some(tuplet) = tuplet {
                let border =
                    if inside.is_some() { tuplet.start + tuplet.length } else { tuplet.start };
                stop = stop.min(border);
            }
            let wait = sounding.filter(|_| inside.is_none()).and_then(|_| {
                let mut ends = self.part.waits_after(cursor).take_while(|wait| wait.to <= stop);
                ends.find(|wait| wait.sounds).map(|wait| wait.to)
            });
            stop = wait.unwrap_or(stop);
            if sounding.is_none() && inside.is_none() {
                stop = self.border_within((cursor, stop)).unwrap_or(stop);
            }
            let paired =
                sounding.and_then(|_| self.paired_tremolo(bar)).filter(|_| inside.is_none());
            match paired {
                Some((_, value)) => {
                    self.pieces.clear();
                    self.pieces.push((cursor - bar.start, stop - bar.start, value));
                }
                None => self.divide(index, (cursor, stop), inside, sounding.is_none()),
            }
            let paired = paired.map(|(paired, _)| paired);
            let taken_up = !std::mem::take(&mut self.struck);
            match sounding {
                Some(note) => {
                    if let Some(end) = self
                        .stroke_to_write_out(note, cursor)
                        .filter(|_| paired.is_none())
                        .filter(|end| *end <= stop && tuplets::can_part(inside.as_ref(), *end))
                    {
                        stop = end;
                        self.struck = true;
                        self.divide(index, (cursor, stop), inside, false);
                    }
                    if note.start() == cursor {
                        self.begin(note, cursor - bar.start, writing, elements);
                    }
                    let jumped_into = cursor == bar.start && bar.is_jumped_into();
                    let added = elements.len();
                    self.push_note(note, (cursor, stop), (taken_up, jumped_into), paired, elements);
                    let (before, own) = elements.split_at_mut(added);
                    // A drum has one note: its trill is a roll.
                    let in_hand = self.part.instrument_at(note.start());
                    if let Some(element) = own.first_mut().filter(|_| in_hand.drums.is_empty()) {
                        neighbour::say(note, bar.key, writing, before, element);
                    }
                    if wait == Some(stop)
                        && let Some(ElementKind::Note(last)) =
                            own.last_mut().map(|last| &mut last.kind)
                    {
                        last.marks.insert(Mark::Fermata);
                    }
                }
                None => {
                    let rest = ElementKind::Rest { fermata: false };
                    let rests = self.pieces.iter().map(|&(from, to, value)| {
                        let origin = self.origin_of_rest(bar.start + from);
                        element((from, to - from), value, rest.clone(), origin)
                    });
                    elements.extend(rests);
                }
            }
            if let Some(tuplet) = inside {
                let first = tuplet.start.max(bar.start) - bar.start;
                let last = (tuplet.start + tuplet.length).min(end) - bar.start;
                mark_tuplet(elements, self.pieces.len(), &tuplet, (first, last));
            }
            cursor = stop;
        }
    }

    /// The place of the note at hand in a tremolo between two notes within the bar, and the value with
    /// which each of them is printed, that of both.
    fn paired_tremolo(&self, bar: &FrameBar) -> Option<(PairedTremolo, NoteValue)> {
        let [one, two] = tremolo_of_two(self.notes, self.note)?;
        let inside = bar.start <= one.start() && two.end() <= bar.start + bar.length;
        let value = NoteValue::of(one.length() + two.length()).filter(|_| inside)?;
        let note = &self.notes[self.note];
        let starts = note.attached().of_two == Some(OfTwo::First);
        Some((PairedTremolo { starts, strokes: note.attached().tremolo }, value))
    }

    /// Where a rest is first divided for a fermata.
    fn border_within(&self, (from, to): (Time, Time)) -> Option<Time> {
        let next = self.borders.partition_point(|border| *border <= from);
        self.borders.get(next).copied().filter(|border| *border < to)
    }

    /// Where a rest at a time in a bar comes from.
    fn origin_of_rest(&self, at: Time) -> Origin {
        let source = self.part.rest_at(at).map(|rest| rest.span);
        Origin { source, line: self.part.line_at(at) }
    }

    fn skip_to(&mut self, time: Time) {
        while self.notes.get(self.note).is_some_and(|note| note.end() <= time) {
            self.note += 1;
        }
        let over = |tuplet: &Tuplet| tuplet.start + tuplet.length <= time;
        while self.tuplets.get(self.tuplet).is_some_and(over) {
            self.tuplet += 1;
        }
    }

    /// Divides a span of time into printed pieces, counted from the beginning of the bar.
    fn divide(
        &mut self,
        index: usize,
        (from, to): (Time, Time),
        tuplet: Option<Tuplet>,
        rest: bool,
    ) {
        self.pieces.clear();
        let bar = &self.bars.frame[index];
        let shift = if let Some(tuplet) = tuplet {
            tuplets::split(&tuplet, from, to, &mut self.pieces);
            bar.start
        } else {
            let shift = bar.missing();
            let (from, to) = (from - bar.start + shift, to - bar.start + shift);
            self.bars.split(index, (from, to), rest, &mut self.pieces);
            shift
        };
        for piece in &mut self.pieces {
            piece.0 -= shift;
            piece.1 -= shift;
        }
    }

    /// Where the stroke of a tremolo ends that must be written out as a note of its own, because a
    /// printed piece is too short to show strokes through its stem: tied eighths with a tremolo in
    /// eighths would be read as one held note.
    fn stroke_to_write_out(&self, note: &PackedNote, cursor: Time) -> Option<Time> {
        let tremolo = note.attached().tremolo;
        let hidden = |value: &NoteValue| tremolo > 0 && value.flags() >= tremolo;
        if !self.pieces.iter().any(|(_, _, value)| hidden(value)) {
            return None;
        }
        let value = Time::of(1, 8 << (tremolo - 1).min(7));
        let before = self.tuplets.partition_point(|tuplet| tuplet.start <= note.start());
        let tuplet = self.tuplets[..before].last();
        let stroke = tuplet
            .filter(|tuplet| note.start() < tuplet.start + tuplet.length)
            .and_then(|tuplet| value.scaled(tuplet.normal.into(), tuplet.actual.into()))
            .unwrap_or(value);
        Some(note.start() + stroke * ((cursor - note.start()).div_floor(stroke) + 1))
    }

    /// Works out the written pitches of a note that begins, and writes its grace notes.
    fn begin(
        &mut self,
        note: &PackedNote,
        at: Time,
        writing: &Writing,
        elements: &mut Vec<Element>,
    ) {
        (self.heads, self.harmonic) = self.written_note(note, writing);
        if let Some(graces) = note.attached().graces {
            self.push_graces(graces, at, writing, self.origin(note), elements);
        }
    }

    fn push_graces(
        &self,
        graces: &Graces,
        at: Time,
        writing: &Writing,
        origin: Origin,
        elements: &mut Vec<Element>,
    ) {
        let grace = Some(if graces.crushed { Grace::Crushed } else { Grace::Plain });
        for (length, pitches) in &graces.notes {
            let value = NoteValue::of(*length).unwrap_or_else(|| NoteValue::at_most(*length));
            let heads = self.written(SoundRef::of_grace(pitches), writing);
            let kind =
                ElementKind::Note(Box::new(StaffNote { heads, grace, ..Default::default() }));
            elements.push(element((at, Time::ZERO), value, kind, origin));
        }
    }

    /// The heads of a note, and the pitch that they sound where they are those of an artificial harmonic.
    fn written_note(&self, note: &PackedNote, writing: &Writing) -> (Heads, Option<Pitch>) {
        let touch = note.attached().touch.filter(|_| !self.instrument.unpitched);
        match (touch, note.sound().pitches()) {
            (Some(touch), &[sounding]) => heads::touched(touch, sounding, writing),
            _ => (self.written(note.sound(), writing), None),
        }
    }

    fn written(&self, sound: SoundRef, writing: &Writing) -> Heads {
        match sound {
            SoundRef::Pitches(pitches) if !self.instrument.unpitched => {
                heads::all(pitches, writing)
            }
            _ => Heads::new(),
        }
    }

    fn push_note(
        &self,
        note: &PackedNote,
        (from, to): (Time, Time),
        (taken_up, jumped_into): (bool, bool),
        paired: Option<PairedTremolo>,
        elements: &mut Vec<Element>,
    ) {
        let attached = &note.attached();
        let mut marks = attached.marks;
        if self.harmonic.is_some() {
            // The diamond says it.
            marks.remove(Mark::Harmonic);
        }
        let begins = from <= note.start();
        let ends = to >= note.end().min(self.bars.end());
        let last_place = self.pieces.len().saturating_sub(1);
        let leaves = !ends && leaves_ending(self.bars.frame, note.start(), to);
        for (place, &(at, until, value)) in self.pieces.iter().enumerate() {
            let (first, last) = (begins && place == 0, ends && place == last_place);
            // Where one slur ends on a note and the next begins on it, both do so on its last
            // piece, lest they overlap.
            let slur_place = if attached.slur_ends { last } else { first };
            let kind = ElementKind::Note(Box::new(StaffNote {
                heads: self.heads.clone(),
                grace: None,
                harmonic: self.harmonic,
                marks: heads::printed_marks(marks, (first, jumped_into && place == 0), last),
                tremolo: match paired {
                    None if value.flags() < attached.tremolo => attached.tremolo,
                    _ => 0,
                },
                paired,
                tie_from: !first && (place > 0 || taken_up),
                tie_to: !last && (place < last_place || !self.struck),
                tie_parts: !last && place == last_place && leaves,
                slur_starts: attached.slur_starts && slur_place,
                slur_ends: attached.slur_ends && last,
                ..StaffNote::default()
            }));
            elements.push(element((at, until - at), value, kind, self.origin(note)));
        }
    }

    /// Where a note comes from.
    fn origin(&self, note: &PackedNote) -> Origin {
        Origin { source: Some(note.source()), line: self.part.line_at(note.start()) }
    }
}

/// Does an ending end at a time, behind which another one stands, and did a note begin before both? In the print it is
/// tied into each of them, with half a tie before the later one (common practice).
fn leaves_ending(frame: &[FrameBar], begun: Time, at: Time) -> bool {
    let behind = frame.partition_point(|bar| bar.start < at);
    let next = frame.get(behind).filter(|bar| bar.start == at);
    let begins = || frame[..behind].iter().rfind(|bar| bar.ending_starts.is_some());
    behind > 0
        && frame[behind - 1].ending_ends.is_some()
        && next.is_some_and(|bar| bar.ending_starts.is_some())
        && begins().is_some_and(|bar| begun < bar.start)
}

fn element(
    (at, length): (Time, Time),
    value: NoteValue,
    kind: ElementKind,
    origin: Origin,
) -> Element {
    Element {
        at,
        length,
        value,
        tuplet: None,
        kind,
        beams: SmallVec::new(),
        stem: Stem::None,
        cue: false,
        origin,
    }
}

/// Marks the last `count` elements as members of a tuplet that lies between the given positions
/// of the bar.
fn mark_tuplet(
    elements: &mut [Element],
    count: usize,
    tuplet: &Tuplet,
    (first, last): (Time, Time),
) {
    let members = elements.len() - count;
    for element in &mut elements[members..] {
        element.tuplet = Some(TupletUse {
            actual: tuplet.actual,
            normal: tuplet.normal,
            starts: element.at == first,
            ends: element.at + element.length == last,
        });
    }
}
