//! Small arrangements for tests, and staves as lines of text.
//!
//! In the text of a staff, bars are divided by `|`. An element is `PITCHES:VALUE`, with `rest` for a
//! rest, alone for a bar of rest; `!` a printed accidental, `?` a courtesy, `…` a tie, `[ = ] > <` beams and
//! stubs, `( )` after a value a slur, `(…)` around elements grace notes, `{3:2 … }` a tuplet,
//! `+accent` a mark.

use std::fmt::Write;
use std::sync::Arc;

use crate::arrange::{Arrangement, Part, SoundingNote, Wait};
use crate::diagnostics::Span;
use crate::instruments::{Instrument, Tuning, find};
use crate::music::{Interval, Key, Metre, Mode, Pitch, Time, Touch};
use crate::resolve::{
    Attached, Bar, Direction, DirectionKind, Form, Graces, Mark, Piece, Player, Role, Sound, Tuplet,
};

use super::{Beam, Element, ElementKind, Measure, Score, StaffDirectionKind, notate};

pub(crate) fn oboe() -> &'static Instrument {
    find("oboe").unwrap()
}

/// A clarinet that is always in B flat.
pub(crate) fn clarinet() -> &'static Instrument {
    let mut clarinet = find("clarinet").unwrap().clone();
    clarinet.transposition = Interval::new(-1, -2);
    Box::leak(Box::new(clarinet))
}

pub(crate) fn cello() -> &'static Instrument {
    find("cello").unwrap()
}

pub(crate) fn natural_horn() -> &'static Instrument {
    find("natural-horn").unwrap()
}

pub(crate) fn harp() -> &'static Instrument {
    find("harp").unwrap()
}

pub(crate) fn harpsichord() -> &'static Instrument {
    find("harpsichord").unwrap()
}

pub(crate) fn bass_drum() -> &'static Instrument {
    find("bass-drum").unwrap()
}

/// Bars of the given metres, numbered from 1, in C major.
pub(crate) fn form(metres: &[&str]) -> Form {
    let mut start = Time::ZERO;
    let bars = metres.iter().zip(1..).map(|(metre, number)| {
        let metre = self::metre(metre);
        let bar = Bar::new(number, start, metre, Key::C_MAJOR);
        start += bar.length;
        bar
    });
    Form { bars: bars.collect(), ..Form::default() }
}

/// A metre as it is written: `3/4` or `3+2/8`.
pub(crate) fn metre(text: &str) -> Metre {
    let (groups, unit) = text.split_once('/').unwrap();
    let groups: Vec<u8> = groups.split('+').map(|group| group.parse().unwrap()).collect();
    let unit = unit.parse().unwrap();
    match groups.as_slice() {
        [count] => Metre::new(*count, unit).unwrap(),
        groups => Metre::additive(groups, unit).unwrap(),
    }
}

fn time(text: &str) -> Time {
    let (numerator, denominator) = text.split_once('/').unwrap();
    Time::of(numerator.parse().unwrap(), denominator.parse().unwrap())
}

/// One player's part under construction, or several.
pub(crate) struct Fixture {
    pub(crate) form: Form,
    pub(crate) players: Vec<FixturePart>,
}

