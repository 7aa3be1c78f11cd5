//! The catalogue against compasses that are printed elsewhere: a second source beside the one that
//! each value names.

use super::*;

fn pitch(text: &str) -> Pitch {
    text.parse().unwrap_or_else(|()| panic!("{text} is no pitch"))
}

/// Id, year, lowest and highest note as sounding (written where the catalogue states written
/// pitch), source. What a book prints has to be within what the catalogue says the instrument
/// gives.
const PRINTED: [(&str, i32, &str, &str, &str); 49] = [
    (
        "piccolo",
        1917,
        "D5",
        "Bb7",
        "Johnstone, Instruments of the Modern Symphony Orchestra, 1917, p. 20",
    ),
    ("piccolo", 1914, "D5", "C8", "Fitzgibbon, The Story of the Flute, 1914, ch. VII, p. 80"),
    ("piccolo", 2000, "D5", "Bb7", "Nave, HyperPhysics, The Piccolo"),
    (
        "flute",
        1879,
        "C4",
        "C7",
        "Grove, A Dictionary of Music and Musicians, vol. 1, 1879, Flute, p. 537",
    ),
    ("flute", 2024, "C4", "C7", "Freund and Cutler, Extreme Orchestration, 2024, The Flute Family"),
    ("flute", 1752, "D4", "E6", "Quantz, Versuch einer Anweisung, 1752, ch. III-IV, from memory"),
    ("oboe", 1880, "Bb3", "A6", "Grove, vol. 2, 1880, Oboe, p. 487"),
    ("oboe", 1917, "Bb3", "F6", "Johnstone, 1917, p. 24"),
    (
        "oboe",
        1707,
        "C4",
        "D6",
        "Hotteterre, Principes de la flûte traversière, 1707, fingering chart, from memory",
    ),
    ("cor-anglais", 1917, "Eb3", "Bb5", "Johnstone, 1917, p. 24"),
    ("bass-clarinet", 1917, "Eb3", "G6", "Johnstone, 1917, p. 30"),
    ("bassoon", 1879, "Bb1", "F5", "Grove, vol. 1, 1879, Bassoon, p. 152"),
    ("bassoon", 1854, "Bb1", "Bb4", "Moore, Complete Encyclopaedia of Music, 1854, Bassoon"),
    ("contrabassoon", 1917, "Bb0", "A3", "Johnstone, 1917, Double Bassoon, p. 34"),
    (
        "contrabassoon",
        1891,
        "Bb0",
        "F3",
        "Hipkins, Scientific American Supplement no. 819, 1891 (the low end; the high one Johnstone)",
    ),
    ("trumpet", 1917, "F#3", "E6", "Johnstone, 1917, p. 40"),
    ("trumpet", 2000, "F#3", "C6", "University of Valencia, The trumpet"),
    ("tenor-trombone", 1917, "Ab1", "Bb4", "Johnstone, 1917, p. 44, with the three pedals"),
    ("bass-trombone", 1917, "C#2", "G4", "Johnstone, 1917, p. 44, in G"),
    ("tuba", 1917, "F1", "F4", "Johnstone, 1917, Tuba, p. 46"),
    ("violin", 1898, "G3", "E7", "Prout, The Orchestra, vol. 1, 1898, ch. III, pp. 19-20"),
    ("violin", 1917, "G3", "B7", "Johnstone, 1917, p. 8"),
    ("viola", 1917, "C3", "E6", "Johnstone, 1917, Viola, p. 10"),
    ("cello", 1917, "C2", "A5", "Johnstone, 1917, p. 12"),
    ("double-bass", 1917, "C1", "A3", "Johnstone, 1917, p. 14, five strings"),
    (
        "double-bass",
        1898,
        "E1",
        "A3",
        "Prout, vol. 1, 1898, ch. III, p. 19 (the low end; the high one Johnstone, p. 14)",
    ),
    (
        "three-string-double-bass",
        1879,
        "G1",
        "D3",
        "Grove, vol. 1, 1879, Double Bass, p. 457, the Italian strings; from memory above them",
    ),
    (
        "timpani",
        1879,
        "F2",
        "F3",
        "Grove, vol. 1, 1879, Drum, p. 464; Prout, vol. 1, 1898, ch. XI, p. 244; Johnstone, 1917, p. 50",
    ),
    ("harp", 1898, "Cb1", "Fb7", "Prout, vol. 1, 1898, ch. V, p. 73"),
    ("glockenspiel", 2000, "G5", "C8", "Darling, on-line encyclopaedia, Glockenspiel"),
    ("harpsichord", 1707, "F1", "E6", "New Grove, Harpsichord, section 4, an instrument of 1707"),
    ("harpsichord", 1770, "F1", "F6", "Greifenberger Institut, Keyboard range"),
    (
        "horn",
        1955,
        "F#2",
        "C6",
        "Piston, Orchestration, 1955, The Horn, as written in F, from memory; Adler, The Study of \
         Orchestration, 3rd ed., 2002, ch. 10, the same, from memory",
    ),
    ("clarinet", 1879, "E3", "E3", "Grove, vol. 1, 1879, Clarinet, p. 362, the low end alone"),
    (
        "clarinet",
        2002,
        "E3",
        "C7",
        "Adler, The Study of Orchestration, 3rd ed., 2002, ch. 7, as written, from memory",
    ),
    ("clarinet", 1891, "E3", "Eb6", "Hipkins, Scientific American Supplement no. 819, 1891"),
    ("cor-anglais", 1955, "E3", "A5", "Piston, Orchestration, 1955, The English Horn, from memory"),
    ("bass-clarinet", 1955, "Eb3", "F6", "Piston, Orchestration, 1955, from memory"),
    ("bassoon", 1917, "Bb1", "E5", "Johnstone, 1917, Bassoon, p. 32: three and a half octaves"),
    (
        "alto-trombone",
        2002,
        "A2",
        "Eb5",
        "Adler, The Study of Orchestration, 3rd ed., 2002, ch. 10, from memory",
    ),
    ("tenor-trombone", 1911, "E2", "Bb4", "International Encyclopaedia, Trombone"),
    (
        "bass-trombone",
        1885,
        "B1",
        "F4",
        "derived for the one in F, a fourth below the tenor: Johnstone, 1917, p. 44; that F4 is the \
         top: International Encyclopaedia, Trombone",
    ),
    (
        "bass-trombone",
        2002,
        "Bb1",
        "Bb4",
        "Adler, The Study of Orchestration, 3rd ed., 2002, ch. 10, from memory",
    ),
    (
        "tuba",
        1990,
        "F1",
        "F4",
        "Concise Oxford Dictionary of Music, tuba: from F1 about three octaves",
    ),
    ("viola", 1955, "C3", "C6", "Piston, Orchestration, 1955, The Viola, from memory"),
    ("cello", 1955, "C2", "E5", "Piston, Orchestration, 1955, The Violoncello, from memory"),
    ("harp", 1955, "Cb1", "G#7", "Piston, Orchestration, 1955, The Harp, from memory"),
    ("natural-horn", 1879, "C3", "C6", "Grove, vol. 1, 1879, Horn, p. 750: partials 2 to 16"),
    (
        "natural-trumpet",
        1795,
        "G3",
        "C6",
        "Altenburg, Versuch einer Anleitung, 1795: principal and clarino, from memory",
    ),
];

