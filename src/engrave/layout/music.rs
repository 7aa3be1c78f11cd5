//! The bars that are laid out: all of them at hand, or packed and taken out while they are drawn.

use std::ops::Range;

use super::spacing::{BarSpace, bar_spaces, spaces_of, with_words};
use crate::packed::Packed;
use crate::rows::Stretch;
use crate::sheet::Sheet;

/// Where the bars are.
pub(super) enum Music<'a> {
    /// At hand, all with their columns.
    Whole { sheet: &'a Sheet, spaces: Stretch<BarSpace<'a>> },
    /// Packed; the sheet has those that were taken out last.
    Packed { packed: &'a Packed, sheet: Box<Sheet> },
}

/// Some bars with their columns.
pub(super) struct Window<'w> {
    /// The sheet; its staves have at least these bars and what spans them.
    pub sheet: &'w Sheet,
    spaces: Spaces<'w>,
}

enum Spaces<'w> {
    Kept(&'w Stretch<BarSpace<'w>>),
    Own(Stretch<BarSpace<'w>>),
}

impl<'a> Music<'a> {
    pub(super) fn whole(sheet: &'a Sheet) -> Music<'a> {
        Music::Whole { sheet, spaces: bar_spaces(sheet) }
    }

    pub(super) fn packed(packed: &'a Packed) -> Music<'a> {
        Music::Packed { packed, sheet: Box::new(packed.frame().clone()) }
    }

    /// The sheet; of what stands in bars of its staves nothing need be there.
    pub(super) fn sheet(&self) -> &Sheet {
        match self {
            Music::Whole { sheet, .. } => sheet,
            Music::Packed { sheet, .. } => sheet,
        }
    }

    /// Takes out some bars, the one before them and the one behind, which a line that ends with them announces.
    pub(super) fn open(&mut self, bars: Range<usize>) -> Window<'_> {
        match self {
            Music::Whole { sheet, spaces } => Window { sheet, spaces: Spaces::Kept(spaces) },
            Music::Packed { packed, sheet } => {
                let count = sheet.bars.len();
                let shown = with_words(sheet, bars.start..(bars.end + 1).min(count));
                // The bar before says whether a staff goes on with as many lines.
                let known = shown.start.saturating_sub(1)..(shown.end + 1).min(count);
                packed.unpack(known, sheet);
                Window { sheet, spaces: Spaces::Own(spaces_of(sheet, shown)) }
            }
        }
    }
}

impl<'w> Window<'w> {
    pub(super) fn spaces(&self) -> &Stretch<BarSpace<'w>> {
        match &self.spaces {
            Spaces::Kept(spaces) => spaces,
            Spaces::Own(spaces) => spaces,
        }
    }
}
