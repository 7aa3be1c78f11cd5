//! MusicXML 4.0, partwise: an edition as it is, nothing decided.
//!
//! Who stands together (a player's two staves, or a staff of several players) is one part. In each
//! measure come the voices of the upper staff (1, 2), then, after a step back, those of the lower
//! one (5, 6).
//!
//! The files hold no date and nothing of the machine, so that the same source gives the same
//! bytes. Element names and their order follow the MusicXML 4.0 schema (W3C Music Notation
//! Community Group, "MusicXML 4.0", 2021).

mod direction;
mod measure;
mod note;
mod xml;

use std::io;

use crate::edition::{Edition, EditionPart, EditionPlayer, Group, GroupSign, Kind};
use crate::instruments::{Instrument, MidiSound};
use crate::music::Time;

use measure::PartWriter;
use xml::Xml;

/// An edition as a MusicXML file.
#[must_use]
pub fn write(edition: &Edition) -> Vec<u8> {
    let bars = edition.staves.iter().flat_map(|staff| &staff.bars);
    let elements: usize =
        bars.flat_map(|bar| &bar.voices).map(|voice| 1 + voice.elements.len()).sum();
    let mut bytes = Vec::with_capacity(4096 + elements * 320);
    let written = write_to(edition, &mut bytes);
    // Writing to memory does not fail.
    debug_assert!(written.is_ok());
    bytes
}

/// The same, handed over as it is written.
///
/// # Errors
///
/// What `out` answers.
pub fn write_to(edition: &Edition, out: &mut dyn io::Write) -> io::Result<()> {
    let mut ticks = Ticks::default();
    ticks.take(edition);
    let mut xml = begun(edition);
    for index in 0..edition.parts.len() {
        part(&mut xml, edition, (index, index == 0), ticks, out)?;
    }
    xml.close("score-partwise");
    out.write_all(&xml.finish())
}

/// A score of which no more than one part is held at a time. `one` gives the edition of a part, to be
/// looked at; it is asked twice for each.
///
/// # Errors
///
/// What `out` answers.
pub fn write_by_parts(
    parts: usize,
    one: impl Fn(usize, &mut dyn FnMut(Edition) -> io::Result<()>) -> io::Result<()>,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let mut ticks = Ticks::default();
    let mut whole: Option<Edition<'static>> = None;
    for number in 0..parts {
        one(number, &mut |edition| {
            ticks.take(&edition);
            match &mut whole {
                None => whole = Some(edition.without_bars()),
                Some(whole) => whole.add(edition.without_bars()),
            }
            Ok(())
        })?;
    }
    let Some(whole) = whole else { return Ok(()) };
    let mut xml = begun(&whole);
    for number in 0..parts {
        one(number, &mut |edition| part(&mut xml, &edition, (0, number == 0), ticks, out))?;
    }
    xml.close("score-partwise");
    out.write_all(&xml.finish())
}

/// A file with all that stands before its parts.
fn begun(edition: &Edition) -> Xml {
    let mut xml = Xml::with_capacity(128 * 1024);
    xml.declaration();
    xml.open_with("score-partwise", &[("version", "4.0")]);
    head(&mut xml, edition);
    part_list(&mut xml, edition);
    xml
}

fn part(
    xml: &mut Xml,
    edition: &Edition,
    (index, top): (usize, bool),
    ticks: Ticks,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    xml.open_with("part", &[("id", &part_id(edition, &edition.parts[index]))]);
    PartWriter::new(xml, edition, (index, top), ticks).write(out)?;
    xml.close("part");
    Ok(())
}

/// Time in a file's divisions of a quarter.
#[derive(Clone, Copy, Debug)]
struct Ticks {
    divisions: i64,
    unit: Time,
}

impl Default for Ticks {
    fn default() -> Ticks {
        Ticks { divisions: 1, unit: Time::QUARTER }
    }
}