/// Id, lowest and highest note of today's players, sounding (written where the catalogue is).
///
/// Source: present-day handbooks, from memory.
const TODAY: [(&str, &str, &str); 24] = [
    ("piccolo", "D5", "C8"),
    ("flute", "C4", "D7"),
    ("oboe", "Bb3", "A6"),
    ("cor-anglais", "E3", "C6"),
    ("clarinet", "E3", "C7"),
    ("bass-clarinet", "Eb3", "G6"),
    ("bassoon", "Bb1", "Eb5"),
    ("contrabassoon", "Bb0", "Bb3"),
    ("horn", "F#2", "C6"),
    ("trumpet", "F#3", "C6"),
    ("alto-trombone", "A2", "Eb5"),
    ("tenor-trombone", "E2", "Bb4"),
    ("bass-trombone", "Bb1", "Bb4"),
    ("tuba", "D1", "F4"),
    ("timpani", "D2", "A3"),
    ("violin", "G3", "E7"),
    ("viola", "C3", "E6"),
    ("cello", "C2", "A5"),
    ("double-bass", "E1", "G3"),
    ("harp", "Cb1", "G#7"),
    ("glockenspiel", "G5", "C8"),
    ("natural-horn", "C3", "C6"),
    ("natural-trumpet", "C3", "C6"),
    ("harpsichord", "F1", "F6"),
];

/// Where the catalogue keeps to a printed source against the handbooks of today, and why.
const NARROWER: [(&str, &str); 1] = [(
    "contrabassoon",
    "A3 is printed as the extreme: Johnstone, 1917, p. 34; Bb3 from memory only",
)];

