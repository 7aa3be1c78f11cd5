//! Bars of notes that fit.

use super::{Bar, Choices, DYNAMICS};
use ripieno::narrow::Narrow;

/// Values with their length in 128ths, the plainest first.
const VALUES: [(&str, u32); 24] = [
    ("1/4", 32),
    ("1/8", 16),
    ("1/2", 64),
    ("1/16", 8),
    ("1/1", 128),
    ("1/4.", 48),
    ("1/8.", 24),
    ("1/2.", 96),
    ("1/32", 4),
    ("2/1", 256),
    ("1/4..", 56),
    ("1/16.", 12),
    ("1/8..", 28),
    ("1/64", 2),
    ("5/8", 80),
    ("3/8", 48),
    ("5/16", 40),
    ("1/128", 1),
    ("1/1.", 192),
    ("1/2..", 112),
    ("1/4...", 60),
    ("1/32.", 6),
    ("1/16..", 14),
    ("9/8", 144),
];
const RATIOS: [(u32, u32); 14] = [
    (3, 2),
    (5, 4),
    (6, 4),
    (7, 8),
    (2, 3),
    (9, 8),
    (7, 4),
    (4, 3),
    (5, 3),
    (11, 8),
    (13, 8),
    (15, 16),
    (16, 9),
    (10, 7),
];
const MARKS: [&str; 19] = [
    "stacc",
    "accent",
    "tenuto",
    "trill",
    "tremolo",
    "tremolo 1/8",
    "tremolo 1/16",
    "fermata",
    "marcato",
    "staccatissimo",
    "mordent",
    "turn",
    "up-bow",
    "down-bow",
    "harmonic",
    "breath",
    "arpeggio",
    "tremolo 1/32",
    "tremolo 1/64",
];

/// What kind of line is wanted.
#[derive(Clone, Copy)]
pub(super) struct Line {
    /// The octave about which it moves.
    pub(super) octave: i32,
    pub(super) is_drum: bool,
}

/// Bars of music, one a line.
pub(super) fn line(choices: &mut Choices, bars: &[Bar], kind: Line) -> String {
    let mut writer = Writer {
        choices,
        kind,
        tokens: Vec::new(),
        value: "",
        octave: None,
        holds: false,
        slur: None,
        hairpin: false,
    };
    let mut at = 0;
    while let Some(bar) = bars.get(at) {
        let left = bars.len() - at;
        writer.tokens.push(format!("  {}:", bar.number));
        if writer.choices.one_in(8) {
            let count = 1 + writer.choices.below(left.min(3));
            writer.holds = false;
            writer.tokens.push(if count > 1 { format!("rest {count}") } else { "rest".into() });
            at += count;
        } else {
            // No tuplet goes through the line before an up-beat.
            writer.bar(bar.length - bar.up_beat);
            writer.bar(bar.up_beat);
            at += 1;
        }
        writer.tokens.push("|\n".into());
    }
    writer.finish()
}

struct Writer<'c, 'b> {
    choices: &'c mut Choices<'b>,
    kind: Line,
    tokens: Vec<String>,
    /// The value in force.
    value: &'static str,
    octave: Option<i32>,
    /// Is there a note that `=` could hold on?
    holds: bool,
    /// The token that opened the slur, and how many notes it has.
    slur: Option<(usize, u32)>,
    hairpin: bool,
}

impl Writer<'_, '_> {
    fn bar(&mut self, length: u32) {
        let mut left = length;
        while left > 0 {
            self.direction();
            if !self.choices.are_over() && self.choices.one_in(6) {
                left -= self.tuplet(left);
                continue;
            }
            let (name, length) = self.choices.pick(&VALUES);
            let (name, length) = if length <= left && !self.choices.are_over() {
                (name, length)
            } else {
                let fits = VALUES.into_iter().filter(|(_, length)| *length <= left);
                fits.max_by_key(|(_, length)| *length).expect("a 128th fits")
            };
            self.step(name);
            left -= length;
        }
    }

    fn direction(&mut self) {
        let word = match self.choices.below(24) {
            17 => {
                self.hairpin = false;
                format!("[{}]", self.choices.pick(&DYNAMICS))
            }
            kind @ (18 | 19) if !self.hairpin => {
                self.hairpin = true;
                (if kind == 18 { "[cresc]" } else { "[dim]" }).into()
            }
            20 if self.hairpin => {
                self.hairpin = false;
                "[to]".into()
            }
            21 => "[\"dolce & <quietly>\"]".into(),
            22 => format!("[{}]", self.choices.pick(&["pizz", "arco", "muted", "unmuted"])),
            _ => return,
        };
        self.tokens.push(word);
    }

