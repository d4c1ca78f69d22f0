//! Compares the machine's clock with Postgres's each minute: a plant whose clocks disagree takes
//! no entries, since nobody could say when they were made.
//! It never sets a clock, and a simulated one is left alone.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use diesel::sql_types::Timestamptz;
use diesel::{QueryableByName, sql_query};
use diesel_async::RunQueryDsl;
use platform::clock::Clock;
use platform::db::Db;
use platform::tasks::Tasks;

/// How often the clocks are compared.
const EVERY: Duration = Duration::from_secs(60);
/// The most by which they may differ.
const APART_MAX_MS: i64 = 2_000;

/// How far Postgres's clock was ahead when it was last asked.
#[derive(Clone, Default)]
pub struct ClockCheck {
    ahead_ms: Arc<AtomicI64>,
}

#[derive(QueryableByName)]
struct Theirs {
    #[diesel(sql_type = Timestamptz)]
    now: jiff_diesel::Timestamp,
}

impl ClockCheck {
    /// Compares at once and then each minute until the stop.
    pub fn start(&self, db: Db, clock: Clock, tasks: &Tasks) {
        if clock.is_simulated() {
            return;
        }
        let (ahead_ms, watched) = (self.ahead_ms.clone(), tasks.clone());
        tasks.spawn(async move {
            while !watched.is_stopping() {
                let theirs = db.read("hankbook.clock", |conn| {
                    Box::pin(async move {
                        let query = sql_query("SELECT clock_timestamp() AS now");
                        Ok(query.get_result::<Theirs>(conn).await?.now.to_jiff())
                    })
                });
                // A database that does not answer makes the house not ready for that reason.
                if let Ok(theirs) = theirs.await {
                    let ahead = theirs.duration_since(clock.now()).as_millis();
                    ahead_ms.store(i64::try_from(ahead).unwrap_or(i64::MAX), Ordering::Relaxed);
                }
                tokio::select! {
                    () = tokio::time::sleep(EVERY) => {}
                    () = watched.stopping() => {}
                }
            }
        });
    }

    /// Why the clocks forbid an entry now, if they do.
    pub fn fault(&self) -> Option<String> {
        let ahead = AtomicI64::load(&self.ahead_ms, Ordering::Relaxed);
        (ahead.abs() > APART_MAX_MS).then(|| {
            format!("The clock of Postgres is {ahead} ms ahead of this machine's; set them right.")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_more_than_two_seconds_apart_forbid_entries() {
        let check = ClockCheck::default();
        assert_eq!(check.fault(), None);
        for (ahead, forbids) in [(2_000, false), (2_001, true), (-2_000, false), (-2_001, true)] {
            check.ahead_ms.store(ahead, Ordering::Relaxed);
            assert_eq!(check.fault().is_some(), forbids, "{ahead} ms");
        }
    }
}
