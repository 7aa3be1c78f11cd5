//! For each rule a fault that was planted, and beside it the same, done well.

/// A fault that one rule finds, alone, and a clean counterpart in which no rule finds anything.
pub struct Case {
    /// The name of the rule.
    pub rule: &'static str,
    /// What is wrong and what is right.
    pub what: &'static str,
    /// What the form has beside 4/4 in C major: the wrong one, the right one.
    pub form: [&'static str; 2],
    /// Harmony, and the voices from the highest down. They are written without rests within bars.
    pub wrong: &'static [&'static str],
    /// The same without the fault.
    pub right: &'static [&'static str],
}

const fn case(
    rule: &'static str,
    what: &'static str,
    wrong: &'static [&'static str],
    right: &'static [&'static str],
) -> Case {
    Case { rule, what, form: ["", ""], wrong, right }
}

/// At least one for each rule.
pub const CASES: &[Case] = &[
    case(
        "consecutive fifths and octaves",
        "fifths in similar motion; thirds",
        &["1/2 C Dm | C/E", "1/2 G4 A4 | 1/1 G4", "1/2 C4 D4 | 1/1 E4"],
        &["1/2 C Dm | C", "1/2 E4 F4 | 1/1 E4", "1/2 C4 D4 | 1/1 C4"],
    ),
    case(
        "consecutive fifths and octaves",
        "octaves; contrary motion",
        &["1/2 C Dm | C/E", "1/2 C5 D5 | 1/1 C5", "1/2 C4 D4 | 1/1 E4"],
        &["1/2 C G/B | C", "1/2 C5 D5 | 1/1 E5", "1/2 C4 B3 | 1/1 C4"],
    ),
    case(
        "consecutive fifths and octaves",
        "unisons of inner voices; sixths",
        &["1/2 C F", "1/2 G5 A5", "1/2 E5 F5", "1/2 E5 F5", "1/2 C4 A3"],
        &["1/2 C F", "1/2 G5 A5", "1/2 E5 F5", "1/2 G4 F4", "1/2 C4 F3"],
    ),
    case(
        "consecutive fifths and octaves",
        "fifth and twelfth of the outer voices in contrary motion; sixth",
        &["1/2 C G | C/E", "1/2 G4 D5 | 1/1 C5", "1/2 C4 G3 | 1/1 E4"],
        &["1/2 C G/B | C", "1/2 G4 D5 | 1/1 C5", "1/2 C4 B3 | 1/1 C4"],
    ),
    case(
        "consecutive fifths and octaves",
        "fifths within the chords of one voice; thirds",
        &["1/2 C Dm | C/E", "1/2 C4&G4 D4&A4 | 1/1 E4&G4"],
        &["1/2 C Dm | C", "1/2 C4&E4 D4&F4 | 1/1 C4&E4"],
    ),
    Case {
        rule: "consecutive fifths and octaves",
        what: "fifths where a repeat leads back; the same bars played once",
        form: ["1..3 repeat", ""],
        wrong: &["C | F | Dm", "1/1 G4 | A4 | A4", "1/1 C4 | F4 | D4"],
        right: &["C | F | Dm", "1/1 G4 | A4 | A4", "1/1 C4 | F4 | D4"],
    },
    case(
        "hidden fifths and octaves",
        "the upper voice leaps into a fifth; it goes by step into a third",
        &["1/2 C Dm | C/E", "1/2 E4 A4 | 1/1 G4", "1/2 C4 D4 | 1/1 E4"],
        &["1/2 C Dm | C/E", "1/2 E4 F4 | 1/1 G4", "1/2 C4 D4 | 1/1 E4"],
    ),
    case(
        "hidden fifths and octaves",
        "the upper voice leaps into an octave; it waits, and goes by step into a fifth",
        &["1/2 Am C | G", "1/2 E4 C5 | 1/1 B4", "1/2 A3 C4 | 1/1 G3"],
        &["1/2 Am C | G", "1/2 E4 E4 | 1/1 D4", "1/2 A3 C4 | 1/1 G3"],
    ),
    case(
        "false relation",
        "C, then C sharp in another voice; both in one voice",
        &["1/2 C A7/C# | Dm", "1/2 C5 A4 | 1/1 F4", "1/2 E4 C#4 | 1/1 D4"],
        &["1/2 C A7/C# | Dm", "1/2 E5 E5 | 1/1 F5", "1/2 C4 C#4 | 1/1 D4"],
    ),
    case(
        "false relation",
        "over a bar line; with a chord between",
        &["C | A | Dm", "1/1 C5 | E5 | F5", "1/1 E4 | C#4 | D4"],
        &["1/2 C G/B | A/C# | Dm", "1/2 C5 D5 | 1/1 E5 | F5", "1/2 E4 B3 | 1/1 C#4 | D4"],
    ),
    case(
        "false relation",
        "C against C sharp; C sharp in both voices",
        &["1/2 G/B A/C# | Dm", "1/4 B4 D5 C5 D5 | 1/1 D5", "1/2 B3 C#4 | 1/1 D4"],
        &["1/2 G/B A/C# | Dm", "1/4 B4 D5 C#5 D5 | 1/1 D5", "1/2 B3 C#4 | 1/1 D4"],
    ),
    Case {
        rule: "false relation",
        what: "within a section; over a double bar",
        form: ["2 mark \"A\"", "1 double-bar"],
        wrong: &["C | A | Dm", "1/1 C5 | E5 | F5", "1/1 E4 | C#4 | D4"],
        right: &["C | A | Dm", "1/1 C5 | E5 | F5", "1/1 E4 | C#4 | D4"],
    },
    case(
        "dissonance",
        "left by a leap; passing",
        &["C", "1/4 E4 F4 C5 G4", "1/1 C4"],
        &["C", "1/4 E4 F4 G4 E4", "1/1 C4"],
    ),
    case(
        "dissonance",
        "struck again and left by a leap; struck again and passing",
        &["C", "1/4 E4 1/8 F4 F4 1/4 C5 G4", "1/1 C4"],
        &["C", "1/4 E4 1/8 F4 F4 1/4 G4 E4", "1/1 C4"],
    ),
    case(
        "dissonance",
        "left by a fourth; auxiliary note",
        &["C", "1/4 E4 D4 G4 E4", "1/1 C4"],
        &["C", "1/4 E4 D4 E4 G4", "1/1 C4"],
    ),
    case(
        "dissonance",
        "three foreign notes in a row; two, from the fifth to the root",
        &["C", "1/4 G4 A4 B4 A4 | 1/1 G4", "1/1 C4 | C4"],
        &["C", "1/4 G4 A4 B4 C5 | 1/1 G4", "1/1 C4 | C4"],
    ),
    case(
        "dissonance",
        "suspension: left by a leap; resolved",
        &["F/A | C", "1/1 F4 | 1/2 = C5", "1/1 A3 | 1/1 C4"],
        &["F/A | C", "1/1 F4 | 1/2 = E4", "1/1 A3 | 1/1 C4"],
    ),
    case(
        "dissonance",
        "suspension resolved late; over an ornament of less than a beat",
        &["F/A | C", "1/1 F4 | 1/4 = 1/2 C5 1/4 E4", "1/1 A3 | 1/1 C4"],
        &["F/A | C", "1/1 F4 | 1/4 = 1/8 C5 E4 1/2 E4", "1/1 A3 | 1/1 C4"],
    ),
    case(
        "dissonance",
        "suspension struck again: left by a leap; resolved",
        &["F/A | C", "1/2 A4 F4 | 1/2 F4 C5", "1/1 A3 | 1/1 C4"],
        &["F/A | C", "1/2 A4 F4 | 1/2 F4 E4", "1/1 A3 | 1/1 C4"],
    ),
    case(
        "dissonance",
        "retardation: left by a leap; resolved upwards",
        &["G | C/E", "1/1 B4 | 1/2 = G4", "1/1 G3 | 1/1 E4"],
        &["G | C/E", "1/1 B4 | 1/2 = C5", "1/1 G3 | 1/1 E4"],
    ),
    case(
        "dissonance",
        "anticipation: of nothing; of the next note",
        &["F | C/E", "1/2. A4 1/4 G4 | 1/1 E5", "1/1 F4 | 1/1 E4"],
        &["F | C/E", "1/2. A4 1/4 G4 | 1/1 G4", "1/1 F4 | 1/1 E4"],
    ),
    case(
        "dissonance",
        "appoggiatura on a strong beat: left by a leap; resolved by step",
        &["C | C", "1/1 C5 | 1/2 F4 C5", "1/1 C4 | 1/1 C4"],
        &["C | C", "1/1 C5 | 1/2 F4 E4", "1/1 C4 | 1/1 C4"],
    ),
    case(
        "dissonance",
        "appoggiatura on a weak beat: in the direction of the leap; against it",
        &["C", "1/4 C5 F4 E4 G4", "1/1 C4"],
        &["C", "1/4 E4 A4 G4 E4", "1/1 C4"],
    ),
    case(
        "dissonance",
        "escape note: left by a fifth; by a third",
        &["1/2 C G", "1/4 E5 F5 B4 D5", "1/2 C4 G3"],
        &["1/2 C G/B", "1/4 E5 F5 D5 B4", "1/2 C4 B3"],
    ),
    case(
        "dissonance",
        "changing notes: not brought back; brought back",
        &["C", "1/4 C5 D5 B4 G4", "1/1 C4"],
        &["C", "1/4 C5 D5 B4 C5", "1/1 C4"],
    ),
    case(
        "dissonance",
        "cambiata: it goes on down; it turns back by step",
        &["C | C", "1/4 C5 B4 G4 E4 | 1/1 G4", "1/1 C4 | 1/1 C4"],
        &["C | C", "1/4 C5 B4 G4 A4 | 1/1 G4", "1/1 C4 | 1/1 C4"],
    ),
    case(
        "dissonance",
        "pedal: it ends away from home; at home",
        &["C | G", "1/1 E4 | D4", "1/1 C3 | ="],
        &["C | G | C", "1/1 E4 | D4 | E4", "1/1 C3 | = | ="],
    ),
    case(
        "seventh",
        "it rises; it falls",
        &["G7 | C", "1/1 F5 | G5", "1/1 G3 | C4"],
        &["G7 | C", "1/1 F5 | E5", "1/1 G3 | C4"],
    ),
    case(
        "seventh",
        "it passes to another note and never falls; it falls afterwards",
        &["G7 | C", "1/2 F5 D5 | 1/1 C5", "1/1 G3 | C4"],
        &["G7 | C", "1/2 F5 D5 | 1/1 E5", "1/1 G3 | C4"],
    ),
    case(
        "seventh",
        "nobody takes it over; an inner voice does, and resolves it",
        &["G7 | C", "1/2 F5 G5 | 1/1 G5", "1/1 B4 | C5", "1/1 G3 | C4"],
        &["G7 | C", "1/2 F5 G5 | 1/1 G5", "1/2 B4 F5 | 1/1 E5", "1/1 G3 | C4"],
    ),
    case(
        "seventh",
        "it rises over a falling bass; the bass rises to its note of resolution",
        &["C | G7/D | C", "1/1 E5 | F5 | G5", "1/1 C4 | D4 | C4"],
        &["C | G7/D | C/E", "1/1 E5 | F5 | G5", "1/1 C4 | D4 | E4"],
    ),
    case(
        "seventh",
        "it is not held where it could be; it is held into the next chord",
        &["Dm7 | F/A", "1/1 C5 | F5", "1/1 D4 | A3"],
        &["Dm7 | F/A", "1/1 C5 | C5", "1/1 D4 | A3"],
    ),
    case(
        "leading note",
        "it falls in an outer voice; in an inner one",
        &["G | C", "1/1 B4 | G4", "1/1 G3 | C4"],
        &["G | C", "1/1 D5 | C5", "1/1 B4 | G4", "1/1 G3 | C4"],
    ),
    case(
        "leading note",
        "it falls to the fifth; it rises (the dominant of A minor)",
        &["E | Am", "1/1 G#4 | E4", "1/1 E3 | A3"],
        &["E | Am", "1/1 G#4 | A4", "1/1 E3 | A3"],
    ),
    case(
        "leading note",
        "an inner one leaps a fifth; it falls by step (interrupted cadence)",
        &["G7 | C", "1/1 D5 | C5", "1/1 B4 | E4", "1/1 G3 | C4"],
        &["G7 | Am", "1/1 D5 | C5", "1/1 B4 | A4", "1/1 G3 | A3"],
    ),
    case(
        "leading note",
        "an outer one falls in an interrupted cadence; it rises",
        &["G7 | Am", "1/1 B4 | A4", "1/1 G3 | A3"],
        &["G7 | Am", "1/1 B4 | C5", "1/1 G3 | A3"],
    ),
    case(
        "leading note",
        "it falls in the bass; in the bass that goes down the scale from the tonic",
        &["1/2 C G/B | Am", "1/2 E5 D5 | 1/1 C5", "1/2 G3 B3 | 1/1 A3"],
        &["1/2 C G/B | Am", "1/2 E5 D5 | 1/1 E5", "1/2 C4 B3 | 1/1 A3"],
    ),
    case(
        "melodic interval",
        "augmented second; step",
        &["Dm | E | Am/C", "1/1 F4 | G#4 | A4", "1/1 D4 | E4 | C4"],
        &["Dm | E/G# | Am", "1/1 F4 | E4 | E4", "1/1 D4 | G#3 | A3"],
    ),
    case(
        "melodic interval",
        "seventh over a change of chord; within a dominant, and resolved",
        &["1/2 Am Dm/F | C", "1/2 C5 D4 | 1/1 E4", "1/2 A3 F3 | 1/1 C3"],
        &["G7/B | C", "1/2 G4 F5 | 1/1 E5", "1/1 B3 | C4"],
    ),
    case(
        "melodic interval",
        "augmented fourth; third",
        &["1/2 F/A G | C", "1/2 F4 B4 | 1/1 C5", "1/2 A3 G3 | 1/1 C4"],
        &["1/2 F/A G/B | C", "1/2 F4 D4 | 1/1 E4", "1/2 A3 B3 | 1/1 C4"],
    ),
    case(
        "leap beyond an octave",
        "tenth; octave",
        &["C", "1/2 C4 E5", "1/1 C3"],
        &["C", "1/2 C4 C5", "1/1 C3"],
    ),
    case(
        "crossing",
        "for a half note; for a quarter note",
        &["C", "1/1 G4 | 1/2 C4 E4 | 1/1 G4", "1/1 C4 | 1/2 E4 C4 | 1/1 C4"],
        &["C", "1/1 G4 | 1/4 C4 1/2. E4 | 1/1 G4", "1/1 C4 | 1/4 E4 1/2. C4 | 1/1 C4"],
    ),
    case(
        "overlapping",
        "beyond the note just left; below it",
        &["C/E | F/A", "1/1 G4 | C5", "1/1 E4 | A4"],
        &["C/E | F", "1/1 G4 | A4", "1/1 E4 | F4"],
    ),
    case(
        "spacing",
        "upper voices a tenth apart; a third, and the bass as far below as it likes",
        &["C", "1/1 G5", "1/1 E4", "1/1 C4"],
        &["C", "1/1 G5", "1/1 E5", "1/1 C3"],
    ),
];
