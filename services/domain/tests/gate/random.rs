//! Choices from one number, the same on every machine: a seed is a whole history.
//! It never reads a clock or the system's randomness.

/// A stream of choices (the splitmix64 sequence: G. Steele, D. Lea, C. Flood, OOPSLA 2014).
#[derive(Clone, Debug)]
pub struct Rng(u64);

impl Rng {
    /// The stream of a seed.
    pub fn of(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x2545_f491_4f6c_dd1d) ^ 0x6a09_e667_f3bc_c908)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `n`, which is at least 1.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).expect("below n")
    }

    /// From the first up to the last.
    pub fn within(&mut self, first: i64, last: i64) -> i64 {
        first + i64::try_from(self.next() % (last - first + 1).unsigned_abs()).expect("small")
    }

    /// True so many times in a thousand.
    pub fn per_mille(&mut self, share: u64) -> bool {
        self.next() % 1000 < share
    }

    /// True so many times in a hundred.
    pub fn chance(&mut self, percent: u64) -> bool {
        self.next() % 100 < percent
    }

    /// One of them.
    pub fn pick<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }

    /// One of them, when there is one.
    pub fn some<T: Copy>(&mut self, all: &[T]) -> Option<T> {
        if all.is_empty() { None } else { Some(self.pick(all)) }
    }
}
