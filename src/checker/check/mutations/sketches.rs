//! The sketches from which pieces are made and broken: one for every rule, or more.

mod harmony;

#[derive(Clone, Copy)]
pub(super) struct Sketch {
    pub rule: &'static str,
    pub era: i32,
    /// Quarters a minute.
    pub tempo: u32,
    /// Fewest and most bars of the piece.
    pub bars: (usize, usize),
    pub players: &'static str,
    /// Scoring lines; the voice that is broken is called `tune`.
    pub lines: &'static str,
    /// Lines that are there only before and only after the break: `{n}` is the place, `{n-1}` and
    /// `{n+1}` are its neighbours, `{last}` is the last bar.
    pub lines_before: &'static str,
    pub lines_after: &'static str,
    pub good: &'static [&'static str],
    pub bad: &'static [&'static str],
    /// How many bars in a row are broken.
    pub length: usize,
    /// Are the last bars broken, and not any?
    pub at_end: bool,
    /// Other voices with the one bar of which they consist.
    pub voices: &'static [(&'static str, &'static str)],
    /// What is sung to each bar of `tune`; nothing to those that are broken.
    pub sung: &'static str,
    pub harmony: &'static str,
    pub dynamic: &'static str,
    pub mark: bool,
}

const PLAIN: Sketch = Sketch {
    rule: "",
    era: 1810,
    tempo: 96,
    bars: (6, 14),
    players: "",
    lines: "",
    lines_before: "",
    lines_after: "",
    good: &["1/1 C5"],
    bad: &[],
    length: 1,
    at_end: false,
    voices: &[],
    sung: "",
    harmony: "",
    dynamic: "",
    mark: false,
};

const OBOE: Sketch = Sketch {
    era: 1770,
    players: "oboe",
    lines: "oboe plays tune as melody",
    good: &["1/4 D5 E5 G5 A5", "1/2 G4 B4", "1/8 D5 E F G 1/2 A"],
    ..PLAIN
};

const HORN: Sketch = Sketch {
    era: 1770,
    players: "horn crook D",
    lines: "horn plays tune as harmony",
    good: &["1/2 D4 F#4", "1/4 A3 D4 E4 F#4", "1/1 A3"],
    ..PLAIN
};

const DRUMS: Sketch = Sketch {
    players: "timpani tuned C3, G2",
    lines: "timpani plays tune as rhythm",
    good: &["1/2 C3 G2", "1/4 C3 rest G2 C3"],
    ..PLAIN
};

const TROMBONE: Sketch = Sketch {
    tempo: 120,
    players: "tenor-trombone",
    lines: "tenor-trombone plays tune as harmony",
    good: &["1/2 D4 C4", "1/8 Bb3 C4 D C 1/2 Bb3"],
    ..PLAIN
};

const TRUMPETS: Sketch = Sketch {
    era: 1885,
    tempo: 60,
    bars: (24, 30),
    players: "trumpet 3 in C",
    lines: "trumpet plays tune as rhythm",
    ..PLAIN
};

const VIOLINS: Sketch = Sketch {
    players: "violin-1 4 players",
    lines: "violin-1 plays tune as harmony",
    good: &["1/2 G4 B4", "1/2 G4 1/4 A4 rest"],
    ..PLAIN
};

/// All sketches.
pub(super) fn sketches() -> impl Iterator<Item = &'static Sketch> {
    SKETCHES.iter().chain(harmony::SKETCHES)
}

