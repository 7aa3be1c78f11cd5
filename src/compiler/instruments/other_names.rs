//! What instruments are called elsewhere.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::{Instrument, catalogue, find};

const TEXT: &str = include_str!("data/other-names.toml");

/// By instrument: its other names.
static NAMES: LazyLock<BTreeMap<String, Vec<String>>> =
    LazyLock::new(|| toml::from_str(TEXT).unwrap_or_default());

/// The instrument whose name has the same words in another order: `bass-clarinet` for
/// "clarinet bass".
fn turned_round(name: &str) -> Option<&'static str> {
    let sorted = |text: &str| {
        let mut words: Vec<String> = text.split([' ', '-']).map(str::to_owned).collect();
        words.sort_unstable();
        words
    };
    let words = sorted(name);
    let has = |other: &&'static Instrument| {
        std::iter::once(&other.id).chain(&other.aliases).any(|word| sorted(word) == words)
    };
    catalogue().iter().filter(|_| words.len() > 1).find(has).map(|found| found.id.as_str())
}

/// The word of the language for a name that an instrument has elsewhere, with the number of a
/// section if one stands behind it: `violin-2` for "Violine 2" or `violino-2`, `horn` for "French
/// horn"; `None` for names that nobody uses and for those of the language itself.
#[must_use]
pub fn meant(name: &str) -> Option<String> {
    let spaced = name.to_lowercase().replace('-', " ");
    let (plain, section) = match spaced.rsplit_once(' ') {
        Some((plain, number)) if matches!(number, "1" | "2" | "i" | "ii") => {
            (plain, if number.ends_with(['1', 'i']) && number != "ii" { "-1" } else { "-2" })
        }
        _ => (spaced.as_str(), ""),
    };
    let id = elsewhere(plain)
        .or_else(|| elsewhere(plain.strip_suffix('s')?))
        .or_else(|| find(&plain.replace(' ', "-")).map(|instrument| &*instrument.id))
        .or_else(|| {
            find(&plain.strip_suffix('s')?.replace(' ', "-")).map(|instrument| &*instrument.id)
        })
        .or_else(|| turned_round(plain))?;
    let word = format!("{id}{section}");
    (word != name).then_some(word)
}

fn elsewhere(name: &str) -> Option<&'static str> {
    let found = NAMES.iter().find(|(_, names)| names.iter().any(|other| other == name));
    found.map(|(id, _)| id.as_str())
}

/// All other names of an instrument.
#[must_use]
pub fn other_names(instrument: &Instrument) -> &'static [String] {
    NAMES.get(&instrument.id).map_or(&[], Vec::as_slice)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instruments::catalogue;

    #[test]
    fn every_name_belongs_to_one_instrument_of_the_catalogue() {
        let names: BTreeMap<String, Vec<String>> = toml::from_str(TEXT).unwrap();
        assert!(names.len() > 20);
        let mut seen = Vec::new();
        for (id, others) in &names {
            assert!(catalogue().iter().any(|instrument| instrument.id == *id), "{id}");
            for other in others {
                assert_eq!(*other, other.to_lowercase(), "{other}");
                assert!(!seen.contains(&other), "{other} stands twice");
                let word = find(other).map(|instrument| &instrument.id);
                assert!(word.is_none_or(|word| word == id), "{other} is the word for {word:?}");
                seen.push(other);
            }
        }
    }

    #[test]
    fn names_of_other_countries_are_understood() {
        for (name, id) in [
            ("Violine 2", "violin-2"),
            ("Violino-1", "violin-1"),
            ("violins", "violin"),
            ("Bratsche", "viola"),
            ("fagotti", "bassoon"),
            ("Flöte", "flute"),
            ("French horn", "horn"),
            ("french-horns", "horn"),
            ("Oboe", "oboe"),
            ("Posaune", "tenor-trombone"),
            ("snare drum", "side-drum"),
            ("kettledrums", "timpani"),
            ("hautbois", "oboe"),
            ("Clarino", "trumpet"),
        ] {
            assert_eq!(meant(name).as_deref(), Some(id), "{name}");
        }
        assert_eq!(meant("oboe"), None);
        assert_eq!(meant("zither"), None);
        for (name, id) in [
            ("clarinet-bass", "bass-clarinet"),
            ("flute-alto", "alto-flute"),
            ("trombone-bass", "bass-trombone"),
            ("oboe-d-amore", "oboe-damore"),
            ("bass", "double-bass"),
            ("Saxophon", "alto-saxophone"),
        ] {
            assert_eq!(meant(name).as_deref(), Some(id), "{name}");
        }
    }
}
