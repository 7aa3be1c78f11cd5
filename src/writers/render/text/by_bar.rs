//! Text bar by bar: each bar of a part is one line, in words for those who listen to it, or in the
//! signs of the language for those who compare two versions.
//!
//! A line says all that is read in its bar and rests on nothing before it: values and octaves are
//! said anew in each bar. So what changes in one bar changes one line. Clefs are left out, for
//! every pitch has its name.

mod names;

use std::io;

use crate::edition::{DirectionKind, Edition, EditionPart, Kind, SpannerKind, StaffBar, VoiceBar};
use crate::music::{Interval, Time};
use crate::notate::{Element, ElementKind, Grace, NoteValue, Sign, StaffNote};
use crate::resolve::BarLine;

use super::super::shelf::Shelf;
use super::by_parts::One;
use super::{Style, words};
use names::{dynamic_name, mark_name, part_name, pitch_name, spoken, value_name};

/// Which of the two forms is written.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Words,
    Signs,
}

impl Form {
    fn of(style: Style) -> Form {
        if style == Style::Words { Form::Words } else { Form::Signs }
    }
}

/// An edition bar by bar; `style` says how a bar is put.
#[must_use]
pub(super) fn write(edition: &Edition, style: Style) -> String {
    let writer = Writer { edition, form: Form::of(style) };
    let mut out = String::new();
    let content = |part: usize, bar, out: &mut String| match writer.plays(part, bar) {
        true => {
            out.push_str(&writer.content(part, bar, 1));
            true
        }
        false => false,
    };
    // Writing to memory does not fail.
    let written = writer.write(content, |text| {
        out.push_str(text);
        Ok(())
    });
    debug_assert!(written.is_ok());
    out
}

