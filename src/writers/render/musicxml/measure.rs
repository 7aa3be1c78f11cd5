//! Measures: attributes, bar lines, and what stands between them.

use std::io;

use crate::edition::{
    DirectionKind, Edition, EditionStaff, Spanner, SpannerKind, StaffBar, StaffPlace,
};
use crate::instruments::{Clef, ClefUse, Instrument};
use crate::music::{Figure, Interval, MetreSign, Mode, Sign, Time};
use crate::notate::{ElementKind, FrameBar};
use crate::resolve::{BarLine, Ending};

use super::direction::{Home, Spot};
use super::note::VoiceAt;
use super::xml::Xml;
use super::{Ticks, direction, note, sound_id};

/// The times at which a span needs divisions of its own.
pub(super) fn times(kind: &SpannerKind) -> Vec<Time> {
    match kind {
        SpannerKind::Hairpin { from, to, .. } | SpannerKind::OctaveLine { from, to, .. } => {
            vec![from.1, to.1]
        }
        SpannerKind::Slur { .. }
        | SpannerKind::SlurLeaves { .. }
        | SpannerKind::SlurArrives { .. }
        | SpannerKind::TrillLine { .. } => Vec::new(),
    }
}

/// Writes the measures of one part.
pub(super) struct PartWriter<'a, 'e> {
    xml: &'a mut Xml,
    edition: &'a Edition<'e>,
    part: usize,
    ticks: Ticks,
    /// Do tempos and rehearsal marks stand here?
    top: bool,
    /// The instrument in hand.
    instrument: &'static Instrument,
    /// For each staff and bar, the ends of spans that stand there.
    ends: Vec<Vec<Vec<End<'a>>>>,
}

/// One end of a span.
#[derive(Clone, Copy)]
pub(super) struct End<'a> {
    pub(super) span: &'a Spanner,
    pub(super) starts: bool,
}

impl End<'_> {
    /// Bar, and time in it for what is bound to a time.
    fn time(&self) -> Option<Time> {
        match (&self.span.kind, self.starts) {
            (SpannerKind::Hairpin { from, .. } | SpannerKind::OctaveLine { from, .. }, true) => {
                Some(from.1)
            }
            (SpannerKind::Hairpin { to, .. } | SpannerKind::OctaveLine { to, .. }, false) => {
                Some(to.1)
            }
            _ => None,
        }
    }

    /// The note at which it stands, for what is bound to notes.
    pub(super) fn place(&self) -> Option<StaffPlace> {
        match (&self.span.kind, self.starts) {
            (
                SpannerKind::Slur { from, .. }
                | SpannerKind::SlurLeaves { from, .. }
                | SpannerKind::TrillLine { from, .. },
                true,
            ) => Some(*from),
            (
                SpannerKind::Slur { to, .. }
                | SpannerKind::SlurArrives { to, .. }
                | SpannerKind::TrillLine { to, .. },
                false,
            ) => Some(*to),
            _ => None,
        }
    }
}

fn ends_by_bar<'a>(staff: &'a EditionStaff) -> Vec<Vec<End<'a>>> {
    let mut ends: Vec<Vec<End>> = vec![Vec::new(); staff.bars.len()];
    for span in &staff.spans {
        let (from, to) = match &span.kind {
            SpannerKind::Slur { from, to } | SpannerKind::TrillLine { from, to } => {
                (Some(from.bar), Some(to.bar))
            }
            SpannerKind::SlurLeaves { from, .. } => (Some(from.bar), None),
            SpannerKind::SlurArrives { to, .. } => (None, Some(to.bar)),
            SpannerKind::Hairpin { from, to, .. } | SpannerKind::OctaveLine { from, to, .. } => {
                (Some(from.0), Some(to.0))
            }
        };
        for (bar, starts) in [(from, true), (to, false)] {
            bar.into_iter().for_each(|bar| ends[bar].push(End { span, starts }));
        }
    }
    for ends in &mut ends {
        // What ends at a time does so before something begins there.
        ends.sort_by_key(|end| (end.time(), end.starts));
    }
    ends
}

impl<'a, 'e> PartWriter<'a, 'e> {
    /// The writer of a part; tempos and rehearsal marks stand in it, if it is the `top` of its file.
    pub(super) fn new(
        xml: &'a mut Xml,
        edition: &'a Edition<'e>,
        (part, top): (usize, bool),
        ticks: Ticks,
    ) -> PartWriter<'a, 'e> {
        let own = &edition.parts[part];
        let instrument = edition.players[own.players.start].instruments[0];
        let ends = edition.staves[own.staves.clone()].iter().map(ends_by_bar).collect();
        PartWriter { xml, edition, part, ticks, top, instrument, ends }
    }

