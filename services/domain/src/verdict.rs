//! What a judgement may say, and how the judgements of parts make that of a whole.
//! It never judges anything itself.

use std::fmt;

/// The outcome of a judgement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The limit is met; met exactly is met.
    Pass,
    /// The limit is not met.
    Fail,
    /// Data are missing, or the rule gives no number to judge by.
    Undetermined,
}

impl Verdict {
    /// Pass when `met`, else fail.
    pub fn met(met: bool) -> Self {
        if met { Self::Pass } else { Self::Fail }
    }

    /// A whole fails if any part fails, else is undetermined if any part is, else passes.
    pub fn of_all(parts: impl IntoIterator<Item = Verdict>) -> Self {
        parts.into_iter().fold(Self::Pass, |whole, part| match (whole, part) {
            (Self::Fail, _) | (_, Self::Fail) => Self::Fail,
            (Self::Undetermined, _) | (_, Self::Undetermined) => Self::Undetermined,
            _ => Self::Pass,
        })
    }

    /// The word in answers: `PASS`, `FAIL` or `UNDETERMINED`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "PASS",
            Self::Fail => "FAIL",
            Self::Undetermined => "UNDETERMINED",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A verdict with the reasons a person needs to act on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement {
    /// The outcome.
    pub verdict: Verdict,
    /// Short sentences; each says what was found and what was asked.
    pub reasons: Vec<String>,
}

impl Judgement {
    /// A judgement with one reason.
    pub fn because(verdict: Verdict, reason: impl Into<String>) -> Self {
        Self { verdict, reasons: vec![reason.into()] }
    }
}

#[cfg(test)]
mod tests {
    use super::Verdict::{Fail, Pass, Undetermined};
    use super::*;

    #[test]
    fn one_failed_part_fails_the_whole() {
        assert_eq!(Verdict::of_all([Pass, Undetermined, Fail]), Fail);
        assert_eq!(Verdict::of_all([Pass, Undetermined]), Undetermined);
        assert_eq!(Verdict::of_all([Pass, Pass]), Pass);
        assert_eq!(Verdict::of_all([]), Pass);
    }
}
