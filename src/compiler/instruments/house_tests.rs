//! The order of the house: what is like another, what the catalogue must hold, and that no code
//! knows an instrument by its id.

use std::collections::HashSet;

use super::*;

fn instrument(id: &str) -> &'static Instrument {
    find(id).unwrap_or_else(|| panic!("no instrument {id}"))
}

#[test]
fn what_is_like_another_takes_over_all_but_its_names() {
    let cello = include_str!("data/strings.toml");
    let five = "[[instrument]]\nid = \"five-strings\"\nname = \"Cello\"\nlike = \"cello\"\n\
                compass = [{ limit = \"instrument\", from = 1680, to = 9999, low = \"C2\", \
                high = \"E6\", source = \"our own\" }]\n";
    let both = read::read_files(&[("one.toml", cello), ("two.toml", five)]).expect("two files");
    let new = both.iter().find(|i| i.id == "five-strings").expect("the new one");
    assert_eq!(new.compasses.len(), 1);
    assert!(new.aliases.is_empty());
    assert_eq!(new.plural, "Cellos");
    assert_eq!(new.agility, instrument("cello").agility);

    let fault = |text: &str| read::read_files(&[("two.toml", text)]).expect_err(text).to_string();
    let unknown = fault("[[instrument]]\nid = \"one\"\nlike = \"nothing\"\n");
    assert!(unknown.contains("unknown instrument `nothing`"), "{unknown}");
    let round = fault(
        "[[instrument]]\nid = \"one\"\nlike = \"two\"\n\
         [[instrument]]\nid = \"two\"\nlike = \"one\"\n",
    );
    assert!(round.contains("one, two are like one another in a circle"), "{round}");
}

/// Names of instruments are data: no line of code but those of tests may know one.
#[test]
fn no_code_knows_an_instrument_by_its_id() {
    let words: HashSet<&str> = catalogue()
        .iter()
        .flat_map(|i| std::iter::once(&i.id).chain(&i.aliases))
        .map(String::as_str)
        .collect();
    let mut files = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))];
    let mut looked_at = 0;
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(path.read_dir().unwrap().map(|entry| entry.unwrap().path()));
            continue;
        }
        let name = path.to_string_lossy().into_owned();
        let of_tests = ["tests", "testing", "mutations", "handbook", "cases", "properties"];
        let skipped = of_tests.iter().any(|word| name.contains(word));
        if path.extension().is_none_or(|end| end != "rs") || skipped {
            continue;
        }
        looked_at += 1;
        let text = std::fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
        for (number, line) in code.lines().enumerate() {
            let comment = line.trim_start().starts_with("//");
            for literal in line.split('"').skip(1).step_by(2).filter(|_| !comment) {
                let plain = literal.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-');
                // A family, two dynamics and two clefs are called like instruments.
                let known = words.contains(literal) || (plain != literal && words.contains(plain));
                let family = ["harp", "piano", "fortepiano", "alto", "tenor"].contains(&literal);
                assert!(!known || family, "{name}, line {}: `{literal}`", number + 1);
            }
        }
    }
    assert!(looked_at > 100, "only {looked_at} files");
}

#[test]
fn what_the_build_script_wrote_is_what_the_files_say() {
    let files = read::read_files(&read::FILES).expect("the files");
    assert_eq!(files, catalogue());
}

#[test]
fn every_family_of_the_time_is_there() {
    for id in [
        "soprano",
        "mezzo-soprano",
        "alto",
        "tenor",
        "baritone",
        "bass-voice",
        "organ",
        "piano",
        "soprano-recorder",
        "alto-recorder",
        "tenor-recorder",
        "bass-recorder",
        "oboe-damore",
        "oboe-da-caccia",
        "basset-horn",
        "alto-flute",
        "contrabass-clarinet",
        "soprano-saxophone",
        "alto-saxophone",
        "tenor-saxophone",
        "baritone-saxophone",
        "cornet",
        "flugelhorn",
        "alto-horn",
        "baritone-horn",
        "euphonium",
        "ophicleide",
        "serpent",
        "contrabass-tuba",
        "contrabass-trombone",
        "treble-viol",
        "tenor-viol",
        "viola-da-gamba",
        "viola-damore",
        "theorbo",
        "lute",
        "guitar",
        "mandolin",
        "celesta",
        "xylophone",
        "tubular-bells",
        "castanets",
        "wood-block",
        "wagner-tuba",
    ] {
        instrument(id);
    }
    for (id, keys) in [("clarinet", ["Eb", "D"]), ("horn", ["D", "G"]), ("trumpet", ["E", "Eb"])] {
        for key in keys {
            assert!(instrument(id).tuning(key).is_some(), "{id} in {key}");
        }
    }
}

/// Trombones of the time and of today: from memory; seven positions are common practice.
#[test]
fn the_trombone_has_its_valve_from_1920_on() {
    let tenor = instrument("tenor-trombone");
    assert!(tenor.slide(1885).is_some_and(|slide| slide.valves.is_empty()));
    assert!(tenor.slide(1950).is_some_and(|slide| slide.valves.len() == 1));
    assert_eq!(tenor.sparing(1725), None, "the trombones of the church play all through");
    assert!(tenor.sparing(1885).is_some());
}

#[test]
fn faults_that_a_table_shows_only_as_a_whole_are_reported() {
    let brass = include_str!("data/brass.toml");
    let twice = read::read_files(&[("one.toml", brass), ("two.toml", brass)]);
    let message = twice.expect_err("the same words twice").to_string();
    assert!(message.contains("two.toml") && message.contains("already taken"), "{message}");

    let wrong = brass.replacen("steps = -4, semitones = -7", "steps = -4, semitones = -6", 1);
    let message = read::read_files(&[("brass.toml", &wrong)]).expect_err("wrong").to_string();
    assert!(message.contains("crooks `F`"), "{message}");

    let keys = include_str!("data/harp-and-keyboard.toml");
    for (from, to) in [
        ("staves = 2\n", "staves = 3\n"),
        ("staves = 2\n", "staves = 1\n"),
        ("staves_source = \"common practice\"\n", ""),
        ("    { clef = \"bass\", low = \"Cb1\", high = \"F4\" },\n", ""),
    ] {
        assert!(keys.contains(from), "the sample no longer has {from}");
        let wrong = keys.replacen(from, to, 1);
        let message = read::read_files(&[("keys.toml", &wrong)]).expect_err(to).to_string();
        assert!(message.contains("staves"), "{message}");
    }

    let wrong = brass.replacen("second = [2, 12]", "second = [2, 21]", 1);
    let message = read::read_files(&[("brass.toml", &wrong)]).expect_err("wrong").to_string();
    assert!(message.contains("natural.second"), "{message}");
}

#[test]
fn keyboards_grow_little_by_little_where_touch_or_swell_grades_them() {
    for instrument in catalogue() {
        let keyboard = instrument.family == Family::Keyboard;
        assert_eq!(instrument.touch.is_some(), keyboard, "{}", instrument.id);
    }
    let grades = |id| find(id).unwrap().grades();
    assert!(["celesta", "piano", "organ", "harp", "oboe"].into_iter().all(grades));
    assert!(!grades("harpsichord"));
}
