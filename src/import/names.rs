//! Names of voices that speak: of the part on paper, or of the place among the others.

use std::collections::HashMap;

use ripieno_compiler::syntax::is_name;

use super::score::{PartLine, Score};

/// Words that begin something in the language and are no good as names.
const TAKEN: [&str; 14] = [
    "use", "piece", "form", "harmony", "dynamics", "voice", "ensemble", "scoring", "bars", "as",
    "at", "solo", "rest", "x",
];

/// Names every line.
pub(super) fn give(score: &mut Score) {
    let mut given: HashMap<String, usize> = HashMap::new();
    let alone = score.parts.len() == 1;
    let ranks = ranks(score);
    for (index, part) in score.parts.iter_mut().enumerate() {
        let name = slug(&part.name).filter(|name| !says_nothing(name));
        let hands = part.staves > 1;
        let count = part.lines.len();
        for (place, line) in part.lines.iter_mut().enumerate() {
            let base = match (&name, hands) {
                (_, true) if alone => hand(line, part.staves).to_string(),
                (Some(name), true) => format!("{name}-{}", hand(line, part.staves)),
                (Some(name), false) => name.clone(),
                (None, _) => ranks[index].clone(),
            };
            // The lines of one player stand from the highest down.
            let base = match place {
                _ if !alone || hands || count < 2 || line.stroke.is_some() => base,
                0 => "upper".to_string(),
                last if last + 1 == count => "lower".to_string(),
                _ => "middle".to_string(),
            };
            line.name = free(&base, &mut given);
        }
    }
}

/// Names that programs give to parts without one.
fn says_nothing(name: &str) -> bool {
    let plain = name.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-');
    matches!(
        plain,
        "musicxml-part" | "part" | "staff" | "instrument" | "track" | "untitled" | "unnamed"
    )
}

fn hand(line: &PartLine, staves: u8) -> &'static str {
    match (line.staff, staves) {
        (1, _) => "upper",
        (2, 3) => "middle",
        (3, 3) => "pedal",
        _ => "lower",
    }
}

/// Names by height for parts that have none on paper.
fn ranks(score: &Score) -> Vec<String> {
    let count = score.parts.len();
    (0..count)
        .map(|index| match (index, count) {
            (0, 1) => "tune".to_string(),
            (0, _) => "upper".to_string(),
            (last, _) if last + 1 == count => "bass".to_string(),
            (1, 3) => "middle".to_string(),
            (other, _) => format!("middle-{other}"),
        })
        .collect()
}

/// A name that is not given yet; `given` counts how often each was asked for.
fn free(base: &str, given: &mut HashMap<String, usize>) -> String {
    loop {
        let count = given.entry(base.to_string()).or_insert(0);
        *count += 1;
        if *count == 1 {
            return base.to_string();
        }
        let name = format!("{base}-{count}");
        if !given.contains_key(&name) {
            given.insert(name.clone(), 1);
            return name;
        }
    }
}

/// A name on paper as a name of the language; `None` if nothing of it can be one.
pub(super) fn slug(name: &str) -> Option<String> {
    let mut words: Vec<String> = Vec::new();
    for word in name.to_lowercase().split(|c: char| !c.is_alphanumeric()) {
        // "Violin I" is the first of them.
        let word = match word {
            "i" | "1st" => "1",
            "ii" | "2nd" => "2",
            "iii" | "3rd" => "3",
            "iv" | "4th" => "4",
            "v" if !words.is_empty() => "5",
            "vi" if !words.is_empty() => "6",
            other => other,
        };
        let plain: String = word
            .chars()
            .filter(|c| c.is_ascii_digit() || is_name(c.encode_utf8(&mut [0; 4])))
            .collect();
        words.extend((!plain.is_empty()).then_some(plain));
    }
    // "1st Oboe" is the first oboe.
    let numbers = words.iter().take_while(|word| word.starts_with(|c: char| c.is_ascii_digit()));
    let numbers = numbers.count();
    if numbers < words.len() {
        words[..=numbers].rotate_left(numbers);
    }
    let out: String = words.join("-").chars().take(40).collect();
    let out = out.trim_matches('-');
    let begins = out.chars().next()?;
    let named = if !begins.is_ascii_digit() { out.to_string() } else { format!("part-{out}") };
    Some(if TAKEN.contains(&named.as_str()) { format!("{named}-part") } else { named })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_on_paper_become_names_of_the_language() {
        assert_eq!(slug("Violin I").unwrap(), "violin-1");
        assert_eq!(slug("Soprano").unwrap(), "soprano");
        assert_eq!(slug("1st Oboe (solo)").unwrap(), "oboe-1-solo");
        assert_eq!(slug("2.").unwrap(), "part-2");
        assert_eq!(slug("Flöte").unwrap(), "flöte");
        assert_eq!(slug("Voice").unwrap(), "voice-part");
        assert_eq!(slug("  "), None);
        assert_eq!(slug("合唱"), None);
        // Letters that are small and no small letters: the ordinal "ª", the Roman numeral "ⅱ".
        assert_eq!([slug("ª"), slug("ⅱ")], [None, None]);
        assert_eq!(slug("1ª tromba").unwrap(), "tromba-1");
    }
}
