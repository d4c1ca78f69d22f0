//! Each check that a lot must meet on its own kind: how it stands, and what satisfies it.
//! It never heals anything: what was missed, undetermined or failed keeps its state in every view.

use super::fates::{self, Fate, Named};
use super::question::{At, Check, Finding, Gap, Kind, Lot, LotKind, Plan, Question};
use super::{Facts, bracket, words};
use crate::verdict::Verdict;

/// How a check stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Met.
    Met,
    /// Met, and entered late with a reason.
    MetLate,
    /// Not a single record of it.
    Missing,
    /// Looked at, but not as often as the plan asks.
    Missed,
    /// Recorded, and it cannot be said whether it was met.
    Undetermined,
    /// Not met.
    Failed,
}

/// What satisfies a check that was not met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SatisfiedBy {
    /// Other evidence that met the same limit and covers the whole time, signed.
    Covered,
    /// Its record was wrong, as another person has signed with evidence.
    RecordedWrongly,
    /// Cooked again, and met since.
    Recooked,
    /// Into rework, and a later lethal step was met on every path.
    Reworked,
    /// Released with support.
    Released,
}

/// A check of a lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// The lot, by its place in the question.
    pub lot: usize,
    /// The check, by its place in the lot's plan.
    pub check: usize,
    /// How it stands.
    pub state: State,
    /// What satisfies it although it was not met; none when nothing does.
    pub satisfied_by: Option<SatisfiedBy>,
    /// Met, but too long ago to ship on.
    pub is_stale: bool,
    /// Whether it can stop a shipment.
    pub gates: bool,
    /// One sentence.
    pub what: String,
}

/// Whether a check lets its lot pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// It does.
    Satisfied,
    /// It does where a later lethal step was met on every path.
    IfReworked,
    /// A deviation stands in the way, and says so itself.
    Unsettled,
    /// It does not: this is the worst that nobody has answered.
    Unanswered(State),
}

/// A check of a lot, judged from what is recorded about the lot alone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judged {
    pub(super) check: usize,
    pub(super) state: State,
    pub(super) standing: Standing,
    pub(super) by: Option<SatisfiedBy>,
    pub(super) is_stale: bool,
}

impl Judged {
    /// Whether it is satisfied on a lot of which it is known that a lethal step follows or not.
    pub(super) fn is_satisfied(&self, is_lethal_later: bool) -> bool {
        let stands = match self.standing {
            Standing::Satisfied => true,
            Standing::IfReworked => is_lethal_later,
            Standing::Unsettled | Standing::Unanswered(_) => false,
        };
        stands && !self.is_stale
    }
}

/// What answers one thing that is wrong with a check.
enum Answer {
    By(SatisfiedBy),
    Unsettled,
    Nobody(State),
}

/// The checks of a plan that are done on lots of this kind.
pub(super) fn on_kind(plan: &Plan, kind: LotKind) -> impl Iterator<Item = (usize, &Check)> {
    plan.checks.iter().enumerate().filter(move |(_, check)| plan.steps[check.step].on == kind)
}

/// Judges the checks on the lot's own kind, but for bracket checks, which cases decide.
pub(super) fn of_lot(question: &Question, at: usize, named: &[Named]) -> Vec<Judged> {
    let lot = &question.lots[at];
    let Some(plan) = lot.plan.map(|plan| &question.plans[plan]) else { return Vec::new() };
    on_kind(plan, lot.kind)
        .filter(|(_, check)| check.kind != Kind::Bracket)
        .map(|(check, _)| of_check(question, lot, check, named))
        .collect()
}

/// Judges one check of the lot's plan, on whatever kind it is done.
pub(super) fn of_check(question: &Question, lot: &Lot, at: usize, named: &[Named]) -> Judged {
    let mut asked = Asked { question, lot, at, named, plan: None };
    let Some(plan) = lot.plan.map(|plan| &question.plans[plan]) else {
        return asked.judged(State::Missing, vec![Answer::Nobody(State::Missing)], false);
    };
    asked.plan = Some(plan);
    let check = &plan.checks[at];
    let findings: Vec<&Finding> = lot.findings.iter().filter(|found| found.check == at).collect();
    let last = findings.iter().map(|found| found.at).max();
    let unmet = unmet(lot, at, check.kind);
    let gaps: Vec<&Gap> = lot.gaps.iter().filter(|gap| gap.check == at).collect();
    let mut answers: Vec<Answer> = unmet.iter().map(|found| asked.finding(found)).collect();
    answers.extend(gaps.iter().map(|gap| asked.gap(gap)));
    if findings.is_empty() {
        answers.push(asked.missing());
    }
    let is_last_met = last.is_some() && !unmet.iter().any(|found| Some(found.at) == last);
    let is_old = |fresh_for: i64| last.is_some_and(|last| question.at - last > fresh_for);
    let is_stale = is_last_met && check.fresh_for_us.is_some_and(is_old);
    let late =
        |found: &&Finding| found.is_late && (check.kind != Kind::Attain || Some(found.at) == last);
    let state = match unmet.iter().map(|found| found.verdict).collect::<Vec<_>>() {
        verdicts if verdicts.contains(&Verdict::Fail) => State::Failed,
        verdicts if !verdicts.is_empty() => State::Undetermined,
        _ if findings.is_empty() => State::Missing,
        _ if !gaps.is_empty() => State::Missed,
        _ if findings.iter().any(late) => State::MetLate,
        _ => State::Met,
    };
    asked.judged(state, answers, is_stale)
}