    pub(super) fn write(mut self, out: &mut dyn io::Write) -> io::Result<()> {
        for bar in 0..self.edition.bars.len() {
            self.measure(bar);
            self.xml.hand_over(out)?;
        }
        Ok(())
    }

    /// By how many octaves the clef of the instrument says that it sounds higher than in the same clef without a
    /// small figure. The format gives such notes as the clef says, where the edition has them as they stand.
    fn octaves_in_clef(&self) -> i8 {
        let octave = |own: &ClefUse| own.clef == Clef::TrebleOctave;
        -i8::from(self.instrument.clefs.iter().any(octave))
    }

    fn staves(&self) -> &'a [EditionStaff<'e>] {
        let edition = self.edition;
        &edition.staves[edition.parts[self.part].staves.clone()]
    }

    fn measure(&mut self, bar: usize) {
        let frame = &self.edition.bars[bar];
        let number = frame.number.to_string();
        if frame.implicit {
            self.xml.open_with("measure", &[("number", &number), ("implicit", "yes")]);
        } else {
            self.xml.open_with("measure", &[("number", &number)]);
        }
        let home = Home(self.edition.movement_of(bar));
        let movement = self.edition.movement_at(bar).filter(|(_, one)| one.title.is_some());
        if movement.is_some() && bar > 0 {
            self.xml.empty_with("print", &[("new-system", "yes")]);
        }
        left_line(self.xml, frame);
        if let Some(taken) = self.staves()[0].bars[bar].instrument {
            self.instrument = taken;
        }
        self.attributes(bar, frame);
        if self.top {
            let heading = movement.and_then(|(_, movement)| movement.heading());
            direction::movement(self.xml, heading.as_deref(), home);
            direction::frame(self.xml, frame, home);
        }
        let braced = self.staves().len() > 1;
        let mut written = false;
        for (index, staff) in self.staves().iter().enumerate() {
            let own = &staff.bars[bar];
            for voice in 0..own.voices.len() {
                if written {
                    self.xml.open("backup");
                    self.xml.number("duration", self.ticks.of(frame.length));
                    self.xml.close("backup");
                }
                written = true;
                self.voice((index, bar, voice), own, frame, braced);
            }
        }
        if self.top {
            direction::frame_end(self.xml, frame, home);
        }
        right_line(self.xml, frame);
        self.xml.close("measure");
    }

    fn attributes(&mut self, bar: usize, frame: &FrameBar) {
        let first = bar == 0;
        let staves = self.staves();
        let upper = &staves[0].bars[bar];
        let several = staves.len() > 1;
        // What changes later is told from the beginning even if it sounds as written there: some
        // readers let a later transposition hold for the bars before it too.
        let mut later = staves[0].bars.iter().skip(1);
        let told = !first || later.any(|bar| bar.transposition.is_some());
        let clef_says = Interval::octaves(-i32::from(self.octaves_in_clef()));
        let transposition = upper.transposition.map(|by| by + clef_says);
        let transposition = transposition.filter(|by| told || *by != Interval::UNISON);
        let clefs = staves.iter().enumerate().flat_map(|(index, staff)| {
            let at_start = staff.bars[bar].clefs.iter().filter(|(at, _)| *at == Time::ZERO);
            at_start.map(move |(_, clef)| (staff_number(index, several), *clef))
        });
        let clefs: Vec<_> = clefs.collect();
        // The lower staff, where it comes or goes.
        let absent = staves.get(1).map(|lower| &lower.bars).filter(|bars| {
            let before = bar.checked_sub(1).is_some_and(|before| bars[before].absent);
            bars[bar].absent != before
        });
        let absent = absent.map(|bars| bars[bar].absent);
        let anything = first
            || absent.is_some()
            || upper.multi_rest > 0
            || frame.metre_shown
            || upper.key.is_some()
            || transposition.is_some()
            || upper.lines.is_some()
            || !clefs.is_empty();
        if !anything {
            return;
        }
        let instrument = self.instrument;
        let divisions = self.ticks.divisions;
        let xml = &mut *self.xml;
        xml.open("attributes");
        if first {
            xml.number("divisions", divisions);
        }
        if let Some(key) = upper.key {
            xml.open("key");
            xml.number("fifths", i64::from(key.fifths()));
            let major = key.mode == Mode::Major;
            xml.word("mode", if major { "major" } else { "minor" });
            xml.close("key");
        } else if first && !instrument.unpitched {
            xml.open("key");
            xml.number("fifths", 0);
            xml.close("key");
        }
        if frame.metre_shown {
            match frame.metre.sign {
                MetreSign::Figures => xml.open("time"),
                MetreSign::Common => xml.open_with("time", &[("symbol", "common")]),
                MetreSign::Cut => xml.open_with("time", &[("symbol", "cut")]),
            }
            xml.text("beats", &frame.metre.upper());
            xml.number("beat-type", i64::from(frame.metre.unit));
            xml.close("time");
        }
        if first && several {
            xml.number("staves", staves.len() as i64);
        }
        for (staff, clef) in clefs {
            write_clef(xml, clef, staff);
        }
        if let Some(lines) = upper.lines.filter(|lines| !first || *lines != 5) {
            match staff_number(0, several) {
                Some(staff) => xml.open_with("staff-details", &[("number", staff)]),
                None => xml.open("staff-details"),
            }
            xml.number("staff-lines", i64::from(lines));
            xml.close("staff-details");
        }
        if let Some(absent) = absent {
            let is_there = if absent { "no" } else { "yes" };
            xml.empty_with("staff-details", &[("number", "2"), ("print-object", is_there)]);
        }
        if let Some(by) = transposition {
            transpose(xml, by);
        }
        if upper.multi_rest > 0 {
            xml.open("measure-style");
            xml.number("multiple-rest", i64::from(upper.multi_rest));
            xml.close("measure-style");
        }
        xml.close("attributes");
    }

    /// Writes one voice; the first of a staff has its clefs, and all that is said.
    fn voice(
        &mut self,
        (index, bar, voice): (usize, usize, usize),
        own: &StaffBar,
        frame: &FrameBar,
        braced: bool,
    ) {
        let staff = staff_number(index, braced);
        let voice_bar = &own.voices[voice];
        let number = VOICES[index.min(1)][usize::from(voice_bar.number.clamp(1, 2)) - 1];
        let sound_id = self.sound_id(voice_bar.players.start);
        let by = (self.instrument, sound_id.as_deref());
        let ends = std::mem::take(&mut self.ends[index][bar]);
        let setting = note::Setting {
            by,
            ticks: self.ticks,
            voice: VoiceAt { number, staff },
            ends: &ends,
            octaves: self.octaves_in_clef(),
            place: StaffPlace { bar, voice, element: 0 },
        };
        let leads = voice == 0;
        let said: &[_] = if leads { &own.directions } else { &[] };
        let mut said = said.iter().peekable();
        let mut timed = ends.iter().filter(|end| leads && end.time().is_some()).peekable();
        let mut clefs = own.clefs.iter().filter(|(at, _)| leads && *at > Time::ZERO).peekable();
        // A cue out of a free bar begins amid it.
        let before = voice_bar.elements.first().map_or(Time::ZERO, |first| first.at);
        if before > Time::ZERO {
            self.xml.open("forward");
            self.xml.number("duration", self.ticks.of(before));
            self.xml.close("forward");
        }
        for (element_index, element) in voice_bar.elements.iter().enumerate() {
            while let Some((_, clef)) = clefs.next_if(|(at, _)| *at <= element.at) {
                self.xml.open("attributes");
                write_clef(self.xml, *clef, staff);
                self.xml.close("attributes");
            }
            let until = element.at + element.length;
            let here = |at: Time| at <= element.at || at < until;
            while let Some(end) = timed.next_if(|end| end.time().is_some_and(here)) {
                let at = end.time().unwrap_or_default();
                let spot = Spot { offset: self.ticks.of(at - element.at), staff };
                span_end(self.xml, *end, spot);
            }
            let mut under: Vec<(Time, &[Figure])> = Vec::new();
            while let Some(direction) = said.next_if(|direction| here(direction.at)) {
                if let DirectionKind::Figures(figures) = &direction.kind {
                    under.push((direction.at.max(element.at), figures));
                    continue;
                }
                let spot = Spot { offset: self.ticks.of(direction.at - element.at), staff };
                direction::said(self.xml, direction, spot);
            }
            direction::figures(self.xml, &under, element.at, until, |time| self.ticks.of(time));
            let place = StaffPlace { element: element_index, ..setting.place };
            let setting = note::Setting { place, ..setting };
            match &element.kind {
                ElementKind::Note(staff_note) => {
                    note::note(self.xml, setting, element, staff_note);
                }
                ElementKind::Rest { fermata } => {
                    note::rest(self.xml, setting, element, false, *fermata);
                }
                ElementKind::BarRest { fermata } => {
                    note::rest(self.xml, setting, element, true, *fermata);
                }
            }
        }
        for end in timed {
            let at = end.time().unwrap_or_default();
            span_end(self.xml, *end, Spot { offset: self.ticks.of(at - frame.length), staff });
        }
        for direction in said {
            let spot = Spot { offset: self.ticks.of(direction.at - frame.length), staff };
            direction::said(self.xml, direction, spot);
        }
        self.ends[index][bar] = ends;
    }

    /// The name of what a player has in hand, where the part has several.
    fn sound_id(&self, player: usize) -> Option<String> {
        let part = &self.edition.parts[self.part];
        let players = &self.edition.players[part.players.clone()];
        if players.len() < 2 && players[0].instruments.len() < 2 {
            return None;
        }
        let player = &self.edition.players[player];
        let place = player.instruments.iter().position(|i| std::ptr::eq(*i, self.instrument));
        Some(sound_id(player, place.unwrap_or(0)))
    }
}

