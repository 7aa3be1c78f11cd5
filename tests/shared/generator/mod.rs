//! Sources without a mistake, made from choices: any metre, bars that fit, ensembles of several
//! eras, every verb.

mod forces;
mod music;
mod pairs;

use super::choices::Choices;
use music::{Line, line};
use ripieno::narrow::Narrow;

/// A bar of the form: its number and its length in 128ths.
#[derive(Clone, Copy)]
pub(super) struct Bar {
    number: usize,
    length: u32,
    /// How much of it is the up-beat of what follows.
    up_beat: u32,
}

const KEYS: [&str; 30] = [
    "C major", "A minor", "G major", "E minor", "F major", "D minor", "D major", "B minor",
    "Bb major", "G minor", "A major", "F# minor", "Eb major", "C minor", "E major", "C# minor",
    "Ab major", "F minor", "B major", "G# minor", "Db major", "Bb minor", "F# major", "D# minor",
    "Gb major", "Eb minor", "C# major", "A# minor", "Cb major", "Ab minor",
];
const METRES: [(u32, u32); 9] =
    [(4, 4), (3, 4), (6, 8), (2, 2), (5, 8), (7, 8), (9, 8), (12, 16), (3, 8)];
const CHORDS: [&str; 20] = [
    "C", "G7", "Dm", "F/A", "Bbmaj7", "F#m7b5", "C#dim7", "Eb6", "Am6", "D9", "Gsus4", "Asus2",
    "E7sus4", "Caug", "Gaug7", "Cm(maj7)", "Bm/D", "Gb", "B", "Ddim",
];
const TITLES: [&str; 4] = [
    "Bell",
    "<&\"'> Fête",
    "The ferrymen who rowed the drums across the weir on the first evening of the festival, and what became of them",
    "Verylongwordwithoutanyspaceatallthatnobodycanbreakanywhereandthatgoesonandonoverthewholewidthofthepageandbeyond",
];

/// A source that compiles without an error of its own.
pub fn source(choices: &mut Choices) -> String {
    sized(choices, 10, forces::scorings)
}

/// The same with three bars at most and one scoring for a player or two, for who tries millions.
pub fn small_source(choices: &mut Choices) -> String {
    sized(choices, 3, forces::small_scoring)
}

/// The same with two players who share a staff of a condensed score.
pub fn paired_source(choices: &mut Choices) -> String {
    let mut out = String::from("piece \"Bell\" {\n}\n");
    let bars = form(choices, 10, &mut out);
    pairs::dynamics(choices, &bars, &mut out);
    pairs::scoring(choices, &bars, &mut out);
    out
}

fn sized(
    choices: &mut Choices,
    most_bars: usize,
    scorings: fn(&mut Choices, &[Bar], &mut String),
) -> String {
    let mut out = format!("piece \"{}\" {{\n", TITLES[choices.below(16) % 4].replace('"', "”"));
    if choices.one_in(4) {
        out += "  subtitle \"For the opening of the sluice\"\n  composer \"House copyist\"\n  licence \"CC0-1.0\"\n  revision \"2nd version, 12 May\"\n";
    }
    out += "}\n";
    let bars = form(choices, most_bars, &mut out);
    if choices.below(3) > 0 {
        harmony(choices, &bars, &mut out);
    }
    if choices.one_in(2) {
        dynamics(choices, &bars, &mut out);
    }
    let ranges = [(5, false), (3, false), (4, true)];
    for (name, (octave, is_drum)) in ["upper", "lower", "drum"].into_iter().zip(ranges) {
        let music = line(choices, &bars, Line { octave, is_drum });
        out += &format!("voice {name} {{\n{music}}}\n");
    }
    scorings(choices, &bars, &mut out);
    out
}