/// The findings of a check that count and are not met, answered or not.
fn unmet(lot: &Lot, at: usize, kind: Kind) -> Vec<&Finding> {
    let findings = lot.findings.iter().filter(|found| found.check == at);
    let last = findings.clone().map(|found| found.at).max();
    findings
        .filter(|found| found.verdict != Verdict::Pass)
        .filter(|found| counts(kind, found, last))
        .collect()
}

/// Of a limit that is to be reached the last finding counts, and whatever opened a deviation.
fn counts(kind: Kind, found: &Finding, last: Option<At>) -> bool {
    kind != Kind::Attain || found.deviation.is_some() || Some(found.at) == last
}

/// One check of one lot, while it is judged.
struct Asked<'a> {
    question: &'a Question,
    lot: &'a Lot,
    at: usize,
    named: &'a [Named],
    plan: Option<&'a Plan>,
}

impl Asked<'_> {
    fn judged(&self, state: State, answers: Vec<Answer>, is_stale: bool) -> Judged {
        let mut standing = Standing::Satisfied;
        let mut by = None;
        for answer in answers {
            standing = match (standing, answer) {
                (Standing::Unanswered(worst), Answer::Nobody(state)) => {
                    Standing::Unanswered(worst.max(state))
                }
                (Standing::Unanswered(worst), _) => Standing::Unanswered(worst),
                (_, Answer::Nobody(state)) => Standing::Unanswered(state),
                (Standing::Unsettled, _) | (_, Answer::Unsettled) => Standing::Unsettled,
                (before, Answer::By(way)) => {
                    by = by.max(Some(way));
                    let is_rework = way == SatisfiedBy::Reworked;
                    if is_rework { Standing::IfReworked } else { before }
                }
            };
        }
        let is_satisfied = matches!(standing, Standing::Satisfied | Standing::IfReworked);
        let by = by.filter(|_| is_satisfied);
        Judged { check: self.at, state, standing, by, is_stale }
    }

    fn finding(&self, found: &Finding) -> Answer {
        let opened = self.named.iter().find(|named| Some(named.deviation) == found.deviation);
        if let Some(opened) = opened.filter(|opened| opened.speaks_for(found.known_at)) {
            return settled(opened.fate);
        }
        let is_undetermined = found.verdict == Verdict::Undetermined;
        if is_undetermined && self.is_covered(found.at, found.at) {
            return Answer::By(SatisfiedBy::Covered);
        }
        let state = if is_undetermined { State::Undetermined } else { State::Failed };
        self.by_hand(found.known_at, state)
    }

    fn gap(&self, gap: &Gap) -> Answer {
        if self.is_covered(gap.from, gap.to) {
            return Answer::By(SatisfiedBy::Covered);
        }
        self.by_hand(gap.to, State::Missed)
    }

    fn missing(&self) -> Answer {
        if self.lot.covers.iter().any(|cover| cover.check == self.at) {
            return Answer::By(SatisfiedBy::Covered);
        }
        self.by_hand(At::MIN, State::Missing)
    }

    fn is_covered(&self, from: At, to: At) -> bool {
        let covers = self.lot.covers.iter().filter(|cover| cover.check == self.at);
        covers.into_iter().any(|cover| cover.from <= from && cover.to >= to)
    }

    fn by_hand(&self, known: At, state: State) -> Answer {
        let Some(plan) = self.plan else { return Answer::Nobody(state) };
        let about = (plan.identity, plan.checks[self.at].code.as_str());
        let answering =
            self.named.iter().find(|named| fates::answers(self.question, named, about, known));
        if let Some(answering) = answering {
            return settled(answering.fate);
        }
        let is_waiting = self.named.iter().any(|named| {
            !named.fate.is_settled() && fates::is_by_hand(self.question, named, about)
        });
        if is_waiting { Answer::Unsettled } else { Answer::Nobody(state) }
    }
}

fn settled(fate: Fate) -> Answer {
    match fate {
        Fate::Open | Fate::Destroy | Fate::NotRecooked => Answer::Unsettled,
        Fate::Recooked => Answer::By(SatisfiedBy::Recooked),
        Fate::Reworked => Answer::By(SatisfiedBy::Reworked),
        Fate::Released => Answer::By(SatisfiedBy::Released),
        Fate::RecordedWrongly => Answer::By(SatisfiedBy::RecordedWrongly),
    }
}

/// Every check of every lot of the closure, bracket checks of what ships among them.
pub(super) fn all(facts: &Facts) -> Vec<Item> {
    let mut found = Vec::new();
    for (at, lot) in facts.question.lots.iter().enumerate() {
        let Some(plan) = lot.plan.map(|plan| &facts.question.plans[plan]) else { continue };
        for judged in &facts.judged[at] {
            let check = &plan.checks[judged.check];
            let is_waiting =
                judged.standing == Standing::IfReworked && !facts.rework.missing(at).is_empty();
            found.push(Item {
                lot: at,
                check: judged.check,
                state: judged.state,
                satisfied_by: judged.by.filter(|_| !is_waiting),
                is_stale: judged.is_stale,
                gates: check.class.gates(),
                what: words::item(lot, judged),
            });
        }
    }
    found.extend(bracket::items(facts));
    found.sort_by_key(|item| (item.lot, item.check));
    found
}
