//! Notes, chords and rests.

use crate::edition::{SpannerKind, StaffPlace};
use crate::instruments::{Family, Instrument};
use crate::music::Pitch;
use crate::notate::{Beam, Element, Grace, Head, NoteValue, StaffNote, Stem, Syllable};
use crate::resolve::Mark;

use super::Ticks;
use super::measure::End;
use super::xml::Xml;

/// By what a note is played: the instrument, and its name in the file where the part has several.
pub(super) type By<'a> = (&'static Instrument, Option<&'a str>);

/// Where notes stand in a part.
#[derive(Clone, Copy, Debug)]
pub(super) struct VoiceAt {
    pub(super) number: &'static str,
    /// Number of the staff, in a part that has two.
    pub(super) staff: Option<&'static str>,
}

/// What all notes of a voice in one measure share, and the place of one of them.
#[derive(Clone, Copy)]
pub(super) struct Setting<'a> {
    pub(super) by: By<'a>,
    pub(super) ticks: Ticks,
    pub(super) voice: VoiceAt,
    /// Ends of spans in this measure.
    pub(super) ends: &'a [End<'a>],
    /// Octaves that a small figure at the clef adds to the notes as they stand.
    pub(super) octaves: i8,
    pub(super) place: StaffPlace,
}

impl<'a> Setting<'a> {
    fn staff_number(self, xml: &mut Xml) {
        if let Some(number) = self.voice.staff {
            xml.word("staff", number);
        }
    }

    /// The ends of spans at this note.
    fn spans(self) -> impl Iterator<Item = End<'a>> + Clone {
        self.ends.iter().filter(move |end| end.place() == Some(self.place)).copied()
    }

    fn slurs(self) -> impl Iterator<Item = End<'a>> + Clone {
        let is_slur = |kind: &SpannerKind| {
            matches!(
                kind,
                SpannerKind::Slur { .. }
                    | SpannerKind::SlurLeaves { .. }
                    | SpannerKind::SlurArrives { .. }
            )
        };
        self.spans().filter(move |end| is_slur(&end.span.kind))
    }

    fn trill_lines(self) -> impl Iterator<Item = End<'a>> + Clone {
        self.spans().filter(|end| matches!(end.span.kind, SpannerKind::TrillLine { .. }))
    }
}

/// Writes a rest; a rest of the whole bar has no value.
pub(super) fn rest(xml: &mut Xml, setting: Setting, element: &Element, whole: bool, fermata: bool) {
    xml.open("note");
    if element.cue {
        xml.empty("cue");
    }
    if whole {
        xml.empty_with("rest", &[("measure", "yes")]);
    } else {
        xml.empty("rest");
    }
    xml.number("duration", setting.ticks.of(element.length));
    xml.word("voice", setting.voice.number);
    if !whole {
        value(xml, element);
        time_modification(xml, element, &StaffNote::default());
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
        return head(xml, setting, element, note, None, 0);
    }
    for (index, written) in note.heads.iter().enumerate() {
        head(xml, setting, element, note, Some(*written), index);
    }
}