    /// Writes a tuplet if one fits; gives back how long it is.
    fn tuplet(&mut self, left: u32) -> u32 {
        let (actual, normal) = if self.choices.one_in(4) {
            (2 + self.choices.below(15).narrow::<u32>(), 1 + self.choices.below(16).narrow::<u32>())
        } else {
            self.choices.pick(&RATIOS)
        };
        let units = [("1/8", 16), ("1/16", 8), ("1/4", 32), ("1/32", 4), ("1/2", 64), ("1/64", 2)];
        // No grain holds the sixteenth part of a 128th.
        let fits = |unit: u32| unit * normal <= left && (actual < 16 || unit >= 4);
        let (_, unit) = self.choices.pick(&units);
        let other = || units.into_iter().map(|(_, unit)| unit).find(|unit| fits(*unit));
        let Some(unit) = Some(unit).filter(|unit| fits(*unit)).or_else(other) else {
            return 0;
        };
        let name =
            units.into_iter().find(|(_, length)| *length == unit).map_or("", |(name, _)| name);
        self.tokens.push(format!("{actual}:{normal}("));
        let mut units = actual;
        while units > 0 {
            let twice = VALUES.into_iter().find(|(_, length)| *length == 2 * unit);
            let half = VALUES.into_iter().find(|(_, length)| *length * 2 == unit);
            match (self.choices.below(6), twice, half) {
                (4, Some((name, _)), _) if units >= 2 => {
                    self.step(name);
                    units -= 2;
                }
                (5, _, Some((name, _))) => {
                    self.step(name);
                    self.step(name);
                    units -= 1;
                }
                _ => {
                    self.step(name);
                    units -= 1;
                }
            }
        }
        self.tokens.push(")".into());
        unit * normal
    }

    /// A note, a rest or a hold of a value.
    fn step(&mut self, value: &'static str) {
        let kind = if self.choices.are_over() { 7 } else { self.choices.below(8) };
        if self.value != value || self.choices.one_in(2) {
            self.tokens.push(value.into());
            self.value = value;
        }
        match kind {
            6 if self.holds => self.tokens.push("=".into()),
            7 => {
                let fermata = if self.choices.one_in(12) { "[fermata]" } else { "" };
                self.tokens.push(format!("rest{fermata}"));
                self.holds = false;
            }
            kind => self.note(kind == 5),
        }
    }

    fn note(&mut self, is_chord: bool) {
        if self.choices.one_in(12) {
            let word = self.choices.pick(&["grace", "crushed"]);
            let value = self.choices.pick(&["1/16", "1/8", "1/32"]);
            let small = |notes: &mut Self| match notes.kind.is_drum {
                true => "x".into(),
                false => notes.pitch(true),
            };
            let notes: Vec<_> = (0..=self.choices.below(3)).map(|_| small(self)).collect();
            self.tokens.push(format!("{word}({value} {})", notes.join(" ")));
            self.octave = None;
        }
        if self.slur.is_none() && self.choices.one_in(8) {
            self.slur = Some((self.tokens.len(), 0));
            self.tokens.push("{".into());
        }
        let mut note = if self.kind.is_drum { "x".into() } else { self.pitch(false) };
        if is_chord && !self.kind.is_drum {
            for _ in 0..=self.choices.below(3) {
                note += &format!("&{}", self.pitch(true));
            }
        }
        if self.choices.one_in(6) {
            let mark = self.choices.pick(&MARKS);
            let stopped = Some(mark).filter(|mark| *mark == "harmonic" && !self.kind.is_drum);
            match stopped.and_then(|_| self.stopped(&note)) {
                Some(stopped) => note += &format!("[{mark} {stopped}]"),
                None => note += &format!("[{mark}]"),
            }
        }
        self.holds = true;
        if let Some((token, notes)) = self.slur {
            self.slur = Some((token, notes + 1));
            if notes > 0 && self.choices.one_in(3) {
                note.push('}');
                self.slur = None;
            }
        }
        self.tokens.push(note);
    }

    /// What is stopped for a single note to be an artificial harmonic, or none for a natural one.
    fn stopped(&mut self, note: &str) -> Option<String> {
        let (below, octave) = (self.choices.below(3).narrow::<i32>(), self.octave?);
        let name = note.trim_end_matches(|c: char| c.is_ascii_digit());
        let lies = 0 < below && below <= octave && !note.contains('&');
        lies.then(|| format!("{name}{}", octave - below))
    }

    fn pitch(&mut self, in_full: bool) -> String {
        let signs = ["", "", "", "#", "b", "", "", "##", "bb", ""];
        let letter = ["D", "E", "F", "G", "A", "B", "C"][self.choices.below(7)];
        let sign = self.choices.pick(&signs);
        let by = [0, 0, 0, 1, 0, -1, 0, 0][self.choices.below(8)];
        let octave = self.kind.octave + by;
        let silent = self.octave == Some(octave) && !in_full;
        self.octave = Some(octave);
        if silent { format!("{letter}{sign}") } else { format!("{letter}{sign}{octave}") }
    }

    /// The text; a slur that is open is left out.
    fn finish(mut self) -> String {
        if let Some((token, _)) = self.slur {
            self.tokens[token].clear();
        }
        if self.hairpin {
            let last = self.tokens.len() - 1;
            self.tokens[last].insert_str(0, "[to] ");
        }
        let mut text = String::new();
        for token in self.tokens {
            text += &token;
            if !token.ends_with('\n') {
                text.push(' ');
            }
        }
        text
    }
}
