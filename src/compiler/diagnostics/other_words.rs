//! Words of the trade that the language does not have, and what it says instead.

/// Marks on notes, techniques and dynamics as people write them elsewhere, and the word of
/// the language. Source: common practice.
const WORDS: [(&str, &str); 62] = [
    // Marks.
    ("roll", "tremolo"),
    ("trem", "tremolo"),
    ("tremolando", "tremolo"),
    ("tr", "trill"),
    ("trillo", "trill"),
    ("shake", "trill"),
    ("ferm", "fermata"),
    ("pause", "fermata"),
    ("corona", "fermata"),
    ("ten", "tenuto"),
    ("staccato", "stacc"),
    ("spiccato", "stacc"),
    ("wedge", "staccatissimo"),
    ("marc", "marcato"),
    ("acc", "accent"),
    ("accento", "accent"),
    ("arp", "arpeggio"),
    ("upbow", "up-bow"),
    ("downbow", "down-bow"),
    ("flageolet", "harmonic"),
    ("harm", "harmonic"),
    ("gestopft", "stopped"),
    ("+", "stopped"),
    (">", "accent"),
    (".", "stacc"),
    ("-", "tenuto"),
    ("^", "marcato"),
    ("gruppetto", "turn"),
    // Techniques.
    ("pizzicato", "pizz"),
    ("plucked", "pizz"),
    ("col arco", "arco"),
    ("bowed", "arco"),
    ("con sord", "muted"),
    ("con sordino", "muted"),
    ("con sordini", "muted"),
    ("sord", "muted"),
    ("sordino", "muted"),
    ("mute", "muted"),
    ("gedämpft", "muted"),
    ("senza sord", "unmuted"),
    ("senza sordino", "unmuted"),
    ("senza sordini", "unmuted"),
    // Dynamics.
    ("crescendo", "cresc"),
    ("diminuendo", "dim"),
    ("decrescendo", "dim"),
    ("decresc", "dim"),
    ("pianissimo", "pp"),
    ("piano", "p"),
    ("soft", "p"),
    ("mezzo piano", "mp"),
    ("mezzopiano", "mp"),
    ("mezzo forte", "mf"),
    ("mezzoforte", "mf"),
    ("forte", "f"),
    ("loud", "f"),
    ("fortissimo", "ff"),
    ("fortepiano", "fp"),
    ("forte piano", "fp"),
    ("sforzando", "sfz"),
    ("sforzato", "sfz"),
    ("pppp", "ppp"),
    ("ffff", "fff"),
];

/// The word of the language for one of the trade, whether or not hyphens and capitals are as
/// here: `tremolo` for "roll", `mf` for "Mezzo-forte".
#[must_use]
pub fn instead_of(word: &str) -> Option<&'static str> {
    let word = word.to_lowercase();
    let spaced = word.replace('-', " ");
    let known = |(other, _): &&(&str, &str)| *other == word || *other == spaced;
    WORDS.iter().find(known).map(|(_, word)| *word)
}

/// Keys as German parts name them, where that differs, and as they are written here. Source: common
/// practice.
const GERMAN_KEYS: [(&str, &str); 8] = [
    ("H", "B"),
    ("Es", "Eb"),
    ("As", "Ab"),
    ("Des", "Db"),
    ("Ges", "Gb"),
    ("Fis", "F#"),
    ("Cis", "C#"),
    ("Gis", "G#"),
];

/// The key or crook that a German part calls so, as it is written here: `B` for "H".
#[must_use]
pub fn german_key(name: &str) -> Option<&'static str> {
    GERMAN_KEYS.iter().find(|(german, _)| *german == name).map(|(_, here)| *here)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_stands_twice_and_capitals_do_not_matter() {
        for (index, (word, _)) in WORDS.iter().enumerate() {
            assert!(WORDS[..index].iter().all(|(other, _)| other != word), "{word}");
        }
        assert_eq!(instead_of("Mezzo-forte"), Some("mf"));
        assert_eq!(instead_of("-"), Some("tenuto"));
        assert_eq!(instead_of("gliss"), None);
    }
}
