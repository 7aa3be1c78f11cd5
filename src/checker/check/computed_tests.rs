//! Computed lines against the rules: they keep to the compass, to the open notes and to what strings
//! can stop, without exception, and leave next to nothing to the rules of harmony.

use std::fmt::Write;

use super::tests::findings;

/// Chords with a bass and with notes for a tune, and where each may go.
const CHORDS: [(&str, &str, [&str; 3], &[usize]); 9] = [
    ("C", "C3", ["E5", "G5", "C5"], &[1, 2, 3, 4, 5, 7]),
    ("F", "F3", ["A5", "C5", "F5"], &[2, 0, 6, 4, 8]),
    ("G7", "G2", ["B4", "D5", "F5"], &[0, 3]),
    ("Am", "A2", ["C5", "E5", "A4"], &[4, 1, 2, 8]),
    ("Dm7", "D3", ["F5", "A4", "D5"], &[2, 5]),
    ("G7/B", "B2", ["D5", "G5", "F5"], &[0]),
    ("C/E", "E3", ["G5", "C5", "G4"], &[1, 4]),
    ("A7/C#", "C#3", ["E5", "A4", "G5"], &[4]),
    ("D7/F#", "F#3", ["D5", "A5", "C5"], &[2]),
];

fn text(seed: u32, bars: usize, era: i32, players: &str, lines: &str) -> String {
    let mut state = seed;
    let mut chords = vec![0];
    while chords.len() + 2 < bars {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let ways = CHORDS[chords[chords.len() - 1]].3;
        chords.push(ways[(state >> 16) as usize % ways.len()]);
    }
    chords.extend([2, 0]);
    let mut text = format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n {bars} end }}\nharmony {{ "
    );
    for (bar, &chord) in chords.iter().enumerate() {
        let _ = write!(text, "{}: {} | ", bar + 1, CHORDS[chord].0);
    }
    for name in ["tune", "ground"] {
        let _ = write!(text, "}}\nvoice {name} {{ ");
        for (bar, &chord) in chords.iter().enumerate() {
            let (_, bass, tune, _) = CHORDS[chord];
            let note = if name == "tune" { tune[bar % 3] } else { bass };
            let _ = write!(text, "{}: 1/1 {note} | ", bar + 1);
        }
    }
    let _ = write!(
        text,
        "}}\nensemble few {{ era {era}\n violin-1 8 players, cello 4 players\n {players} }}\n\
         scoring few for few {{\n violin-1 plays tune as melody\n cello plays ground as bass\n {lines}\n}}\n"
    );
    text
}

const FORCES: [(i32, &str, &str); 6] = [
    (1770, "violin-2 6 players, viola 4 players", "violin-2 sustains each 1/8\n viola sustains"),
    (1770, "oboe 2, bassoon 2, horn 2 crook C basso", "oboe, bassoon sustain\n horn signals tune"),
    (
        1810,
        "flute 2, clarinet 2 in Bb, horn 2 crook C basso, trumpet 2 crook C, timpani tuned G2, C3",
        "flute, clarinet sustain\n horn sustains\n trumpet signals tune\n timpani highlights",
    ),
    (1885, "tenor-trombone 2, bass-trombone, tuba", "tenor-trombone, bass-trombone, tuba sustain"),
    (1885, "horn 4 in F, harp", "horn sustains\n harp sustains broken"),
    (
        1885,
        "flute 2, oboe 2, clarinet 2 in Bb, bassoon 2, horn 4 in F, trumpet 2 in Bb\n \
         tenor-trombone 2, bass-trombone, tuba\n violin-2 8 players, viola 6 players",
        "flute, oboe, clarinet, bassoon sustain\n horn sustains\n \
         trumpet, tenor-trombone, bass-trombone, tuba sustain\n violin-2, viola sustain",
    ),
];

#[test]
fn computed_lines_leave_nothing_to_the_rules() {
    let (mut bars, mut harmony) = (0, Vec::new());
    for (era, players, lines) in FORCES {
        for seed in 1..=4 {
            bars += 16;
            for found in findings(&text(seed, 16, era, players, lines)) {
                let given = ["violin-1", "cello"];
                let computed = found.player.as_deref().is_some_and(|p| !given.contains(&p));
                let family = found.code.split('/').next().unwrap_or_default();
                match family {
                    "compass" | "natural-brass" | "strings" if computed => {
                        panic!("{players}: {}", found.message);
                    }
                    "harmony" if computed => {
                        harmony.push(format!("{era} {seed}: {}", found.message))
                    }
                    _ => {}
                }
            }
        }
    }
    println!("{harmony:#?}");
    // The chords go anywhere and the tune with them, so one in a hundred bars may be the least evil.
    assert!(harmony.len() * 100 <= bars, "{} in {bars} bars: {harmony:#?}", harmony.len());
}

const ROOTS: [&str; 12] = ["C", "F#", "Bb", "D", "Ab", "E", "G", "C#", "F", "B", "Eb", "A"];
const QUALITIES: [&str; 8] = ["", "m", "7", "m7", "dim7", "m7b5", "maj7", "aug"];

/// Chords that have nothing to do with one another, one or two to a bar, for a harp at a quick tempo.
fn chromatic(seed: u32, restrike: &str) -> String {
    let mut state = seed;
    let mut dice = |of: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % of
    };
    let mut text = "piece \"Ferry\" { composer \"House copyist\" }\n\
                    form { 1 metre 4/4, key D major, tempo 1/4 at 152\n 12 end }\nharmony { "
        .to_string();
    for bar in 1..=12 {
        let mut chord = || format!("{}{}", ROOTS[dice(12)], QUALITIES[dice(8)]);
        let _ = match bar % 3 {
            0 => write!(text, "{bar}: {} | ", chord()),
            1 => write!(text, "{bar}: 1/2 {} {} | ", chord(), chord()),
            _ => write!(text, "{bar}: 1/4 {} {} {} {} | ", chord(), chord(), chord(), chord()),
        };
    }
    text.push_str("}\nvoice tune { ");
    for bar in 1..=12 {
        let _ = write!(text, "{bar}: 1/1 A5 | ");
    }
    let _ = write!(
        text,
        "}}\nensemble few {{ era 1885\n violin-1 8 players, harp }}\n\
         scoring few for few {{\n violin-1 plays tune as melody\n harp sustains {restrike}\n}}\n"
    );
    text
}

#[test]
fn a_harp_has_what_hands_and_pedals_can_give() {
    let mut left_out = 0;
    for restrike in ["", "each chord", "each beat", "off the beat", "broken"] {
        for seed in 1..=12 {
            let found = findings(&chromatic(seed, restrike));
            left_out += found.iter().filter(|f| f.code == "arrange/no-time-for-pedals").count();
            let of_harp = |f: &&crate::diagnostics::Diagnostic| {
                let family = f.code.split('/').next();
                f.player.as_deref() == Some("harp") && matches!(family, Some("agility" | "compass"))
            };
            if let Some(wrong) = found.iter().find(of_harp) {
                panic!("sustains {restrike}, {seed}: {}: {}", wrong.code, wrong.message);
            }
        }
    }
    assert!(left_out > 20, "chords this wild leave no notes to be left out: {left_out}");
}