/// Numbers of the voices on the upper and on the lower staff.
const VOICES: [[&str; 2]; 2] = [["1", "2"], ["5", "6"]];

fn staff_number(index: usize, braced: bool) -> Option<&'static str> {
    braced.then_some(if index == 0 { "1" } else { "2" })
}

fn span_end(xml: &mut Xml, end: End, spot: Spot) {
    let Spanner { kind, above, number, .. } = end.span;
    match kind {
        SpannerKind::Hairpin { grows, .. } => {
            let word = match (end.starts, grows) {
                (true, true) => "crescendo",
                (true, false) => "diminuendo",
                (false, _) => "stop",
            };
            direction::hairpin(xml, word, *number, *above, spot);
        }
        SpannerKind::OctaveLine { octaves, .. } => {
            let size = 1 + 7 * octaves.unsigned_abs();
            let up = end.starts.then_some(*octaves);
            direction::octave_line(xml, up, (size, *number, *above), spot);
        }
        SpannerKind::Slur { .. }
        | SpannerKind::SlurLeaves { .. }
        | SpannerKind::SlurArrives { .. }
        | SpannerKind::TrillLine { .. } => {}
    }
}

fn write_clef(xml: &mut Xml, clef: Clef, staff: Option<&'static str>) {
    match staff {
        Some(staff) => xml.open_with("clef", &[("number", staff)]),
        None => xml.open("clef"),
    }
    let (sign, line) = match clef {
        Clef::Treble | Clef::TrebleOctave => ("G", Some(2)),
        Clef::Alto => ("C", Some(3)),
        Clef::Tenor => ("C", Some(4)),
        Clef::Bass => ("F", Some(4)),
        Clef::Percussion => ("percussion", None),
    };
    xml.word("sign", sign);
    if let Some(line) = line {
        xml.number("line", line);
    }
    if clef == Clef::TrebleOctave {
        xml.number("clef-octave-change", -1);
    }
    xml.close("clef");
}

