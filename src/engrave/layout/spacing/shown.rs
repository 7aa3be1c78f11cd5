//! The staves that a line of the page has: of a pair the one that they share, or that of each.

use std::ops::Range;

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
        Shown::new(sheet, &standing(sheet, bar..bar + 1))
    }

    /// Is that staff shown?
    pub(super) fn has(&self, staff: usize) -> bool {
        self.staves.contains(&staff)
    }
}

/// The staves that a line of those bars has, unless it leaves out who rests. Two players who may share a staff have one
/// each where they part. Who reads two staves in other movements has one in those in which he reads one.
pub(in crate::layout) fn standing(sheet: &Sheet, bars: Range<usize>) -> Vec<usize> {
    let mut parted = false;
    let mut stands = |staff: &Staff| match staff.of_pair {
        None => !staff.bars[bars.clone()].iter().all(|bar| bar.absent),
        Some(OfPair::Shared) => {
            parted = staff.bars[bars.clone()].iter().any(|bar| bar.parted);
            !parted
        }
        Some(OfPair::Alone) => parted,
    };
    (0..sheet.staves.len()).filter(|staff| stands(&sheet.staves[*staff])).collect()
}
