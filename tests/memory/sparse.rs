//! Pieces of which there is little in the source for each bar, chord or dynamic: what is kept of each
//! of them counts most there.

use std::fmt::Write;

/// A piece for one player: how many bars, what the form says besides, the bars of the voice, and the
/// blocks behind it.
pub struct Sparse {
    bars: usize,
    form: String,
    voice: String,
    blocks: String,
    /// The line of the ensemble, and the player.
    player: (&'static str, &'static str),
}

/// A line for each of so many bars, from the first or another one on.
fn lines(bars: std::ops::RangeInclusive<usize>, line: impl Fn(usize) -> String) -> String {
    bars.fold(String::new(), |mut text, bar| {
        writeln!(text, "{}", line(bar)).unwrap();
        text
    })
}

impl Sparse {
    /// A flute, with these notes in each bar.
    pub fn flute(bars: usize, notes: &str) -> Sparse {
        Sparse::each(bars, |_| notes.to_string())
    }

    /// A flute, with other notes in each bar.
    pub fn each(bars: usize, notes: impl Fn(usize) -> String) -> Sparse {
        let voice = lines(1..=bars, |bar| format!("{bar}: {} |", notes(bar)));
        let (form, blocks) = (String::new(), String::new());
        Sparse { bars, form, voice, blocks, player: ("flute 1", "flute") }
    }

    /// The same for other players, each of whom plays all of it.
    pub fn played_by(self, line: &'static str, name: &'static str) -> Sparse {
        Sparse { player: (line, name), ..self }
    }

    /// The same without numbers before the bars.
    pub fn without_numbers(self) -> Sparse {
        let bare = self.voice.lines().filter_map(|line| line.split_once(": "));
        let voice = bare.fold(String::new(), |all, (_, bar)| all + bar + "\n");
        Sparse { voice, ..self }
    }

    /// The same with a line of the form for each bar but the first and the last.
    pub fn said_of_bars(self, said: impl Fn(usize) -> String) -> Sparse {
        let form = lines(2..=self.bars - 1, |bar| format!("  {}", said(bar)));
        Sparse { form, ..self }
    }

    /// The same with a block that has a line for each bar.
    pub fn with_block(self, head: &str, line: impl Fn(usize) -> String) -> Sparse {
        let block = lines(1..=self.bars, |bar| format!("  {}", line(bar)));
        Sparse { blocks: format!("{}{head} {{\n{block}}}\n", self.blocks), ..self }
    }

    /// The source.
    pub fn text(&self) -> String {
        let Sparse { bars, form, voice, blocks, player: (line, name) } = self;
        format!(
            "piece \"Figures\" {{ }}\nform {{\n  1 metre 4/4, key D major, tempo 1/4 at 60\n{form}  \
             {bars} end\n}}\nvoice upper {{\n{voice}}}\n{blocks}ensemble all {{\n  era 1885\n  \
             {line}\n}}\nscoring all for all {{\n  {name} plays upper as melody\n}}\n"
        )
    }
}

/// One of several things by turns.
fn turn<'t>(bar: usize, things: &[&'t str]) -> &'t str {
    things[bar % things.len()]
}

/// Pieces of which most is computed, each with its name: the players who hold notes, repeat and signal on
/// the chords that are inferred from one voice or two have many more of them than the source.
pub fn computed() -> Vec<(&'static str, String)> {
    let quarters =
        || Sparse::each(800, |bar| turn(bar, &["1/4 C#5 E G F#", "1/4 D5 A4 B E5"]).into());
    let with = |text: String, ensemble: &str, scoring: &str| {
        let text = text.replace("  flute 1\n}", &format!("  flute 1\n{ensemble}}}"));
        text.replace("  flute plays upper", &format!("{scoring}  flute plays upper"))
    };
    let changing = Sparse::flute(800, "1/4 D5 E F# G").text();
    let bass =
        |bar: usize| format!("{bar}: {} |", turn(bar, &["1/2 D3 A2", "1/1 G2", "1/4 A2 B C#3 D"]));
    let two = quarters().with_block("voice lower", bass).text();
    vec![
        ("one who holds a note with each quarter", {
            with(changing.clone(), "  bassoon 1\n", "  bassoon sustains\n")
        }),
        ("six who hold notes", {
            let six = "  clarinet 2 in Bb\n  bassoon 1\n  violin-1 4 players\n  viola 3 players\n";
            with(changing, six, "  clarinet, bassoon, violin-1, viola sustains\n")
        }),
        ("eight violas who share their notes", {
            with(quarters().text(), "  viola 8\n", "  viola sustains\n")
        }),
        ("an orchestra on two voices", {
            let orchestra = "  oboe 2\n  clarinet 2 in Bb\n  bassoon 2\n  horn 4 in F\n  \
                             trumpet 2 in Bb\n  tenor-trombone 2\n  timpani tuned D3, A2\n  \
                             violin-1 8 players\n  violin-2 8 players\n  viola 6 players\n  \
                             double-bass 3 players\n";
            let lines = "  violin-1 plays upper as melody\n  bassoon plays lower as bass\n  \
                         double-bass plays lower as bass\n  oboe, clarinet sustains\n  \
                         horn sustains\n  trumpet signals upper\n  tenor-trombone sustains\n  \
                         timpani highlights\n  violin-2, viola sustains each beat\n";
            with(two, orchestra, lines)
        }),
    ]
}

