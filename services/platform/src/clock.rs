//! The only real clock of the house: records, windows and tokens take their time of day from it.
//! It never measures waiting: time-outs, ages and retries use the monotonic clock, never simulated.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Instant;

use jiff::{SignedDuration, Timestamp};

/// The time of day of a plant: the machine's, or a simulated one that only moves when told.
#[derive(Clone, Debug)]
pub struct Clock {
    /// Microseconds since 1970 of a simulated clock.
    simulated: Option<Arc<AtomicI64>>,
}

/// A simulated clock was asked to go back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a simulated clock only moves forwards")]
pub struct Backwards;

impl Clock {
    /// The machine's clock.
    pub fn of_the_machine() -> Self {
        Self { simulated: None }
    }

    /// A clock that stands at `start` until it is moved. Only for a data folder made as simulated.
    pub fn simulated(start: Timestamp) -> Self {
        Self { simulated: Some(Arc::new(AtomicI64::new(start.as_microsecond()))) }
    }

    /// True when the time is invented.
    pub fn is_simulated(&self) -> bool {
        self.simulated.is_some()
    }

    /// Now, cut to microseconds (as Postgres keeps it).
    pub fn now(&self) -> Timestamp {
        let micros = match &self.simulated {
            Some(micros) => micros.load(Ordering::SeqCst),
            None => machine_now().as_microsecond(),
        };
        Timestamp::from_microsecond(micros).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    /// Moves a simulated clock forwards to `to`.
    pub fn move_to(&self, to: Timestamp) -> Result<(), Backwards> {
        let micros = self.simulated.as_ref().ok_or(Backwards)?;
        let to = to.as_microsecond();
        micros
            .fetch_update(Ordering::SeqCst, Ordering::SeqCst, |now| (to >= now).then_some(to))
            .map(|_| ())
            .map_err(|_| Backwards)
    }

    /// How far `then` lies in the past; negative when it lies ahead.
    pub fn since(&self, then: Timestamp) -> SignedDuration {
        self.now().duration_since(then)
    }
}

#[expect(clippy::disallowed_methods, reason = "this is the one place that reads the real clock")]
fn machine_now() -> Timestamp {
    Timestamp::now()
}

/// The monotonic clock, for waiting and for ages. It is never simulated.
#[expect(clippy::disallowed_methods, reason = "this is the one place that reads the real clock")]
pub fn monotonic() -> Instant {
    Instant::now()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_simulated_clock_moves_only_forwards() {
        let start = Timestamp::from_second(1_000).expect("a time");
        let clock = Clock::simulated(start);
        assert_eq!(clock.now(), start);
        let later = Timestamp::from_second(2_000).expect("a time");
        assert_eq!(clock.move_to(later), Ok(()));
        assert_eq!(clock.now(), later);
        assert_eq!(clock.move_to(start), Err(Backwards));
    }

    #[test]
    fn the_machine_clock_cannot_be_moved() {
        let clock = Clock::of_the_machine();
        assert_eq!(clock.move_to(clock.now()), Err(Backwards));
        assert_eq!(clock.now().as_nanosecond() % 1_000, 0);
    }
}
