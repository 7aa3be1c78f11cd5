//! Measures: attributes, bar lines, and what stands between them.

use crate::instruments::{Clef, Instrument};
use crate::music::{Interval, Mode, Time};
use crate::notate::{ElementKind, FrameBar, Measure, Score, Staff};
use crate::resolve::BarLine;

use super::note::Voice;
use super::xml::Xml;
use super::{Ticks, direction, note, sound_id};

/// Writes the measures of one part.
pub(super) struct PartWriter<'a> {
    xml: &'a mut Xml,
    score: &'a Score,
    staff: &'a Staff,
    ticks: Ticks,
    /// For every bar how many bars of rest begin there; empty in a score.
    runs: Vec<u32>,
    /// Do tempos and rehearsal marks stand here?
    top: bool,
    /// The instrument in hand, and the name by which notes refer to it where there are several.
    instrument: &'static Instrument,
    sound_id: Option<String>,
    index: usize,
}

impl<'a> PartWriter<'a> {
    pub(super) fn new(
        xml: &'a mut Xml,
        score: &'a Score,
        (index, staff): (usize, &'a Staff),
        ticks: Ticks,
        runs: Vec<u32>,
        top: bool,
    ) -> PartWriter<'a> {
        let several = staff.instruments.len() > 1;
        let sound_id = several.then(|| sound_id(index, 0));
        let instrument = staff.instrument;
        PartWriter { xml, score, staff, ticks, runs, top, instrument, sound_id, index }
    }

    pub(super) fn write(mut self) {
        let (score, staff) = (self.score, self.staff);
        for (index, (frame, measure)) in score.frame.iter().zip(&staff.measures).enumerate() {
            self.measure(index, frame, measure, staff.lower.get(index));
        }
    }

    fn measure(
        &mut self,
        index: usize,
        frame: &FrameBar,
        measure: &Measure,
        lower: Option<&Measure>,
    ) {
        let number = frame.number.to_string();
        if frame.number == 0 {
            self.xml.open_with("measure", &[("number", &number), ("implicit", "yes")]);
        } else {
            self.xml.open_with("measure", &[("number", &number)]);
        }
        left_line(self.xml, frame);
        let unpitched_before = self.instrument.unpitched;
        if let Some(taken) = measure.instrument {
            self.instrument = taken;
            let place = self.staff.instruments.iter().position(|i| std::ptr::eq(*i, taken));
            self.sound_id = place.map(|place| sound_id(self.index, place));
        }
        self.attributes(index, frame, (measure, lower), unpitched_before);
        if self.top {
            direction::frame(self.xml, frame);
        }
        match lower {
            None => self.contents(frame, measure, Voice::ONLY),
            Some(lower) => {
                self.contents(frame, measure, Voice::UPPER);
                self.xml.open("backup");
                self.xml.number("duration", self.ticks.of(frame.length));
                self.xml.close("backup");
                self.contents(frame, lower, Voice::LOWER);
            }
        }
        right_line(self.xml, frame);
        self.xml.close("measure");
    }

    fn attributes(
        &mut self,
        index: usize,
        frame: &FrameBar,
        (measure, lower): (&Measure, Option<&Measure>),
        unpitched_before: bool,
    ) {
        let first = index == 0;
        let run = self.runs.get(index).copied().unwrap_or(0);
        let voice = if lower.is_some() { Voice::UPPER } else { Voice::ONLY };
        let upper_clefs = measure.clefs.iter().map(|clef| (voice, clef));
        let lower_clefs = lower.into_iter().flat_map(|lower| &lower.clefs);
        let clefs = upper_clefs.chain(lower_clefs.map(|clef| (Voice::LOWER, clef)));
        let clefs = clefs.filter(|(_, (at, _))| *at == Time::ZERO);
        // What changes later is told from the beginning even if it sounds as written there: some
        // readers let a later transposition hold for the bars before it too.
        let mut later = self.staff.measures.iter().skip(1);
        let told = !first || later.any(|measure| measure.transposition.is_some());
        let transposition = measure.transposition.filter(|by| told || *by != Interval::UNISON);
        let anything = first
            || run > 0
            || frame.metre_shown
            || measure.key.is_some()
            || transposition.is_some()
            || unpitched_before != self.instrument.unpitched
            || clefs.clone().next().is_some();
        if !anything {
            return;
        }
        let instrument = self.instrument;
        let xml = &mut *self.xml;
        xml.open("attributes");
        if first {
            xml.number("divisions", self.ticks.divisions);
        }
        if let Some(key) = measure.key {
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
            xml.open("time");
            xml.number("beats", i64::from(frame.metre.count));
            xml.number("beat-type", i64::from(frame.metre.unit));
            xml.close("time");
        }
        if first && lower.is_some() {
            xml.number("staves", 2);
        }
        for (voice, (_, clef)) in clefs {
            write_clef(xml, *clef, voice);
        }
        if (first && instrument.unpitched) || unpitched_before != instrument.unpitched {
            match voice.staff {
                Some(staff) => xml.open_with("staff-details", &[("number", staff)]),
                None => xml.open("staff-details"),
            }
            xml.number("staff-lines", if instrument.unpitched { 1 } else { 5 });
            xml.close("staff-details");
        }
        if let Some(by) = transposition {
            transpose(xml, by);
        }
        if run > 0 {
            xml.open("measure-style");
            xml.number("multiple-rest", i64::from(run));
            xml.close("measure-style");
        }
        xml.close("attributes");
    }

    fn contents(&mut self, frame: &FrameBar, measure: &Measure, voice: Voice) {
        let by = (self.instrument, self.sound_id.as_deref());
        let setting = note::Setting { by, ticks: self.ticks, voice };
        let mut directions = measure.directions.iter().peekable();
        let mut clefs = measure.clefs.iter().filter(|(at, _)| *at > Time::ZERO).peekable();
        for element in &measure.elements {
            while let Some((_, clef)) = clefs.next_if(|(at, _)| *at <= element.at) {
                self.xml.open("attributes");
                write_clef(self.xml, *clef, voice);
                self.xml.close("attributes");
            }
            let until = element.at + element.length;
            while let Some(direction) =
                directions.next_if(|direction| direction.at <= element.at || direction.at < until)
            {
                let offset = self.ticks.of(direction.at - element.at);
                direction::staff(self.xml, &direction.kind, offset, voice);
            }
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
        for direction in directions {
            let offset = self.ticks.of(direction.at - frame.length);
            direction::staff(self.xml, &direction.kind, offset, voice);
        }
    }
}

fn write_clef(xml: &mut Xml, clef: Clef, voice: Voice) {
    match voice.staff {
        Some(staff) => xml.open_with("clef", &[("number", staff)]),
        None => xml.open("clef"),
    }
    let (sign, line) = match clef {
        Clef::Treble => ("G", Some(2)),
        Clef::Alto => ("C", Some(3)),
        Clef::Tenor => ("C", Some(4)),
        Clef::Bass => ("F", Some(4)),
        Clef::Percussion => ("percussion", None),
    };
    xml.word("sign", sign);
    if let Some(line) = line {
        xml.number("line", line);
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
        let number = ending.to_string();
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
        let number = ending.to_string();
        // The bracket of a last ending stays open at its end.
        let kind = if frame.repeat_ends { "stop" } else { "discontinue" };
        xml.empty_with("ending", &[("number", &number), ("type", kind)]);
    }
    if frame.repeat_ends {
        xml.empty_with("repeat", &[("direction", "backward")]);
    }
    xml.close("barline");
}
