//! What handbooks say in general, written out as music of our own: the rules must let it pass, and
//! must find the same passage when it is abused, that and nothing else.
//!
//! Rules on wind, brass and drums are tried on public scores nowhere (there are only strings among
//! them), so these passages stand beside the mutations. Each names where the statement comes from;
//! what nobody prints as a statement is called common practice.

use super::tests::findings;

/// A passage that handbooks would pass, and what spoils it.
#[derive(Clone, Copy)]
struct Excerpt {
    /// The statement.
    says: &'static str,
    /// Author, title, year, place.
    source: &'static str,
    era: i32,
    /// Quarters a minute.
    tempo: u32,
    key: &'static str,
    players: &'static str,
    /// Each voice with its bars, without numbers.
    voices: &'static [(&'static str, &'static [&'static str])],
    lines: &'static str,
    harmony: &'static [&'static str],
    dynamics: &'static str,
    /// What is replaced by what, and the codes that are then found.
    abuses: &'static [(&'static str, &'static str, &'static [&'static str])],
}

const PLAIN: Excerpt = Excerpt {
    says: "",
    source: "",
    era: 1770,
    tempo: 96,
    key: "C major",
    players: "",
    voices: &[],
    lines: "",
    harmony: &[],
    dynamics: "1 mf",
    abuses: &[],
};

const GROVE_HORN: &str = "Grove, A Dictionary of Music and Musicians, vol. 1, \"Horn\", p. 749-750; \
                          ranks: Domnich, 1808, and Dauprat, 1824, from memory";
const GROVE_DRUM: &str = "Grove, A Dictionary of Music and Musicians, vol. 1, \"Drum\", p. 464";
const PRINCIPLES: &str = "Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I";
const JOHNSTONE: &str = "Johnstone, Instruments of the Modern Symphony Orchestra, 1917";

