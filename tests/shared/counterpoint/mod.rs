//! The rules of counterpoint, one file a family, and what they share.
//!
//! Each rule looks at a whole [`Score`] and returns what breaks it. `../../counterpoint.rs` says
//! which book they follow and how they are run.

mod cases;
mod dissonance;
mod melody;
mod motion;
mod places;
mod relations;
mod resolution;
mod score;

use ripieno::music::Time;

pub use cases::CASES;
pub use score::Score;

/// A rule, where it stands, and what to do where it is broken.
pub struct Rule {
    /// What a musician calls it.
    pub name: &'static str,
    /// Where it stands, from memory.
    pub source: &'static str,
    /// What to do.
    pub remedy: &'static str,
    check: fn(&Score) -> Vec<Found>,
}

/// What a rule finds: the moment (in the time of performance), whose notes, and what they do.
struct Found {
    at: Time,
    voices: Vec<String>,
    text: String,
}

/// A finding with the place and the rule, as it is shown.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Finding {
    /// The number of the bar.
    pub bar: i32,
    /// The voices.
    pub voices: Vec<String>,
    /// The name of the rule.
    pub rule: &'static str,
    /// The whole message.
    pub message: String,
}

/// Consecutive fifths, octaves and unisons: the one rule from which a doubling can be exempt.
pub const CONSECUTIVES: &str = "consecutive fifths and octaves";

/// All rules, in the order in which a teacher marks them.
pub const RULES: [Rule; 11] = [
    Rule {
        name: CONSECUTIVES,
        source: "Prout, Harmony, the chapter on the laws of part-writing",
        remedy: "Move one of the two the other way, or by step to another interval.",
        check: motion::consecutives,
    },
    Rule {
        name: "hidden fifths and octaves",
        source: "Prout, Harmony, the chapter on the laws of part-writing",
        remedy: "Let the upper voice go by step, or the lower one the other way.",
        check: motion::hidden,
    },
    Rule {
        name: "false relation",
        source: "Prout, Harmony, the chapter on the laws of part-writing",
        remedy: "Keep both inflections in one voice, or put a chord between them.",
        check: relations::check,
    },
    Rule {
        name: "dissonance",
        source: "Prout, Counterpoint, the chapters on free counterpoint; Harmony, the chapters \
                 on auxiliary notes, suspensions and pedals",
        remedy: "Reach and leave it by step, prepare it, or take a note of the chord.",
        check: dissonance::check,
    },
    Rule {
        name: "seventh",
        source: "Prout, Harmony, the chapters on the chord of the seventh",
        remedy: "Let it fall a step, hold it, or hand it to another voice.",
        check: resolution::sevenths,
    },
    Rule {
        name: "leading note",
        source: "Prout, Harmony, the chapter on the laws of part-writing",
        remedy: "Let it rise to its tonic; in an inner voice it may also fall by step.",
        check: resolution::leading_notes,
    },
    Rule {
        name: "melodic interval",
        source: "Prout, Harmony, the chapter on the laws of part-writing (melodic progression)",
        remedy: "Take its inversion, fill it, or keep it within one chord and go on by step.",
        check: melody::intervals,
    },
    Rule {
        name: "leap beyond an octave",
        source: "Prout, Harmony, the chapter on the laws of part-writing (melodic progression)",
        remedy: "Leap an octave less.",
        check: melody::beyond_an_octave,
    },
    Rule {
        name: "crossing",
        source: "Prout, Harmony, the chapter on the laws of part-writing; a quarter note is \
                 borne (our heuristic)",
        remedy: "Change the notes of the two voices over.",
        check: places::crossing,
    },
    Rule {
        name: "overlapping",
        source: "Prout, Harmony, the chapter on the laws of part-writing; a quarter note is \
                 borne (our heuristic)",
        remedy: "Stay on your own side of the note that the other voice has just left.",
        check: places::overlapping,
    },
    Rule {
        name: "spacing",
        source: "Prout, Harmony, the chapter on the laws of part-writing (the position of \
                 chords); a quarter note is borne (our heuristic)",
        remedy: "Bring the two voices within an octave; only above the bass may there be more.",
        check: places::spacing,
    },
];

/// All findings in order of the bars, each once even where a repeat brings it again.
pub fn findings(score: &Score) -> Vec<Finding> {
    let mut found: Vec<(Time, Finding)> = Vec::new();
    for rule in &RULES {
        for Found { at, voices, text } in (rule.check)(score) {
            let (at, place) = score.written(at);
            let message = format!("{place}: {text} ({})", rule.name);
            let finding = Finding { bar: place.bar, voices, rule: rule.name, message };
            if !found.contains(&(at, finding.clone())) {
                found.push((at, finding));
            }
        }
    }
    found.sort_by_key(|(at, _)| *at);
    found.into_iter().map(|(_, finding)| finding).collect()
}
