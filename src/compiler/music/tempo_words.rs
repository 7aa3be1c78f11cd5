//! Words that change the tempo: "rit.", "più mosso", "a tempo".

/// Words of a gradual change, in small letters, and whether it is to a faster tempo. A word of
/// music may be cut short with a point. Source: common practice, as in Grove, A Dictionary of Music
/// and Musicians, under these words (from memory).
const GRADUAL: [(&str, bool); 16] = [
    ("rit", false),
    ("ritard", false),
    ("ritardando", false),
    ("rall", false),
    ("rallent", false),
    ("rallentando", false),
    ("allarg", false),
    ("allargando", false),
    ("slargando", false),
    ("slentando", false),
    ("accel", true),
    ("accelerando", true),
    ("string", true),
    ("stringendo", true),
    ("affrett", true),
    ("affrettando", true),
];

/// What the words of a tempo ask for.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct TempoWords {
    /// Back to which tempo?
    pub back: Option<TempoBack>,
    /// To another tempo.
    pub change: Option<TempoChange>,
}

/// The tempo to which words go back.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum TempoBack {
    /// "a tempo": to the mark in force.
    InForce,
    /// "Tempo I": to the first mark of the piece.
    First,
}

/// A change that words ask for.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TempoChange {
    /// Little by little?
    pub gradual: bool,
    /// The speed that is reached, as a multiple of what it was.
    pub to: f64,
    /// Do "poco" or "molto" say how much?
    pub measured: bool,
}

impl TempoWords {
    /// Reads some words.
    #[must_use]
    pub fn of(text: &str) -> TempoWords {
        let lower = text.to_lowercase().replace('ù', "u");
        // "Poco a poco" says that a change is gradual, not that it is small.
        let lower = lower.replace("poco a poco", " ");
        let words: Vec<&str> =
            lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
        let pair = |first: &str, second: &[&str]| {
            words.windows(2).any(|two| two[0] == first && second.contains(&two[1]))
        };
        let back = if pair("tempo", &["i", "1", "primo", "1mo", "1o", "io"]) {
            Some(TempoBack::First)
        } else if pair("a", &["tempo"]) || pair("in", &["tempo"]) {
            Some(TempoBack::InForce)
        } else {
            None
        };
        if words.iter().any(|word| matches!(*word, "senza" | "non")) {
            return TempoWords { back, change: None };
        }
        let gradual =
            GRADUAL.iter().find(|(word, _)| words.contains(word)).map(|(_, up)| (true, *up));
        let slower = pair("meno", &["mosso"])
            || words.iter().any(|word| matches!(*word, "ritenuto" | "riten"));
        let sudden = (slower || pair("piu", &["mosso"])).then_some((false, !slower));
        let change = gradual.or(sudden).map(|(gradual, up)| {
            let (poco, molto) = (words.contains(&"poco"), words.contains(&"molto"));
            let whole = if gradual { 1.0 } else { 0.5 };
            let by = whole
                * if poco {
                    1.0 / 6.0
                } else if molto {
                    0.5
                } else {
                    1.0 / 3.0
                };
            let to = if up { 1.0 + by } else { 1.0 - by };
            TempoChange { gradual, to, measured: poco || molto }
        });
        TempoWords { back, change }
    }

    /// What words of the music ask for that are said with others: only what begins as a word of the tempo does ("poco
    /// rit."), so that "on one string" hurries nobody.
    #[must_use]
    pub fn said(text: &str) -> Option<TempoWords> {
        let meant = TempoWords::of(text);
        (meant != TempoWords::default() && begins_with_tempo(text)).then_some(meant)
    }
}

/// Does a text begin with a word of the tempo, perhaps after "poco", "molto" and their like?
fn begins_with_tempo(text: &str) -> bool {
    let lower = text.to_lowercase().replace('ù', "u");
    let all = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    let mut all = all.skip_while(|word| matches!(*word, "poco" | "molto" | "un" | "e" | "sempre"));
    let first = all.next().unwrap_or_default();
    GRADUAL.iter().any(|(word, _)| *word == first)
        || matches!(first, "a" | "in" | "tempo" | "meno" | "piu" | "ritenuto" | "riten")
}
