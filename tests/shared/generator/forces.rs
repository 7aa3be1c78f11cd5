//! Ensembles of four eras and what scorings make them do.

use super::music::{Line, line};
use super::{Bar, Choices, DYNAMICS};

/// An ensemble line with the players that a scoring may name, and what they may take.
struct Forces {
    text: &'static str,
    names: &'static [&'static str],
    takes: &'static [&'static str],
    strikes: bool,
}

const fn forces(
    text: &'static str,
    names: &'static [&'static str],
    takes: &'static [&'static str],
) -> Forces {
    Forces { text, names, takes, strikes: false }
}

/// What an ensemble of 1770 has …
const SMALL: [Forces; 10] = [
    forces("violin-1 4 players", &["violin-1"], &["viola"]),
    forces("oboe 2", &["oboe.1", "oboe.2"], &["cor-anglais"]),
    forces("horn 2 crook F", &["horn.1", "horn.2"], &["crook D", "crook Bb basso", "crook C alto"]),
    forces("cello 2 players as \"Cellos beside the lower gate\"", &["cello"], &[]),
    forces("harpsichord", &["harpsichord"], &[]),
    forces("timpani tuned D3, A2", &["timpani"], &["tuned C3, G2"]),
    forces("natural-trumpet 2 crook D", &["natural-trumpet.1", "natural-trumpet.2"], &["crook C"]),
    forces("double-bass", &["double-bass"], &[]),
    forces("bassoon", &["bassoon"], &["contrabassoon"]),
    forces("viola 3 players divisi", &["viola.1", "viola.2"], &[]),
];

/// … and what one of 1885 has besides.
const LARGE: [Forces; 8] = [
    forces("flute 2", &["flute.1", "flute.2"], &["piccolo"]),
    forces(
        "clarinet 2 in Bb",
        &["clarinet.1", "clarinet.2"],
        &["clarinet in A", "bass-clarinet in Bb"],
    ),
    forces("harp", &["harp"], &[]),
    forces("valve-horn 2 in F without signature", &["valve-horn.1", "valve-horn.2"], &["in Eb"]),
    forces("trumpet in Bb", &["trumpet"], &["in F"]),
    Forces { text: "triangle", names: &["triangle"], takes: &["cymbals"], strikes: true },
    forces("glockenspiel", &["glockenspiel"], &[]),
    forces("tuba", &["tuba"], &[]),
];

/// Two ensembles, the second larger, and a scoring for each.
pub(super) fn scorings(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    let chosen = |choices: &mut Choices, from: &'static [Forces]| -> Vec<&'static Forces> {
        let mut chosen: Vec<_> = from.iter().filter(|_| choices.one_in(3)).collect();
        if chosen.is_empty() {
            chosen.push(&from[choices.below(from.len())]);
        }
        chosen
    };
    let small = chosen(choices, &SMALL);
    let era = choices.pick(&[1770, 1810]);
    *out += &format!("ensemble small {{\n  era {era}\n");
    for forces in &small {
        *out += &format!("  {}\n", forces.text);
    }
    *out += &format!("  group all = {}\n}}\n", line_name(small[0]));
    let mut before = Vec::new();
    *out += "scoring first for small {\n";
    for forces in &small {
        parts(choices, bars, forces, &mut before, out);
    }
    *out += "}\n";
    if choices.one_in(3) {
        layout(choices, bars, small[0].names[0], out);
    }
    if choices.one_in(2) {
        return;
    }
    let large = chosen(choices, &LARGE);
    *out += "ensemble large extends small {\n  era 1885\n";
    for forces in &large {
        *out += &format!("  {}\n", forces.text);
    }
    *out += "}\nscoring second for large {\n  keep first\n";
    for forces in &large {
        parts(choices, bars, forces, &mut before, out);
    }
    *out += "}\n";
}

/// One ensemble of any era with one or two of its lines, and a scoring for it.
pub(super) fn small_scoring(choices: &mut Choices, bars: &[Bar], out: &mut String) {
    let mut chosen = vec![choices.below(SMALL.len() + LARGE.len())];
    if choices.one_in(2) {
        let other = choices.below(SMALL.len() + LARGE.len());
        if other != chosen[0] {
            chosen.push(other);
        }
    }
    let forces: Vec<&'static Forces> =
        chosen.into_iter().filter_map(|index| SMALL.iter().chain(&LARGE).nth(index)).collect();
    let era = choices.pick(&[1770, 1810, 1885]);
    *out += &format!("ensemble small {{\n  era {era}\n");
    for forces in &forces {
        *out += &format!("  {}\n", forces.text);
    }
    *out += "}\nscoring first for small {\n";
    let mut before = Vec::new();
    for forces in &forces {
        parts(choices, bars, forces, &mut before, out);
    }
    *out += "}\n";
    if choices.one_in(3) {
        layout(choices, bars, forces[0].names[0], out);
    }
}

