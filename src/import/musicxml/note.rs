//! Notes, rests and what hangs on them.

use super::harmonics;
use super::tree::Element;
use super::{Cursor, Reader, ticks, values};
use crate::lyrics;
use crate::music::{Pitch, Time};
use crate::narrow::Narrow;
use crate::raw::{Finger, RawDirection, RawDirectionKind, RawKind, RawNote, Small, Sung};
use crate::resolve::{Mark, Marks, OfTwo};
use crate::signs;

use smallvec::SmallVec;

impl<'a> Reader<'a, '_> {
    pub(super) fn note(&mut self, cursor: &mut Cursor, element: Element<'_, 'a>) {
        let place = (Some(cursor.part), cursor.index);
        let mut found = Found::default();
        for child in element.children() {
            match child.name() {
                "pitch" | "unpitched" | "rest" => found.what = Some(child),
                "chord" => found.chord = true,
                "cue" => found.cue = true,
                "grace" => {
                    let slash = child.is("slash", "yes");
                    found.small = Some(if slash { Small::Crossed } else { Small::Plain });
                }
                "tie" => found.tie(child),
                "voice" => found.voice = child.raw(),
                "type" => found.value = values::value(child.raw()),
                "dot" => found.dots += 1,
                "staff" => found.staff = child.raw().parse().unwrap_or(1),
                "time-modification" => {
                    let actual = child.number_of("actual-notes").unwrap_or(0);
                    let normal = child.number_of("normal-notes").unwrap_or(0);
                    found.ratio = (actual, normal);
                }
                "instrument" => found.instrument = Some(child),
                "notations" => found.notations.push(child),
                "lyric" => found.lyrics.push(child),
                "notehead" if child.raw() == "diamond" => found.diamond = true,
                "notehead" if !matches!(child.raw(), "normal" | "none" | "") => {
                    self.losses.left_out("shapes of note heads", place.0, place.1);
                }
                _ => {}
            }
        }
        self.place_note(cursor, element, &found);
    }

    /// Where the note stands in time, and what of it is kept.
    fn place_note(&mut self, cursor: &mut Cursor, element: Element, found: &Found<'_, 'a>) {
        let place = (Some(cursor.part), cursor.index);
        let printed = found.value.and_then(|value| values::dotted(value, found.dots));
        let is_small = found.small.is_some();
        let (at, length) = match (is_small, found.chord) {
            (true, false) => (cursor.at, Time::ZERO),
            (true, true) => (cursor.last.0, Time::ZERO),
            (false, true) => cursor.last,
            (false, false) => self.take_time(cursor, element, found, printed),
        };
        cursor.last = (at, length);
        let Some(what) = found.what else {
            self.losses.left_out("notes without pitch or rest", place.0, place.1);
            return;
        };
        if found.cue {
            self.losses.left_out("cue notes", place.0, place.1);
            return;
        }
        let is_rest = what.name() == "rest";
        if !is_rest && element.is("print-object", "no") {
            self.losses.left_out("notes that are not printed", place.0, place.1);
            return;
        }
        if is_rest && is_whole_bar(what, found, at) {
            cursor.rest = cursor.rest.max(length);
            let is_as_printed = printed == Some(length);
            let of_bar = what.is("measure", "yes");
            cursor.measure.silent |= of_bar || is_as_printed;
            cursor.measure.unmeasured |= of_bar && printed.is_none();
            let marks = self.notations(cursor, found).marks;
            fermata(cursor, at, found.staff.max(1), marks);
            return;
        }
        if !is_small && length <= Time::ZERO {
            if !is_rest {
                self.losses.left_out("notes that last no time", place.0, place.1);
            }
            return;
        }
        let Some(kind) = self.kind(cursor, what, found) else {
            self.losses.left_out("notes of no pitch", place.0, place.1);
            return;
        };
        let mut hung = self.notations(cursor, found);
        if is_rest {
            fermata(cursor, at, found.staff.max(1), hung.marks);
        }
        let voice = self.voice(cursor, found.voice);
        let finger = hung.finger.or(found.diamond.then_some(Finger::Touches));
        if found.chord
            && !is_small
            && harmonics::join(cursor, (kind, finger), (at, length), &mut hung)
        {
            return;
        }
        if found.diamond {
            self.losses.left_out("shapes of note heads", place.0, place.1);
        }
        // Both notes of a tremolo are printed with the value of both: that is no tuplet.
        let halved = hung.of_two.is_some() && found.ratio.0.is_multiple_of(2);
        let of_tuplet = if halved { (found.ratio.0 / 2, found.ratio.1) } else { found.ratio };
        let ratio = match of_tuplet {
            (1..=255, 1..=255) if of_tuplet != (1, 1) => {
                (of_tuplet.0.narrow::<u8>(), of_tuplet.1.narrow::<u8>())
            }
            _ => (0, 0),
        };
        let note = RawNote {
            at,
            length,
            value: printed.unwrap_or(Time::EIGHTH),
            kind,
            voice,
            staff: found.staff.max(1),
            small: found.small,
            in_chord: found.chord,
            tie_starts: found.tie_starts || hung.tied.0,
            tie_stops: found.tie_stops || hung.tied.1,
            marks: hung.marks,
            tremolo: total_strokes(hung.tremolo.unwrap_or(0), found.value),
            of_two: hung.of_two,
            touch: None,
            finger,
            ratio,
            bracket: hung.bracket,
            slurs: hung.slurs,
            lyrics: if is_rest { None } else { self.sung(cursor, &found.lyrics) },
        };
        if !is_small {
            cursor.measure.length = cursor.measure.length.max(at + length);
        }
        cursor.measure.notes.push(note);
    }

    /// Takes the duration of a note out of the measure.
    fn take_time(
        &mut self,
        cursor: &mut Cursor,
        element: Element,
        found: &Found,
        printed: Option<Time>,
    ) -> (Time, Time) {
        let at = cursor.at;
        let printed = printed.and_then(|value| match found.ratio {
            (actual, normal) if actual > 0 && normal > 0 => {
                value.scaled(i64::from(normal), i64::from(actual))
            }
            _ => Some(value),
        });
        let Some(ticks) = ticks(element) else {
            // No duration, or one that cannot be meant: what is printed holds.
            self.losses.changed(
                "notes without a duration that can be, read by their printed value",
                Some(cursor.part),
                cursor.index,
            );
            let Some(printed) = printed else { return (at, Time::ZERO) };
            let ticks = values::ticks(printed, self.divisions(cursor));
            self.advance(cursor, ticks, Some(printed));
            return (at, cursor.at - at);
        };
        let divisions = self.divisions(cursor);
        // Durations are often rounded; what is printed is exact.
        let exact = printed.filter(|printed| {
            let off = printed.to_f64() * 4.0 * divisions as f64 - ticks as f64;
            off.abs() <= 1.01
        });
        self.advance(cursor, ticks, exact);
        (at, (cursor.at - at).max(Time::ZERO))
    }

    /// The syllables of a note.
    fn sung(&mut self, cursor: &Cursor, lyrics: &[Element]) -> Sung {
        let mut sung: Sung = None;
        for lyric in lyrics {
            let number = lyric.attribute("number").unwrap_or_default();
            let digits = number.rsplit(|c: char| !c.is_ascii_digit()).find(|part| !part.is_empty());
            let verse = digits.and_then(|digits| digits.parse::<u8>().ok()).unwrap_or(1).max(1);
            if verse > lyrics::MOST_VERSES {
                self.left_out(cursor, "sung words of more than twenty verses");
                continue;
            }
            let mut text = String::new();
            let mut goes_on = false;
            for child in lyric.children() {
                match child.name() {
                    "text" => {
                        text.push_str(&child.text());
                        text.push(' ');
                    }
                    "syllabic" => goes_on = matches!(child.raw(), "begin" | "middle"),
                    _ => {}
                }
            }
            if let Some(syllable) = lyrics::syllable(verse, &text, goes_on) {
                lyrics::join(&mut sung, syllable);
            }
        }
        sung
    }

    fn kind(&mut self, cursor: &Cursor, what: Element, found: &Found) -> Option<RawKind> {
        match what.name() {
            "rest" => Some(RawKind::Rest),
            "unpitched" => {
                let id = found.instrument.and_then(|i| i.attribute("id"));
                let instruments = &self.score.parts[cursor.part].instruments;
                let index = id.and_then(|id| instruments.iter().position(|i| i.id == id));
                Some(RawKind::Stroke(index.and_then(|i| u8::try_from(i).ok()).unwrap_or(0)))
            }
            _ => {
                let (written, changed) = values::pitch(what)?;
                if let Some(changed) = changed {
                    self.losses.changed(changed, Some(cursor.part), cursor.index);
                }
                let by = self.states[cursor.part].transposition;
                let sounding = written.transposed_or_respelled(by);
                in_range(sounding).then_some(RawKind::Pitch(sounding))
            }
        }
    }

    /// The index of a voice of the part.
    fn voice(&mut self, cursor: &Cursor, name: &str) -> u16 {
        let state = &mut self.states[cursor.part];
        if let Some((last, index)) = &state.last_voice
            && last == name
        {
            return *index;
        }
        // More voices than any part has are one: what overlaps is told apart later.
        const MOST_VOICES: usize = 64;
        let next = u16::try_from(state.voices.len().min(MOST_VOICES)).unwrap_or(0);
        let index = match state.voices.get(name) {
            Some(index) => *index,
            None if state.voices.len() >= MOST_VOICES => next,
            None => {
                state.voices.insert(name.to_string(), next);
                next
            }
        };
        state.last_voice = Some((name.to_string(), index));
        index
    }

    fn notations(&mut self, cursor: &mut Cursor, found: &Found) -> Hung {
        let mut hung = Hung::default();
        for notations in &found.notations {
            for child in notations.children() {
                match child.name() {
                    "tied" if child.is("type", "start") => hung.tied.0 = true,
                    "tied" if child.is("type", "stop") => hung.tied.1 = true,
                    "tied" if child.is("type", "continue") => hung.tied = (true, true),
                    "tied" => self.left_out(cursor, "ties that let a note ring"),
                    "slur" => slur(child, &mut hung),
                    "tuplet" => {
                        hung.bracket.0 |= child.is("type", "start");
                        hung.bracket.1 |= child.is("type", "stop");
                    }
                    "fermata" => hung.marks.insert(Mark::Fermata),
                    "arpeggiate" if child.is("direction", "down") => {
                        self.left_out(cursor, "chords spread downwards");
                    }
                    "arpeggiate" => hung.marks.insert(Mark::Arpeggio),
                    "articulations" => self.articulations(cursor, child, &mut hung),
                    "ornaments" => self.ornaments(cursor, child, &mut hung),
                    "technical" => self.technical(cursor, child, &mut hung),
                    "dynamics" => {
                        let at = cursor.last.0;
                        self.dynamics(cursor, child, at, found.staff.max(1));
                    }
                    "glissando" | "slide" if child.is("type", "stop") => {}
                    "glissando" | "slide" => self.left_out(cursor, "glissandi"),
                    "non-arpeggiate" => self.left_out(cursor, "brackets against spreading a chord"),
                    "accidental-mark" => self.left_out(cursor, "accidentals over a note"),
                    other => self.left_out_named(cursor, other),
                }
            }
        }
        hung
    }

    fn articulations(&mut self, cursor: &Cursor, element: Element, hung: &mut Hung) {
        for child in element.children() {
            match child.name() {
                "staccato" => hung.marks.insert(Mark::Staccato),
                "staccatissimo" => hung.marks.insert(Mark::Staccatissimo),
                "tenuto" => hung.marks.insert(Mark::Tenuto),
                "accent" => hung.marks.insert(Mark::Accent),
                "strong-accent" => hung.marks.insert(Mark::Marcato),
                "breath-mark" => hung.marks.insert(Mark::Breath),
                "detached-legato" => {
                    hung.marks.insert(Mark::Staccato);
                    hung.marks.insert(Mark::Tenuto);
                }
                "spiccato" => {
                    hung.marks.insert(Mark::Staccatissimo);
                    self.changed(cursor, "spiccato, written as staccatissimo");
                }
                other => self.left_out_named(cursor, other),
            }
        }
    }

    fn ornaments(&mut self, cursor: &Cursor, element: Element, hung: &mut Hung) {
        for child in element.children() {
            match child.name() {
                "trill-mark" => hung.marks.insert(Mark::Trill),
                "mordent" => hung.marks.insert(Mark::Mordent),
                "turn" => hung.marks.insert(Mark::Turn),
                "delayed-turn" => {
                    hung.marks.insert(Mark::Turn);
                    self.changed(cursor, "turns after the note, written as turns");
                }
                "tremolo" => match child.attribute("type").as_deref() {
                    Some(side @ ("start" | "stop")) => {
                        let first = side == "start";
                        hung.of_two = Some(if first { OfTwo::First } else { OfTwo::Second });
                        hung.tremolo = child.raw().parse().ok().or(Some(3));
                    }
                    _ => hung.tremolo = child.raw().parse().ok().or(Some(3)),
                },
                "inverted-mordent" => self.left_out(cursor, "mordents with the upper note"),
                "wavy-line" if !child.is("type", "start") => {}
                "wavy-line" => hung.marks.insert(Mark::Trill),
                "accidental-mark" => self.left_out(cursor, "accidentals of an ornament"),
                other => self.left_out_named(cursor, other),
            }
        }
    }

    fn technical(&mut self, cursor: &Cursor, element: Element, hung: &mut Hung) {
        for child in element.children() {
            match child.name() {
                "up-bow" => hung.marks.insert(Mark::UpBow),
                "down-bow" => hung.marks.insert(Mark::DownBow),
                "harmonic" => {
                    hung.marks.insert(Mark::Harmonic);
                    hung.finger = Finger::of(child).or(hung.finger);
                }
                "stopped" => hung.marks.insert(Mark::Stopped),
                "open-string" | "open" => hung.marks.insert(Mark::Open),
                other => self.left_out_named(cursor, other),
            }
        }
    }

    pub(super) fn left_out(&mut self, cursor: &Cursor, what: &'static str) {
        self.losses.left_out(what, Some(cursor.part), cursor.index);
    }

    pub(super) fn changed(&mut self, cursor: &Cursor, what: &'static str) {
        self.losses.changed(what, Some(cursor.part), cursor.index);
    }

    /// A sign that the language has no word for, by its name in the format.
    pub(super) fn left_out_named(&mut self, cursor: &Cursor, name: &str) {
        let name: String = name.chars().take(40).collect();
        let what = format!("the sign “{}”", name.replace('-', " "));
        self.losses.left_out(what, Some(cursor.part), cursor.index);
    }
}

