//! Which sessions have ended, as identity streams it, so that a sign-out bites everywhere at once.
//! It never asks the database on a call: a process that has not heard for long says so.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError, RwLock};
use std::time::{Duration, Instant};

use uuid::Uuid;

use crate::clock::monotonic;

/// Beyond this silence only readings are taken.
pub const SILENCE_MAX: Duration = Duration::from_secs(30);

/// The sessions ended and the persons whose earlier tokens no longer count.
pub struct Revocations {
    sessions: RwLock<HashMap<Uuid, i64>>,
    /// Tokens that name an earlier version of the person are void: the roles have changed since.
    versions: RwLock<HashMap<Uuid, i32>>,
    heard: Mutex<Option<Instant>>,
}

impl Default for Revocations {
    fn default() -> Self {
        Self { sessions: RwLock::default(), versions: RwLock::default(), heard: Mutex::new(None) }
    }
}

impl Revocations {
    /// A session has ended; remembered until its last token has expired at `until` (seconds).
    pub fn end_session(&self, session: Uuid, until: i64) {
        let mut sessions = self.sessions.write().unwrap_or_else(PoisonError::into_inner);
        sessions.insert(session, until);
    }

    /// Tokens of a person that name a version before `version` are void. Versions and not times:
    /// a token of the same second is told apart, and a simulated clock may stand still.
    pub fn void_before(&self, person: Uuid, version: i32) {
        let mut versions = self.versions.write().unwrap_or_else(PoisonError::into_inner);
        let known = versions.entry(person).or_insert(version);
        *known = version.max(*known);
    }

    /// Identity was heard: its heartbeat or a change.
    pub fn hear(&self, now_second: i64) {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Some(monotonic());
        let mut sessions = self.sessions.write().unwrap_or_else(PoisonError::into_inner);
        sessions.retain(|_, until| *until > now_second);
    }

    /// True for a session that has ended, or a token that names too old a version of its person.
    pub fn covers(&self, session: Uuid, person: Uuid, version: i32) -> bool {
        let sessions = self.sessions.read().unwrap_or_else(PoisonError::into_inner);
        if sessions.contains_key(&session) {
            return true;
        }
        let versions = self.versions.read().unwrap_or_else(PoisonError::into_inner);
        versions.get(&person).is_some_and(|least| version < *least)
    }

    /// True once identity was heard at all: before that nobody's rights are known.
    pub fn was_heard(&self) -> bool {
        self.heard.lock().unwrap_or_else(PoisonError::into_inner).is_some()
    }

    /// True when identity has been silent for too long: signatures and releases are refused.
    pub fn is_stale(&self) -> bool {
        let heard = *self.heard.lock().unwrap_or_else(PoisonError::into_inner);
        heard.is_none_or(|heard| monotonic().duration_since(heard) > SILENCE_MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ended_session_is_covered_until_its_tokens_are_gone() {
        let revocations = Revocations::default();
        let (session, person) = (Uuid::from_u128(7), Uuid::from_u128(8));
        assert!(!revocations.covers(session, person, 1));
        revocations.end_session(session, 700);
        assert!(revocations.covers(session, person, 1));
        revocations.hear(700);
        assert!(!revocations.covers(session, person, 1));
    }

    #[test]
    fn changed_rights_void_tokens_of_earlier_versions_only() {
        let revocations = Revocations::default();
        let (session, person) = (Uuid::from_u128(7), Uuid::from_u128(8));
        revocations.void_before(person, 3);
        revocations.void_before(person, 2);
        assert!(revocations.covers(session, person, 2));
        assert!(!revocations.covers(session, person, 3));
        assert!(!revocations.covers(session, Uuid::from_u128(9), 1));
    }

    #[test]
    fn silence_from_the_start_is_stale() {
        let revocations = Revocations::default();
        assert!(revocations.is_stale());
        revocations.hear(0);
        assert!(!revocations.is_stale());
    }
}
