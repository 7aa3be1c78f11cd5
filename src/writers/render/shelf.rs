//! Texts that wait for others to stand beside, kept small.

use miniz_oxide::deflate::compress_to_vec;
use miniz_oxide::inflate::decompress_to_vec;

/// Bytes of text that are packed together.
const BLOCK: usize = 32 * 1024;
/// How hard they are packed: little, for it must not take long.
const LEVEL: u8 = 1;

/// Texts put away one after the other, to be taken out again in the same order. A score as text has very
/// many that are much alike.
#[derive(Default)]
pub(super) struct Shelf {
    /// The full blocks, packed.
    packed: Vec<Vec<u8>>,
    /// The block that is being filled.
    open: Vec<u8>,
    /// How long each text is; `None` stands for a text that is not there.
    lengths: Vec<Option<u32>>,
}

impl Shelf {
    /// Puts a text away, or says that there is none.
    pub(super) fn put(&mut self, text: Option<&str>) {
        let length = text.map(|text| u32::try_from(text.len()).unwrap_or(u32::MAX));
        self.lengths.push(length);
        self.open.extend_from_slice(text.unwrap_or_default().as_bytes());
        if self.open.len() >= BLOCK {
            self.packed.push(compress_to_vec(&self.open, LEVEL));
            self.open.clear();
        }
    }

    /// All of them, to be taken out.
    pub(super) fn taken_out(mut self) -> Taken {
        self.open.shrink_to_fit();
        self.packed.shrink_to_fit();
        Taken {
            packed: self.packed.into_iter(),
            last: self.open,
            lengths: self.lengths.into_iter(),
            block: Vec::new(),
            at: 0,
        }
    }
}

/// Texts of a [`Shelf`] that are taken out again.
pub(super) struct Taken {
    packed: std::vec::IntoIter<Vec<u8>>,
    last: Vec<u8>,
    lengths: std::vec::IntoIter<Option<u32>>,
    /// The block at hand, and how much of it is taken.
    block: Vec<u8>,
    at: usize,
}

impl Taken {
    /// The next text; `None` where there is none in its place.
    pub(super) fn next(&mut self) -> Option<&str> {
        let length = self.lengths.next()?? as usize;
        while self.block.len() - self.at < length {
            let left = self.block.split_off(self.at);
            (self.block, self.at) = (left, 0);
            match self.packed.next() {
                // What was packed here can be unpacked.
                Some(packed) => self.block.extend(decompress_to_vec(&packed).unwrap_or_default()),
                None if self.last.is_empty() => return None,
                None => self.block.append(&mut self.last),
            }
        }
        let text = &self.block[self.at..self.at + length];
        self.at += length;
        std::str::from_utf8(text).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_put_away_comes_out_in_the_same_order() {
        let long = "a rest of very many bars ".repeat(3000);
        let number =
            |n: usize| (!n.is_multiple_of(7)).then(|| format!("{n} ──── ♭ {}", &long[..n % 900]));
        let mut shelf = Shelf::default();
        shelf.put(Some(""));
        (0..5000).for_each(|n| shelf.put(number(n).as_deref()));
        shelf.put(Some(&long));
        shelf.put(None);
        shelf.put(Some("end"));
        let packed: usize = shelf.packed.iter().map(Vec::len).sum();
        assert!(packed < 300_000, "{packed} bytes");
        let mut taken = shelf.taken_out();
        assert_eq!(taken.next(), Some(""));
        for n in 0..5000 {
            assert_eq!(taken.next(), number(n).as_deref());
        }
        assert_eq!(taken.next(), Some(&*long));
        assert_eq!(taken.next(), None);
        assert_eq!(taken.next(), Some("end"));
        assert_eq!(taken.next(), None);
    }
}
