//! Words on paper that mean more than their letters: tempos, techniques, jumps.

use crate::music::Sign;

/// What printed words mean.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Said {
    /// A tempo or a change of tempo.
    Tempo,
    /// A word of the language that stands in brackets of its own.
    Word(&'static str),
    /// A jump or what it needs: da capo, dal segno, fine, coda.
    Jump(Sign),
    /// Anything else.
    Words,
}

/// Beginnings of tempos in Italian, French, German and English (common practice).
const TEMPOS: [&str; 54] = [
    "adagi",
    "largo",
    "larghetto",
    "lento",
    "grave",
    "andant",
    "moderato",
    "allegr",
    "vivac",
    "vivo",
    "prest",
    "tempo",
    "a tempo",
    "maestoso",
    "rit.",
    "ritard",
    "riten",
    "rall",
    "allarg",
    "slent",
    "accel",
    "string",
    "affrett",
    "meno mosso",
    "più mosso",
    "piu mosso",
    "con moto",
    "animato",
    "poco rit",
    "poco rall",
    "poco meno",
    "poco più",
    "molto rit",
    "molto rall",
    "molto allegro",
    "molto vivace",
    "molto adagio",
    "un poco",
    "poco adagio",
    "poco allegro",
    "lent",
    "vif",
    "modéré",
    "langsam",
    "schnell",
    "mäßig",
    "mässig",
    "massig",
    "lebhaft",
    "bewegt",
    "slow",
    "fast",
    "lively",
    "moderately",
];
const TECHNIQUES: [(&str, &str); 12] = [
    ("pizz", "pizz"),
    ("pizz.", "pizz"),
    ("pizzicato", "pizz"),
    ("arco", "arco"),
    ("arco.", "arco"),
    ("con sord.", "muted"),
    ("con sord", "muted"),
    ("con sordino", "muted"),
    ("con sordini", "muted"),
    ("senza sord.", "unmuted"),
    ("senza sordino", "unmuted"),
    ("senza sordini", "unmuted"),
];

/// What printed words mean.
pub(super) fn meant(words: &str) -> Said {
    let small = words.trim().to_lowercase();
    if let Some(sign) = super::jumps::sign(&small) {
        return Said::Jump(sign);
    }
    if let Some((_, word)) = TECHNIQUES.iter().find(|(said, _)| *said == small) {
        return Said::Word(word);
    }
    if let Some(word) = super::signs::dynamic(&small) {
        return Said::Word(word);
    }
    if TEMPOS.iter().any(|tempo| small.starts_with(tempo)) { Said::Tempo } else { Said::Words }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_the_trade_are_known() {
        assert_eq!(meant("Allegro non troppo"), Said::Tempo);
        assert_eq!(meant("poco rit."), Said::Tempo);
        assert_eq!(meant("Pizz."), Said::Word("pizz"));
        assert_eq!(meant("D.C. al Fine"), Said::Jump(Sign::DaCapoAlFine));
        assert_eq!(meant("dolce"), Said::Words);
        assert_eq!(meant("mf"), Said::Word("mf"));
    }
}