/// A score of which no more than one part is held at a time: see [`write_by_parts`](super::write_by_parts).
pub(super) fn write_by_parts(
    parts: usize,
    one: &One,
    style: Style,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let form = Form::of(style);
    let (mut whole, mut frame, mut shelves) = (None::<Edition<'static>>, Vec::new(), Vec::new());
    for part in 0..parts {
        one(part, &mut |edition| {
            let writer = Writer { edition: &edition, form };
            let mut shelf = Shelf::default();
            for bar in 0..edition.bars.len() {
                let content = writer.plays(0, bar).then(|| writer.content(0, bar, 1));
                shelf.put(content.as_deref());
            }
            shelves.push(shelf);
            if whole.is_none() {
                frame = edition.bars.to_vec();
            }
            let more = edition.without_bars();
            match &mut whole {
                None => whole = Some(more),
                Some(whole) => whole.add(more),
            }
            Ok(())
        })?;
    }
    let Some(whole) = whole else { return Ok(()) };
    let whole = whole.over(&frame);
    let mut shelves: Vec<_> = shelves.into_iter().map(Shelf::taken_out).collect();
    let content = |part: usize, _, out: &mut String| {
        let text = shelves[part].next();
        out.push_str(text.unwrap_or_default());
        text.is_some()
    };
    Writer { edition: &whole, form }.write(content, |text| out.write_all(text.as_bytes()))
}

/// Title, names and what holds for all of the piece, a line each.
fn head(edition: &Edition, out: &mut String) {
    let head = &edition.head;
    let mut lines = vec![head.title.clone()];
    lines.extend(head.subtitle.clone());
    lines.extend(head.composer.clone());
    lines.extend(head.arranger.as_ref().map(|arranger| format!("arranged by {arranger}")));
    lines.push(super::scoring(&head.scoring, &head.ensemble));
    let name: Vec<&str> = std::iter::once(head.name.as_str())
        .chain(head.keys.as_deref())
        .chain(head.also.as_deref())
        .collect();
    lines.push(name.join(", "));
    if head.readers > 1 {
        lines.push(format!("{} players", head.readers));
    }
    for line in lines {
        out.push_str(&line);
        out.push('\n');
    }
    out.push('\n');
}

fn foot(edition: &Edition, out: &mut String) {
    let head = &edition.head;
    let facts = [head.licence.as_ref(), head.revision.as_ref(), head.source.as_ref()];
    let labels = ["", "Revision: ", "Source "];
    let said: Vec<String> = facts
        .iter()
        .zip(labels)
        .filter_map(|(fact, label)| fact.map(|fact| format!("{label}{fact}")))
        .collect();
    if !said.is_empty() {
        out.push_str(&format!("\n{}\n", said.join(" · ")));
    }
}

struct Writer<'e, 'a> {
    edition: &'e Edition<'a>,
    form: Form,
}

/// What is said at a time of a bar: before the notes that begin then, or at the bar's end.
type Said = (Time, String);

impl<'e, 'a> Writer<'e, 'a> {
    /// Hands over all lines, one bar after the other. In a score `content` writes what a part reads in a
    /// bar and says whether it plays; it is asked once for each part of each bar, in order.
    fn write(
        &self,
        mut content: impl FnMut(usize, usize, &mut String) -> bool,
        mut take: impl FnMut(&str) -> io::Result<()>,
    ) -> io::Result<()> {
        let edition = self.edition;
        let mut out = String::new();
        head(edition, &mut out);
        if edition.is_tacet() {
            out.push_str("Tacet\n");
            foot(edition, &mut out);
            return take(&out);
        }
        let is_part = matches!(edition.kind, Kind::Part(_));
        let mut bar = 0;
        while bar < edition.bars.len() {
            if let Some((_, movement)) = edition.movement_at(bar)
                && let Some(heading) = movement.heading()
            {
                let blank = if bar > 0 { "\n" } else { "" };
                out.push_str(&format!("{blank}{heading}\n"));
                if movement.tacet {
                    bar = movement.bars.end;
                    continue;
                }
            }
            let rests = if is_part { self.rest_from(bar) } else { 1 };
            let (before, after) = (self.before(bar), self.after(bar + rests - 1));
            let name = self.bar_name(bar, rests);
            if is_part {
                let content = self.content(0, bar, rests);
                self.line(&name, &before, &content, &after, &mut out);
            } else {
                let mut playing = String::new();
                for (part, named) in edition.parts.iter().enumerate() {
                    let mut text = String::new();
                    if content(part, bar, &mut text) {
                        let short = named.short.replace('\n', " ");
                        self.line(&format!("{name}, {short}"), &[], &text, &[], &mut playing);
                    }
                }
                if !before.is_empty() || !after.is_empty() || playing.is_empty() {
                    let all_rest = if playing.is_empty() { "all rest" } else { "" };
                    self.line(&name, &before, all_rest, &after, &mut out);
                }
                out.push_str(&playing);
            }
            take(&out)?;
            out.clear();
            bar += rests;
        }
        foot(edition, &mut out);
        take(&out)
    }

    fn line(
        &self,
        name: &str,
        before: &[String],
        content: &str,
        after: &[String],
        out: &mut String,
    ) {
        let content = Some(content).filter(|content| !content.is_empty());
        let said = before.iter().map(String::as_str).chain(content);
        let said: Vec<&str> = said.chain(after.iter().map(String::as_str)).collect();
        let [after_name, between, end] = match self.form {
            Form::Words => [": ", "; ", "."],
            Form::Signs => ["  ", " | ", ""],
        };
        out.push_str(&format!("{name}{after_name}{}{end}\n", said.join(between)));
    }

    /// How many bars the player rests from this one on, as one counts them together; 1 elsewhere.
    fn rest_from(&self, bar: usize) -> usize {
        let counted = self.edition.staves.first().map_or(0, |staff| staff.bars[bar].multi_rest);
        (counted.max(1) as usize).min(self.edition.bars.len() - bar)
    }

    /// "Bar 9", "Bars 9 to 14", "Pick-up"; as signs "9", "9–14", "0".
    fn bar_name(&self, bar: usize, bars: usize) -> String {
        let frame = &self.edition.bars[bar];
        let last = self.edition.bars[bar + bars - 1].number;
        let second_half = frame.implicit && frame.number > 0;
        match self.form {
            Form::Words if bars > 1 => format!("Bars {} to {last}", frame.number),
            Form::Words if frame.number == 0 => "Pick-up".into(),
            Form::Words if second_half => format!("Bar {}, second half", frame.number),
            Form::Words => format!("Bar {}", frame.number),
            Form::Signs if bars > 1 => format!("{}–{last}", frame.number),
            Form::Signs if second_half => format!("{}+", frame.number),
            Form::Signs => frame.number.to_string(),
        }
    }

    /// What all players read where a bar begins: mark, metre, key, tempo, repeats, endings, signs.
    fn before(&self, bar: usize) -> Vec<String> {
        let frame = &self.edition.bars[bar];
        let mut said = Vec::new();
        said.extend(frame.mark.as_ref().map(|mark| format!("mark {mark}")));
        if frame.metre_shown {
            said.push(format!("metre {}", frame.metre.name()));
        }
        if frame.key_shown && !matches!(self.edition.kind, Kind::Part(_)) {
            said.push(self.key(frame.key));
        }
        said.extend(frame.tempo.as_ref().map(words::tempo));
        said.extend(frame.repeat_starts.then(|| "repeat begins".into()));
        said.extend(frame.ending_starts.map(|ending| format!("ending {}", ending.number())));
        said.extend(
            frame.signs.iter().filter(|sign| !sign.stands_at_end()).map(|sign| sign_name(*sign)),
        );
        said
    }

    /// What all players read where a bar ends.
    fn after(&self, bar: usize) -> Vec<String> {
        let frame = &self.edition.bars[bar];
        let mut said = Vec::new();
        said.extend(
            frame.signs.iter().filter(|sign| sign.stands_at_end()).map(|sign| sign_name(*sign)),
        );
        said.extend(frame.ending_ends.map(|ending| format!("end of ending {}", ending.number())));
        said.extend(frame.repeat_ends.then(|| "repeat ends".into()));
        said.extend(match frame.line {
            BarLine::Double => Some("double bar-line".into()),
            BarLine::Final => Some("the end".into()),
            BarLine::Plain => None,
        });
        said
    }

    fn key(&self, key: crate::music::Key) -> String {
        match self.form {
            Form::Signs => words::key(key),
            Form::Words => format!("key {}", spoken(&words::key(key))),
        }
    }

    fn staves(&self, part: &'e EditionPart, bar: usize) -> impl Iterator<Item = &'e StaffBar<'a>> {
        self.edition.staves[part.staves.clone()].iter().map(move |staff| &staff.bars[bar])
    }

    fn plays(&self, part: usize, bar: usize) -> bool {
        self.staves(&self.edition.parts[part], bar).any(|staff| {
            let notes = staff.voices.iter().flat_map(|voice| voice.elements.iter());
            notes.into_iter().any(|element| matches!(element.kind, ElementKind::Note(_)))
                || !staff.directions.is_empty()
        })
    }

    /// All that a part reads in a bar.
    fn content(&self, part: usize, bar: usize, rests: usize) -> String {
        if rests > 1 {
            return match self.form {
                Form::Words => format!("rest for {rests} bars"),
                Form::Signs => format!("rest {rests} bars"),
            };
        }
        let part = &self.edition.parts[part];
        let hands = ["right hand", "left hand"];
        let there = |staff: &usize| !self.edition.staves[*staff].bars[bar].absent;
        let there: Vec<usize> = part.staves.clone().filter(there).collect();
        let braced = there.len() > 1;
        let mut staves = Vec::new();
        for (index, staff) in there.into_iter().enumerate() {
            let text = self.staff(staff, bar);
            staves.push(match (braced, self.form) {
                (false, _) => text,
                (true, Form::Words) => format!("{}: {text}", hands[index.min(1)]),
                (true, Form::Signs) => format!("({}) {text}", hands[index.min(1)]),
            });
        }
        staves.join(if self.form == Form::Words { "; " } else { "  " })
    }

    fn staff(&self, staff: usize, bar: usize) -> String {
        let content = &self.edition.staves[staff].bars[bar];
        let mut said = self.changes(content);
        said.extend(self.directions(staff, bar));
        said.sort_by_key(|(at, _)| *at);
        // Beside a cue the player's own rests need no word.
        let has_cue = content.voices.iter().any(is_cue);
        let shown: Vec<&VoiceBar> =
            content.voices.iter().filter(|voice| !has_cue || !only_rests(voice)).collect();
        let mut voices = Vec::new();
        for voice in &shown {
            let text = self.voice(voice, std::mem::take(&mut said), self.edition.bars[bar].length);
            voices.push(match (shown.len(), self.form) {
                (1, _) | (_, Form::Signs) => text,
                (_, Form::Words) => format!("voice {}: {text}", voice.number),
            });
        }
        voices.join(if self.form == Form::Words { "; " } else { " // " })
    }

    /// Another instrument, transposition or key signature.
    fn changes(&self, bar: &StaffBar) -> Vec<Said> {
        let mut said = Vec::new();
        if let Some(instrument) = bar.instrument {
            said.push(format!("{} in hand", instrument.name));
        }
        // At the beginning only what sounds elsewhere is worth a word.
        let first = bar.lines.is_some();
        let moved = bar.transposition.filter(|by| !first || *by != Interval::UNISON);
        said.extend(moved.map(words::transposition));
        if matches!(self.edition.kind, Kind::Part(_)) {
            said.extend(bar.key.map(|key| self.key(key)));
        }
        let bracketed = |text| if self.form == Form::Signs { format!("[{text}]") } else { text };
        said.into_iter().map(|text| (Time::ZERO, bracketed(text))).collect()
    }

    fn directions(&self, staff: usize, bar: usize) -> Vec<Said> {
        let content = &self.edition.staves[staff];
        let mut said: Vec<Said> = Vec::new();
        for direction in &content.bars[bar].directions {
            let text = match (&direction.kind, self.form) {
                (DirectionKind::Dynamic(dynamic), Form::Signs) => dynamic.letters().into(),
                (DirectionKind::Dynamic(dynamic), Form::Words) => dynamic_name(*dynamic).into(),
                (DirectionKind::CueName(name), _) => name.clone(),
                (DirectionKind::Chord(chord), Form::Signs) => words::chord(*chord),
                (DirectionKind::Chord(None), Form::Words) => "no chord".to_string(),
                (DirectionKind::Chord(chord), Form::Words) => {
                    format!("chord {}", spoken(&words::chord(*chord)))
                }
                (DirectionKind::Figures(figures), Form::Signs) => {
                    format!("({})", words::figures(figures))
                }
                (DirectionKind::Figures(figures), Form::Words) => {
                    let each: Vec<String> =
                        figures.iter().map(|figure| spoken(&figure.to_string())).collect();
                    format!("figures {}", each.join(", "))
                }
                (DirectionKind::Technique(technique), form) => quoted(technique.printed(), form),
                (
                    DirectionKind::Words(text)
                    | DirectionKind::Change(text)
                    | DirectionKind::Who(text),
                    form,
                ) => quoted(text, form),
            };
            said.push((direction.at, text));
        }
        for span in &content.spans {
            let (from, to, begins, ends) = match &span.kind {
                SpannerKind::Hairpin { from, to, grows } => {
                    let words = match (self.form, grows) {
                        (Form::Words, true) => ["crescendo", "end of the crescendo"],
                        (Form::Words, false) => ["diminuendo", "end of the diminuendo"],
                        (Form::Signs, true) => ["cresc", "cresc-end"],
                        (Form::Signs, false) => ["dim", "dim-end"],
                    };
                    let [begins, ends] = words.map(str::to_owned);
                    (*from, *to, begins, ends)
                }
                SpannerKind::OctaveLine { from, to, octaves } => {
                    let sign = if *octaves > 0 { "8va" } else { "8vb" };
                    let [begins, ends] = match self.form {
                        Form::Words => [format!("{sign} line"), format!("end of the {sign} line")],
                        Form::Signs => [sign.to_owned(), format!("{sign}-end")],
                    };
                    (*from, *to, begins, ends)
                }
                SpannerKind::Slur { .. }
                | SpannerKind::SlurLeaves { .. }
                | SpannerKind::SlurArrives { .. }
                | SpannerKind::TrillLine { .. } => continue,
            };
            said.extend((from.0 == bar).then_some((from.1, begins)));
            said.extend((to.0 == bar).then_some((to.1, ends)));
        }
        said
    }

    fn voice(&self, voice: &VoiceBar, said: Vec<Said>, length: Time) -> String {
        let mut items: Vec<String> = Vec::new();
        let mut said = said.into_iter().peekable();
        let mut in_force = (None, None);
        let is_cue = is_cue(voice);
        for element in voice.elements.iter() {
            while said.peek().is_some_and(|(at, _)| *at <= element.at && *at < length) {
                items.extend(said.next().map(|(_, text)| text));
            }
            items.push(self.element(element, &mut in_force));
        }
        items.extend(said.map(|(_, text)| text));
        let text = items.join(if self.form == Form::Words { ", " } else { " " });
        match (is_cue, self.form) {
            (false, _) => text,
            (true, Form::Words) => format!("cue, {text}, end of the cue"),
            (true, Form::Signs) => format!("[cue {text}]"),
        }
    }

    fn element(&self, element: &Element, in_force: &mut (Option<NoteValue>, Option<i8>)) -> String {
        let mut text = match &element.kind {
            ElementKind::BarRest { fermata } | ElementKind::Rest { fermata } => {
                let whole = matches!(element.kind, ElementKind::BarRest { .. });
                let value = if whole { String::new() } else { self.value(element.value, in_force) };
                let held = match (fermata, self.form) {
                    (false, _) => "",
                    (true, Form::Words) => " with fermata",
                    (true, Form::Signs) => " ferm.",
                };
                format!("rest{value}{held}")
            }
            ElementKind::Note(note) => self.note(element, note, in_force),
        };
        if let Some(tuplet) = element.tuplet {
            let ratio = words::ratio(tuplet.actual, tuplet.normal);
            let name = match (tuplet.actual, tuplet.normal) {
                (3, 2) => "triplet".to_owned(),
                (actual, normal) => format!("group of {actual} in the time of {normal}"),
            };
            text = match (self.form, tuplet.starts) {
                (Form::Signs, true) => format!("{ratio}:({text}"),
                (Form::Words, true) => format!("{name}: {text}"),
                (_, false) => text,
            };
            if tuplet.ends {
                text.push_str(if self.form == Form::Signs { ")" } else { ", end of the group" });
            }
        }
        text
    }

    fn note(
        &self,
        element: &Element,
        note: &StaffNote,
        in_force: &mut (Option<NoteValue>, Option<i8>),
    ) -> String {
        match self.form {
            Form::Words => self.note_in_words(element, note),
            Form::Signs => self.note_in_signs(element, note, in_force),
        }
    }

    fn note_in_words(&self, element: &Element, note: &StaffNote) -> String {
        let names: Vec<String> = note.heads.iter().map(|head| pitch_name(head.pitch)).collect();
        let mut text = String::new();
        text.push_str(match note.grace {
            Some(Grace::Plain) => "grace note ",
            Some(Grace::Crushed) => "crushed note ",
            None => "",
        });
        let together = if note.harmonic.is_some() { " stopped, touched at " } else { " and " };
        text.push_str(&if names.is_empty() { "stroke".to_owned() } else { names.join(together) });
        text.push(' ');
        text.push_str(&value_name(element.value));
        let mut more: Vec<String> = Vec::new();
        more.extend(note.tie_from.then(|| "held on".into()));
        more.extend(note.marks.iter().map(|mark| mark_name(mark).into()));
        let in_parts = |strokes: u8| {
            format!("tremolo in {}s", part_name(i8::try_from(strokes).unwrap_or(0) + 2))
        };
        more.extend((note.tremolo > 0).then(|| in_parts(note.tremolo)));
        more.extend(note.paired.map(|paired| match paired.starts {
            true => in_parts(paired.strokes) + " with the next note",
            false => "tremolo with the note before".into(),
        }));
        more.extend((note.slur_starts || note.slur_leaves).then(|| "slur begins".into()));
        more.extend((note.slur_ends || note.slur_arrives).then(|| "slur ends".into()));
        more.extend(note.tie_to.then(|| "tied".into()));
        more.extend(note.lyrics.iter().map(|syllable| {
            let before = if syllable.continues { "-" } else { "" };
            let after = if syllable.goes_on { "-" } else { "" };
            let verse = match note.verses_numbered {
                true => format!("verse {} ", syllable.verse),
                false => String::new(),
            };
            format!("{verse}\"{before}{}{after}\"", syllable.text)
        }));
        for one in more {
            text.push(' ');
            text.push_str(&one);
        }
        text
    }

    fn note_in_signs(
        &self,
        element: &Element,
        note: &StaffNote,
        in_force: &mut (Option<NoteValue>, Option<i8>),
    ) -> String {
        let names = words::pitches(note, |_| false, &mut in_force.1);
        let mut text = String::new();
        if note.slur_starts || note.slur_leaves {
            text.push('{');
        }
        text.push_str(match note.grace {
            Some(Grace::Plain) => "(",
            Some(Grace::Crushed) => "(/",
            None => "",
        });
        if note.tie_from {
            text.push('…');
        }
        text.push_str(&names);
        if note.grace.is_some() {
            text.push(')');
        } else {
            text.push_str(&self.value(element.value, in_force));
        }
        let signs = words::signs(note);
        if !signs.is_empty() {
            text.push_str(&format!(" {signs}"));
        }
        if note.tie_to {
            text.push('_');
        }
        if note.slur_ends || note.slur_arrives {
            text.push('}');
        }
        for syllable in &note.lyrics {
            let before = if syllable.continues { "-" } else { "" };
            let after = if syllable.goes_on { "-" } else { "" };
            text.push_str(&format!(" \"{before}{}{after}\"", syllable.text));
        }
        text
    }

    /// A value behind its note: always in words; as signs where it is another than before.
    fn value(&self, value: NoteValue, in_force: &mut (Option<NoteValue>, Option<i8>)) -> String {
        match self.form {
            Form::Words => format!(" {}", value_name(value)),
            Form::Signs if in_force.0.replace(value) == Some(value) => String::new(),
            Form::Signs => format!(" {}", words::value(value)),
        }
    }
}

/// Does a voice show what somebody else plays?
fn is_cue(voice: &VoiceBar) -> bool {
    voice.elements.iter().any(|element| element.cue)
}

fn only_rests(voice: &VoiceBar) -> bool {
    !voice.elements.iter().any(|element| matches!(element.kind, ElementKind::Note(_)))
}

fn sign_name(sign: Sign) -> String {
    match sign {
        Sign::Segno => "segno".into(),
        Sign::Coda => "coda".into(),
        told => told.words().unwrap_or_default().into(),
    }
}

fn quoted(text: &str, form: Form) -> String {
    if form == Form::Signs { format!("\"{text}\"") } else { text.to_owned() }
}
