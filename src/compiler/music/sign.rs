//! Signs and words that tell a player where to go on.

/// A sign or words that tell where to go on.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Sign {
    /// The sign of "dal segno", at the beginning of a bar.
    Segno,
    /// The sign of the coda, at the beginning of a bar.
    Coda,
    /// The section that ends with the bar is played so often, where that is not twice.
    Times(u8),
    /// "To Coda", at the end of a bar.
    ToCoda,
    /// "Fine", at the end of a bar.
    Fine,
    /// "attacca", at the end of a movement: the next one follows at once.
    Attacca,
    /// "D.C.", at the end of a bar: from the beginning.
    DaCapo,
    /// "D.C. al Fine".
    DaCapoAlFine,
    /// "D.C. al Coda".
    DaCapoAlCoda,
    /// "D.S.": from the sign.
    DalSegno,
    /// "D.S. al Fine".
    DalSegnoAlFine,
    /// "D.S. al Coda".
    DalSegnoAlCoda,
}

/// "3 times", by the number.
const TIMES: [&str; 9] =
    ["once", "twice", "3 times", "4 times", "5 times", "6 times", "7 times", "8 times", "9 times"];

impl Sign {
    /// The most times that a section may be played.
    pub const MOST_TIMES: u8 = 9;

    /// Does it stand at the end of its bar?
    #[must_use]
    pub fn stands_at_end(self) -> bool {
        !matches!(self, Sign::Segno | Sign::Coda)
    }

    /// Does it send the player elsewhere when the bar has been played?
    #[must_use]
    pub fn is_jump(self) -> bool {
        self >= Sign::DaCapo
    }

    /// Does it send the player back to the segno?
    #[must_use]
    pub fn is_dal_segno(self) -> bool {
        self >= Sign::DalSegno
    }

    /// Does the player go on from there only to the fine?
    #[must_use]
    pub fn is_al_fine(self) -> bool {
        matches!(self, Sign::DaCapoAlFine | Sign::DalSegnoAlFine)
    }

    /// Does the player go on from there to the coda?
    #[must_use]
    pub fn is_al_coda(self) -> bool {
        matches!(self, Sign::DaCapoAlCoda | Sign::DalSegnoAlCoda)
    }

    /// The words on paper; none for the two that are drawn.
    #[must_use]
    pub fn words(self) -> Option<&'static str> {
        match self {
            Sign::Segno | Sign::Coda => None,
            Sign::Times(times) => TIMES.get(usize::from(times.max(1)) - 1).copied(),
            Sign::ToCoda => Some("To Coda"),
            Sign::Fine => Some("Fine"),
            Sign::Attacca => Some("attacca"),
            Sign::DaCapo => Some("D.C."),
            Sign::DaCapoAlFine => Some("D.C. al Fine"),
            Sign::DaCapoAlCoda => Some("D.C. al Coda"),
            Sign::DalSegno => Some("D.S."),
            Sign::DalSegnoAlFine => Some("D.S. al Fine"),
            Sign::DalSegnoAlCoda => Some("D.S. al Coda"),
        }
    }

    /// As the language writes it.
    #[must_use]
    pub fn in_source(self) -> &'static str {
        match self {
            Sign::Segno => "segno",
            Sign::Coda => "coda",
            Sign::Times(_) => "repeat",
            Sign::ToCoda => "to coda",
            Sign::Fine => "fine",
            Sign::Attacca => "attacca",
            Sign::DaCapo => "da capo",
            Sign::DaCapoAlFine => "da capo al fine",
            Sign::DaCapoAlCoda => "da capo al coda",
            Sign::DalSegno => "dal segno",
            Sign::DalSegnoAlFine => "dal segno al fine",
            Sign::DalSegnoAlCoda => "dal segno al coda",
        }
    }
}
