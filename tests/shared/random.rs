//! Random numbers that are the same in every run (xorshift).

use ripieno::narrow::Narrow;

pub struct Random(pub u64);

impl Random {
    pub fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % most.max(1) as u64).narrow::<usize>()
    }
}
