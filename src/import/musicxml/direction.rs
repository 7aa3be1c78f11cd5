//! Directions, bar lines and chord symbols.

use super::tree::Element;
use super::{Cursor, Reader, line, values};
use crate::figures::{Change, Figures};
use crate::music::{Sign, Time};
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
            self.jumps(cursor, sound);
            sound.attribute("tempo")?.parse::<f64>().ok()
        });
        let said = spoken.join(" ");
        let meant = words::meant(&said);
        if !said.is_empty() {
            match meant {
                Said::Jump(sign) => cursor.measure.signs.jumps.push((at, sign)),
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
    /// page holds from the note, one that is set farther off from the nearest eighth of the bar (our
    /// heuristic: less than an eighth is little), unless it is said to sound so.
    fn placed(&mut self, cursor: &Cursor, element: Element) -> Time {
        let at = self.moved(cursor, element);
        let off = if at > cursor.at { at - cursor.at } else { cursor.at - at };
        let sounds = element.child("offset").is_some_and(|offset| offset.is("sound", "yes"));
        if at == cursor.at || sounds {
            return at;
        }
        let (meant, told) = if off < Time::EIGHTH {
            (cursor.at, "dynamics set beside their note, written at it")
        } else {
            let eighths = (at + Time::of(1, 16)).div_floor(Time::EIGHTH);
            (Time::EIGHTH * eighths, "dynamics between notes, written at the nearest eighth")
        };
        let is_dynamic =
            element.child("direction-type").is_some_and(|kind| kind.child("dynamics").is_some());
        if is_dynamic && meant != at {
            self.changed(cursor, told);
        }
        meant
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
            "segno" => return cursor.measure.signs.jumps.push((at, Sign::Segno)),
            "coda" => return cursor.measure.signs.jumps.push((at, Sign::Coda)),
            "string-mute" if element.is("type", "off") => RawDirectionKind::Word("unmuted"),
            "string-mute" => RawDirectionKind::Word("muted"),
            // How a line is printed; the pitches in the file are those that sound.
            "octave-shift" => return,
            "dashes" | "bracket" if !element.is("type", "start") => return,
            "pedal" if !element.is("type", "start") => return,
            "pedal" => return self.left_out(cursor, "pedal signs"),
            "dashes" => return self.left_out(cursor, "dashes after words"),
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
                tempo.printed = true;
            }
            _ => self.left_out(cursor, "metronome marks that give no number of a value"),
        }
    }

    /// Sound outside a direction: only its tempo is ours.
    pub(super) fn sound(&mut self, cursor: &mut Cursor, element: Element) {
        self.jumps(cursor, element);
        if let Some(tempo) = element.attribute("tempo").and_then(|t| t.parse::<f64>().ok()) {
            let tempo = RawTempo { beat: Some(quarters(tempo)), ..RawTempo::default() };
            cursor.measure.signs.tempos.push((cursor.at, tempo));
        }
    }

    /// Jumps that the sound tells, perhaps beside words that tell them too.
    fn jumps(&mut self, cursor: &mut Cursor, sound: Element) {
        const JUMPS: [(&str, Sign); 6] = [
            ("dacapo", Sign::DaCapo),
            ("dalsegno", Sign::DalSegno),
            ("segno", Sign::Segno),
            ("tocoda", Sign::ToCoda),
            ("coda", Sign::Coda),
            ("fine", Sign::Fine),
        ];
        for (name, sign) in JUMPS {
            if sound.attribute(name).is_some_and(|value| value != "no") {
                cursor.measure.signs.jumps.push((cursor.at, sign));
            }
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
                    cursor.measure.signs.times = cursor.measure.signs.times.max(times);
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
                    let segno = child.name() == "segno";
                    let sign = if segno { Sign::Segno } else { Sign::Coda };
                    let at = if left { Time::ZERO } else { Time::of(64, 1) };
                    cursor.measure.signs.jumps.push((at, sign));
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
            cursor.measure.signs.chords.push((at, None));
            return;
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
        cursor.measure.signs.chords.push((at, Some(chord)));
    }
}

impl Reader<'_, '_> {
    /// Figures under a bass: at the next note, or behind the figures that stand there already.
    pub(super) fn figures(&mut self, cursor: &mut Cursor, element: Element) {
        let (place, later) = cursor.figured;
        let later = if place == cursor.ticks { later } else { 0 };
        let length = super::ticks(element).unwrap_or(0);
        cursor.figured = (cursor.ticks, later.saturating_add(length));
        let divisions = self.divisions(cursor);
        let at = values::time(cursor.ticks.saturating_add(later), divisions).unwrap_or(cursor.at);
        let mut figures = Figures::default();
        for figure in element.children().filter(|child| child.name() == "figure") {
            let number = figure.number_of::<u8>("figure-number");
            let sign = ["prefix", "suffix"].into_iter().find_map(|name| figure.child(name));
            let change = sign.and_then(|sign| Change::of(sign.raw()));
            if number.is_some() || change.is_some() {
                figures.push((number.unwrap_or(3), change));
            }
        }
        cursor.measure.figures.push((at, figures));
    }
}

fn quarters(tempo: f64) -> (Time, f64) {
    (Time::QUARTER, tempo)
}
