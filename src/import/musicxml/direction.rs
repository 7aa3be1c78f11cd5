//! Directions, bar lines and chord symbols.

use super::tree::Element;
use super::{Cursor, Reader, line, values};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::raw::{RawDirection, RawDirectionKind, RawTempo};
use crate::words::{self, Said};

impl Reader<'_, '_> {
    pub(super) fn direction(&mut self, cursor: &mut Cursor, element: Element) {
        let staff = element.number_of("staff").unwrap_or(1);
        let at = self.placed(cursor, element);
        let mut tempo = RawTempo::default();
        let mut spoken: Vec<String> = Vec::new();
        for child in element.children().filter(|child| child.name() == "direction-type") {
            for kind in child.children() {
                self.direction_type(cursor, kind, (at, staff), &mut tempo, &mut spoken);
            }
        }
        let sounding = element.child("sound").and_then(|sound| {
            self.jumps(cursor, sound, !spoken.is_empty());
            sound.attribute("tempo")?.parse::<f64>().ok()
        });
        let said = spoken.join(" ");
        let meant = words::meant(&said);
        if !said.is_empty() {
            match meant {
                Said::Jump => self.left_out(cursor, "jumps (da capo, dal segno, fine, coda)"),
                Said::Tempo if at == Time::ZERO => tempo.words = Some(said),
                _ if tempo.beat.is_some() && at == Time::ZERO => tempo.words = Some(said),
                Said::Word(word) => {
                    let kind = RawDirectionKind::Word(word);
                    cursor.measure.directions.push(RawDirection { at, staff, kind });
                }
                _ if sounding.is_some() && at == Time::ZERO => tempo.words = Some(said),
                Said::Tempo | Said::Words => {
                    let kind = RawDirectionKind::Words(said);
                    cursor.measure.directions.push(RawDirection { at, staff, kind });
                }
            }
        }
        if tempo.beat.is_none() {
            tempo.beat = sounding.filter(|_| !matches!(meant, Said::Word(_))).map(quarters);
        }
        if tempo != RawTempo::default() {
            cursor.measure.signs.tempos.push((at, tempo));
        }
    }

    /// Where a direction stands: at the place that was reached, or moved from there.
    fn moved(&mut self, cursor: &Cursor, element: Element) -> Time {
        let Some(offset) = element.number_of::<f64>("offset") else { return cursor.at };
        let divisions = self.divisions(cursor);
        let ticks =
            cursor.ticks.saturating_add(offset.clamp(-1e9, 1e9).round().narrow::<i64>()).max(0);
        values::time(ticks, divisions).unwrap_or(cursor.at)
    }

    /// Where a direction holds. One that is set a little to the left or right of its note on the
    /// page holds from the note (our heuristic: by less than an eighth), unless it is said to sound
    /// so.
    fn placed(&mut self, cursor: &Cursor, element: Element) -> Time {
        let at = self.moved(cursor, element);
        let off = if at > cursor.at { at - cursor.at } else { cursor.at - at };
        let sounds = element.child("offset").is_some_and(|offset| offset.is("sound", "yes"));
        if at == cursor.at || sounds || off >= Time::EIGHTH {
            return at;
        }
        if element.child("direction-type").is_some_and(|kind| kind.child("dynamics").is_some()) {
            self.changed(cursor, "dynamics set beside their note, written at it");
        }
        cursor.at
    }

    fn direction_type(
        &mut self,
        cursor: &mut Cursor,
        element: Element,
        (at, staff): (Time, u8),
        tempo: &mut RawTempo,
        spoken: &mut Vec<String>,
    ) {
        let number = element.attribute("number").and_then(|n| n.parse().ok()).unwrap_or(1);
        let kind = match element.name() {
            "dynamics" => return self.dynamics(cursor, element, at, staff),
            "words" => return spoken.extend(line(&element.text())),
            "wedge" => match element.attribute("type").as_deref() {
                Some("crescendo") => RawDirectionKind::HairpinStarts(true, number),
                Some("diminuendo") => RawDirectionKind::HairpinStarts(false, number),
                Some("stop") => RawDirectionKind::HairpinEnds(number),
                _ => return,
            },
            "rehearsal" => {
                return cursor.measure.signs.marks.extend(line(&element.text()));
            }
            "metronome" => return self.metronome(cursor, element, tempo),
            "segno" | "coda" => {
                return self.left_out(cursor, "jumps (da capo, dal segno, fine, coda)");
            }
            "string-mute" if element.is("type", "off") => RawDirectionKind::Word("unmuted"),
            "string-mute" => RawDirectionKind::Word("muted"),
            // How a line is printed; the pitches in the file are those that sound.
            "octave-shift" => return,
            "dashes" | "bracket" if !element.is("type", "start") => return,
            "pedal" if !element.is("type", "start") => return,
            "pedal" => return self.left_out(cursor, "pedal signs"),
            "dashes" => return self.left_out(cursor, "dashes behind words"),
            other => return self.left_out_named(cursor, other),
        };
        cursor.measure.directions.push(RawDirection { at, staff, kind });
    }

