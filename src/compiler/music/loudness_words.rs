//! Words of loudness: how loud it is, how it grows, and how that goes.

/// Words that say how much, or how, something grows or is loud. (Common practice.)
const BESIDE: [&str; 13] = [
    "poco", "a", "molto", "sempre", "più", "piu", "meno", "assai", "subito", "sub", "al", "niente",
    "un",
];

fn each_word(words: &str) -> impl Iterator<Item = &str> {
    words.split_whitespace().map(|word| word.trim_end_matches(['.', ',']))
}

/// Do words of the arranger say nothing but how something else goes: "poco a poco", "al niente"? With a hairpin they
/// are of that.
#[must_use]
pub fn says_how_it_goes(words: &str) -> bool {
    let words = words.to_lowercase();
    let mut each = each_word(&words).peekable();
    each.peek().is_some() && each.all(|word| BESIDE.contains(&word))
}

/// Do words of the arranger say nothing but how loud it is or becomes: "crescendo", "poco a poco dim.",
/// "morendo", "più f"? They stand with the dynamics (common practice).
#[must_use]
pub fn says_how_loud(words: &str) -> bool {
    const LOUDNESS: [&str; 7] =
        ["cresc", "decresc", "dimin", "morend", "smorz", "perdend", "mancand"];
    const DYNAMICS: [&str; 9] = ["dim", "p", "pp", "ppp", "mp", "mf", "f", "ff", "fff"];
    let words = words.to_lowercase();
    let each = || each_word(&words);
    let loud = |word: &str| {
        DYNAMICS.contains(&word) || LOUDNESS.iter().any(|known| word.starts_with(known))
    };
    each().any(loud) && each().all(|word| loud(word) || BESIDE.contains(&word))
}

/// Do words of the arranger say that it becomes louder or softer from there on, and which? "crescendo", "molto dim."
#[must_use]
pub fn says_growth(words: &str) -> Option<bool> {
    let words = words.to_lowercase();
    let mut each = words.split(|letter: char| !letter.is_alphabetic());
    each.find_map(|word| match word {
        "dim" => Some(false),
        _ if word.starts_with("cresc") => Some(true),
        _ if word.starts_with("decresc") || word.starts_with("dimin") => Some(false),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::{says_how_it_goes, says_how_loud};

    #[test]
    fn words_of_loudness_are_told_from_others() {
        for words in ["crescendo", "cresc.", "poco a poco dim.", "morendo", "più f", "sempre pp"] {
            assert!(says_how_loud(words), "{words}");
        }
        for words in ["dolce", "cresc. ed accel.", "poco a poco", "espressivo", "a piacere", ""] {
            assert!(!says_how_loud(words), "{words}");
        }
    }

    #[test]
    fn words_of_how_a_hairpin_goes_say_nothing_else() {
        for words in ["poco a poco", "al niente", "molto", "sempre più"] {
            assert!(says_how_it_goes(words), "{words}");
        }
        for words in ["poco rit.", "molto espressivo", "poco a poco cresc.", "al fine", ""] {
            assert!(!says_how_it_goes(words), "{words}");
        }
    }
}
