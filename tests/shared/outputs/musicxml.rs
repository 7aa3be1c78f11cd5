//! Every measure of a MusicXML file is as long as its bar, in every voice.

use quick_xml::Reader;
use quick_xml::events::Event;

use super::desk_of;
use ripieno::arrange::Arrangement;
use ripieno::edition::{full_score, part};
use ripieno::music::Time;
use ripieno::notate::Score;
use ripieno::render::Output;

pub(super) fn is_sound(
    output: &Output,
    (arrangement, score): (&Arrangement, &Score),
) -> Result<(), String> {
    let text = std::str::from_utf8(&output.bytes).map_err(|error| error.to_string())?;
    let mut reader = Reader::from_str(text);
    reader.config_mut().check_comments = true;
    let mut open: Vec<String> = Vec::new();
    let (mut divisions, mut measure, mut parts) = (1, 0, 0);
    // Where the reader stands in the measure, and the note, step back or step forward it is in.
    let (mut at, mut duration, mut is_chord) = (0, 0, false);
    loop {
        match reader.read_event().map_err(|error| error.to_string())? {
            Event::Eof => break,
            Event::Start(tag) => {
                let name = tag.name().as_ref().to_string();
                for attribute in tag.attributes() {
                    let attribute = attribute.map_err(|error| error.to_string())?;
                    attribute.normalized_value(Default::default()).map_err(|e| e.to_string())?;
                }
                match name.as_str() {
                    "part" => (measure, parts) = (0, parts + 1),
                    "measure" => at = 0,
                    "note" | "backup" | "forward" => (duration, is_chord) = (0, false),
                    _ => {}
                }
                open.push(name);
            }
            Event::Empty(tag) => is_chord |= tag.name().as_ref() == "chord",
            Event::Text(text) => {
                let number = || text.trim().parse::<i64>().map_err(|error| error.to_string());
                match open.last().map(String::as_str) {
                    Some("divisions") => divisions = number()?,
                    Some("duration") => duration = number()?,
                    _ => {}
                }
            }
            Event::GeneralRef(name) if !matches!(&*name, "amp" | "lt" | "gt" | "quot" | "apos") => {
                return Err(format!("nobody knows {name:?}"));
            }
            Event::End(_) => match open.pop().as_deref() {
                Some("note") if !is_chord => at += duration,
                Some("forward") => at += duration,
                Some("backup") => {
                    full(score, measure, at, divisions)?;
                    at -= duration;
                    if at != 0 {
                        return Err(format!("a step back to {at} in measure {measure}"));
                    }
                }
                Some("measure") => {
                    full(score, measure, at, divisions)?;
                    measure += 1;
                }
                Some("part") if measure != score.frame.len() => {
                    return Err(format!("a part has {measure} measures"));
                }
                _ => {}
            },
            _ => {}
        }
    }
    let expected = if output.path.starts_with("parts/") {
        let page = part(score, desk_of(output, arrangement)?.start);
        page.parts.len()
    } else {
        full_score(score).parts.len()
    };
    if !open.is_empty() || parts != expected {
        return Err(format!("{parts} parts; still open: {open:?}"));
    }
    Ok(())
}

fn full(score: &Score, measure: usize, at: i64, divisions: i64) -> Result<(), String> {
    let bar = score.frame.get(measure).ok_or("a measure too many")?;
    let lasts = Time::new(at, 4 * divisions).ok_or("a duration that is none")?;
    if lasts == bar.length {
        return Ok(());
    }
    Err(format!("bar {} lasts {lasts}, not {}", bar.number, bar.length))
}