impl Ticks {
    /// Takes so many more divisions, if any, that every time of an edition is a whole number of them.
    fn take(&mut self, edition: &Edition) {
        let divisions = &mut self.divisions;
        let mut take = |time: Time| {
            if (time * *divisions) % Time::QUARTER != Time::ZERO {
                let (_, more) = (time * *divisions).ratio(Time::QUARTER).unwrap_or((0, 1));
                *divisions *= more;
            }
        };
        edition.bars.iter().for_each(|bar| take(bar.length));
        for staff in &edition.staves {
            for bar in &staff.bars {
                let elements = bar.voices.iter().flat_map(|voice| voice.elements.iter());
                elements.for_each(|element| take(element.length));
                bar.directions.iter().for_each(|direction| take(direction.at));
                bar.clefs.iter().for_each(|(at, _)| take(*at));
            }
            staff
                .spans
                .iter()
                .for_each(|span| measure::times(&span.kind).into_iter().for_each(&mut take));
        }
        // The divisions divide the grain of a quarter, since every time is a multiple of the grain.
        self.unit = Time::QUARTER.scaled(1, self.divisions).unwrap_or(Time::QUARTER);
    }

    fn of(self, time: Time) -> i64 {
        time.div_floor(self.unit)
    }
}

/// Players keep their number in the arrangement, so that a part and the score agree.
fn part_id(edition: &Edition, part: &EditionPart) -> String {
    format!("P{}", edition.players[part.players.start].index + 1)
}

fn head(xml: &mut Xml, edition: &Edition) {
    let head = &edition.head;
    xml.open("work");
    xml.text("work-title", &head.title);
    xml.close("work");
    xml.open("identification");
    let creators = [("composer", &head.composer), ("arranger", &head.arranger)];
    for (kind, name) in creators {
        if let Some(name) = name {
            xml.text_with("creator", &[("type", kind)], name);
        }
    }
    if let Some(licence) = &head.licence {
        xml.text("rights", licence);
    }
    xml.open("encoding");
    xml.text("software", concat!("Ripieno ", env!("CARGO_PKG_VERSION")));
    for element in ["accidental", "beam", "stem"] {
        xml.empty_with("supports", &[("element", element), ("type", "yes")]);
    }
    xml.close("encoding");
    xml.open("miscellaneous");
    let named = head.ensemble != head.scoring && !head.ensemble.is_empty();
    let ensemble = named.then_some(&head.ensemble);
    let fields = [
        ("scoring", Some(&head.scoring)),
        ("ensemble", ensemble),
        ("revision", head.revision.as_ref()),
        ("source", head.source.as_ref()),
    ];
    for (name, text) in fields {
        if let Some(text) = text {
            xml.text_with("miscellaneous-field", &[("name", name)], text);
        }
    }
    xml.close("miscellaneous");
    xml.close("identification");
    defaults(xml, edition.kind);
    credits(xml, edition);
}

/// A4 with staves of 7 mm in parts and 5 mm in scores, inside the sizes that orchestra librarians
/// ask for (MOLA, Guidelines for Music Preparation, from memory: parts from 7.0 to 8.5 mm). Lengths
/// are tenths of the space between two lines.
fn defaults(xml: &mut Xml, kind: Kind) {
    let height = if matches!(kind, Kind::Part(_)) { 7.0 } else { 5.0 };
    let tenths = |millimetres: f64| format!("{:.1}", millimetres * 40.0 / height);
    xml.open("defaults");
    xml.open("scaling");
    xml.text("millimeters", &format!("{height}"));
    xml.number("tenths", 40);
    xml.close("scaling");
    xml.open("page-layout");
    xml.text("page-height", &tenths(297.0));
    xml.text("page-width", &tenths(210.0));
    xml.open_with("page-margins", &[("type", "both")]);
    for margin in ["left-margin", "right-margin", "top-margin", "bottom-margin"] {
        xml.text(margin, &tenths(15.0));
    }
    xml.close("page-margins");
    xml.close("page-layout");
    xml.close("defaults");
}

/// Title, names, what the pages are, and which scoring: on a stand two look alike.
fn credits(xml: &mut Xml, edition: &Edition) {
    let head = &edition.head;
    let mut say = |kind: Option<&'static str>, justify: &str, text: &str| {
        xml.open_with("credit", &[("page", "1")]);
        if let Some(kind) = kind {
            xml.word("credit-type", kind);
        }
        xml.text_with("credit-words", &[("justify", justify), ("valign", "top")], text);
        xml.close("credit");
    };
    say(Some("title"), "center", &head.title);
    if let Some(subtitle) = &head.subtitle {
        say(Some("subtitle"), "center", subtitle);
    }
    if let Some(composer) = &head.composer {
        say(Some("composer"), "right", composer);
    }
    if let Some(arranger) = &head.arranger {
        say(Some("arranger"), "right", &format!("arranged by {arranger}"));
    }
    let of_part: Vec<&str> = [Some(&head.name), head.keys.as_ref(), head.also.as_ref()]
        .into_iter()
        .flatten()
        .map(String::as_str)
        .collect();
    say(Some("part name"), "left", &of_part.join(", "));
    say(None, "left", &scoring(&head.scoring, &head.ensemble, head.source.as_deref()));
    if let Some(revision) = &head.revision {
        say(None, "left", revision);
    }
    if let Some(licence) = &head.licence {
        say(Some("rights"), "center", licence);
    }
}

