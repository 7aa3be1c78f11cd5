//! Directions: dynamics, hairpins, words, tempos, rehearsal marks, signs.

use crate::edition::{DirectionKind, EditionDirection, NO_CHORD};
use crate::music::{Chord, ChordQuality, Figure, PitchName, Time};
use crate::notate::{FrameBar, NoteValue, Sign};
use crate::resolve::{Technique, Tempo};

use super::note::type_name;
use super::xml::Xml;

const ABOVE: &[(&str, &str)] = &[("placement", "above")];
const BELOW: &[(&str, &str)] = &[("placement", "below")];

fn side(above: bool) -> &'static [(&'static str, &'static str)] {
    if above { ABOVE } else { BELOW }
}

/// Writes what stands over the beginning of a bar: the rehearsal mark, a sign, the tempo.
pub(super) fn frame(xml: &mut Xml, frame: &FrameBar, home: Home) {
    if let Some(mark) = &frame.mark {
        xml.open_with("direction", ABOVE);
        xml.open("direction-type");
        xml.text("rehearsal", mark);
        xml.close("direction-type");
        xml.close("direction");
    }
    for sign in frame.signs.iter().filter(|sign| !sign.stands_at_end()) {
        self::sign(xml, *sign, home);
    }
    if let Some(tempo) = &frame.tempo {
        write_tempo(xml, tempo);
    }
}

/// Writes what stands over the end of a bar: where to go on.
pub(super) fn frame_end(xml: &mut Xml, frame: &FrameBar, home: Home) {
    for sign in frame.signs.iter().filter(|sign| sign.stands_at_end()) {
        self::sign(xml, *sign, home);
    }
}

/// The movement in which something stands: places to which jumps lead have names of its own.
#[derive(Clone, Copy)]
pub(super) struct Home(pub(super) usize);

impl Home {
    /// The name of a place in the movement: "segno", in the second movement "segno-2".
    fn named(self, place: &str) -> String {
        if self.0 == 0 { place.to_owned() } else { format!("{place}-{}", self.0 + 1) }
    }

    /// The name of its first bar.
    fn beginning(self) -> String {
        format!("movement-{}", self.0 + 1)
    }
}

/// Writes the title of a movement over its first bar, which a da capo in it leads back to.
pub(super) fn movement(xml: &mut Xml, heading: Option<&str>, home: Home) {
    if let Some(heading) = heading {
        xml.open_with("direction", ABOVE);
        xml.open("direction-type");
        let look = [("font-weight", "bold"), ("font-size", "x-large")];
        xml.text_with("words", &look, heading);
        xml.close("direction-type");
        if home.0 > 0 {
            xml.empty_with("sound", &[("segno", &home.beginning())]);
        }
        xml.close("direction");
    }
}

