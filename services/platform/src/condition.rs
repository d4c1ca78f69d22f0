//! The condition under which a draft is replaced: what its writer must have read.
//! It never lets two writers overwrite each other unseen.

use crate::caller::Call;
use crate::error::{Failure, Kind};

/// What must stand for a draft to be replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Condition {
    /// Nothing is there yet (If-None-Match: *).
    First,
    /// This version is there (If-Match).
    Version(i32),
}

impl Condition {
    /// Reads the condition of a call. Refused: none (428), or one that is no ETag of ours (412).
    pub fn of(call: &Call) -> Result<Self, Failure> {
        match call.if_match() {
            None if call.is_first() => Ok(Self::First),
            None => {
                let text = "Send If-Match with the ETag that you read, or If-None-Match: * for \
                            a new draft.";
                Err(Failure::new(Kind::ConditionMissing, text))
            }
            Some(etag) => {
                let version = etag.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
                let version = version.and_then(|digits| digits.parse().ok());
                version.map(Self::Version).ok_or_else(stale)
            }
        }
    }

    /// The version that a draft gets when the condition holds of the one that stands.
    pub fn next(self, standing: Option<i32>) -> Result<i32, Failure> {
        match (self, standing) {
            (Self::First, None) => Ok(1),
            (Self::Version(read), Some(standing)) if read == standing => Ok(standing + 1),
            _ => Err(stale()),
        }
    }
}

fn stale() -> Failure {
    let text = "The draft has changed since it was read; read it again and repeat your change.";
    Failure::new(Kind::Stale, text)
}

/// The ETag of a draft's version.
pub fn etag(version: i32) -> String {
    format!("\"{version}\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_was_read_is_replaced() {
        let next = |condition: Condition, standing| condition.next(standing).ok();
        assert_eq!(next(Condition::First, None), Some(1));
        assert_eq!(next(Condition::First, Some(1)), None);
        assert_eq!(next(Condition::Version(3), Some(3)), Some(4));
        assert_eq!(next(Condition::Version(2), Some(3)), None);
        assert_eq!(next(Condition::Version(2), None), None);
    }
}
