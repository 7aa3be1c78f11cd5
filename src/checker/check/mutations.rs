//! Each rule finds what it is about, at the place where a clean arrangement was broken.
//!
//! For every rule there is a sketch: a bar that is fine and a bar that is not. A piece is made of
//! the fine bars; then, at a random place, so many broken bars take their place (or a line of the
//! scoring is replaced), and the rule must find nothing before and the place after.

mod sketches;

use self::sketches::{Sketch, sketches};
use super::tests::findings_with;
use super::{Options, RULES, find};
use crate::narrow::Narrow;

/// Random cases for each rule: 200, or what `RIPIENO_CASES` says.
fn cases() -> u64 {
    std::env::var("RIPIENO_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(200)
}

/// A small generator of random numbers (xorshift), so that a failure can be repeated.
struct Random(u64);

impl Random {
    fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % bound.max(1) as u64).narrow::<usize>()
    }

    fn pick<'t>(&mut self, texts: &[&'t str]) -> &'t str {
        texts[self.below(texts.len())]
    }
}

/// The source of a sketch: bars, and from `place` on the broken ones if `broken`.
fn source(sketch: &Sketch, count: usize, place: usize, broken: bool, seed: u64) -> String {
    let mut random = Random(seed);
    let mut tune = String::new();
    for bar in 1..=count {
        let good = random.pick(sketch.good);
        let bad = if sketch.bad.is_empty() { good } else { random.pick(sketch.bad) };
        let hit = broken && (place..place + sketch.length).contains(&bar);
        tune.push_str(&format!("{bar}: {} |\n", if hit { bad } else { good }));
    }
    let sung = match sketch.sung {
        "" => String::new(),
        words => {
            let hit = |bar| broken && (place..place + sketch.length).contains(&bar);
            let bars = (1..=count).filter(|bar| !hit(*bar));
            format!(
                "lyrics for tune {{\n{}}}\n",
                bars.map(|bar| format!("{bar}: {words} |\n")).collect::<String>()
            )
        }
    };
    let same = |text: &str| (1..=count).map(|bar| format!("{bar}: {text} |\n")).collect::<String>();
    let voices: String = sketch
        .voices
        .iter()
        .map(|(name, bar)| format!("voice {name} {{\n{}}}\n", same(bar)))
        .collect();
    let harmony = match sketch.harmony {
        "" => String::new(),
        chords => format!("harmony {{\n{}}}\n", same(chords)),
    };
    let dynamics = match sketch.dynamic {
        "" => String::new(),
        dynamic => format!("dynamics {{\n1 {dynamic}\n}}\n"),
    };
    let mark = if sketch.mark { format!("{place} mark \"A\"\n") } else { String::new() };
    let more = if broken { sketch.lines_after } else { sketch.lines_before };
    let more = more
        .replace("{n}", &place.to_string())
        .replace("{n-1}", &(place - 1).to_string())
        .replace("{n+1}", &(place + 1).to_string())
        .replace("{last}", &count.to_string());
    format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{\n1 metre 4/4, key C major, tempo 1/4 at {}\n{mark}{count} end\n}}\n\
         {harmony}{dynamics}{voices}voice tune {{\n{tune}}}\n{sung}\
         ensemble few {{\nera {}\n{}\n}}\nscoring few for few {{\n{}\n{more}\n}}\n",
        sketch.tempo, sketch.era, sketch.players, sketch.lines
    )
}

fn try_rule(sketch: &Sketch) {
    // A finding about the whole of an `allow` line needs all rules to run.
    let only =
        if sketch.rule.starts_with("allow/") { vec![] } else { vec![sketch.rule.to_string()] };
    let options = Options { only, ..Options::default() };
    for case in 1..=cases() {
        let seed = case.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mut random = Random(seed);
        let count = sketch.bars.0 + random.below(sketch.bars.1 - sketch.bars.0 + 1);
        let place = match sketch.at_end {
            true => count - sketch.length + 1,
            false => 2 + random.below(count - sketch.length - 1),
        };
        let clean = source(sketch, count, place, false, seed);
        let found = findings_with(&clean, &options);
        assert!(
            found.iter().all(|finding| finding.code != sketch.rule),
            "{} finds something in a clean piece:\n{clean}\n{found:#?}",
            sketch.rule
        );
        let broken = source(sketch, count, place, true, seed);
        let found = findings_with(&broken, &options);
        let last = (place + sketch.length - 1).narrow::<i32>();
        let there = found.iter().any(|finding| {
            finding.code == sketch.rule
                && finding
                    .bars
                    .is_none_or(|bars| bars.first <= last && place.narrow::<i32>() <= bars.last)
        });
        assert!(there, "{} misses bar {place}:\n{broken}\n{found:#?}", sketch.rule);
    }
}

fn try_family(family: &str) {
    let of_family: Vec<_> = sketches().filter(|s| s.rule.starts_with(family)).collect();
    assert!(!of_family.is_empty());
    for sketch in of_family {
        try_rule(sketch);
    }
}

#[test]
fn every_rule_is_tried_on_broken_pieces() {
    // Its lines stand in ensembles, which no sketch changes: `limits.rs` tries it.
    for rule in RULES.iter().filter(|rule| rule.family() != "limits") {
        assert!(sketches().any(|s| s.rule == rule.code), "{} is not tried", rule.code);
    }
    assert!(sketches().all(|sketch| find(sketch.rule).is_some()));
}

macro_rules! families {
    ($($test:ident: $family:literal,)*) => {
        $(#[test]
        fn $test() {
            try_family($family);
        })*
    };
}

families! {
    allow_rules_find_the_broken_place: "allow/",
    agility_rules_find_the_broken_place: "agility/",
    balance_rules_find_the_broken_place: "balance/",
    compass_rules_find_the_broken_place: "compass/",
    coverage_rules_find_the_broken_place: "coverage/",
    economy_rules_find_the_broken_place: "economy/",
    endurance_rules_find_the_broken_place: "endurance/",
    harmony_rules_find_the_broken_place: "harmony/",
    lyrics_rules_find_the_broken_place: "lyrics/",
    names_rules_find_the_broken_place: "names/",
    natural_brass_rules_find_the_broken_place: "natural-brass/",
    notation_rules_find_the_broken_place: "notation/",
    string_rules_find_the_broken_place: "strings/",
}
