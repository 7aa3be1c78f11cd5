//! Notes, chords and rests.

use crate::instruments::{Family, Instrument};
use crate::music::Pitch;
use crate::notate::{Beam, Element, Grace, Head, NoteValue, StaffNote};
use crate::resolve::Mark;

use super::Ticks;
use super::xml::Xml;

/// By what a note is played: the instrument, and its name in the file where the part has several.
pub(super) type By<'a> = (&'static Instrument, Option<&'a str>);

/// Where notes stand in a part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Voice {
    pub(super) number: &'static str,
    /// Number of the staff, in a part that has two.
    pub(super) staff: Option<&'static str>,
    /// Number of the slurs, which must differ where they may overlap in time.
    slurs: &'static str,
}

impl Voice {
    pub(super) const ONLY: Voice = Voice { number: "1", staff: None, slurs: "1" };
    pub(super) const UPPER: Voice = Voice { number: "1", staff: Some("1"), slurs: "1" };
    pub(super) const LOWER: Voice = Voice { number: "5", staff: Some("2"), slurs: "2" };
}

/// What all notes of a staff in one measure share.
#[derive(Clone, Copy)]
pub(super) struct Setting<'a> {
    pub(super) by: By<'a>,
    pub(super) ticks: Ticks,
    pub(super) voice: Voice,
}

impl Setting<'_> {
    fn staff_number(self, xml: &mut Xml) {
        if let Some(number) = self.voice.staff {
            xml.word("staff", number);
        }
    }
}

/// Writes a rest; a rest of the whole bar has no value.
pub(super) fn rest(xml: &mut Xml, setting: Setting, element: &Element, whole: bool, fermata: bool) {
    xml.open("note");
    if whole {
        xml.empty_with("rest", &[("measure", "yes")]);
    } else {
        xml.empty("rest");
    }
    xml.number("duration", setting.ticks.of(element.length));
    xml.word("voice", setting.voice.number);
    if !whole {
        value(xml, element.value);
        time_modification(xml, element);
    }
    setting.staff_number(xml);
    if fermata || has_tuplet_sign(element) {
        xml.open("notations");
        tuplet_signs(xml, element);
        if fermata {
            xml.empty("fermata");
        }
        xml.close("notations");
    }
    xml.close("note");
}

/// Writes a note: one `note` for each head.
pub(super) fn note(xml: &mut Xml, setting: Setting, element: &Element, note: &StaffNote) {
    if note.heads.is_empty() {
        return head(xml, setting, element, note, None, true);
    }
    for (index, written) in note.heads.iter().enumerate() {
        head(xml, setting, element, note, Some(*written), index == 0);
    }
}

fn head(
    xml: &mut Xml,
    setting: Setting,
    element: &Element,
    note: &StaffNote,
    head: Option<Head>,
    first: bool,
) {
    xml.open("note");
    match note.grace {
        Some(Grace::Crushed) => xml.empty_with("grace", &[("slash", "yes")]),
        Some(Grace::Plain) => xml.empty_with("grace", &[("slash", "no")]),
        None => {}
    }
    if !first {
        xml.empty("chord");
    }
    match head {
        Some(head) => pitch(xml, head.pitch),
        None => {
            // The only line of the staff is its lowest, which is E4 when read as a treble clef.
            xml.open("unpitched");
            xml.word("display-step", "E");
            xml.word("display-octave", "4");
            xml.close("unpitched");
        }
    }
    if note.grace.is_none() {
        xml.number("duration", setting.ticks.of(element.length));
    }
    if note.tie_from {
        xml.empty_with("tie", &[("type", "stop")]);
    }
    if note.tie_to {
        xml.empty_with("tie", &[("type", "start")]);
    }
    if let Some(id) = setting.by.1 {
        xml.empty_with("instrument", &[("id", id)]);
    }
    xml.word("voice", setting.voice.number);
    value(xml, element.value);
    if let Some(head) = head.filter(|head| head.accidental_shown) {
        xml.word("accidental", accidental(head.pitch.alter));
    }
    time_modification(xml, element);
    setting.staff_number(xml);
    if first {
        for (number, beam) in (1..=8).zip(&element.beams) {
            write_beam(xml, number, *beam);
        }
    }
    notations(xml, setting, element, note, first);
    xml.close("note");
}

fn pitch(xml: &mut Xml, pitch: Pitch) {
    xml.open("pitch");
    xml.word("step", ["C", "D", "E", "F", "G", "A", "B"][pitch.letter as usize]);
    if pitch.alter != 0 {
        xml.number("alter", i64::from(pitch.alter));
    }
    // The format knows octaves 0 to 9; what lies beyond (it is an error of its own) is folded.
    xml.number("octave", i64::from(pitch.octave.clamp(0, 9)));
    xml.close("pitch");
}

/// Name of a printed value without its dots.
pub(super) fn type_name(value: NoteValue) -> &'static str {
    match value.log2 {
        i8::MIN..=-1 => "breve",
        0 => "whole",
        1 => "half",
        2 => "quarter",
        3 => "eighth",
        4 => "16th",
        5 => "32nd",
        6 => "64th",
        7 => "128th",
        8 => "256th",
        9 => "512th",
        10..=i8::MAX => "1024th",
    }
}

fn value(xml: &mut Xml, value: NoteValue) {
    xml.word("type", type_name(value));
    for _ in 0..value.dots {
        xml.empty("dot");
    }
}

fn accidental(alter: i8) -> &'static str {
    match alter {
        i8::MIN..=-2 => "flat-flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        2..=i8::MAX => "double-sharp",
    }
}