fn head(
    xml: &mut Xml,
    setting: Setting,
    element: &Element,
    note: &StaffNote,
    head: Option<Head>,
    index: usize,
) {
    let first = index == 0;
    xml.open("note");
    match note.grace {
        Some(Grace::Crushed) => xml.empty_with("grace", &[("slash", "yes")]),
        Some(Grace::Plain) => xml.empty_with("grace", &[("slash", "no")]),
        None if element.cue => xml.empty("cue"),
        None => {}
    }
    if !first {
        xml.empty("chord");
    }
    match head {
        Some(head) => pitch(xml, head.pitch.octaves_up(setting.octaves)),
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
    // A cue is not sounded, so nothing of it is held.
    if note.tie_from && !element.cue {
        xml.empty_with("tie", &[("type", "stop")]);
    }
    if note.tie_to && !element.cue {
        xml.empty_with("tie", &[("type", "start")]);
    }
    if let Some(id) = setting.by.1 {
        xml.empty_with("instrument", &[("id", id)]);
    }
    xml.word("voice", setting.voice.number);
    value(xml, element);
    if let Some(head) = head.filter(|head| head.accidental_shown) {
        let word = accidental(head.pitch.alter);
        if head.courtesy {
            xml.word_with("accidental", &[("cautionary", "yes"), ("parentheses", "yes")], word);
        } else {
            xml.word("accidental", word);
        }
    }
    time_modification(xml, element, note);
    match element.stem {
        Stem::Up => xml.word("stem", "up"),
        Stem::Down => xml.word("stem", "down"),
        Stem::None => {}
    }
    if note.is_touched(index) {
        xml.word_with("notehead", &[("filled", "no")], "diamond");
    }
    setting.staff_number(xml);
    if first {
        for (number, beam) in (1..=8).zip(&element.beams) {
            write_beam(xml, number, *beam);
        }
    }
    notations(xml, setting, element, note, first);
    if first {
        note.lyrics.iter().for_each(|syllable| lyric(xml, syllable));
    }
    xml.close("note");
}

fn lyric(xml: &mut Xml, syllable: &Syllable) {
    xml.open_with("lyric", &[("number", &syllable.verse.to_string())]);
    let place = match (syllable.continues, syllable.goes_on) {
        (false, false) => "single",
        (false, true) => "begin",
        (true, true) => "middle",
        (true, false) => "end",
    };
    xml.word("syllabic", place);
    xml.text("text", &syllable.text);
    // Within a word hyphens show that a syllable is held.
    if syllable.melisma && !syllable.goes_on {
        xml.empty("extend");
    }
    xml.close("lyric");
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

fn value(xml: &mut Xml, element: &Element) {
    let value = element.value;
    if element.cue {
        xml.word_with("type", &[("size", "cue")], type_name(value));
    } else {
        xml.word("type", type_name(value));
    }
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

/// Two notes of a tremolo are each printed with the value of both: two in the time of one.
fn time_modification(xml: &mut Xml, element: &Element, note: &StaffNote) {
    let pair = if note.paired.is_some() { 2 } else { 1 };
    let (actual, normal) = element
        .tuplet
        .map_or((1, 1), |tuplet| (i64::from(tuplet.actual), i64::from(tuplet.normal)));
    if (pair, actual, normal) != (1, 1, 1) {
        xml.open("time-modification");
        xml.number("actual-notes", actual * pair);
        xml.number("normal-notes", normal);
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

/// Ties stand on every head, a spread sign and what makes an artificial harmonic too; everything else on
/// the first.
fn notations(xml: &mut Xml, setting: Setting, element: &Element, note: &StaffNote, first: bool) {
    let tied = note.tie_from || note.tie_to;
    let hung = has_ornaments(setting, element, note)
        || setting.slurs().next().is_some()
        || !note.marks.is_empty()
        || has_tuplet_sign(element);
    let touched = note.harmonic.is_some();
    let spread = note.marks.has(Mark::Arpeggio);
    if !(tied || spread || touched || first && hung) {
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
        for end in setting.slurs() {
            let number = end.span.number.to_string();
            if end.starts {
                let side = if end.span.above { "above" } else { "below" };
                let attributes = [("type", "start"), ("number", &*number), ("placement", side)];
                xml.empty_with("slur", &attributes);
            } else {
                xml.empty_with("slur", &[("type", "stop"), ("number", &number)]);
            }
        }
        tuplet_signs(xml, element);
        marks(xml, setting, element, note);
    } else if touched {
        xml.open("technical");
        artificial(xml, "touching-pitch");
        xml.close("technical");
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

/// Does a note carry something among the ornaments: a sign, strokes, the wavy line of a trill?
fn has_ornaments(setting: Setting, element: &Element, note: &StaffNote) -> bool {
    strokes_through_stem(note.tremolo, element.value) > 0
        || note.paired.is_some()
        || note.marks.iter().any(|mark| place(mark) == Group::Ornaments)
        || setting.trill_lines().next().is_some()
}

/// Where a mark is written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Group {
    Ornaments,
    Technical,
    Articulations,
    /// Directly among the notations, by its own rules.
    Alone,
}

fn place(mark: Mark) -> Group {
    match mark {
        Mark::Trill | Mark::Mordent | Mark::Turn => Group::Ornaments,
        Mark::UpBow | Mark::DownBow | Mark::Harmonic | Mark::Stopped | Mark::Open => {
            Group::Technical
        }
        Mark::Staccato
        | Mark::Staccatissimo
        | Mark::Tenuto
        | Mark::Accent
        | Mark::Marcato
        | Mark::Breath => Group::Articulations,
        Mark::Fermata | Mark::Arpeggio => Group::Alone,
    }
}

/// Strokes through the stem divide the value further than its flags do: what an eighth is to be
/// played in thirty-seconds shows two strokes beside its flag (common practice).
fn strokes_through_stem(tremolo: u8, value: NoteValue) -> u8 {
    let flags = u8::try_from(value.log2 - 2).unwrap_or(0);
    tremolo.saturating_sub(flags)
}

fn marks(xml: &mut Xml, setting: Setting, element: &Element, note: &StaffNote) {
    if has_ornaments(setting, element, note) {
        ornaments(xml, setting, element, note);
    }
    let groups = [(Group::Technical, "technical"), (Group::Articulations, "articulations")];
    for (group, tag) in groups {
        let touched = group == Group::Technical && note.harmonic.is_some();
        if !touched && note.marks.iter().all(|mark| place(mark) != group) {
            continue;
        }
        xml.open(tag);
        if touched {
            artificial(xml, "base-pitch");
        }
        for mark in note.marks.iter().filter(|mark| place(*mark) == group) {
            write_mark(xml, setting.by, mark);
        }
        xml.close(tag);
    }
    if note.marks.has(Mark::Fermata) {
        xml.empty("fermata");
    }
}

/// One of the two notes of an artificial harmonic, and which it is.
fn artificial(xml: &mut Xml, which: &'static str) {
    xml.open("harmonic");
    xml.empty("artificial");
    xml.empty(which);
    xml.close("harmonic");
}

fn ornaments(xml: &mut Xml, setting: Setting, element: &Element, note: &StaffNote) {
    xml.open("ornaments");
    for mark in note.marks.iter().filter(|mark| place(*mark) == Group::Ornaments) {
        write_mark(xml, setting.by, mark);
        if let Some(alter) = note.ornament_accidental {
            let below = mark == Mark::Mordent;
            let side = if below { "below" } else { "above" };
            xml.word_with("accidental-mark", &[("placement", side)], accidental(alter));
        }
    }
    for end in setting.trill_lines() {
        let kind = if end.starts { "start" } else { "stop" };
        let number = end.span.number.to_string();
        xml.empty_with("wavy-line", &[("type", kind), ("number", &number)]);
    }
    let strokes = strokes_through_stem(note.tremolo, element.value);
    let word = |strokes: u8| ["1", "2", "3", "4"][usize::from(strokes.clamp(1, 4)) - 1];
    if let Some(pair) = note.paired {
        let kind = if pair.starts { "start" } else { "stop" };
        xml.word_with("tremolo", &[("type", kind)], word(pair.strokes));
    } else if strokes > 0 {
        xml.word_with("tremolo", &[("type", "single")], word(strokes));
    }
    xml.close("ornaments");
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
