//! Choices drawn from bytes, so that a fuzzer and a property test can both make and shrink them.

/// A row of choices. Where the bytes have run out, every choice is the first, which is the
/// plainest.
#[derive(Clone)]
pub struct Choices<'a> {
    bytes: &'a [u8],
}

impl<'a> Choices<'a> {
    pub fn new(bytes: &'a [u8]) -> Choices<'a> {
        Choices { bytes }
    }

    /// Have all bytes been drawn?
    pub fn are_over(&self) -> bool {
        self.bytes.is_empty()
    }

    pub fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.bytes.split_first() else { return 0 };
        self.bytes = rest;
        *first
    }

    /// A number below a bound of 1 to 256.
    pub fn below(&mut self, bound: usize) -> usize {
        usize::from(self.byte()) % bound.max(1)
    }

    /// One time in so many; never once the bytes have run out.
    pub fn one_in(&mut self, times: usize) -> bool {
        self.below(times) == times - 1
    }

    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len())]
    }

    /// A place in a text of so many bytes.
    pub fn place(&mut self, length: usize) -> usize {
        let number = usize::from(self.byte()) << 8 | usize::from(self.byte());
        number % (length + 1)
    }

    /// A length: mostly short.
    pub fn stretch(&mut self) -> usize {
        let bits = self.below(4) * 2;
        self.below(1 << bits)
    }

    /// Any whole number.
    pub fn long(&mut self) -> i64 {
        (0..8).fold(0, |number, _| (number << 8) | i64::from(self.byte()))
    }
}
