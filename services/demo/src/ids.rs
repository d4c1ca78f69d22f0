//! Chance and ids out of one seed: the same seed makes the same week.
//! It never asks the machine for anything random.

use jiff::Timestamp;
use uuid::{Builder, Uuid};

/// Chance of one week.
#[derive(Clone, Debug)]
pub struct Chance {
    random: fastrand::Rng,
    last_ms: u64,
    count: u16,
}

impl Chance {
    /// Chance from a seed.
    pub fn new(seed: u64) -> Self {
        Self { random: fastrand::Rng::with_seed(seed), last_ms: 0, count: 0 }
    }

    /// An id of version 7 made at an instant: ids made one after another sort so.
    pub fn id(&mut self, at: Timestamp) -> Uuid {
        let ms = u64::try_from(at.as_millisecond()).unwrap_or_default();
        if ms == self.last_ms {
            self.count += 1;
        } else {
            (self.last_ms, self.count) = (ms, 0);
        }
        let mut bytes = [0; 10];
        self.random.fill(&mut bytes);
        bytes[..2].copy_from_slice(&self.count.to_be_bytes());
        Builder::from_unix_timestamp_millis(self.last_ms, &bytes).into_uuid()
    }

    /// A number within `middle - spread` and `middle + spread`, more often near the middle.
    pub fn near(&mut self, middle: f64, spread: f64) -> f64 {
        middle + spread * (self.random.f64() + self.random.f64() - 1.0)
    }

    /// A whole number from 0 to below `end`, which is above 0.
    pub fn below(&mut self, end: usize) -> usize {
        self.random.usize(..end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_sort_as_they_were_made_and_come_again() {
        let at = Timestamp::from_second(1_800_000_000).expect("an instant");
        let later = Timestamp::from_second(1_800_000_001).expect("an instant");
        let made = |seed| {
            let mut chance = Chance::new(seed);
            [at, at, at, later].map(|at| chance.id(at))
        };
        let ids = made(7);
        assert!(ids.is_sorted() && ids.windows(2).all(|pair| pair[0] != pair[1]), "{ids:?}");
        assert!(ids.iter().all(|id| id.get_version_num() == 7));
        assert_eq!(ids, made(7));
        assert_ne!(ids, made(8));
    }
}
