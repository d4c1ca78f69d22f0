//! Bracket checks, case by case: the next challenge after a case last passed proves it or not.
//! It never lets a case pass that nothing was challenged after.

use std::collections::HashMap;

use super::fates::{self, Fate};
use super::items::{Item, SatisfiedBy, State, on_kind};
use super::question::{
    At, Case, Challenge, Check, Closing, Concerns, Disposition, Kind, Obstacle, Question,
};
use super::{Facts, words};

/// Challenges of a device at a place, the first first.
type Challenged<'q> = HashMap<(usize, &'q str), Vec<&'q Challenge>>;

/// How a case stands to a bracket check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Proof {
    /// The next challenge was good.
    Proved,
    /// The next one failed, and what passed before it was released with support.
    Released,
    /// The next one failed; its deviation concerns the case and says so itself.
    Unsettled,
    /// No challenge yet since it passed.
    Waiting,
    /// It never passed the device.
    NeverPassed,
    /// The next one failed, and nothing answers that.
    Failed,
}

/// One obstacle a ship, check and reason, with its cases.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = Vec::new();
    each(facts, |ship, _, check, proofs| {
        let shipped = &facts.question.ships[ship];
        for reason in [Proof::Waiting, Proof::NeverPassed, Proof::Failed] {
            let cases = shipped.cases.iter().zip(proofs);
            let cases: Vec<String> = cases
                .filter(|(_, proof)| **proof == reason)
                .map(|(case, _)| case.serial.clone())
                .collect();
            if !cases.is_empty() && check.class.gates() {
                let mut obstacle = words::bracket(check, reason, cases);
                obstacle.lot = shipped.lot;
                obstacle.ships = vec![ship];
                found.push(obstacle);
            }
        }
    });
    found
}

/// The bracket checks of what ships, each over all its cases.
pub(super) fn items(facts: &Facts) -> Vec<Item> {
    let mut found: Vec<Item> = Vec::new();
    each(facts, |ship, at, check, proofs| {
        let worst = proofs.iter().max().copied();
        let (state, satisfied_by) = match worst {
            None => (State::Undetermined, None),
            Some(Proof::Proved) => (State::Met, None),
            Some(Proof::Released) => (State::Failed, Some(SatisfiedBy::Released)),
            Some(Proof::Unsettled | Proof::Failed) => (State::Failed, None),
            Some(Proof::Waiting | Proof::NeverPassed) => (State::Missing, None),
        };
        found.push(Item {
            lot: facts.question.ships[ship].lot,
            check: at,
            state,
            satisfied_by,
            is_stale: false,
            gates: check.class.gates(),
            what: words::bracket_item(check, proofs),
        });
    });
    found
}

fn each(facts: &Facts, mut with: impl FnMut(usize, usize, &Check, &[Proof])) {
    let challenged = by_place(facts.question);
    for (ship, shipped) in facts.question.ships.iter().enumerate() {
        let lot = &facts.question.lots[shipped.lot];
        let Some(plan) = lot.plan.map(|plan| &facts.question.plans[plan]) else { continue };
        for (at, check) in on_kind(plan, lot.kind) {
            if check.kind != Kind::Bracket {
                continue;
            }
            let about = (plan.identity, check.code.as_str());
            let released = facts.fates[shipped.lot]
                .iter()
                .filter(|named| named.fate == Fate::Released)
                .filter(|named| fates::is_by_hand(facts.question, named, about))
                .filter_map(|named| named.closed_at)
                .max();
            let judge = |case: &Case| {
                proof(facts.question, &challenged, check, case).answered(case, released)
            };
            let proofs: Vec<Proof> = shipped.cases.iter().map(judge).collect();
            with(ship, at, check, &proofs);
        }
    }
}

impl Proof {
    /// What waits for a challenge may be released by hand, for what had passed by then.
    fn answered(self, case: &Case, released: Option<At>) -> Self {
        let Some(released) = released else { return self };
        let is_before = case.passings.iter().all(|passing| passing.1 <= released);
        match self {
            Self::Waiting | Self::NeverPassed if is_before => Self::Released,
            proof => proof,
        }
    }
}

fn by_place(question: &Question) -> Challenged<'_> {
    let mut found: Challenged = HashMap::new();
    for challenge in question.challenges.iter().filter(|one| !is_void(question, one)) {
        found.entry((challenge.place, challenge.device.as_str())).or_default().push(challenge);
    }
    for challenges in found.values_mut() {
        challenges.sort_by_key(|challenge| challenge.at);
    }
    found
}

/// One that was recorded wrongly proves nothing, and puts nothing in doubt.
fn is_void(question: &Question, challenge: &Challenge) -> bool {
    disposition(question, challenge) == Some(Disposition::RecordedWrongly)
}

fn disposition(question: &Question, challenge: &Challenge) -> Option<Disposition> {
    match question.deviations[challenge.deviation?].closing {
        Closing::Open => None,
        Closing::Closed { disposition, .. } => Some(disposition),
    }
}

/// The last passing counts, and the next challenge; of several at one time all do.
fn proof(question: &Question, challenged: &Challenged, check: &Check, case: &Case) -> Proof {
    let Some(last) = case.passings.iter().map(|passing| passing.1).max() else {
        return Proof::NeverPassed;
    };
    let passings = case.passings.iter().filter(|passing| passing.1 == last);
    let proofs = passings.map(|&(place, at)| {
        let at_place = challenged.get(&(place, check.device.as_str()));
        let at_place = at_place.map_or(&[][..], Vec::as_slice);
        let first = at_place.partition_point(|challenge| challenge.at < at);
        let next = at_place[first..].iter().take_while(|one| one.at == at_place[first].at);
        let proofs = next.map(|one| match one.is_good {
            true => Proof::Proved,
            false => failed(question, one, (place, at)),
        });
        proofs.max().unwrap_or(Proof::Waiting)
    });
    proofs.max().unwrap_or(Proof::NeverPassed)
}

fn failed(question: &Question, challenge: &Challenge, passing: (usize, At)) -> Proof {
    if disposition(question, challenge) == Some(Disposition::ReleaseWithSupport) {
        return Proof::Released;
    }
    let concerns = challenge.deviation.map(|at| question.deviations[at].concerns);
    match concerns {
        Some(Concerns::Span { place, from, to })
            if place == passing.0
                && from.is_none_or(|from| passing.1 > from)
                && passing.1 <= to =>
        {
            Proof::Unsettled
        }
        _ => Proof::Failed,
    }
}
