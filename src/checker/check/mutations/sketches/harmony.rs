//! Those of the rules of harmony.

use super::{PLAIN, Sketch};

pub(super) const SKETCHES: &[Sketch] = &[
    Sketch {
        rule: "harmony/below-bass",
        players: "viola 4 players, cello 4 players",
        lines: "viola plays tune as harmony\n cello plays low as bass",
        good: &["1/2 G4 E4", "1/1 C5"],
        bad: &["1/2 G3 E4", "1/4 G4 A3 G4 G4", "1/1 E3"],
        voices: &[("low", "1/1 C4")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/below-bass",
        players: "oboe, viola 4 players, cello 4 players",
        lines: "oboe plays run as harmony\n viola plays tune as harmony\n cello plays low as bass",
        good: &["1/2 G4 E4", "1/1 C5"],
        bad: &["1/2 G3 E4", "1/4 G4 A3 G4 G4", "1/1 E3"],
        voices: &[("run", "1/16 E5 F E F E F E F E F E F E F E F"), ("low", "1/1 C4")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/contradicts",
        players: "violin-1 8 players",
        lines: "violin-1 plays tune as melody",
        good: &["1/2 E5 G5", "1/4 C5 D5 E5 F5", "1/2 D5 E5"],
        bad: &["1/2 A5 C5", "1/2 F#5 C5", "1/2 E5 Bb5"],
        harmony: "C",
        ..PLAIN
    },
    Sketch {
        rule: "harmony/doubled-leading-note",
        players: "violin-1 8 players, violin-2 8 players",
        lines: "violin-1 plays song as melody\n violin-2 plays tune as harmony",
        good: &["1/2 E4 F4", "1/2 G4 G4"],
        bad: &["1/2 E4 B3", "1/2 G4 B3"],
        voices: &[("song", "1/2 C5 B4")],
        harmony: "1/2 C 1/2 G7",
        ..PLAIN
    },
    Sketch {
        rule: "harmony/doubled-leading-note",
        players: "oboe, violin-1 8 players, violin-2 8 players",
        lines: "oboe plays run as harmony\n violin-1 plays song as melody\n violin-2 plays tune as harmony",
        good: &["1/2 E4 F4", "1/2 G4 G4"],
        bad: &["1/2 E4 B3", "1/2 G4 B3"],
        voices: &[("run", "1/16 E5 F E F E F E F E F E F E F E F"), ("song", "1/2 C5 B4")],
        harmony: "1/2 C 1/2 G7",
        ..PLAIN
    },
    Sketch {
        rule: "harmony/muddy",
        era: 1885,
        players: "cello 4 players, double-bass 2 players",
        lines: "cello plays tune as harmony\n double-bass plays low as bass",
        good: &["1/1 C3", "1/2 C4 F3"],
        bad: &["1/1 A2", "1/2 Ab2 C4", "1/2 C3 G2"],
        voices: &[("low", "1/1 F2")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/muddy",
        era: 1885,
        players: "oboe, cello 4 players, double-bass 2 players",
        lines: "oboe plays run as harmony\n cello plays tune as harmony\n double-bass plays low as bass",
        good: &["1/1 C3", "1/2 C4 F3"],
        bad: &["1/1 A2", "1/2 Ab2 C4", "1/2 C3 G2"],
        voices: &[("run", "1/16 E5 F E F E F E F E F E F E F E F"), ("low", "1/1 F2")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/parallels",
        players: "violin-1 8 players, viola 4 players",
        lines: "violin-1 plays song as melody\n viola plays tune as harmony",
        good: &["1/2 G4 C4", "1/2 B4 C4"],
        bad: &["1/2 G4 A4", "1/2 D4 E4"],
        voices: &[("song", "1/2 D5 E5")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/cross-relation",
        era: 1885,
        players: "flute, clarinet in Bb",
        lines: "flute plays song as melody\n clarinet plays tune as harmony",
        good: &["1/1 A4", "1/2 D4 A4"],
        bad: &["1/1 F4", "1/2 F4 A4"],
        voices: &[("song", "1/1 F#5")],
        ..PLAIN
    },
    Sketch {
        rule: "harmony/doubled-seventh",
        players: "flute, violin-1 8 players, cello 4 players",
        lines: "flute plays song as melody\n violin-1 plays tune as harmony\n cello plays low as bass",
        good: &["1/1 B4", "1/2 D5 B4"],
        bad: &["1/1 F4", "1/1 F4&B4"],
        voices: &[("song", "1/1 F5"), ("low", "1/1 G2")],
        harmony: "G7",
        ..PLAIN
    },
    Sketch {
        rule: "harmony/unresolved-seventh",
        players: "flute, violin-1 8 players, cello 4 players",
        lines: "flute plays song as melody\n violin-1 plays tune as harmony\n cello plays low as bass",
        good: &["1/2 E4 1/4 E4 D4", "1/2 D4 E4"],
        bad: &["1/2 F4 G4", "1/4 E4 F4 1/2 G4"],
        voices: &[("song", "1/2 B4 C5"), ("low", "1/2 G2 C3")],
        harmony: "1/2 G7 C",
        ..PLAIN
    },
    Sketch {
        rule: "harmony/crossing",
        players: "oboe 2",
        lines: "oboe.1 plays song as harmony\n oboe.2 plays tune as harmony",
        good: &["1/1 G4", "1/2 E4 G4"],
        bad: &["1/1 E5", "1/2 E5 G5"],
        voices: &[("song", "1/1 C5")],
        ..PLAIN
    },
];
