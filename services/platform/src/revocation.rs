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
    /// Tokens of a person issued before this second are void (roles or password changed).
    not_before: RwLock<HashMap<Uuid, i64>>,
    heard: Mutex<Option<Instant>>,
}

impl Default for Revocations {
    fn default() -> Self {
        Self { sessions: RwLock::default(), not_before: RwLock::default(), heard: Mutex::new(None) }
    }
}

impl Revocations {
    /// A session has ended; remembered until its last token has expired at `until` (seconds).
    pub fn end_session(&self, session: Uuid, until: i64) {
        let mut sessions = self.sessions.write().unwrap_or_else(PoisonError::into_inner);
        sessions.insert(session, until);
    }

    /// Tokens of a person issued before `second` are void.
    pub fn void_before(&self, person: Uuid, second: i64) {
        let mut persons = self.not_before.write().unwrap_or_else(PoisonError::into_inner);
        persons.insert(person, second);
    }

    /// Identity was heard: its heartbeat or a change.
    pub fn hear(&self, now_second: i64) {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Some(monotonic());
        let mut sessions = self.sessions.write().unwrap_or_else(PoisonError::into_inner);
        sessions.retain(|_, until| *until > now_second);
    }

    /// True for a session that has ended or a token older than the person's last change.
    pub fn covers(&self, session: Option<Uuid>, person: Option<Uuid>, issued: i64) -> bool {
        let sessions = self.sessions.read().unwrap_or_else(PoisonError::into_inner);
        if session.is_some_and(|session| sessions.contains_key(&session)) {
            return true;
        }
        let persons = self.not_before.read().unwrap_or_else(PoisonError::into_inner);
        person.and_then(|person| persons.get(&person)).is_some_and(|second| issued < *second)
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
        let session = Uuid::from_u128(7);
        assert!(!revocations.covers(Some(session), None, 100));
        revocations.end_session(session, 700);
        assert!(revocations.covers(Some(session), None, 100));
        revocations.hear(700);
        assert!(!revocations.covers(Some(session), None, 100));
    }

    #[test]
    fn a_changed_person_voids_earlier_tokens_only() {
        let revocations = Revocations::default();
        let person = Uuid::from_u128(8);
        revocations.void_before(person, 200);
        assert!(revocations.covers(None, Some(person), 199));
        assert!(!revocations.covers(None, Some(person), 200));
    }

    #[test]
    fn silence_from_the_start_is_stale() {
        let revocations = Revocations::default();
        assert!(revocations.is_stale());
        revocations.hear(0);
        assert!(!revocations.is_stale());
    }
}
