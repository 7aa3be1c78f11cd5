//! Directions: dynamics, hairpins, words, tempos, rehearsal marks.

use crate::music::Time;
use crate::notate::{FrameBar, NoteValue, StaffDirectionKind};
use crate::resolve::{Technique, Tempo};

use super::note::{Voice, type_name};
use super::xml::Xml;

const ABOVE: &[(&str, &str)] = &[("placement", "above")];
const BELOW: &[(&str, &str)] = &[("placement", "below")];

/// Writes the rehearsal mark and the tempo of a bar.
pub(super) fn frame(xml: &mut Xml, frame: &FrameBar) {
    if let Some(mark) = &frame.mark {
        xml.open_with("direction", ABOVE);
        xml.open("direction-type");
        xml.text("rehearsal", mark);
        xml.close("direction-type");
        xml.close("direction");
    }
    if let Some(tempo) = &frame.tempo {
        write_tempo(xml, tempo);
    }
}

fn write_tempo(xml: &mut Xml, tempo: &Tempo) {
    let metronome = tempo.beat.and_then(|(beat, rate)| Some((NoteValue::of(beat)?, rate)));
    if metronome.is_none() && tempo.words.is_none() {
        return;
    }
    xml.open_with("direction", ABOVE);
    if let Some(words) = &tempo.words {
        xml.open("direction-type");
        xml.text_with("words", &[("font-weight", "bold")], words);
        xml.close("direction-type");
    }
    if let Some((value, rate)) = metronome {
        xml.open("direction-type");
        xml.open("metronome");
        xml.word("beat-unit", type_name(value));
        for _ in 0..value.dots {
            xml.empty("beat-unit-dot");
        }
        xml.text("per-minute", &rate.to_string());
        xml.close("metronome");
        xml.close("direction-type");
    }
    if let Some((beat, rate)) = tempo.beat {
        let quarters = rate * beat.to_f64() / Time::QUARTER.to_f64();
        xml.empty_with("sound", &[("tempo", &quarters.to_string())]);
    }
    xml.close("direction");
}

/// Writes a direction of one staff, so many divisions after the place reached.
pub(super) fn staff(xml: &mut Xml, kind: &StaffDirectionKind, offset: i64, voice: Voice) {
    let below = matches!(
        kind,
        StaffDirectionKind::Dynamic(_)
            | StaffDirectionKind::HairpinStarts { .. }
            | StaffDirectionKind::HairpinEnds
    );
    xml.open_with("direction", if below { BELOW } else { ABOVE });
    xml.open("direction-type");
    match kind {
        StaffDirectionKind::Dynamic(dynamic) => {
            xml.open("dynamics");
            xml.empty(dynamic.letters());
            xml.close("dynamics");
        }
        StaffDirectionKind::HairpinStarts { grows } => {
            let kind = if *grows { "crescendo" } else { "diminuendo" };
            xml.empty_with("wedge", &[("type", kind)]);
        }
        StaffDirectionKind::HairpinEnds => xml.empty_with("wedge", &[("type", "stop")]),
        StaffDirectionKind::Technique(technique) => xml.word("words", technique.printed()),
        StaffDirectionKind::Words(words) => xml.text("words", words),
    }
    xml.close("direction-type");
    if offset != 0 {
        xml.number("offset", offset);
    }
    if let Some(staff) = voice.staff {
        xml.word("staff", staff);
    }
    if let StaffDirectionKind::Technique(technique) = kind {
        match technique {
            Technique::Pizzicato => xml.empty_with("sound", &[("pizzicato", "yes")]),
            Technique::Arco => xml.empty_with("sound", &[("pizzicato", "no")]),
            Technique::Muted | Technique::Unmuted => {}
        }
    }
    xml.close("direction");
}
