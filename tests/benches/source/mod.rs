//! A made-up piece of any length for any number of players: four voices of eighths in 4/4 that
//! run up and down, each doubled by as many instruments as needed.

use std::fmt::Write;

/// The instruments in turn, each with the voice that suits it.
const PLAYERS: [(&str, &str); 16] = [
    ("violin-1 8 players", "upper"),
    ("violin-2 8 players", "upper"),
    ("viola 6 players", "middle"),
    ("cello 4 players", "lower"),
    ("double-bass 3 players", "deep"),
    ("flute 2", "upper"),
    ("oboe 2", "upper"),
    ("clarinet 2 in Bb", "middle"),
    ("bassoon 2", "lower"),
    ("horn 4 in F", "middle"),
    ("trumpet 4 in C", "middle"),
    ("alto-trombone 2", "middle"),
    ("tenor-trombone 2", "lower"),
    ("bass-trombone 2", "lower"),
    ("cor-anglais 2", "middle"),
    ("tuba 2", "lower"),
];

/// The source text of a piece of `bars` bars of eight notes, scored for `players` parts (of at most
/// 55).
pub fn orchestra(bars: usize, players: usize) -> String {
    in_passages(bars, players, 1)
}

/// The same with the lines of each instrument cut into so many passages.
pub fn in_passages(bars: usize, players: usize, passages: usize) -> String {
    // Beyond thirty parts there are twice as many of each wind instrument.
    let fold = if players > 30 { 2 } else { 1 };
    let mut text = String::from(
        "piece \"Figures\" { }\nform {\n  1 metre 4/4, key D major, tempo 1/4 at 60\n",
    );
    writeln!(text, "  {bars} end\n}}").unwrap();
    for (voice, notes) in [
        ("upper", "D5 E F# G A G F# E"),
        ("middle", "F#4 G A B A G F# E"),
        ("lower", "D3 E F# G A G F# E"),
        ("deep", "D2 E F# G A G F# E"),
    ] {
        writeln!(text, "voice {voice} {{").unwrap();
        for bar in 1..=bars {
            writeln!(text, "  {bar}: 1/8 {notes} |").unwrap();
        }
        text.push_str("}\n");
    }
    let mut left = players;
    let mut ensemble = String::from("ensemble all {\n  era 1885\n");
    let mut scoring = String::from("scoring all for all {\n");
    for (line, voice) in PLAYERS {
        let section = line.contains("players");
        let mut words = line.split(' ');
        let (name, count) = (words.next().unwrap(), words.next().unwrap());
        let parts = if section { 1 } else { (fold * count.parse::<usize>().unwrap()).min(left) };
        if parts == 0 || left == 0 {
            continue;
        }
        left -= parts;
        let rest: Vec<&str> = words.collect();
        let count = if section { count.to_string() } else { parts.to_string() };
        writeln!(ensemble, "  {name} {count} {}", rest.join(" ")).unwrap();
        if passages == 1 {
            writeln!(scoring, "  {name} plays {voice} as melody").unwrap();
            continue;
        }
        for passage in 0..passages {
            let (first, last) = (passage * bars / passages + 1, (passage + 1) * bars / passages);
            writeln!(scoring, "  {name} plays {voice} as melody bars {first}..{last}").unwrap();
        }
    }
    assert_eq!(left, 0, "there are not so many players");
    format!("{text}{ensemble}}}\n{scoring}}}\n")
}