/// What stands inside a note.
#[derive(Default)]
struct Found<'t, 'a> {
    what: Option<Element<'t, 'a>>,
    chord: bool,
    cue: bool,
    small: Option<Small>,
    tie_starts: bool,
    tie_stops: bool,
    voice: &'a str,
    value: Option<Time>,
    dots: usize,
    diamond: bool,
    staff: u8,
    ratio: (u32, u32),
    instrument: Option<Element<'t, 'a>>,
    notations: SmallVec<[Element<'t, 'a>; 1]>,
    lyrics: SmallVec<[Element<'t, 'a>; 1]>,
}

impl Found<'_, '_> {
    fn tie(&mut self, element: Element) {
        self.tie_starts |= element.is("type", "start");
        self.tie_stops |= element.is("type", "stop");
    }
}

/// What hangs on a note.
#[derive(Default)]
pub(super) struct Hung {
    pub(super) marks: Marks,
    tremolo: Option<u8>,
    of_two: Option<OfTwo>,
    /// Which note of an artificial harmonic it is.
    finger: Option<Finger>,
    pub(super) tied: (bool, bool),
    bracket: (bool, bool),
    pub(super) slurs: SmallVec<[(u8, bool); 2]>,
}

fn slur(element: Element, hung: &mut Hung) {
    let number = element.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(1);
    match element.attribute("type").as_deref() {
        Some("start") => hung.slurs.push((number, true)),
        Some("stop") => hung.slurs.push((number, false)),
        _ => {}
    }
}