const PASSAGES: &[Excerpt] = &[
    Excerpt {
        says: "Horns hold the harmony on their open notes, the second below the first.",
        source: GROVE_HORN,
        key: "D major",
        players: "horn 2 crook D",
        voices: &[
            ("high", &["1/1 F#4", "1/2 E4 F#4", "1/1 A4", "1/1 F#4"]),
            ("low", &["1/1 D4", "1/2 A3 D4", "1/1 D4", "1/1 D4"]),
        ],
        lines: "horn.1 plays high as harmony\n horn.2 plays low as harmony",
        abuses: &[
            ("1/1 A4", "1/1 G4", &["natural-brass/out-of-tune"]),
            ("1/1 A4", "1/1 C#5", &["natural-brass/risky-note"]),
            ("1/2 A3 D4", "1/2 B3 D4", &["natural-brass/stopped"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Horns call in sixths, fifths and thirds.",
        source: GROVE_HORN,
        tempo: 108,
        key: "F major",
        players: "horn 2 crook F",
        voices: &[
            (
                "high",
                &["1/4 F4 G4 A4 rest", "1/8 C5 A4 1/4 G4 F4 rest", "1/4 F4 G4 A4 G4", "1/1 F4"],
            ),
            (
                "low",
                &["1/4 A3 C4 F4 rest", "1/8 A4 F4 1/4 C4 A3 rest", "1/4 A3 C4 F4 C4", "1/1 A3"],
            ),
        ],
        lines: "horn.1 plays high as rhythm\n horn.2 plays low as rhythm",
        abuses: &[
            ("1/8 A4 F4 1/4", "1/8 D5 F4 1/4", &["natural-brass/second-player-high"]),
            ("1/4 A3 C4 F4 C4", "1/4 A3 D4 F4 C4", &["natural-brass/stopped"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Horns repeat a note in eighths.",
        source: "common practice; single tonguing is common to all wind: Rimsky-Korsakov, \
                 Principles of Orchestration, tr. Agate, 1922, ch. I",
        tempo: 120,
        key: "D major",
        players: "horn 2 crook D",
        voices: &[("beat", &["1/8 D4 D D D D D D D", "1/8 D4 D D D D D 1/4 D", "1/1 D4"])],
        lines: "horn plays beat as rhythm",
        abuses: &[
            (
                "1/8 D4 D D D D D D D",
                "1/32 D4 D D D D D D D D D D D D D D D 1/2 D4",
                &["agility/too-fast"],
            ),
            ("1/8 D4 D D D D D D D", "1/8 D3 D4 1/4 D4 1/2 D4", &["agility/leap"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "A crook is changed in a long rest.",
        source: "common practice: the player takes the crook out, warms the tube and finds the note",
        key: "D major",
        players: "horn 2 crook D",
        voices: &[("hold", &["1/1 D4", "rest", "rest", "rest", "rest", "1/1 A4"])],
        lines: "horn plays hold as harmony\n horn takes crook A bar 5",
        abuses: &[(
            "4: rest | 5: rest",
            "4: 1/1 D4 | 5: rest",
            &["natural-brass/no-time-to-change"],
        )],
        ..PLAIN
    },
    Excerpt {
        says: "Valve horns have the chromatic scale.",
        source: "Johnstone, Instruments of the Modern Symphony Orchestra, 1917, \"French Horn\"",
        era: 1885,
        players: "horn 2 in F",
        voices: &[("scale", &["1/4 C4 C# D Eb", "1/4 E4 F F# G", "1/1 C4"])],
        lines: "horn plays scale as harmony",
        abuses: &[
            ("1/4 E4 F F# G", "1/4 E5 F5 G4 G", &["compass/outside-custom"]),
            (
                "horn 2 in F",
                "horn 2 crook F",
                &["natural-brass/out-of-tune", "natural-brass/stopped"],
            ),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Trumpets and drums mark the cadence on tonic and dominant.",
        source: GROVE_DRUM,
        key: "D major",
        players: "trumpet 2 crook D, timpani tuned D3, A2",
        voices: &[
            ("high", &["rest", "1/4 A4 rest A4 A4", "1/4 F#5 rest E5 rest", "1/2 D5 rest"]),
            ("low", &["rest", "1/4 A3 rest A3 A3", "1/4 D5 rest A4 rest", "1/2 D4 rest"]),
            (
                "drums",
                &["rest", "1/4 A2 rest A2 A2", "1/4 D3 rest A2 rest", "1/2 D3[tremolo] rest"],
            ),
        ],
        lines: "trumpet.1 plays high as rhythm\n trumpet.2 plays low as rhythm\n \
                timpani plays drums as rhythm",
        dynamics: "1 f",
        abuses: &[
            ("1/4 D3 rest A2 rest", "1/4 D3 rest G2 rest", &["natural-brass/drum-not-tuned"]),
            ("1/4 F#5 rest E5 rest", "1/4 F#5 rest D5 B4", &["natural-brass/no-partial"]),
            ("D3[tremolo]", "D3[trill]", &["agility/impossible-trill"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Before 1760 the first trumpet plays in the clarino register.",
        source: "Altenburg, 1795, general recollection: partials 8 to 16",
        era: 1725,
        key: "D major",
        players: "trumpet crook D",
        voices: &[("tune", &["1/8 D5 E F# G A F# D E", "1/8 A5 B C#6 D 1/4 A5 rest", "1/1 D5"])],
        lines: "trumpet plays tune as melody",
        abuses: &[
            ("era 1725", "era 1770", &["compass/outside-custom"]),
            ("1/8 D5 E F# G A F# D E", "1/8 D5 E 1/2 C6 1/4 A5", &["natural-brass/out-of-tune"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "The first violins lead while wind and violas hold the harmony.",
        source: "common practice of the classical tutti",
        players: "oboe 2, horn 2 crook C basso, violin-1 6 players, violin-2 6 players, viola 3 players, \
                  cello 3 players, double-bass 2 players",
        voices: &[
            (
                "tune",
                &["1/4 E5 G5 C6 G5", "1/4 F5 D5 B5 G5", "1/4 E5 G5 C6 G5", "1/4 C6 B5 C6 rest"],
            ),
            ("wind", &["1/1 G5", "1/1 G5", "1/1 G5", "1/1 G5"]),
            ("second", &["1/1 E5", "1/1 D5", "1/1 E5", "1/1 E5"]),
            ("horns", &["1/1 E5", "1/1 D5", "1/1 E5", "1/1 E5"]),
            ("middle", &["1/1 C5", "1/1 B4", "1/1 C5", "1/1 C5"]),
            ("low", &["1/4 C3 C C C", "1/4 G2 G G G", "1/4 C3 C C C", "1/1 C3"]),
        ],
        lines: "violin-1 plays tune as melody\n oboe.1 plays wind as harmony\n \
                oboe.2 plays second as harmony\n horn plays horns 8vb as harmony\n \
                viola, violin-2 plays middle as harmony\n cello, double-bass plays low as bass",
        dynamics: "1 p\n 2 mf\n 3 f",
        abuses: &[("1/4 F5 D5 B5 G5", "1/4 D5 F5 B5 G5", &["harmony/parallels"])],
        ..PLAIN
    },
    Excerpt {
        says: "Drums are retuned one at a time while the others play on.",
        source: GROVE_DRUM,
        era: 1810,
        tempo: 80,
        players: "timpani tuned G2, C3",
        voices: &[("drums", &["1/4 C3 G2 C3 rest", "rest", "rest", "rest", "1/4 D3 G2 G2 rest"])],
        lines: "timpani plays drums as rhythm\n timpani takes tuned G2, D3 bar 3",
        abuses: &[
            ("3: rest", "3: 1/1 G2", &["natural-brass/no-time-to-change"]),
            ("takes tuned G2, D3", "takes tuned A2, C3", &["natural-brass/drum-not-tuned"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Single strokes alternate between the drums in eighths; what is quicker is a roll.",
        source: "common practice",
        era: 1810,
        tempo: 120,
        players: "timpani tuned G2, C3",
        voices: &[("drums", &["1/8 C3 G2 C3 G2 1/2 C3[tremolo]", "1/8 C3 C C C 1/2 G2"])],
        lines: "timpani plays drums as rhythm",
        abuses: &[("1/8 C3 C C C", "1/32 C3 G2 C3 G2 1/8 C3 1/4 C3", &["agility/drum-sticking"])],
        ..PLAIN
    },
    Excerpt {
        says: "Oboes of about 1770 sing between D4 and D6.",
        source: "common practice; instrument C4 (no C#4) up: Hotteterre, 1707, from memory",
        key: "D minor",
        players: "oboe 2",
        voices: &[("tune", &["1/4 D4 F A D5", "1/2 F5 D6", "1/4 C#6 A5 E5 rest", "1/1 D5"])],
        lines: "oboe plays tune as melody",
        abuses: &[
            ("1/2 F5 D6", "1/2 F5 E6", &["compass/outside-custom"]),
            ("1/4 D4 F A D5", "1/4 D4 F A C#4", &["compass/outside-custom"]),
            ("1/4 D4 F A D5", "1/4 D4 F A Bb3", &["compass/beyond-instrument"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Oboe and bassoon are the best at staccato.",
        source: PRINCIPLES,
        era: 1885,
        tempo: 112,
        players: "oboe, bassoon",
        voices: &[
            ("high", &["1/16 G5[stacc] G G G A A A A G G G G E E E E", "1/1 D5"]),
            ("low", &["1/16 G3[stacc] G G G A A A A G G G G E E E E", "1/1 D3"]),
        ],
        lines: "oboe plays high as melody\n bassoon plays low as harmony",
        abuses: &[(
            "tempo 1/4 at 112",
            "tempo 1/4 at 150",
            &["agility/too-fast", "agility/too-fast"],
        )],
        ..PLAIN
    },
    Excerpt {
        says: "Double tonguing: of the woodwind the flute alone.",
        source: PRINCIPLES,
        era: 1885,
        tempo: 138,
        players: "flute, oboe",
        voices: &[("tune", &["1/16 D6 D D D E E E E D D D D B5 B B B", "1/1 A5"])],
        lines: "flute plays tune as melody\n oboe rests",
        abuses: &[
            (
                "flute plays tune as melody\n oboe rests",
                "oboe plays tune as melody\n flute rests",
                &["agility/too-fast"],
            ),
            ("tempo 1/4 at 138", "tempo 1/4 at 208", &["agility/too-fast"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "The bassoon goes with the bass, an octave above the double basses.",
        source: "common practice; compass Bb1 to G4: several charts of the 18th century, from memory",
        tempo: 120,
        players: "bassoon, cello 3 players, double-bass 2 players",
        voices: &[("low", &["1/8 C3 C E E G G E C", "1/4 F3 G3 G2 G2", "1/1 C3"])],
        lines: "bassoon, cello plays low as bass\n double-bass plays low 8vb as bass",
        abuses: &[
            (
                "bassoon, cello plays low as bass",
                "bassoon plays low 15ma as bass\n cello plays low as bass",
                &["compass/beyond-instrument"],
            ),
            ("plays low 8vb as bass", "plays low 15mb as bass", &["compass/beyond-instrument"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Clarinets have arpeggios in the chalumeau: slurred arpeggios are flute's and clarinet's.",
        source: PRINCIPLES,
        era: 1810,
        tempo: 92,
        key: "Bb major",
        players: "clarinet 2 in Bb",
        voices: &[(
            "waves",
            &[
                "{1/16 D3 F Bb D4} {Bb3 F D F} {D F Bb D4} {Bb3 F D F}",
                "{1/16 Eb3 F A C4} {A3 F Eb F} {Eb F A C4} {A3 F Eb F}",
                "1/2 D3 rest",
            ],
        )],
        lines: "clarinet plays waves as harmony",
        abuses: &[
            ("1/2 D3 rest", "1/2 C3 rest", &["compass/beyond-instrument"]),
            ("1/2 D3 rest", "1/16 D3 D4 D3 D4 D3 D4 D3 D4 D3 D4 D3 D4 1/4 rest", &["agility/leap"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "The flute tells from C5 to G6.",
        source: "common practice; Grove, A Dictionary of Music and Musicians, vol. 1, \"Flute\", p. 537",
        era: 1885,
        players: "flute 2, oboe 2, bassoon 2, horn 4 in F, trumpet 2 in C, violin-1 12 players, cello 8 players",
        voices: &[
            ("tune", &["1/2 G5 C6", "1/2 E6 G6", "1/1 C6"]),
            ("fill", &["1/1 G4", "1/1 G4", "1/1 G4"]),
            ("low", &["1/1 C3", "1/1 C3", "1/1 C3"]),
        ],
        lines: "flute plays tune as melody\n oboe, horn, trumpet, violin-1 plays fill as harmony\n \
                bassoon, cello plays low as bass",
        dynamics: "1 f",
        abuses: &[
            (
                "flute plays tune as",
                "flute plays tune 15mb as",
                &["compass/beyond-instrument", "compass/does-not-carry"],
            ),
            ("1/2 G5 C6", "1/2 E4 G4", &["compass/does-not-carry"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Trombones play chorale chords, in alto, tenor and bass.",
        source: "Henderson, The Orchestra and Orchestral Music, 1899, ch. V; tenor E2 to Bb4, seven \
                 positions: common practice",
        players: "alto-trombone, tenor-trombone, bass-trombone",
        harmony: &["C", "1/2 F G", "C"],
        voices: &[
            ("alto", &["1/2 G4 G4", "1/2 A4 G4", "1/1 G4"]),
            ("tenor", &["1/2 E4 C4", "1/2 C4 B3", "1/1 C4"]),
            ("bass", &["1/2 C3 E3", "1/2 F3 G3", "1/1 C3"]),
        ],
        lines: "alto-trombone plays alto as harmony\n tenor-trombone plays tenor as harmony\n \
                bass-trombone plays bass as bass",
        abuses: &[
            ("1/2 C4 B3", "1/2 C4 B4", &["compass/outside-custom"]),
            ("1/2 C4 B3", "1/2 C4 B3[trill]", &["agility/impossible-trill"]),
            ("1/2 C4 B3", "1/2 C3 B2", &["harmony/below-bass"]),
            ("1/2 F3 G3", "1/16 F2 G2 1/8 F2 1/4 F2 1/2 G3", &["agility/slide"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Two players of a pair breathe in turn.",
        source: "woodwind cannot hold very long passages, give rests: Rimsky-Korsakov, Principles \
                 of Orchestration, tr. Agate, 1922, ch. I; in turn: common practice",
        era: 1885,
        tempo: 60,
        players: "flute 2",
        voices: &[(
            "tune",
            &[
                "{1/4 D5 E F G",
                "1/4 A5 G F E",
                "1/4 D5 E F G",
                "1/4 A5 G F E",
                "1/4 D5 E F G}",
                "1/1 D5",
            ],
        )],
        lines: "flute plays tune as melody",
        abuses: &[(
            "flute plays tune as melody",
            "flute.1 plays tune as melody\n flute.2 rests",
            &["endurance/no-breath"],
        )],
        ..PLAIN
    },
    Excerpt {
        says: "In forte a horn is two woodwind: four of them leave two oboes free from below.",
        source: PRINCIPLES,
        era: 1885,
        tempo: 72,
        players: "oboe 2, clarinet 2 in Bb, horn 4 in F",
        voices: &[
            ("tune", &["1/2 C5 B4", "1/2 B4 C5", "1/1 C5", "1/1 C5"]),
            ("fill", &["1/1 E4", "1/1 D4", "1/1 E4", "1/1 E4"]),
            ("hold", &["1/1 C4", "1/1 G3", "1/1 C4", "1/1 C4"]),
        ],
        lines: "oboe plays tune as melody\n clarinet plays fill as harmony\n \
                horn plays hold as harmony",
        dynamics: "1 f",
        abuses: &[(
            "1: 1/1 C4 | 2: 1/1 G3 | 3: 1/1 C4 | 4: 1/1 C4",
            "1: 1/1 G4 | 2: 1/1 G4 | 3: 1/1 G4 | 4: 1/1 G4",
            &["balance/melody-covered"],
        )],
        ..PLAIN
    },
    Excerpt {
        says: "Brass wants rests for the lips.",
        source: "common practice",
        era: 1885,
        tempo: 60,
        players: "trumpet in Bb",
        voices: &[(
            "calls",
            &[
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
                "1/4 Bb4 Bb Bb rest",
                "1/4 D5 D D rest",
            ],
        )],
        lines: "trumpet plays calls as rhythm",
        abuses: &[("9: rest", "9: 1/4 Bb4 Bb Bb rest", &["endurance/lips"])],
        ..PLAIN
    },
    Excerpt {
        says: "The bass clarinet is slow of speech: it holds.",
        source: JOHNSTONE,
        era: 1885,
        players: "bass-clarinet",
        voices: &[("low", &["1/2 D2 A2", "1/4 D3 F A F", "1/1 D2"])],
        lines: "bass-clarinet plays low as bass",
        abuses: &[
            ("1/4 D3 F A F", "1/16 D3 D D D D D D D D D D D D D D D", &["agility/too-fast"]),
            ("1/1 D2", "1/1 C2", &["compass/beyond-instrument"]),
        ],
        ..PLAIN
    },
    Excerpt {
        says: "Loud brass: a marked degree less lets the woodwind through.",
        source: "in hard cases mark the woodwind one degree louder than the brass: \
                 Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. III",
        era: 1885,
        tempo: 72,
        players: "flute 2, trumpet 2 in C",
        voices: &[
            ("tune", &["1/2 G5 E5", "1/2 F5 D5", "1/1 E5"]),
            ("hold", &["1/1 C5", "1/1 B4", "1/1 C5"]),
        ],
        lines: "flute plays tune as melody, at mf\n trumpet plays hold as harmony, at p",
        abuses: &[("as harmony, at p", "as harmony, at f", &["balance/melody-covered"])],
        ..PLAIN
    },
];

fn source(passage: &Excerpt) -> String {
    let numbered = |bars: &[&str]| -> String {
        (1..).zip(bars).map(|(number, bar)| format!("{number}: {bar} | ")).collect()
    };
    let last = passage.voices.iter().map(|(_, bars)| bars.len()).max().unwrap_or(1);
    let voices: String = passage
        .voices
        .iter()
        .map(|(name, bars)| format!("voice {name} {{ {}\n}}\n", numbered(bars)))
        .collect();
    let harmony = match passage.harmony {
        [] => String::new(),
        chords => format!("harmony {{ {}}}\n", numbered(chords)),
    };
    format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{\n1 metre 4/4, key {}, tempo 1/4 at {}\n{last} end\n}}\n{harmony}\
         dynamics {{\n{}\n}}\n{voices}ensemble few {{\nera {}\n{}\n}}\n\
         scoring few for few {{\n {}\n}}\n",
        passage.key, passage.tempo, passage.dynamics, passage.era, passage.players, passage.lines
    )
}

#[test]
fn what_handbooks_recommend_gives_no_finding() {
    let mut wrong = Vec::new();
    for passage in PASSAGES {
        assert!(!passage.source.is_empty() && !passage.abuses.is_empty(), "{}", passage.says);
        let found = findings(&source(passage));
        if !found.is_empty() {
            wrong.push(format!("{}\n{found:#?}", passage.says));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_they_warn_of_gives_that_finding_and_no_other() {
    let mut wrong = Vec::new();
    for passage in PASSAGES {
        let text = source(passage);
        for (good, bad, codes) in passage.abuses {
            assert!(text.contains(good), "{}: `{good}` is not in it", passage.says);
            let found = findings(&text.replacen(good, bad, 1));
            let mut told: Vec<&str> = found.iter().map(|finding| finding.code).collect();
            told.sort_unstable();
            if told != *codes {
                wrong.push(format!("{} `{bad}`: {found:#?}", passage.says));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
