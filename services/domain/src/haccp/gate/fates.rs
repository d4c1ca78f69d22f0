//! What became of the deviations that name a lot: open, or closed and carried out or not.
//! It never judges a check; a disposition that waits for something frees nothing until it is there.

use super::question::{At, Closing, Concerns, Disposition, Question};
use crate::verdict::Verdict;

/// What became of a deviation, as it stands for one lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    /// Nobody has closed it.
    Open,
    /// The lot is to be destroyed.
    Destroy,
    /// To be cooked again, and no later finding of the check meets it yet.
    NotRecooked,
    /// Cooked again, and met since.
    Recooked,
    /// Into rework: it holds where a lethal step was met later on every path.
    Reworked,
    /// Released with support.
    Released,
    /// The record was wrong.
    RecordedWrongly,
}

impl Fate {
    /// Whether nothing is left to do, but for rework's later lethal step.
    pub(super) fn is_settled(self) -> bool {
        !matches!(self, Self::Open | Self::Destroy | Self::NotRecooked)
    }
}

/// A deviation that names a lot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Named {
    /// By its place in the list.
    pub(super) deviation: usize,
    /// What became of it.
    pub(super) fate: Fate,
    /// When it was closed.
    pub(super) closed_at: Option<At>,
}

impl Named {
    /// Whether its fate answers a finding that came to be known as it stands at this time: who
    /// released it, or said that it was recorded wrongly, must have known it.
    pub(super) fn speaks_for(&self, known: At) -> bool {
        let is_signed_on_it = matches!(self.fate, Fate::Released | Fate::RecordedWrongly);
        !is_signed_on_it || self.closed_at.is_some_and(|closed| closed >= known)
    }
}

/// The deviations that name the lot whole: those said to, and those its own findings opened.
pub(super) fn of(question: &Question, lot: usize) -> Vec<Named> {
    let facts = &question.lots[lot];
    let opened = facts.findings.iter().filter_map(|found| found.deviation);
    let mut named: Vec<usize> = facts.deviations.iter().copied().chain(opened).collect();
    named.retain(|&at| question.deviations[at].concerns == Concerns::Lots);
    named.sort_unstable();
    named.dedup();
    named.into_iter().map(|deviation| named_by(question, lot, deviation)).collect()
}

fn named_by(question: &Question, lot: usize, deviation: usize) -> Named {
    let (disposition, at) = match question.deviations[deviation].closing {
        Closing::Open => return Named { deviation, fate: Fate::Open, closed_at: None },
        Closing::Closed { disposition, at } => (disposition, at),
    };
    let fate = match disposition {
        Disposition::ReleaseWithSupport => Fate::Released,
        Disposition::RecordedWrongly => Fate::RecordedWrongly,
        Disposition::Destroy => Fate::Destroy,
        Disposition::ReworkWithLethalStep => Fate::Reworked,
        Disposition::Recook if is_recooked(question, lot, deviation, at) => Fate::Recooked,
        Disposition::Recook => Fate::NotRecooked,
    };
    Named { deviation, fate, closed_at: Some(at) }
}

/// Met by a finding of the same check that was observed after the closing and after all that the
/// deviation stands for.
fn is_recooked(question: &Question, lot: usize, deviation: usize, closed_at: At) -> bool {
    let facts = &question.lots[lot];
    let Some(plan) = facts.plan.map(|plan| &question.plans[plan]) else { return false };
    let asked = &question.deviations[deviation];
    let failed = facts.findings.iter().filter(|found| found.deviation == Some(deviation));
    let after = failed.map(|found| found.at).fold(closed_at, At::max);
    plan.identity == asked.plan
        && facts.findings.iter().any(|found| {
            found.verdict == Verdict::Pass
                && found.at > after
                && plan.checks[found.check].code == asked.check
        })
}

/// Whether a deviation that somebody opened by hand and closed answers a check of a lot for what
/// was known by then: to say that it was recorded wrongly proves nothing.
pub(super) fn answers(question: &Question, named: &Named, of: (usize, &str), known: At) -> bool {
    is_by_hand(question, named, of)
        && matches!(named.fate, Fate::Released | Fate::Recooked | Fate::Reworked)
        && named.closed_at.is_some_and(|closed| closed >= known)
}

/// Whether somebody opened it by hand about this check: plan and code.
pub(super) fn is_by_hand(question: &Question, named: &Named, of: (usize, &str)) -> bool {
    let deviation = &question.deviations[named.deviation];
    deviation.by_hand && deviation.plan == of.0 && deviation.check == of.1
}