fn form(choices: &mut Choices, most: usize, out: &mut String) -> Vec<Bar> {
    let last = 1 + choices.below(most);
    let mut bars = Vec::new();
    let mut lines = Vec::new();
    let pick_up = choices.one_in(4).then(|| choices.pick(&[32, 16, 8, 48]));
    if let Some(length) = pick_up {
        lines.push(format!("0 pick-up {length}/128"));
        bars.push(Bar { number: 0, length, up_beat: 0 });
    }
    let mut full = 0;
    for number in 1..=last {
        let mut items = Vec::new();
        if number == 1 || choices.one_in(6) {
            let (count, unit) = if choices.one_in(4) {
                (1 + choices.below(32).narrow::<u32>(), 1 << choices.below(6))
            } else {
                choices.pick(&METRES)
            };
            full = count * 128 / unit;
            items.push(format!("metre {count}/{unit}"));
        }
        if number == 1 || choices.one_in(6) {
            items.push(format!("key {}", choices.pick(&KEYS)));
        }
        if choices.one_in(8) {
            items.push(format!("tempo \"Con moto\" 1/4. at {}", 5 + choices.below(200)));
        }
        if choices.one_in(8) {
            items.push(format!("mark \"{}\"", choices.pick(&["A", "The second ferry", "&"])));
        }
        let mut length = full;
        if choices.one_in(8) {
            let sixteenths = 1 + choices.below(24).narrow::<u32>();
            length = sixteenths * 8;
            items.push(format!("length {sixteenths}/16"));
        }
        if number > 1
            // What is left of a longer bar may be no `length` that can be written.
            && let Some(before) = bars.last_mut().filter(|bar| (9..=128).contains(&bar.length))
            && choices.one_in(9)
        {
            let sixteenths = 1 + choices.below(before.length as usize / 8 - 1).narrow::<u32>();
            before.up_beat = sixteenths.min(64) * 8;
            items.push(format!("up-beat {}/16", before.up_beat / 8));
        }
        if choices.one_in(10) {
            items.push("double-bar".to_string());
        }
        bars.push(Bar { number, length, up_beat: 0 });
        if !items.is_empty() {
            lines.push(format!("{number} {}", items.join(", ")));
        }
    }
    repeats(choices, bars[0].number, last, &mut lines);
    lines.push(format!("{last} end"));
    *out += &format!("form {{\n  {}\n}}\n", lines.join("\n  "));
    bars
}

fn repeats(choices: &mut Choices, first: usize, last: usize, lines: &mut Vec<String>) {
    let mut from = first;
    while from <= last && choices.one_in(3) {
        let begin = from + choices.below(last - from + 1);
        let end = begin + choices.below(last - begin + 1);
        lines.push(format!("{begin}..{end} repeat"));
        from = end + 1;
        if begin < end && end < last && choices.one_in(2) {
            lines.push(format!("{end} ending 1"));
            lines.push(format!("{} ending 2", end + 1));
            from += 1;
        }
    }
}

fn harmony(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    *out += "harmony {\n";
    for bar in bars {
        *out += &format!("  {}:", bar.number);
        if bar.length > 32 && choices.one_in(3) {
            *out += &format!(" 1/4 {}", choices.pick(&CHORDS));
            // The last chord holds to the end of the bar.
            if bar.length >= 64 {
                *out += &format!(" {}", choices.pick(&CHORDS));
            }
        } else {
            *out += &format!(" {}", choices.pick(&CHORDS));
        }
        *out += " |\n";
    }
    *out += "}\n";
}

const DYNAMICS: [&str; 11] = ["p", "f", "mf", "pp", "ff", "mp", "ppp", "fff", "fp", "sf", "sfz"];

fn dynamics(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    *out += "dynamics {\n";
    for bar in bars {
        match choices.below(5) {
            1 => *out += &format!("  {} {}\n", bar.number, choices.pick(&DYNAMICS)),
            2 => *out += &format!("  {} cresc\n", bar.number),
            3 => *out += &format!("  {0}..{0} dim\n  {0} f \"dolce\"\n", bar.number),
            _ => {}
        }
    }
    *out += "}\n";
}