fn sign(xml: &mut Xml, sign: Sign, home: Home) {
    xml.open_with("direction", ABOVE);
    xml.open("direction-type");
    match sign {
        Sign::Segno => xml.empty("segno"),
        Sign::Coda => xml.empty("coda"),
        other => xml.text("words", other.words().unwrap_or_default()),
    }
    xml.close("direction-type");
    if let Sign::Times(_) | Sign::Attacca = sign {
        // The repeat itself says how often.
        return xml.close("direction");
    }
    let (name, place) = match sign {
        Sign::Segno => ("segno", home.named("segno")),
        Sign::Coda => ("coda", home.named("coda")),
        Sign::ToCoda => ("tocoda", home.named("coda")),
        Sign::Fine | Sign::Times(_) | Sign::Attacca => ("fine", "yes".to_owned()),
        // The format knows only the beginning of the file.
        _ if !sign.is_dal_segno() && home.0 > 0 => ("dalsegno", home.beginning()),
        Sign::DaCapo | Sign::DaCapoAlFine | Sign::DaCapoAlCoda => ("dacapo", "yes".to_owned()),
        Sign::DalSegno | Sign::DalSegnoAlFine | Sign::DalSegnoAlCoda => {
            ("dalsegno", home.named("segno"))
        }
    };
    xml.empty_with("sound", &[(name, &place)]);
    xml.close("direction");
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

/// Where a direction stands: so many divisions after the place reached, in a voice and on a staff.
#[derive(Clone, Copy)]
pub(super) struct Spot {
    pub(super) offset: i64,
    pub(super) staff: Option<&'static str>,
}

impl Spot {
    fn close(self, xml: &mut Xml) {
        xml.close("direction-type");
        if self.offset != 0 {
            xml.number("offset", self.offset);
        }
        if let Some(staff) = self.staff {
            xml.word("staff", staff);
        }
    }
}

/// Writes what is said at a place.
pub(super) fn said(xml: &mut Xml, said: &EditionDirection, spot: Spot) {
    if let DirectionKind::Chord(chord) = &said.kind {
        return match chord {
            Some(chord) => harmony(xml, chord, spot),
            None => no_chord(xml, spot),
        };
    }
    xml.open_with("direction", side(said.above));
    xml.open("direction-type");
    match &said.kind {
        DirectionKind::Dynamic(dynamic) => {
            xml.open("dynamics");
            xml.empty(dynamic.letters());
            xml.close("dynamics");
        }
        DirectionKind::Technique(technique) => xml.word("words", technique.printed()),
        DirectionKind::Words(words) | DirectionKind::Who(words) | DirectionKind::Change(words) => {
            xml.text("words", words);
        }
        DirectionKind::Chord(_) | DirectionKind::Figures(_) => {}
        DirectionKind::CueName(words) => {
            xml.text_with("words", &[("font-size", "small")], words);
        }
    }
    spot.close(xml);
    if let DirectionKind::Technique(technique) = said.kind {
        match technique {
            Technique::Pizzicato => xml.empty_with("sound", &[("pizzicato", "yes")]),
            Technique::Arco => xml.empty_with("sound", &[("pizzicato", "no")]),
            Technique::Muted | Technique::Unmuted => {}
        }
    }
    xml.close("direction");
}

/// Figures under one note, each group with where it stands; `end` is where the note ends.
pub(super) fn figures(
    xml: &mut Xml,
    under: &[(Time, &[Figure])],
    from: Time,
    end: Time,
    of: impl Fn(Time) -> i64,
) {
    let Some((first, _)) = under.first() else { return };
    if *first > from {
        // Nothing stands under the beginning of the note.
        xml.open("figured-bass");
        xml.open("figure");
        xml.word("figure-number", "");
        xml.close("figure");
        xml.number("duration", of(*first - from));
        xml.close("figured-bass");
    }
    for (index, (at, figures)) in under.iter().enumerate() {
        let next = under.get(index + 1).map_or(end, |(next, _)| *next);
        xml.open("figured-bass");
        for figure in *figures {
            xml.open("figure");
            if let Some(sign) = figure.sign {
                let word = match sign {
                    0 => "natural",
                    1 => "sharp",
                    -1 => "flat",
                    2.. => "double-sharp",
                    _ => "flat-flat",
                };
                xml.word("prefix", word);
            }
            if let Some(number) = figure.shown() {
                xml.number("figure-number", i64::from(number));
            }
            xml.close("figure");
        }
        xml.number("duration", of(next.max(*at) - *at));
        xml.close("figured-bass");
    }
}

/// A chord symbol: its kind in the standard's words, and the degrees that the kind lacks.
/// No chord. The schema asks for a root, which the empty text hides.
fn no_chord(xml: &mut Xml, spot: Spot) {
    xml.open("harmony");
    xml.open("root");
    xml.text_with("root-step", &[("text", "")], "C");
    xml.close("root");
    xml.text_with("kind", &[("text", NO_CHORD)], "none");
    end_of_harmony(xml, spot);
}

fn harmony(xml: &mut Xml, chord: &Chord, spot: Spot) {
    let (kind, degrees): (_, &[(i64, i64, &str)]) = match chord.quality {
        ChordQuality::Major => ("major", &[]),
        ChordQuality::Minor => ("minor", &[]),
        ChordQuality::Diminished => ("diminished", &[]),
        ChordQuality::Augmented => ("augmented", &[]),
        ChordQuality::SuspendedSecond => ("suspended-second", &[]),
        ChordQuality::SuspendedFourth => ("suspended-fourth", &[]),
        ChordQuality::DominantSeventh | ChordQuality::AugmentedSixth => ("dominant", &[]),
        ChordQuality::DominantSeventhSuspended => ("suspended-fourth", &[(7, 0, "add")]),
        ChordQuality::MajorSeventh => ("major-seventh", &[]),
        ChordQuality::MinorSeventh => ("minor-seventh", &[]),
        ChordQuality::MinorMajorSeventh => ("major-minor", &[]),
        ChordQuality::HalfDiminishedSeventh => ("half-diminished", &[]),
        ChordQuality::DiminishedSeventh => ("diminished-seventh", &[]),
        ChordQuality::AugmentedSeventh => ("augmented-seventh", &[]),
        ChordQuality::MajorSixth => ("major-sixth", &[]),
        ChordQuality::MinorSixth => ("minor-sixth", &[]),
        ChordQuality::DominantNinth => ("dominant-ninth", &[]),
        ChordQuality::DominantMinorNinth => ("dominant", &[(9, -1, "add")]),
        ChordQuality::DominantFlatFifth | ChordQuality::AugmentedSixthAndFourth => {
            ("dominant", &[(5, -1, "alter")])
        }
        ChordQuality::MinorNinth => ("minor-ninth", &[]),
        ChordQuality::MajorNinth => ("major-ninth", &[]),
        ChordQuality::AddedNinth => ("major", &[(9, 0, "add")]),
        ChordQuality::MinorAddedNinth => ("minor", &[(9, 0, "add")]),
    };
    xml.open("harmony");
    name(xml, ["root", "root-step", "root-alter"], chord.root);
    xml.text_with("kind", &[("text", chord.quality.suffix())], kind);
    if let Some(bass) = chord.bass {
        name(xml, ["bass", "bass-step", "bass-alter"], bass);
    }
    for (value, alter, how) in degrees {
        xml.open("degree");
        xml.number("degree-value", *value);
        xml.number("degree-alter", *alter);
        xml.word("degree-type", how);
        xml.close("degree");
    }
    end_of_harmony(xml, spot);
}

fn end_of_harmony(xml: &mut Xml, spot: Spot) {
    if spot.offset != 0 {
        xml.number("offset", spot.offset);
    }
    if let Some(staff) = spot.staff {
        xml.word("staff", staff);
    }
    xml.close("harmony");
}

fn name(xml: &mut Xml, [whole, step, alter]: [&'static str; 3], name: PitchName) {
    xml.open(whole);
    xml.word(step, ["C", "D", "E", "F", "G", "A", "B"][name.letter as usize]);
    if name.alter != 0 {
        xml.number(alter, i64::from(name.alter));
    }
    xml.close(whole);
}

/// Writes one end of a hairpin: `kind` is the word of the format.
pub(super) fn hairpin(xml: &mut Xml, kind: &'static str, number: u8, above: bool, spot: Spot) {
    xml.open_with("direction", side(above));
    xml.open("direction-type");
    xml.empty_with("wedge", &[("type", kind), ("number", &number.to_string())]);
    spot.close(xml);
    xml.close("direction");
}

/// Writes one end of an octave line; `octaves` up is how far it moves what is read, 0 its end.
pub(super) fn octave_line(
    xml: &mut Xml,
    octaves: Option<i8>,
    (size, number, above): (u8, u8, bool),
    spot: Spot,
) {
    // The standard's words tell where the written notes stand: "down" is an 8va line.
    let kind = match octaves {
        Some(up) if up > 0 => "down",
        Some(_) => "up",
        None => "stop",
    };
    xml.open_with("direction", side(above));
    xml.open("direction-type");
    let attributes =
        [("type", kind), ("number", &*number.to_string()), ("size", &*size.to_string())];
    xml.empty_with("octave-shift", &attributes);
    spot.close(xml);
    xml.close("direction");
}