/// A fermata over a rest stands among the directions.
fn fermata(cursor: &mut Cursor, at: Time, staff: u8, marks: Marks) {
    if marks.has(Mark::Fermata) {
        let kind = RawDirectionKind::Fermata;
        cursor.measure.directions.push(RawDirection { at, staff, kind });
    }
}

/// A rest of a whole bar fills it, however long it is said to be.
fn is_whole_bar(rest: Element, found: &Found, at: Time) -> bool {
    if at != Time::ZERO || found.ratio != (0, 0) {
        return false;
    }
    rest.is("measure", "yes")
        || (found.dots == 0 && found.value.is_none_or(|value| value == Time::WHOLE))
}

/// Notes of which the language can speak.
fn in_range(pitch: Pitch) -> bool {
    (0..=9).contains(&pitch.octave) && (0..=127).contains(&pitch.midi())
}

/// Strokes through the stem divide the value further than its flags do: together they say how fast
/// the strokes are (common practice).
fn total_strokes(strokes: u8, value: Option<Time>) -> u8 {
    if strokes == 0 {
        return 0;
    }
    let flags = (1..=4u8)
        .rev()
        .find(|flags| value.is_some_and(|value| value <= Time::of(1, 4 << i64::from(*flags))));
    (strokes.min(4) + flags.unwrap_or(0)).clamp(1, 4)
}