pub(crate) struct FixturePart {
    pub(crate) instrument: &'static Instrument,
    pub(crate) notes: Vec<SoundingNote>,
    tuplets: Vec<Tuplet>,
    directions: Vec<Direction>,
    without_signature: bool,
    instruments: Vec<(Time, &'static Instrument)>,
    tunings: Vec<(Time, &'static Tuning)>,
    waits: Vec<Wait>,
}

impl FixturePart {
    fn new(instrument: &'static Instrument) -> FixturePart {
        FixturePart {
            instrument,
            notes: Vec::new(),
            tuplets: Vec::new(),
            directions: Vec::new(),
            without_signature: false,
            instruments: Vec::new(),
            tunings: Vec::new(),
            waits: Vec::new(),
        }
    }
}

impl Fixture {
    pub(crate) fn new(metres: &[&str]) -> Fixture {
        Fixture::of(form(metres))
    }

    pub(crate) fn of(form: Form) -> Fixture {
        Fixture { form, players: vec![FixturePart::new(oboe())] }
    }

    fn last(&mut self) -> &mut FixturePart {
        self.players.last_mut().unwrap()
    }

    /// Sets the instrument of the last part.
    pub(crate) fn instrument(mut self, instrument: &'static Instrument) -> Fixture {
        self.last().instrument = instrument;
        self
    }

    /// Begins another part.
    pub(crate) fn part(mut self, instrument: &'static Instrument) -> Fixture {
        self.players.push(FixturePart::new(instrument));
        self
    }

    pub(crate) fn key(mut self, key: &str) -> Fixture {
        let (tonic, mode) = key.split_once(' ').unwrap();
        let mode = if mode == "minor" { Mode::Minor } else { Mode::Major };
        let key = Key::new(tonic.parse().unwrap(), mode).unwrap();
        self.form.bars.iter_mut().for_each(|bar| bar.key = key);
        self
    }

    /// Adds a note of that start, length and sound.
    pub(crate) fn note(mut self, start: Time, length: Time, sound: Sound) -> Fixture {
        self.last().notes.push(SoundingNote {
            start,
            length,
            sound,
            attached: Attached::default(),
            role: Role::Melody,
            solo: false,
            source: Span::default(),
        });
        self
    }

    /// Adds notes: `START LENGTH PITCH[&PITCH]`, divided by commas; `x` for a stroke.
    pub(crate) fn notes(self, notes: &str) -> Fixture {
        notes.split(',').fold(self, |fixture, note| {
            let words: Vec<&str> = note.split_whitespace().collect();
            let pitches = words[2].split('&').map(|pitch| pitch.parse::<Pitch>());
            let sound = match words[2] {
                "x" => Sound::Stroke,
                _ => Sound::Pitches(pitches.map(Result::unwrap).collect()),
            };
            fixture.note(time(words[0]), time(words[1]), sound)
        })
    }

    /// Adds notes C5 of the given lengths one after the other; `r1/8` is a rest.
    pub(crate) fn row(self, lengths: &str) -> Fixture {
        let mut at = Time::ZERO;
        lengths.split_whitespace().fold(self, |fixture, word| {
            let length = time(word.trim_start_matches('r'));
            let start = at;
            at += length;
            if word.starts_with('r') {
                return fixture;
            }
            let pitch: Pitch = "C5".parse().unwrap();
            fixture.note(start, length, Sound::Pitches(pitch.into()))
        })
    }

    /// Gives all notes of the last part a role.
    pub(crate) fn role(mut self, role: Role) -> Fixture {
        self.last().notes.iter_mut().for_each(|note| note.role = role);
        self
    }

    pub(crate) fn tuplet(self, start: &str, length: &str, ratio: (u8, u8)) -> Fixture {
        self.tuplet_at(time(start), time(length), ratio)
    }

    pub(crate) fn tuplet_at(
        mut self,
        start: Time,
        length: Time,
        (actual, normal): (u8, u8),
    ) -> Fixture {
        self.last().tuplets.push(Tuplet { start, length, actual, normal });
        self
    }

    fn attached(mut self, note: usize, change: impl FnOnce(&mut Attached)) -> Fixture {
        change(&mut self.last().notes[note].attached);
        self
    }

    pub(crate) fn graces(self, note: usize, graces: &[(&str, &str)]) -> Fixture {
        let notes = graces
            .iter()
            .map(|(value, pitch)| (time(value), pitch.parse::<Pitch>().unwrap().into()))
            .collect();
        let graces = Box::new(Graces { crushed: false, notes });
        self.attached(note, |attached| attached.graces = Some(graces))
    }

    pub(crate) fn mark(self, note: usize, mark: Mark) -> Fixture {
        self.attached(note, |attached| attached.marks.insert(mark))
    }

    /// An artificial harmonic.
    pub(crate) fn touch(self, note: usize, touch: Touch) -> Fixture {
        self.mark(note, Mark::Harmonic).attached(note, |attached| attached.touch = Some(touch))
    }

    pub(crate) fn tremolo(self, note: usize, strokes: u8) -> Fixture {
        self.attached(note, |attached| attached.tremolo = strokes)
    }

    pub(crate) fn slur_start(self, note: usize) -> Fixture {
        self.attached(note, |attached| attached.slur_starts = true)
    }

    pub(crate) fn slur_end(self, note: usize) -> Fixture {
        self.attached(note, |attached| attached.slur_ends = true)
    }

    pub(crate) fn slur(self, from: usize, to: usize) -> Fixture {
        self.slur_start(from).slur_end(to)
    }

    pub(crate) fn direction(mut self, at: &str, kind: DirectionKind) -> Fixture {
        let direction = Direction { at: time(at), kind, span: Span::default() };
        self.last().directions.push(direction);
        self
    }

    /// The last part waits under a fermata of others: holding on to a note, or in its rests.
    pub(crate) fn wait(mut self, from: &str, to: &str, sounds: bool) -> Fixture {
        let (from, to) = (time(from), time(to));
        self.last().waits.push(Wait { from, to, sounds, on_rest: false });
        if sounds { self } else { self.fermata_on_rest(from) }
    }

    fn fermata_on_rest(mut self, at: Time) -> Fixture {
        let direction = Direction { at, kind: DirectionKind::FermataOnRest, span: Span::default() };
        self.last().directions.push(direction);
        self
    }

    /// The last part takes a crook at a time.
    pub(crate) fn crook(mut self, at: &str, name: &str) -> Fixture {
        let part = self.last();
        let crook = part.instrument.tuning(name).unwrap();
        part.tunings.push((time(at), crook));
        self
    }

    /// The last part is written without a key signature.
    pub(crate) fn without_signature(mut self) -> Fixture {
        self.last().without_signature = true;
        self
    }

    /// The last part takes another instrument at a time.
    pub(crate) fn takes(mut self, at: &str, instrument: &'static Instrument) -> Fixture {
        self.last().instruments.push((time(at), instrument));
        self
    }

    pub(crate) fn score(self) -> Score {
        notate(&self.arrangement())
    }

    pub(crate) fn arrangement(self) -> Arrangement {
        let piece = Piece {
            title: "Evening at the Locks".into(),
            composer: Some("House copyist".into()),
            licence: Some("CC0-1.0".into()),
            form: Arc::new(self.form),
            ..Piece::default()
        };
        let players: Vec<Arc<Player>> =
            self.players.iter().map(|part| Arc::new(player(part))).collect();
        let parts = self.players.into_iter().zip(&players).map(|(part, player)| Part {
            player: Arc::clone(player),
            notes: part.notes.into(),
            tuplets: part.tuplets,
            rests: Vec::new(),
            directions: part.directions,
            claims: Vec::new(),
            instruments: [(Time::ZERO, player.instrument)]
                .into_iter()
                .chain(part.instruments)
                .collect(),
            tunings: part.tunings,
            drums: Vec::new(),
            takes: Vec::new(),
            waits: part.waits,
        });
        Arrangement::of_parts(piece, 1770, parts.collect())
    }
}

fn player(part: &FixturePart) -> Player {
    Player {
        id: part.instrument.id.clone(),
        line_name: part.instrument.id.clone(),
        name: part.instrument.name.clone(),
        abbreviation: part.instrument.abbreviation.clone(),
        instrument: part.instrument,
        number: 0,
        count: 1,
        section: false,
        half_of: None,
        tuning: part.tunings.first().map(|(_, tuning)| *tuning),
        without_signature: part.without_signature,
        drums: Vec::new(),
        span: Span::default(),
    }
}

/// The notes and rests of a staff in one line.
pub(crate) fn dump(score: &Score, staff: usize) -> String {
    dump_measures(&score.staves[staff].measures)
}

/// The notes and rests of the lower of two staves in one line.
pub(crate) fn dump_lower(score: &Score, staff: usize) -> String {
    dump_measures(&score.staves[staff].lower)
}

fn dump_measures(measures: &[Measure]) -> String {
    let bars: Vec<String> = measures.iter().map(dump_measure).collect();
    bars.join(" | ")
}

fn dump_measure(measure: &Measure) -> String {
    let mut words = Vec::new();
    for (index, element) in measure.elements.iter().enumerate() {
        let is_grace =
            |element: Option<&Element>| element.is_some_and(|element| element.length == Time::ZERO);
        let mut word = dump_element(element);
        if is_grace(Some(element)) {
            if index == 0 || !is_grace(measure.elements.get(index - 1)) {
                word.insert(0, '(');
            }
            if !is_grace(measure.elements.get(index + 1)) {
                word.push(')');
            }
        }
        if let Some(tuplet) = element.tuplet {
            if tuplet.starts {
                word = format!("{{{}:{} {word}", tuplet.actual, tuplet.normal);
            }
            if tuplet.ends {
                word += " }";
            }
        }
        words.push(word);
    }
    words.join(" ")
}

fn held(fermata: bool) -> &'static str {
    if fermata { "+fermata" } else { "" }
}

fn dump_element(element: &Element) -> String {
    let note = match &element.kind {
        ElementKind::BarRest { fermata } => return format!("rest{}", held(*fermata)),
        ElementKind::Rest { fermata } => {
            return format!("rest:{}{}", element.value.length(), held(*fermata));
        }
        ElementKind::Note(note) => note,
    };
    let heads: Vec<String> = note
        .heads
        .iter()
        .enumerate()
        .map(|(index, head)| {
            let sign = match (head.accidental_shown, head.courtesy) {
                (true, true) => "?",
                (true, false) => "!",
                (false, _) => "",
            };
            let touched = if note.is_touched(index) { "◇" } else { "" };
            format!("{touched}{}{sign}", head.pitch)
        })
        .collect();
    let heads = if heads.is_empty() { "x".into() } else { heads.join("&") };
    let mut word = format!("{heads}:{}", element.value.length());
    if note.tie_from {
        word.insert(0, '…');
    }
    if note.tie_to {
        word.push('…');
    }
    for beam in &element.beams {
        word.push(match beam {
            Beam::Begins => '[',
            Beam::Continues => '=',
            Beam::Ends => ']',
            Beam::HookForward => '>',
            Beam::HookBackward => '<',
        });
    }
    if note.slur_ends {
        word.push(')');
    }
    if note.slur_starts {
        word.push('(');
    }
    if note.slur_arrives {
        word.push_str("~)");
    }
    if note.slur_leaves {
        word.push_str("(~");
    }
    for (_, name) in Mark::WORDS.iter().filter(|(mark, _)| note.marks.has(*mark)) {
        let _ = write!(word, "+{name}");
    }
    word
}

/// The directions of a staff in one line: bar, time in it, what it says.
pub(crate) fn directions(score: &Score, staff: usize) -> String {
    let measures = score.staves[staff].measures.iter().zip(&score.frame);
    let all: Vec<String> = measures
        .flat_map(|(measure, bar)| measure.directions.iter().map(move |d| (bar.number, d)))
        .map(|(bar, direction)| {
            let kind = match &direction.kind {
                StaffDirectionKind::Dynamic(dynamic) => dynamic.letters().to_owned(),
                StaffDirectionKind::HairpinStarts { grows: true } => "<".to_owned(),
                StaffDirectionKind::HairpinStarts { grows: false } => ">".to_owned(),
                StaffDirectionKind::HairpinEnds => "end".to_owned(),
                StaffDirectionKind::Technique(technique) => technique.printed().to_owned(),
                StaffDirectionKind::Words(words) | StaffDirectionKind::Change(words) => {
                    format!("\"{words}\"")
                }
                StaffDirectionKind::Who(who) => format!("\"{who}\""),
                StaffDirectionKind::Chord(chord) => {
                    chord.map_or_else(|| "no chord".to_string(), |chord| chord.to_string())
                }
                StaffDirectionKind::Figures(figures) => {
                    figures.iter().map(ToString::to_string).collect::<Vec<_>>().join("/")
                }
            };
            format!("{bar} {} {kind}", direction.at)
        })
        .collect();
    all.join(", ")
}
