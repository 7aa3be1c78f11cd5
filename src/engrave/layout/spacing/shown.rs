//! The staves that a line of the page has: of a pair the one that they share, or that of each.

use crate::sheet::{OfPair, Sheet, Staff};

/// Staves that are shown, in order, and their lanes.
#[derive(Debug)]
pub(in crate::layout) struct Shown {
    staves: Vec<usize>,
    pub(super) lanes: Vec<usize>,
}

impl Shown {
    /// Those staves.
    pub(in crate::layout) fn new(sheet: &Sheet, staves: &[usize]) -> Shown {
        let lanes = staves.iter().flat_map(|staff| sheet.staves[*staff].lanes.clone()).collect();
        Shown { staves: staves.to_vec(), lanes }
    }

    /// The staves that a line of a single bar has.
    pub(super) fn alone(sheet: &Sheet, bar: usize) -> Shown {
        let mut parted = false;
        let mut stands = |staff: &Staff| match staff.of_pair {
            None => true,
            Some(OfPair::Shared) => {
                parted = staff.bars[bar].parted;
                !parted
            }
            Some(OfPair::Alone) => parted,
        };
        let staves = sheet.staves.iter().enumerate().filter(|(_, staff)| stands(staff));
        Shown::new(sheet, &staves.map(|(n, _)| n).collect::<Vec<_>>())
    }

    /// Is that staff shown?
    pub(super) fn has(&self, staff: usize) -> bool {
        self.staves.contains(&staff)
    }
}