fn time_modification(xml: &mut Xml, element: &Element) {
    if let Some(tuplet) = element.tuplet {
        xml.open("time-modification");
        xml.number("actual-notes", i64::from(tuplet.actual));
        xml.number("normal-notes", i64::from(tuplet.normal));
        xml.close("time-modification");
    }
}

fn write_beam(xml: &mut Xml, number: usize, beam: Beam) {
    let number = ["1", "2", "3", "4", "5", "6", "7", "8"][number - 1];
    let word = match beam {
        Beam::Begins => "begin",
        Beam::Continues => "continue",
        Beam::Ends => "end",
        Beam::HookForward => "forward hook",
        Beam::HookBackward => "backward hook",
    };
    xml.word_with("beam", &[("number", number)], word);
}

fn has_tuplet_sign(element: &Element) -> bool {
    element.tuplet.is_some_and(|tuplet| tuplet.starts || tuplet.ends)
}

fn tuplet_signs(xml: &mut Xml, element: &Element) {
    let Some(tuplet) = element.tuplet else { return };
    if tuplet.starts {
        xml.empty_with("tuplet", &[("type", "start"), ("number", "1")]);
    }
    if tuplet.ends {
        xml.empty_with("tuplet", &[("type", "stop"), ("number", "1")]);
    }
}

/// Ties stand on every head, a spread sign too; everything else on the first.
fn notations(xml: &mut Xml, setting: Setting, element: &Element, note: &StaffNote, first: bool) {
    let tied = note.tie_from || note.tie_to;
    let slurred = note.slur_starts || note.slur_ends;
    let stroked = strokes_through_stem(note.tremolo, element.value) > 0;
    let hung = slurred || stroked || !note.marks.is_empty() || has_tuplet_sign(element);
    let spread = note.marks.has(Mark::Arpeggio);
    if !(tied || spread || first && hung) {
        return;
    }
    xml.open("notations");
    if note.tie_from {
        xml.empty_with("tied", &[("type", "stop")]);
    }
    if note.tie_to {
        xml.empty_with("tied", &[("type", "start")]);
    }
    if first {
        if note.slur_ends {
            xml.empty_with("slur", &[("type", "stop"), ("number", setting.voice.slurs)]);
        }
        if note.slur_starts {
            xml.empty_with("slur", &[("type", "start"), ("number", setting.voice.slurs)]);
        }
        tuplet_signs(xml, element);
        marks(xml, setting.by, element, note);
    }
    if spread {
        // One number on both staves: the chord is spread through both hands.
        match setting.voice.staff {
            Some(_) => xml.empty_with("arpeggiate", &[("number", "1")]),
            None => xml.empty("arpeggiate"),
        }
    }
    xml.close("notations");
}

/// Where a mark is written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    Ornaments,
    Technical,
    Articulations,
    /// Directly among the notations, by its own rules.
    Alone,
}

fn place(mark: Mark) -> Place {
    match mark {
        Mark::Trill | Mark::Mordent | Mark::Turn => Place::Ornaments,
        Mark::UpBow | Mark::DownBow | Mark::Harmonic | Mark::Stopped | Mark::Open => {
            Place::Technical
        }
        Mark::Staccato
        | Mark::Staccatissimo
        | Mark::Tenuto
        | Mark::Accent
        | Mark::Marcato
        | Mark::Breath => Place::Articulations,
        Mark::Fermata | Mark::Arpeggio => Place::Alone,
    }
}

/// Strokes through the stem divide the value further than its flags do: what an eighth is to be
/// played in thirty-seconds shows two strokes beside its flag (common practice).
fn strokes_through_stem(tremolo: u8, value: NoteValue) -> u8 {
    let flags = u8::try_from(value.log2 - 2).unwrap_or(0);
    tremolo.saturating_sub(flags)
}

fn marks(xml: &mut Xml, by: By, element: &Element, note: &StaffNote) {
    let groups = [
        (Place::Ornaments, "ornaments"),
        (Place::Technical, "technical"),
        (Place::Articulations, "articulations"),
    ];
    for (group, tag) in groups {
        let strokes = strokes_through_stem(note.tremolo, element.value);
        let tremolo = group == Place::Ornaments && strokes > 0;
        if !tremolo && (note.marks.is_empty() || note.marks.iter().all(|mark| place(mark) != group))
        {
            continue;
        }
        xml.open(tag);
        for mark in note.marks.iter().filter(|mark| place(*mark) == group) {
            write_mark(xml, by, mark);
        }
        if tremolo {
            let strokes = ["1", "2", "3", "4"][usize::from(strokes.min(4)) - 1];
            xml.word_with("tremolo", &[("type", "single")], strokes);
        }
        xml.close(tag);
    }
    if note.marks.has(Mark::Fermata) {
        xml.empty("fermata");
    }
}

fn write_mark(xml: &mut Xml, by: By, mark: Mark) {
    let tag = match mark {
        Mark::Harmonic => {
            xml.open("harmonic");
            xml.empty("natural");
            return xml.close("harmonic");
        }
        Mark::Open if by.0.family == Family::Strings => "open-string",
        Mark::Open => "open",
        Mark::Stopped => "stopped",
        Mark::UpBow => "up-bow",
        Mark::DownBow => "down-bow",
        Mark::Trill => "trill-mark",
        // MusicXML's mordent is the sign with the stroke, which goes to the lower neighbour.
        Mark::Mordent => "mordent",
        Mark::Turn => "turn",
        Mark::Staccato => "staccato",
        Mark::Staccatissimo => "staccatissimo",
        Mark::Tenuto => "tenuto",
        Mark::Accent => "accent",
        Mark::Marcato => "strong-accent",
        Mark::Breath => "breath-mark",
        Mark::Fermata => "fermata",
        Mark::Arpeggio => "arpeggiate",
    };
    xml.empty(tag);
}