/// All shapes, each with its name.
pub fn shapes() -> Vec<(&'static str, String)> {
    let whole = || Sparse::flute(8000, "1/1 D5");
    let sixteenths = "1/16 D5 E F# G A G F# E D E F# G A G F# E";
    let shapes = [
        ("a whole note in each bar", whole()),
        ("the same without numbers", whole().without_numbers()),
        ("a whole note or a rest by turns", {
            Sparse::each(8000, |bar| turn(bar, &["1/1 D5", "rest"]).to_string())
        }),
        ("a rest in nearly each bar", {
            Sparse::each(8000, |bar| if bar == 1 { "1/1 D5" } else { "rest" }.to_string())
        }),
        ("two notes in each bar", Sparse::flute(4000, "1/2 D5 E")),
        ("notes that are held by turns", {
            Sparse::each(3000, |bar| turn(bar, &["1/4 = = = E5", "1/4 D5 = = ="]).to_string())
        }),
        ("a dynamic for each bar", {
            whole().with_block("dynamics", |bar| format!("{bar} {}", turn(bar, &["p", "f"])))
        }),
        ("a dynamic for each beat", {
            Sparse::flute(2000, "1/1 D5").with_block("dynamics", |bar| {
                format!("{bar} p\n  {bar} beat 2 f\n  {bar} beat 3 p\n  {bar} beat 4 f")
            })
        }),
        ("a chord for each bar", {
            whole().with_block("harmony", |bar| format!("{bar}: {} |", turn(bar, &["D", "A", "G"])))
        }),
        ("four chords for each bar", {
            whole().with_block("harmony", |bar| format!("{bar}: 1/4 D A G A |"))
        }),
        ("a key for each bar", {
            whole().said_of_bars(|bar| format!("{bar} key {} major", turn(bar, &["C", "G"])))
        }),
        ("a mark for each bar", whole().said_of_bars(|bar| format!("{bar} mark \"A{bar}\""))),
        ("a tempo for each bar", {
            whole().said_of_bars(|bar| format!("{bar} tempo 1/4 at {}", 60 + bar % 3))
        }),
        ("a double bar for each bar", whole().said_of_bars(|bar| format!("{bar} double-bar"))),
        ("sixteenths", Sparse::flute(2000, sixteenths)),
        ("sixteenths of two", Sparse::flute(2000, sixteenths).played_by("flute 2", "flute")),
        ("marks and slurs", Sparse::flute(3000, "1/4 D5[stacc] E[accent] {F# G}")),
        ("slurs of two", Sparse::flute(3000, "1/8 {D5 E} {F# G} {A G} {F# E}")),
        ("tuplets", { Sparse::flute(3000, "3:2(1/8 D5 E F#) 3:2(G A G) 3:2(F# E D) 3:2(E F# G)") }),
        ("a dynamic for each note", {
            Sparse::flute(2000, "1/8 [p] D5 [f] E [p] F# [f] G [p] A [f] G [p] F# [f] E")
        }),
        ("a hairpin for each beat", {
            Sparse::flute(2000, "1/4 [cresc] D5 [dim] E [cresc] F# [p] G")
        }),
        ("rests within bars", Sparse::flute(3000, "1/4 D5 rest D rest")),
        ("words", Sparse::flute(3000, "[\"dolce\"] 1/2 D5 E")),
        ("chords of a harp", {
            let chords = Sparse::flute(3000, "1/4 D4&F#4&A4 E4&G4 D4&F#4&A4 E4&G4");
            chords.played_by("harp", "harp")
        }),
        ("a syllable on each note", {
            let sung = Sparse::flute(3000, "1/4 D5 E F# G").played_by("soprano", "soprano");
            sung.with_block("lyrics for upper", |bar| format!("{bar}: la li lo lu |"))
        }),
    ];
    let comments = format!("{}{}", "// x\n".repeat(60_000), Sparse::flute(4, "1/1 D5").text());
    let blanks = format!("{}{}", "\n".repeat(100_000), Sparse::flute(4, "1/1 D5").text());
    let shapes = shapes.into_iter().map(|(name, shape)| (name, shape.text()));
    let voice = Sparse::flute(500, "1/4 D5 E F# G").played_by("flute 4", "flute").text();
    let scorings = (1..20).fold(voice, |all, number| {
        format!("{all}scoring another-{number} for all {{\n  flute plays upper as melody\n}}\n")
    });
    let bars = lines(1..=4, |bar| format!("{bar}: 1/1 D5 |"));
    let blocks = lines(1..=400, |number| format!("voice v{number} {{\n{bars}}}"));
    let voices = Sparse { blocks, ..Sparse::flute(4, "1/1 D5") }.text();
    let written = lines(1..=4000, |bar| format!("    {bar}: 1/4 D5 E F# G |"));
    let written = Sparse::flute(4000, "1/4 D5 E F# G").text().replace(
        "flute plays upper as melody",
        &format!("flute writes as melody {{\n{written}  }}"),
    );
    let further = [
        ("notes that a line writes", written),
        ("comments", comments),
        ("empty lines", blanks),
        ("twenty scorings of a voice", scorings),
        ("voices that nobody has", voices),
    ];
    shapes.chain(further).collect()
}