    fn metronome(&mut self, cursor: &Cursor, element: Element, tempo: &mut RawTempo) {
        let unit = element.text_of("beat-unit").and_then(|unit| values::value(&unit));
        let dots = element.children().filter(|child| child.name() == "beat-unit-dot").count();
        let unit = unit.and_then(|unit| values::dotted(unit, dots));
        let count = element.text_of("per-minute").and_then(|text| {
            // "c. 96", "88-92": the first number.
            let from = text.find(|c: char| c.is_ascii_digit())?;
            let rest = &text[from..];
            let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
            rest[..end].trim_end_matches('.').parse::<f64>().ok()
        });
        match (unit, count) {
            (Some(unit), Some(count)) if (5.0..=600.0).contains(&count) => {
                tempo.beat = Some((unit, count));
            }
            _ => self.left_out(cursor, "metronome marks that give no number of a value"),
        }
    }

    /// Sound outside a direction: only its tempo is ours.
    pub(super) fn sound(&mut self, cursor: &mut Cursor, element: Element) {
        self.jumps(cursor, element, false);
        if let Some(tempo) = element.attribute("tempo").and_then(|t| t.parse::<f64>().ok()) {
            let tempo = RawTempo { beat: Some(quarters(tempo)), words: None };
            cursor.measure.signs.tempos.push((cursor.at, tempo));
        }
    }

    /// Jumps that only the sound tells; where words stand beside it, they tell it too.
    fn jumps(&mut self, cursor: &Cursor, sound: Element, told: bool) {
        const JUMPS: [&str; 6] = ["dacapo", "dalsegno", "segno", "tocoda", "coda", "fine"];
        if !told && JUMPS.iter().any(|jump| sound.attribute(jump).is_some()) {
            self.left_out(cursor, "jumps (da capo, dal segno, fine, coda)");
        }
    }

    pub(super) fn barline(&mut self, cursor: &mut Cursor, element: Element) {
        let middle = element.is("location", "middle");
        let left = element.is("location", "left");
        for child in element.children() {
            match child.name() {
                "repeat" if middle => self.left_out(cursor, "repeats inside a bar"),
                "repeat" => {
                    let times = child.attribute("times").and_then(|t| t.parse::<u32>().ok());
                    if times.is_some_and(|times| times > 2) {
                        self.changed(cursor, "passages played more than twice, written as twice");
                    }
                    if child.is("direction", "forward") {
                        cursor.measure.signs.repeat_starts = true;
                    } else {
                        cursor.measure.signs.repeat_ends = true;
                    }
                }
                "ending" => {
                    if child.is("type", "start") {
                        let number = child.attribute("number").unwrap_or_default();
                        cursor.measure.signs.ending_starts = Some(number.into_owned());
                    } else {
                        cursor.measure.signs.ending_ends = true;
                    }
                }
                "bar-style" if child.raw() == "light-light" && !left && !middle => {
                    cursor.measure.signs.double = true;
                }
                "fermata" => self.left_out(cursor, "fermatas over bar lines"),
                "segno" | "coda" => {
                    self.left_out(cursor, "jumps (da capo, dal segno, fine, coda)");
                }
                _ => {}
            }
        }
    }

    pub(super) fn harmony(&mut self, cursor: &mut Cursor, element: Element) {
        let at = self.moved(cursor, element);
        let by = self.states[cursor.part].transposition;
        let name = |element: Element, step: &str, alter: &str| {
            let step = element.child(step)?.raw();
            let alter = element.number_of::<f64>(alter).unwrap_or(0.0);
            values::name(step, alter)?.transposed(by)
        };
        let Some(kind) = element.child("kind") else {
            return self.left_out(cursor, "chord symbols that the language does not know");
        };
        let printed = kind.attribute("text").unwrap_or_default();
        if kind.raw() == "none" {
            return self.left_out(cursor, "signs for no chord");
        }
        let root = element.child("root").and_then(|root| name(root, "root-step", "root-alter"));
        let (quality, exact) = values::quality(kind.raw(), &printed);
        let (Some(root), Some(quality)) = (root, quality) else {
            return self.left_out(cursor, "chord symbols that the language does not know");
        };
        let bass = element.child("bass").and_then(|bass| name(bass, "bass-step", "bass-alter"));
        if !exact || element.child("degree").is_some() {
            self.changed(
                cursor,
                "chord symbols that the language does not know, written as the nearest",
            );
        }
        let chord = values::chord(root, quality, bass);
        cursor.measure.signs.chords.push((at, chord));
    }
}

fn quarters(tempo: f64) -> (Time, f64) {
    (Time::QUARTER, tempo)
}
