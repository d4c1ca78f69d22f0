//! How long something may still take.
//! It never tells the time of day; records have nothing to do with it.

use std::time::{Duration, Instant};

/// A moment of the monotonic clock by which something must have happened.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Deadline(Instant);

impl Deadline {
    /// The moment `limit` from now.
    pub fn after(limit: Duration) -> Self {
        Self(monotonic() + limit)
    }

    /// What is left of the time; zero once it is over.
    pub fn left(self) -> Duration {
        self.0.saturating_duration_since(monotonic())
    }

    /// Whether the time is over.
    pub fn is_over(self) -> bool {
        self.left().is_zero()
    }
}

#[expect(clippy::disallowed_methods, reason = "this crate stands below platform and its clock")]
fn monotonic() -> Instant {
    Instant::now()
}