impl Reader<'_, '_> {
    /// Dynamics, as a direction or among the signs of a note.
    pub(super) fn dynamics(&mut self, cursor: &mut Cursor, element: Element, at: Time, staff: u8) {
        for child in element.children() {
            let name = child.name();
            let known = signs::dynamic(name);
            let (word, as_what) = match name {
                _ if known.is_some() => (known.unwrap_or("f"), None),
                "pppp" | "ppppp" | "pppppp" => ("ppp", Some("softer than ppp, written as ppp")),
                "n" => ("ppp", Some("niente, written as ppp")),
                "ffff" | "fffff" | "ffffff" => ("fff", Some("louder than fff, written as fff")),
                "fz" => ("sf", Some("fz, written as sf")),
                "rf" | "rfz" => ("sf", Some("rinforzando, written as sf")),
                "sffz" => ("sfz", Some("sffz, written as sfz")),
                "sfp" | "pf" => ("fp", Some("sfp or pf, written as fp")),
                "sfpp" | "sfzp" => ("fp", Some("sfpp or sfzp, written as fp")),
                _ => {
                    let text = super::line(&child.text());
                    match text.filter(|_| name == "other-dynamics") {
                        Some(text) => cursor.measure.directions.push(RawDirection {
                            at,
                            staff,
                            kind: RawDirectionKind::Words(text),
                        }),
                        None => self.left_out_named(cursor, name),
                    }
                    continue;
                }
            };
            if let Some(as_what) = as_what {
                self.losses.changed(as_what, Some(cursor.part), cursor.index);
            }
            let kind = RawDirectionKind::Word(word);
            cursor.measure.directions.push(RawDirection { at, staff, kind });
        }
    }
}