const SKETCHES: &[Sketch] = &[
    Sketch {
        rule: "coverage/voice-left-out",
        lines: "",
        lines_before: "oboe plays tune as melody",
        lines_after: "oboe plays tune bars 1..{n-1}, {n+1}..{last} as melody",
        ..OBOE
    },
    Sketch {
        rule: "coverage/filling-left-out",
        players: "oboe 2",
        lines: "oboe.1 plays tune as melody",
        lines_before: "oboe.2 plays fill as harmony",
        lines_after: "oboe.2 plays fill bars 1..{n-1}, {n+1}..{last} as harmony",
        voices: &[("fill", "1/1 E4")],
        ..OBOE
    },
    Sketch {
        rule: "coverage/up-beat-left",
        players: "oboe 2",
        lines: "",
        lines_before: "oboe.1 plays tune as melody\n oboe.2 rests",
        lines_after: "oboe.1 plays tune bars 1..{n-1} as melody\n oboe.2 plays tune bars {n}..{last} as melody",
        good: &["1/2. D5 1/4 E5", "1/2. G5 1/8 F5 E5"],
        ..OBOE
    },
    Sketch {
        rule: "coverage/mid-phrase",
        players: "oboe 2",
        lines: "",
        lines_before: "oboe.1 plays tune as melody\n oboe.2 rests",
        lines_after: "oboe.1 plays tune bars 1..{n-1} as melody\n oboe.2 plays tune bars {n}..{last} as melody",
        good: &["1/4 D5 rest G5 A5", "1/4 F5 rest E5 G5"],
        ..OBOE
    },
    Sketch {
        rule: "allow/unknown-rule",
        lines_after: "allow compas on oboe bars {n} \"a slip\"",
        ..OBOE
    },
    Sketch {
        rule: "allow/unused",
        lines_after: "allow compass on oboe bars {n} \"nothing there\"",
        ..OBOE
    },
    Sketch {
        rule: "compass/beyond-instrument",
        bad: &["1/4 D5 A3 G5 A5", "1/2 G4 Bb6", "1/1 C8", "grace(1/16 G3) 1/1 D5"],
        ..OBOE
    },
    Sketch {
        rule: "compass/outside-custom",
        bad: &["1/4 D5 E6 D5 E5", "1/2 C4 D4", "1/8 Eb6 D C D 1/2 D5"],
        ..OBOE
    },
    Sketch {
        rule: "compass/high-and-loud",
        era: 1810,
        tempo: 60,
        bars: (10, 16),
        good: &["1/2 D5 1/4 E5 rest", "1/4 F5 G5 A5 rest"],
        bad: &["1/2 C6 1/4 D6 rest", "1/4 C6 D6 E6 rest"],
        length: 5,
        dynamic: "f",
        ..OBOE
    },
    Sketch {
        rule: "compass/does-not-carry",
        era: 1885,
        players: "flute, oboe 2, bassoon 2, horn 2 in F, trumpet 2 in C, violin-1 8 players",
        lines: "flute plays tune as melody\n oboe, bassoon, horn, trumpet, violin-1 plays fill as harmony",
        good: &["1/1 E5", "1/2 D5 G5"],
        bad: &["1/1 E4", "1/2 D4 G5", "1/4 E5 G4 C5 C5"],
        voices: &[("fill", "1/1 C4")],
        dynamic: "f",
        ..PLAIN
    },
    Sketch {
        rule: "lyrics/no-words",
        players: "soprano",
        lines: "soprano plays tune as melody",
        good: &["1/2 D5 E5", "1/4 G4 3/4 A4"],
        sung: "row on",
        ..PLAIN
    },
    Sketch {
        rule: "names/idle-player",
        players: "oboe 2",
        lines: "oboe.1 plays tune as melody",
        lines_before: "oboe.2 plays tune as harmony",
        ..OBOE
    },
    Sketch {
        rule: "names/unused-voice",
        players: "oboe 2",
        lines: "oboe.1 plays tune as melody",
        lines_before: "oboe.2 plays under as harmony",
        lines_after: "oboe.2 plays tune as harmony",
        voices: &[("under", "1/1 E4")],
        ..OBOE
    },
    Sketch {
        rule: "natural-brass/drum-not-tuned",
        bad: &["1/2 C3 A2", "1/4 C3 F2 C3 C3", "1/1 D3", "grace(1/16 A2) 1/1 C3"],
        ..DRUMS
    },
    Sketch {
        rule: "natural-brass/no-partial",
        era: 1740,
        bad: &["1/2 D4 F4", "1/4 A3 Eb4 D4 D4", "1/1 Bb3"],
        ..HORN
    },
    Sketch {
        rule: "natural-brass/no-time-to-change",
        good: &["1/2 D4 D4", "1/1 D4"],
        lines_after: "horn takes crook F bar {n}",
        ..HORN
    },
    Sketch {
        rule: "natural-brass/out-of-tune",
        bad: &["1/1 C4", "1/2 D4 C4", "1/2 G4 A4"],
        ..HORN
    },
    Sketch {
        rule: "natural-brass/risky-note",
        players: "horn crook A",
        good: &["1/2 A4 C#5", "1/4 A4 E5 A4 C#5"],
        bad: &["1/1 G#5", "1/2 A4 A5"],
        ..HORN
    },
    Sketch {
        rule: "natural-brass/second-player-high",
        players: "horn 2 crook D",
        lines: "horn.1 rests\n horn.2 plays tune as harmony",
        bad: &["1/1 D5", "1/2 A4 C#5"],
        ..HORN
    },
    Sketch {
        rule: "natural-brass/stopped",
        era: 1790,
        bad: &["1/2 F4 D4", "1/4 D4 Eb4 D4 D4"],
        ..HORN
    },
    Sketch {
        rule: "agility/bass-run",
        tempo: 168,
        players: "double-bass 3 players",
        lines: "double-bass plays tune 8vb as bass",
        good: &["1/4 D3 F A F", "1/2 D3 A3"],
        bad: &["1/8 D3 E F G A G F E", "1/8 A3 G F E D E F G"],
        length: 2,
        ..PLAIN
    },
    Sketch {
        rule: "agility/no-time-to-take",
        lines_after: "oboe takes cor-anglais bar {n}",
        ..OBOE
    },
    Sketch {
        rule: "notation/no-such-way",
        lines: "",
        lines_before: "oboe plays tune as melody",
        lines_after: "oboe plays tune as melody bars {n} pizz",
        ..OBOE
    },
    Sketch {
        rule: "agility/drum-sticking",
        bad: &["1/32 C3 G2 C3 G2 1/8 C3 1/4 C3 C3 C3", "1/4 C3 1/32 G2 C3 G2 C3 1/8 G2 1/2 C3"],
        ..DRUMS
    },
    Sketch {
        rule: "agility/impossible-trill",
        bad: &["1/1 D4[trill]", "1/2 C4 Bb3[turn]", "1/2 C4[mordent] C4"],
        ..TROMBONE
    },
    Sketch {
        rule: "agility/leap",
        players: "clarinet in Bb",
        lines: "clarinet plays tune as harmony",
        good: &["1/8 D4 A4 D4 A4 1/2 D4", "1/2 D4 D5"],
        bad: &["1/8 D4 D5 D4 D5 1/2 D4", "1/2 D4 1/8 E4 G5 E4 G5"],
        tempo: 120,
        ..PLAIN
    },
    Sketch {
        rule: "agility/slide",
        bad: &[
            "1/8 Bb2 B2 Bb2 B2 1/2 Bb2",
            "1/2 D4 1/8 F3 B2 1/4 Bb2",
            "1/2 D4 grace(1/16 B2) 1/2 Bb2",
        ],
        ..TROMBONE
    },
    Sketch {
        rule: "agility/too-fast",
        era: 1885,
        tempo: 120,
        players: "horn in F",
        lines: "horn plays tune as harmony",
        good: &["1/8 D4 E F G A G F E", "1/4 D4 A4 D4 D4"],
        bad: &[
            "1/16 D4 E F G A G F E D E F G A G F E",
            "1/2 D4 1/32 D4 E F G A G F E D E F G A G F E",
        ],
        ..PLAIN
    },
    Sketch {
        rule: "endurance/lips",
        players: "trumpet in C",
        good: &["1/4 C5 rest rest rest", "rest"],
        bad: &["1/4 C5 C5 C5 rest", "1/4 C5 rest G4 C5"],
        length: 17,
        ..TRUMPETS
    },
    Sketch {
        rule: "endurance/loud-for-long",
        good: &["[mf] 1/2 C5 1/4 C5 rest"],
        bad: &["[ff] 1/2 C5 1/4 C5 rest"],
        length: 9,
        ..TRUMPETS
    },
    Sketch {
        rule: "endurance/no-breath",
        tempo: 60,
        bars: (12, 16),
        good: &["3/4 D5 1/4 rest", "1/4 D5 E5 F5 rest"],
        bad: &["1/16 D5 E F G A G F E D E F G A G F E"],
        length: 7,
        ..OBOE
    },
    Sketch {
        rule: "strings/divisi",
        players: "violin-1 3 players",
        bad: &["1/1 G3&B3", "1/2 G3 A3&C4"],
        ..VIOLINS
    },
    Sketch {
        rule: "strings/double-stop",
        players: "violin-1 1 players",
        good: &["1/2 G3&E4 B4", "1/1 D4&A4", "1/1 D6[harmonic D4]"],
        bad: &["1/1 G3&B3", "1/2 G4 A3&C4", "1/1 Bb3&G5", "1/1 Ab4[harmonic Ab3]"],
        ..VIOLINS
    },
    Sketch {
        rule: "strings/no-time-to-change",
        bad: &["1/2 G4 [pizz] 1/4 G4 rest [arco]", "1/4 G4 [muted] G4 [unmuted] 1/2 G4"],
        ..VIOLINS
    },
    Sketch {
        rule: "balance/melody-covered",
        era: 1885,
        players: "flute, trumpet 2 in C",
        lines: "flute plays song as melody\n trumpet plays tune as harmony",
        good: &["[pp] 1/1 C5", "[pp] 1/2 C5 G4", "rest"],
        bad: &["[f] 1/1 C5", "[f] 1/2 C5 D5"],
        voices: &[("song", "1/1 E5")],
        ..PLAIN
    },
    Sketch {
        rule: "balance/bass-thin",
        era: 1885,
        players: "flute 2, oboe 2, horn 4 in F, trumpet 2 in C, tenor-trombone 2, \
                  violin-1 12 players, cello 6 players, bassoon 2",
        lines: "violin-1, flute, oboe plays song as melody\n \
                horn, trumpet, tenor-trombone plays fill as harmony\n \
                bassoon.1 plays low as bass\n cello, bassoon.2 plays tune as bass",
        good: &["1/1 C3", "1/2 C3 C3"],
        bad: &["rest"],
        length: 2,
        voices: &[("song", "1/1 E5"), ("fill", "1/1 C4"), ("low", "1/1 C3")],
        dynamic: "f",
        ..PLAIN
    },
    Sketch {
        rule: "balance/one-colour",
        bars: (60, 70),
        players: "flute, oboe, clarinet in Bb, violin-1 8 players",
        lines: "oboe, clarinet rests",
        lines_before: "violin-1 plays tune bars 1..30 as melody\n flute plays tune bars 31..{last} as melody",
        lines_after: "violin-1 plays tune as melody\n flute rests",
        good: &["1/2 E5 1/4 D5 rest", "1/1 C5"],
        ..PLAIN
    },
    Sketch {
        rule: "economy/nothing-new",
        players: "flute, oboe, clarinet in Bb, bassoon, violin-1 8 players, cello 4 players",
        lines: "violin-1, flute plays tune as melody\n cello, bassoon, clarinet plays low as bass",
        lines_before: "oboe plays tune bars {n}..{last} as melody",
        lines_after: "oboe plays tune as melody",
        voices: &[("low", "1/1 C3")],
        mark: true,
        ..PLAIN
    },
    Sketch {
        rule: "economy/overused",
        era: 1885,
        bars: (20, 24),
        players: "violin-1 12 players, cymbals",
        lines: "violin-1 plays song as melody\n cymbals plays tune as highlight",
        good: &["rest"],
        bad: &["1/4 x rest rest rest", "1/2 x x"],
        length: 6,
        voices: &[("song", "1/2 E5 D5")],
        ..PLAIN
    },
    Sketch {
        rule: "compass/not-yet-built",
        era: 1725,
        players: "flute",
        lines: "flute plays tune as melody",
        lines_after: "flute takes piccolo bar {n}",
        ..PLAIN
    },
    Sketch {
        rule: "notation/ledger-lines",
        era: 1885,
        players: "cello 4 players",
        lines: "cello plays tune as bass",
        good: &["1/4 C2 G2 C4 G2", "1/1 C3"],
        bad: &["1/4 C2 G2 C6 G2", "1/2 C2 B5"],
        ..PLAIN
    },
    Sketch {
        rule: "agility/grasp",
        era: 1885,
        players: "harp",
        lines: "harp plays tune as harmony",
        good: &["1/1 C3&G3&C4&E4", "1/2 C4&E4 G4"],
        bad: &["1/1 C3&E3&G3&C4&E4&G4&C5&E5&G5", "1/2 C2&C4&E6 G4"],
        ..PLAIN
    },
    Sketch {
        rule: "agility/pedals",
        era: 1885,
        tempo: 120,
        players: "harp",
        lines: "harp plays tune as harmony",
        good: &["1/8 C5 E G C6 B5 G E D", "1/2 C5&E5 G5"],
        bad: &["1/16 C5 C# D D# E F F# G G# A A# B C6 B5 A G", "1/2 C5&C#6 G5", "1/2 F##5 G#5"],
        ..PLAIN
    },
    Sketch {
        rule: "compass/player-rank",
        era: 1885,
        players: "horn 2 in F",
        lines: "horn.1 plays fill as harmony\n horn.2 plays tune as harmony",
        good: &["1/1 E4", "1/2 G4 C4"],
        bad: &["1/1 D5", "1/2 C#5 A4"],
        voices: &[("fill", "1/1 G4")],
        ..PLAIN
    },
    Sketch {
        rule: "notation/ragged-end",
        players: "oboe 2",
        lines: "oboe.1 plays song as melody\n oboe.2 plays tune as harmony",
        good: &["1/1 G4"],
        bad: &["1/2 G4 rest", "1/4 E4 rest rest rest"],
        at_end: true,
        voices: &[("song", "1/1 C5")],
        ..PLAIN
    },
    Sketch {
        rule: "notation/typed-as-written",
        players: "oboe, clarinet in Bb",
        lines: "oboe plays song as melody",
        lines_before: "clarinet plays tune as harmony",
        good: &["1/1 G4", "1/2 E4 G4"],
        lines_after: "clarinet plays tune bars 1..{n-1}, {n+1}..{last} as harmony\n\
                      clarinet writes as harmony {\n{n}: 1/4 F#4 A4 D5 A4 |\n}",
        voices: &[("song", "1/1 C5")],
        harmony: "C",
        ..PLAIN
    },
    Sketch {
        rule: "notation/worse-key",
        players: "clarinet in Bb",
        lines: "clarinet plays tune as melody",
        lines_after: "clarinet takes in B bar {n}",
        ..PLAIN
    },
    Sketch {
        rule: "strings/slur-too-long",
        tempo: 20,
        good: &["{1/4 G4 A4} {B4 G4}", "1/2 G4 B4"],
        bad: &["{1/4 G4 A4 B4 C5}", "{1/2 G4 B4}"],
        ..VIOLINS
    },
];
