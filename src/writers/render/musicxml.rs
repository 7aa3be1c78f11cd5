//! MusicXML 4.0, partwise: the whole score, or one part with its rests counted together.
//!
//! A player who reads two staves has one part with both: in each measure what stands on the upper
//! staff in voice 1, then a step back, and what stands on the lower one in voice 5.
//!
//! The files hold no date and nothing of the machine, so that the same source gives the same
//! bytes. Element names and their order follow the MusicXML 4.0 schema (W3C Music Notation
//! Community Group, "MusicXML 4.0", 2021).

mod direction;
mod measure;
mod note;
mod xml;

use std::ops::Range;

use crate::instruments::{Family, MidiSound};
use crate::music::Time;
use crate::notate::{Score, Staff, rest_runs};

use measure::PartWriter;
use xml::Xml;

/// The whole score as a MusicXML file.
#[must_use]
pub fn score(score: &Score) -> Vec<u8> {
    file(score, 0..score.staves.len(), false)
}

/// One player's part as a MusicXML file.
///
/// # Panics
/// If the score has no staff of that index.
#[must_use]
pub fn part(score: &Score, staff: usize) -> Vec<u8> {
    file(score, staff..staff + 1, true)
}

fn file(score: &Score, staves: Range<usize>, as_part: bool) -> Vec<u8> {
    let ticks = Ticks::for_staves(score, &score.staves[staves.clone()]);
    let elements: usize = score.staves[staves.clone()]
        .iter()
        .flat_map(Staff::all_measures)
        .map(|measure| 1 + measure.elements.len())
        .sum();
    let mut xml = Xml::with_capacity(4096 + elements * 320);
    xml.declaration();
    xml.open_with("score-partwise", &[("version", "4.0")]);
    head(&mut xml, score);
    part_list(&mut xml, &score.staves, staves.clone(), as_part);
    for index in staves.clone() {
        let runs = if as_part { rest_runs(score, index) } else { Vec::new() };
        let top = index == staves.start;
        xml.open_with("part", &[("id", &part_id(index))]);
        let staff = &score.staves[index];
        let writer = PartWriter::new(&mut xml, score, (index, staff), ticks, runs, top);
        writer.write();
        xml.close("part");
    }
    xml.close("score-partwise");
    xml.finish()
}

/// Time in a file's divisions of a quarter.
#[derive(Clone, Copy, Debug)]
struct Ticks {
    divisions: i64,
    unit: Time,
}

impl Ticks {
    /// The fewest divisions with which every time of these staves is a whole number.
    fn for_staves(score: &Score, staves: &[Staff]) -> Ticks {
        let mut divisions = 1;
        let mut take = |time: Time| {
            if (time * divisions) % Time::QUARTER != Time::ZERO {
                let (_, more) = (time * divisions).ratio(Time::QUARTER).unwrap_or((0, 1));
                divisions *= more;
            }
        };
        score.frame.iter().for_each(|bar| take(bar.length));
        for measure in staves.iter().flat_map(Staff::all_measures) {
            measure.elements.iter().for_each(|element| take(element.length));
            measure.directions.iter().for_each(|direction| take(direction.at));
            measure.clefs.iter().for_each(|(at, _)| take(*at));
        }
        // The divisions divide the grain of a quarter, since every time is a multiple of the grain.
        let unit = Time::QUARTER.scaled(1, divisions).unwrap_or(Time::QUARTER);
        Ticks { divisions, unit }
    }

    fn of(self, time: Time) -> i64 {
        time.div_floor(self.unit)
    }
}

fn part_id(index: usize) -> String {
    format!("P{}", index + 1)
}

fn head(xml: &mut Xml, score: &Score) {
    xml.open("work");
    xml.text("work-title", &score.title);
    xml.close("work");
    xml.open("identification");
    let creators = [("composer", &score.composer), ("arranger", &score.arranger)];
    for (kind, name) in creators {
        if let Some(name) = name {
            xml.text_with("creator", &[("type", kind)], name);
        }
    }
    if let Some(licence) = &score.licence {
        xml.text("rights", licence);
    }
    xml.open("encoding");
    xml.word("software", "Ripieno");
    for element in ["accidental", "beam"] {
        xml.empty_with("supports", &[("element", element), ("type", "yes")]);
    }
    xml.close("encoding");
    xml.close("identification");
    if let Some(subtitle) = &score.subtitle {
        xml.open_with("credit", &[("page", "1")]);
        xml.word("credit-type", "subtitle");
        xml.text("credit-words", subtitle);
        xml.close("credit");
    }
}

fn part_list(xml: &mut Xml, staves: &[Staff], shown: Range<usize>, as_part: bool) {
    xml.open("part-list");
    let mut group = None;
    for index in shown.clone() {
        let family = |index: usize| staves[index].family;
        if !as_part && group.is_none() && is_bracketed(family(index)) {
            let end = (index..shown.end).find(|&next| family(next) != family(index));
            let end = end.unwrap_or(shown.end);
            if end - index > 1 {
                xml.open_with("part-group", &[("type", "start"), ("number", "1")]);
                xml.word("group-symbol", "bracket");
                xml.word("group-barline", "yes");
                xml.close("part-group");
                group = Some(end);
            }
        }
        score_part(xml, &staves[index], index);
        if group == Some(index + 1) {
            xml.empty_with("part-group", &[("type", "stop"), ("number", "1")]);
            group = None;
        }
    }
    xml.close("part-list");
}

/// Families that a score sets in a bracket; harps and keyboards stand alone.
fn is_bracketed(family: Family) -> bool {
    !matches!(family, Family::Harp | Family::Keyboard)
}

fn score_part(xml: &mut Xml, staff: &Staff, index: usize) {
    let id = part_id(index);
    xml.open_with("score-part", &[("id", &id)]);
    match &staff.key_name {
        Some(key) => xml.text("part-name", &format!("{} {key}", staff.name)),
        None => xml.text("part-name", &staff.name),
    }
    xml.text("part-abbreviation", &staff.abbreviation);
    for (place, instrument) in staff.instruments.iter().enumerate() {
        xml.open_with("score-instrument", &[("id", &sound_id(index, place))]);
        xml.text("instrument-name", &instrument.name);
        if !instrument.musicxml_sound.is_empty() {
            xml.text("instrument-sound", &instrument.musicxml_sound);
        }
        xml.close("score-instrument");
    }
    for (place, instrument) in staff.instruments.iter().enumerate() {
        xml.open_with("midi-instrument", &[("id", &sound_id(index, place))]);
        match instrument.midi {
            MidiSound::Program(program) => {
                xml.number("midi-channel", melodic_channel(index));
                xml.number("midi-program", i64::from(program));
            }
            MidiSound::PercussionKey(key) => {
                xml.number("midi-channel", 10);
                // MusicXML counts keys from 1.
                xml.number("midi-unpitched", i64::from(key) + 1);
            }
        }
        xml.close("midi-instrument");
    }
    xml.close("score-part");
}

/// Names one of the instruments that a player takes.
fn sound_id(part: usize, place: usize) -> String {
    format!("{}-I{}", part_id(part), place + 1)
}

/// Channels from 1 to 16 in turn without 10, which is that of percussion.
fn melodic_channel(index: usize) -> i64 {
    let turn = (index % 15) as i64 + 1;
    if turn >= 10 { turn + 1 } else { turn }
}

#[cfg(test)]
mod tests;