/// "spa (spa-orchestra), source 1a2b3c4d".
fn scoring(scoring: &str, ensemble: &str, source: Option<&str>) -> String {
    let name = if scoring == ensemble || ensemble.is_empty() {
        scoring.to_owned()
    } else {
        format!("{scoring} ({ensemble})")
    };
    source.map_or(name.clone(), |source| format!("{name}, source {source}"))
}

fn part_list(xml: &mut Xml, edition: &Edition) {
    xml.open("part-list");
    // Braces belong to the staves of one part, which the format joins by itself.
    let groups: Vec<(&Group, String)> = edition
        .groups
        .iter()
        .filter(|group| group.sign != GroupSign::Brace)
        .map(|group| (group, if group.sign == GroupSign::Bracket { "1" } else { "2" }.to_owned()))
        .collect();
    for (index, part) in edition.parts.iter().enumerate() {
        for (group, number) in groups.iter().filter(|(group, _)| group.parts.start == index) {
            xml.open_with("part-group", &[("type", "start"), ("number", number)]);
            let sub = group.sign == GroupSign::SubBracket;
            xml.word("group-symbol", if sub { "square" } else { "bracket" });
            xml.word("group-barline", if group.bar_lines { "yes" } else { "no" });
            xml.close("part-group");
        }
        score_part(xml, edition, part);
        for (_, number) in groups.iter().rev().filter(|(group, _)| group.parts.end == index + 1) {
            xml.empty_with("part-group", &[("type", "stop"), ("number", number)]);
        }
    }
    xml.close("part-list");
}

/// All players of a part with all that they play, each with a name in the file.
fn sounds<'a>(
    edition: &'a Edition,
    part: &EditionPart,
) -> impl Iterator<Item = (&'a EditionPlayer, &'static Instrument, String)> + Clone + use<'a> {
    edition.players[part.players.clone()].iter().flat_map(|player| {
        let instruments = player.instruments.iter().enumerate();
        instruments.map(move |(place, instrument)| (player, *instrument, sound_id(player, place)))
    })
}

fn score_part(xml: &mut Xml, edition: &Edition, part: &EditionPart) {
    xml.open_with("score-part", &[("id", &part_id(edition, part))]);
    xml.text("part-name", &part.name);
    xml.text("part-abbreviation", &part.short);
    for (_, instrument, id) in sounds(edition, part) {
        xml.open_with("score-instrument", &[("id", &id)]);
        xml.text("instrument-name", &instrument.name);
        if !instrument.musicxml_sound.is_empty() {
            xml.text("instrument-sound", &instrument.musicxml_sound);
        }
        if edition.players[part.players.start].count > 1 {
            xml.empty("ensemble");
        }
        xml.close("score-instrument");
    }
    let several = edition.players.iter().any(|player| player.index >= CHANNELS);
    for (player, instrument, id) in sounds(edition, part) {
        // A port of its own for every 15 players, as a sequencer has channels for them.
        if several {
            let port = (player.index / CHANNELS + 1).to_string();
            xml.empty_with("midi-device", &[("id", &id), ("port", &port)]);
        }
        xml.open_with("midi-instrument", &[("id", &id)]);
        match instrument.midi {
            MidiSound::Program(program) => {
                xml.number("midi-channel", melodic_channel(player.index));
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
fn sound_id(player: &EditionPlayer, place: usize) -> String {
    format!("P{}-I{}", player.index + 1, place + 1)
}

/// Channels of a port for players with pitch.
const CHANNELS: usize = 15;

/// Channels from 1 to 16 in turn without 10, which is that of percussion.
fn melodic_channel(index: usize) -> i64 {
    let turn = (index % CHANNELS) as i64 + 1;
    if turn >= 10 { turn + 1 } else { turn }
}

#[cfg(test)]
mod tests;
