//! Two players of a kind who share a staff of a condensed score: now together, now apart, at levels of everybody,
//! of a voice or of a line of their own.

use super::music::{Line, line};
use super::{Bar, Choices, DYNAMICS};

/// A line of an ensemble, its two players, and the octave about which they move.
const PAIRS: [(&str, [&str; 2], i32); 6] = [
    ("oboe 2", ["oboe.1", "oboe.2"], 5),
    ("clarinet 2 in Bb", ["clarinet.1", "clarinet.2"], 5),
    ("flute 2", ["flute.1", "flute.2"], 5),
    ("valve-horn 2 in F", ["valve-horn.1", "valve-horn.2"], 4),
    ("viola 4 players divisi", ["viola.1", "viola.2"], 4),
    ("cello\n  double-bass", ["cello", "double-bass"], 3),
];

const WORDS: [&str; 5] = ["crescendo", "dim.", "poco a poco cresc.", "dolce", "sempre piano"];

/// Levels of everybody, with hairpins over some bars, from and to beats within them.
pub(super) fn dynamics(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    *out += "dynamics {\n";
    let mut at = 0;
    while at < bars.len() {
        let number = bars[at].number;
        let beat = |choices: &mut Choices| match choices.below(3) {
            2 => " beat 2",
            _ => "",
        };
        match choices.below(8) {
            1 | 2 => *out += &format!("  {number}{} {}\n", beat(choices), choices.pick(&DYNAMICS)),
            3..=5 => {
                let last = (at + choices.below(3)).min(bars.len() - 1);
                let way = choices.pick(&["cresc", "dim"]);
                if choices.one_in(3) {
                    *out += &format!("  {number} {}\n", choices.pick(&DYNAMICS[..8]));
                }
                let (from, to) = (beat(choices), beat(choices));
                let (from, to) = if last == at { ("", "") } else { (from, to) };
                *out += &format!("  {number}{from}..{}{to} {way}\n", bars[last].number);
                at = last;
                if to.is_empty() && choices.one_in(2) && last + 1 < bars.len() {
                    at += 1;
                    *out += &format!("  {} {}\n", bars[at].number, choices.pick(&DYNAMICS[..8]));
                }
            }
            6 => *out += &format!("  {number} \"{}\"\n", choices.pick(&WORDS)),
            _ => {}
        }
        at += 1;
    }
    *out += "}\n";
}

/// Voices of which the lower goes with the upper here and there, an ensemble of a pair, and who plays what.
pub(super) fn scoring(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    let (text, names, octave) = choices.pick(&PAIRS);
    let kind = Line { octave, is_drum: false };
    let mut again = choices.clone();
    *out += &format!("voice upper {{\n{}}}\n", line(choices, bars, kind));
    // The same an octave below: chords.
    let lower = Line { octave: octave - 1, is_drum: false };
    *out += &format!("voice lower {{\n{}}}\n", line(&mut again, bars, lower));
    *out += &format!("voice other {{\n{}}}\n", line(choices, bars, kind));
    *out += &format!("ensemble two {{\n  era 1885\n  {text}\n}}\nscoring first for two {{\n");
    let mut from = 0;
    while from < bars.len() {
        let count = (1 + choices.below(4)).min(bars.len() - from);
        let span = &bars[from..from + count];
        from += count;
        let range = format!("bars {}..{}", span[0].number, span[count - 1].number);
        let together = choices.pick(&[None, Some("upper"), Some("lower"), None]);
        for (name, usual) in names.iter().zip(["upper", "lower"]) {
            let kind = choices.below(12);
            if kind == 11 {
                let music = line(choices, span, kind_of(octave));
                *out += &format!("  {name} writes as harmony {{\n{music}  }}\n");
                continue;
            }
            let voice = match kind {
                0 | 1 => continue,
                2 | 3 => "other",
                _ => together.unwrap_or(usual),
            };
            *out += &format!("  {name} plays {voice} {range} as harmony");
            if choices.one_in(5) {
                *out += &format!(", at {}", choices.pick(&DYNAMICS[..8]));
            }
            if choices.one_in(12) {
                *out += choices.pick(&[" pizz", " muted", " solo", " \"dolce\""]);
            }
            out.push('\n');
        }
    }
    *out += "}\n";
}

const fn kind_of(octave: i32) -> Line {
    Line { octave, is_drum: false }
}