#[test]
fn what_books_print_is_within_what_the_catalogue_gives() {
    for (id, year, low, high, source) in PRINTED {
        let compass = find(id).and_then(|i| i.compass(Limit::Instrument, year)).expect(id);
        assert!(
            compass.low <= pitch(low),
            "{id} in {year}: {} against {low}: {source}",
            compass.low
        );
        assert!(
            compass.high >= pitch(high),
            "{id} in {year}: {} against {high}: {source}",
            compass.high
        );
    }
}

#[test]
fn todays_players_have_what_handbooks_of_today_say() {
    for (id, low, high) in TODAY {
        let compass = find(id).and_then(|i| i.compass(Limit::Instrument, 2000)).expect(id);
        let holds = compass.low <= pitch(low) && compass.high >= pitch(high);
        let known = NARROWER.iter().any(|(other, _)| *other == id);
        assert_eq!(
            holds, !known,
            "{id}: {} to {} against {low} to {high}",
            compass.low, compass.high
        );
    }
}

#[test]
fn open_strings_are_those_that_books_print() {
    // Prout, vol. 1, 1898, ch. III, pp. 19-20; Johnstone, 1917, pp. 8-14. Three strings: Grove, vol. 1,
    // 1879, p. 457-458.
    for (id, strings) in [
        ("violin", "G3 D4 A4 E5"),
        ("viola", "C3 G3 D4 A4"),
        ("cello", "C2 G2 D3 A3"),
        ("three-string-double-bass", "A1 D2 G2"),
    ] {
        let row = find(id).and_then(|i| i.open_strings(1898)).expect(id);
        let wanted: Vec<Pitch> = strings.split(' ').map(pitch).collect();
        assert_eq!(row.strings, wanted, "{id}");
    }
    let bass = find("double-bass").and_then(|i| i.open_strings(1898)).expect("a bass");
    for string in ["E1", "A1", "D2", "G2"] {
        assert!(bass.strings.contains(&pitch(string)), "{string}");
    }
}

#[test]
fn corrected_values_hold() {
    let get = |id: &str| find(id).unwrap_or_else(|| panic!("no {id}"));
    // The upper limit of ease of the trumpet is written G5 from about 1760: common practice.
    assert_eq!(get("natural-trumpet").taxing(1810).map(|row| row.low), Some(pitch("G5")));
    assert_eq!(get("natural-trumpet").taxing(1725).map(|row| row.low), Some(pitch("A5")));
    // No C#4 on the oboe before 1770: Hotteterre, 1707, from memory.
    let oboe = get("oboe").compass(Limit::Instrument, 1725).expect("a compass");
    assert_eq!(oboe.missing, [pitch("C#4")]);
    let later = get("oboe").compass(Limit::Instrument, 1785).expect("a compass");
    assert!(later.missing.is_empty());
    // A cornet is no trumpet; from memory.
    assert_eq!(find("cornet").map(|i| i.id.as_str()), Some("cornet"));
    assert!(!get("trumpet").aliases.iter().any(|alias| alias.contains("cornet")));
    // The harpsichord left the orchestra by 1800 and came back: from memory.
    assert!(get("harpsichord").out_of_use(1850).is_some());
    assert!(get("harpsichord").out_of_use(1770).is_none());
    // The years of trumpet crooks: from memory.
    let crook = |name: &str| get("natural-trumpet").tuning(name).expect(name).from;
    assert_eq!((crook("D"), crook("Bb"), crook("Ab")), (None, Some(1750), Some(1810)));
    // Pedal drums take a second, screws six: from memory and our heuristic.
    let row = |year: i32| get("timpani").retuning(year).map(|row| row.milliseconds);
    assert_eq!((row(1810), row(1950)), (Some(6000), Some(1000)));
    // Letters of German crooks are no keys here.
    assert_eq!(get("natural-horn").tuning("H"), None);
}