/// The way from written to sounding pitch, octaves apart.
pub(super) fn transpose(xml: &mut Xml, by: Interval) {
    let octaves = by.whole_octaves();
    xml.open("transpose");
    xml.number("diatonic", i64::from(by.steps - 7 * octaves));
    xml.number("chromatic", i64::from(by.semitones - 12 * octaves));
    if octaves != 0 {
        xml.number("octave-change", i64::from(octaves));
    }
    xml.close("transpose");
}

fn left_line(xml: &mut Xml, frame: &FrameBar) {
    if !frame.repeat_starts && frame.ending_starts.is_none() {
        return;
    }
    xml.open_with("barline", &[("location", "left")]);
    if frame.repeat_starts {
        xml.word("bar-style", "heavy-light");
    }
    if let Some(ending) = frame.ending_starts {
        let number = ending_number(ending);
        xml.empty_with("ending", &[("number", &number), ("type", "start")]);
    }
    if frame.repeat_starts {
        xml.empty_with("repeat", &[("direction", "forward")]);
    }
    xml.close("barline");
}

fn right_line(xml: &mut Xml, frame: &FrameBar) {
    let style = match frame.line {
        _ if frame.repeat_ends => Some("light-heavy"),
        BarLine::Plain => None,
        BarLine::Double => Some("light-light"),
        BarLine::Final => Some("light-heavy"),
    };
    if style.is_none() && frame.ending_ends.is_none() {
        return;
    }
    xml.open_with("barline", &[("location", "right")]);
    if let Some(style) = style {
        xml.word("bar-style", style);
    }
    if let Some(ending) = frame.ending_ends {
        let number = ending_number(ending);
        // The bracket of a last ending stays open at its end.
        let kind = if frame.repeat_ends { "stop" } else { "discontinue" };
        xml.empty_with("ending", &[("number", &number), ("type", kind)]);
    }
    if frame.repeat_ends {
        let times = frame.signs.iter().find_map(|sign| match sign {
            Sign::Times(times) => Some(times.to_string()),
            _ => None,
        });
        let mut attributes = vec![("direction", "backward")];
        attributes.extend(times.as_deref().map(|times| ("times", times)));
        xml.empty_with("repeat", &attributes);
    }
    xml.close("barline");
}

/// The times through of an ending: "1, 2".
fn ending_number(ending: Ending) -> String {
    let times: Vec<String> = (ending.first..=ending.last).map(|time| time.to_string()).collect();
    times.join(", ")
}