/// A layout with some overrides, of which each says something else.
fn layout(choices: &mut Choices, bars: &[Bar], player: &str, out: &mut String) {
    *out += choices.pick(&["layout for first {\n", "layout {\n"]);
    let place = 1 + choices.below(bars.len());
    if let Some(bar) = bars.get(place) {
        let what = choices.pick(&["break", "turn"]);
        *out += &format!("  parts {what} before {}\n", bar.number);
    }
    if choices.one_in(2) {
        let paper = choices.pick(&["a4", "a3 landscape", "letter", "9x12", "10x13"]);
        *out += &format!("  score paper {paper}\n  {player} staff {}.5 mm\n", 5 + choices.below(4));
    }
    if choices.one_in(2) {
        *out += "  score hide empty\n";
    }
    if choices.one_in(2) {
        let sign = choices.pick(&["slur", "dynamic", "words", "accidental", "tie"]);
        let bar = any(choices, bars).number;
        // To the right an accidental would lie over its own head, as it was told to.
        let side = if sign == "accidental" { "left" } else { "right" };
        *out += &format!("  {player} nudge {sign} bar {bar} up 0.5 {side} 1\n");
        *out += &format!("  score nudge {sign} of {player} bar {bar} down 1\n");
    }
    *out += "}\n";
}

fn line_name(forces: &Forces) -> &'static str {
    forces.names[0].split('.').next().unwrap_or_default()
}

/// Lines for each player, who then may be doubled by those who come after.
fn parts(
    choices: &mut Choices,
    bars: &[Bar],
    forces: &Forces,
    before: &mut Vec<&'static str>,
    out: &mut String,
) {
    for name in forces.names {
        if !forces.takes.is_empty() && choices.one_in(4) {
            let take = choices.pick(forces.takes);
            *out += &format!("  {name} takes {take} bar {}\n", any(choices, bars).number);
        }
        let cut = 1 + choices.below(bars.len());
        let (first, second) = bars.split_at(cut);
        for bars in [first, second] {
            if !bars.is_empty() {
                claim(choices, bars, name, forces.strikes, before, out);
            }
        }
    }
    if !forces.strikes {
        before.extend(forces.names);
    }
}

fn any(choices: &mut Choices, bars: &[Bar]) -> Bar {
    bars[choices.below(bars.len())]
}

/// A line that claims some bars for a player.
fn claim(
    choices: &mut Choices,
    bars: &[Bar],
    name: &str,
    strikes: bool,
    before: &[&str],
    out: &mut String,
) {
    let role = choices.pick(&["melody", "bass", "harmony", "rhythm", "highlight"]);
    let kind = choices.below(10);
    if kind == 9 {
        let octave = if name == "cello" || name == "tuba" { 3 } else { 4 };
        let kind = Line { octave, is_drum: strikes };
        *out += &format!("  {name} writes as {role} {{\n{}  }}\n", line(choices, bars, kind));
        return;
    }
    let verb = match kind {
        _ if strikes => format!("plays drum as {role}"),
        5 => {
            let restrike = ["", " each chord", " each beat", " off the beat"];
            format!("sustains{} as {role}", choices.pick(&restrike))
        }
        6 => format!("signals {} as {role}", choices.pick(&["upper", "lower"])),
        7 => {
            let moments = [" phrases", " entries", " cadences, peaks", " beat 1", ""];
            format!("highlights{}", choices.pick(&moments))
        }
        8 => "rests".to_string(),
        3 | 4 if !before.is_empty() => {
            format!("doubles {}{}", choices.pick(before), choices.pick(&["", " 8va", " 8vb"]))
        }
        _ => {
            let voice = choices.pick(&["upper", "lower"]);
            let octaves = choices.pick(&["", "", " 8va", " 8vb", " 15ma"]);
            format!("plays {voice}{octaves} as {role}")
        }
    };
    *out += &format!("  {name} {verb} bars {}..{}", bars[0].number, bars[bars.len() - 1].number);
    if kind != 8 && choices.one_in(6) {
        *out += &format!(", at {}", choices.pick(&DYNAMICS[..8]));
    }
    if kind != 8 && choices.one_in(8) {
        *out += choices.pick(&[" pizz", " muted", " solo", " \"with the water running\""]);
    }
    out.push('\n');
}