/// Id, whose limit, year, lowest and highest note, and the source of the end that was in doubt.
const CORRECTED: [(&str, Limit, i32, &str, &str, &str); 26] = [
    (
        "piccolo",
        Limit::Custom,
        1810,
        "D5",
        "G7",
        "from memory; Fitzgibbon, 1914, ch. VII, reports F6",
    ),
    ("flute", Limit::Custom, 1780, "D4", "G6", "from memory"),
    (
        "flute",
        Limit::Custom,
        1885,
        "C4",
        "B6",
        "from memory; full and secure to A6: Freund, Cutler",
    ),
    ("oboe", Limit::Custom, 1725, "C4", "D6", "from memory; without C#4: Hotteterre, 1707"),
    ("oboe", Limit::Custom, 1770, "D4", "D6", "common practice of about 1770"),
    ("violin", Limit::Custom, 1725, "G3", "E6", "from memory"),
    ("violin", Limit::Custom, 1785, "G3", "F6", "from memory"),
    ("cor-anglais", Limit::Custom, 1885, "E3", "G5", "from memory, against Johnstone, 1917, p. 24"),
    ("cor-anglais", Limit::Instrument, 1885, "Eb3", "Bb5", "Johnstone, 1917, p. 24"),
    ("horn", Limit::Custom, 1885, "F#2", "A5", "from memory, by rank of the player"),
    ("double-bass", Limit::Custom, 1770, "E1", "D3", "from memory; by region"),
    ("viennese-double-bass", Limit::Custom, 1770, "F1", "F#3", "from memory"),
    ("three-string-double-bass", Limit::Custom, 1820, "A1", "D3", "Grove, vol. 1, p. 457, strings"),
    ("contrabassoon", Limit::Custom, 1810, "C1", "D3", "from memory; Hipkins, 1891"),
    ("tuba", Limit::Custom, 1885, "F1", "D4", "Johnstone, 1917, p. 46"),
    ("harp", Limit::Custom, 1850, "Cb1", "F#7", "derived from Prout, vol. 1, 1898, ch. V, p. 73"),
    ("harp", Limit::Custom, 1885, "Cb1", "G#7", "derived from the string Gb7; from memory"),
    ("bassoon", Limit::Instrument, 1810, "Bb1", "D5", "from memory"),
    ("natural-trumpet", Limit::Custom, 1725, "G3", "C6", "general practice, from memory"),
    ("timpani", Limit::Custom, 1810, "F2", "F3", "Prout, vol. 1, 1898, ch. XI, p. 244"),
    ("timpani", Limit::Custom, 1885, "E2", "F#3", "from memory; Rimsky-Korsakov, 1922, p. 30"),
    ("timpani", Limit::Instrument, 1885, "E2", "Db4", "Rimsky-Korsakov, 1922, p. 30"),
    ("timpani", Limit::Custom, 1950, "D2", "A3", "present-day handbooks, from memory"),
    ("tenor-trombone", Limit::Custom, 1885, "E2", "Bb4", "Johnstone, 1917, p. 44"),
    ("tenor-trombone", Limit::Custom, 1950, "C2", "Bb4", "with the F attachment: from memory"),
    ("harpsichord", Limit::Custom, 1725, "C2", "C6", "Greifenberger Institut, Keyboard range"),
];

#[test]
fn corrected_ends_hold() {
    for (id, limit, year, low, high, source) in CORRECTED {
        let compass = find(id).and_then(|i| i.compass(limit, year)).expect(id);
        assert_eq!((compass.low, compass.high), (pitch(low), pitch(high)), "{id} {year}: {source}");
    }
}

/// Books that name no ends but say how far an instrument goes: id, year, fewest and most semitones.
const SPANS: [(&str, i32, i32, i32, &str); 4] = [
    (
        "horn",
        1917,
        42,
        42,
        "three and a half octaves: Johnstone, 1917, French Horn, p. 38; a dictionary entry has the \
         same from sounding B1, which is written F#2",
    ),
    (
        "alto-trombone",
        1880,
        31,
        36,
        "more than two and a half octaves: Knight, American Mechanical Dictionary, Trombone",
    ),
    ("bassoon", 1917, 42, 44, "three and a half octaves at most: Johnstone, 1917, Bassoon, p. 32"),
    ("glockenspiel", 1917, 26, 36, "27 to 37 bars: Johnstone, 1917, p. 58"),
];

#[test]
fn instruments_go_as_far_as_books_say() {
    for (id, year, fewest, most, source) in SPANS {
        let compass = find(id).and_then(|i| i.compass(Limit::Instrument, year)).expect(id);
        let span = compass.high.midi() - compass.low.midi();
        assert!((fewest..=most).contains(&span), "{id}: {span} semitones: {source}");
    }
}

/// The orchestral instruments have a second source each beside the one that the catalogue names.
#[test]
fn every_orchestral_instrument_has_a_second_source() {
    for (id, ..) in TODAY {
        let printed = PRINTED.iter().filter(|row| row.0 == id).count();
        assert!(printed >= 1, "{id} is held against the handbooks of today alone");
    }
}
