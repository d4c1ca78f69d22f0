//! The lots of a question in the order of their making, and the ships each is an ancestor of.
//! It never judges; a question that refers to what it does not hold is a fault.

use super::question::{Lot, Question};

/// The order of making and who came of whom.
pub(super) struct Graph {
    /// Every lot after its inputs.
    pub(super) order: Vec<usize>,
    /// What each lot went into.
    pub(super) children: Vec<Vec<usize>>,
    /// A bit for each ship, so many words a lot.
    ships: Vec<u64>,
    words: usize,
}

impl Graph {
    /// Linear in lots and inputs, times a word for 64 ships.
    pub(super) fn of(question: &Question) -> Result<Self, String> {
        check(question)?;
        let (order, children) = sorted(&question.lots)?;
        let words = question.ships.len().div_ceil(64);
        let mut ships = vec![0u64; words * question.lots.len()];
        for (ship, shipped) in question.ships.iter().enumerate() {
            ships[shipped.lot * words + ship / 64] |= 1 << (ship % 64);
        }
        for &lot in order.iter().rev() {
            for &input in &question.lots[lot].inputs {
                for word in 0..words {
                    ships[input * words + word] |= ships[lot * words + word];
                }
            }
        }
        Ok(Self { order, children, ships, words })
    }

    /// Whether the lot is what ships or an ancestor of it.
    pub(super) fn is_in(&self, lot: usize, ship: usize) -> bool {
        self.ships[lot * self.words + ship / 64] >> (ship % 64) & 1 == 1
    }

    /// Whether it concerns any ship.
    pub(super) fn is_in_any(&self, lot: usize) -> bool {
        self.ships[lot * self.words..(lot + 1) * self.words].iter().any(|word| *word != 0)
    }

    /// The ships in whose closure the lot is.
    pub(super) fn ships_of(&self, lot: usize) -> Vec<usize> {
        let words = &self.ships[lot * self.words..(lot + 1) * self.words];
        let mut found = Vec::new();
        for (at, word) in words.iter().enumerate() {
            let mut left = *word;
            while left != 0 {
                found.push(at * 64 + left.trailing_zeros() as usize);
                left &= left - 1;
            }
        }
        found
    }
}

fn sorted(lots: &[Lot]) -> Result<(Vec<usize>, Vec<Vec<usize>>), String> {
    let mut children = vec![Vec::new(); lots.len()];
    for (at, lot) in lots.iter().enumerate() {
        for &input in &lot.inputs {
            children[input].push(at);
        }
    }
    let mut waiting: Vec<usize> = lots.iter().map(|lot| lot.inputs.len()).collect();
    let mut order: Vec<usize> = (0..lots.len()).filter(|&lot| waiting[lot] == 0).collect();
    let mut next = 0;
    while next < order.len() {
        for &child in &children[order[next]] {
            waiting[child] -= 1;
            if waiting[child] == 0 {
                order.push(child);
            }
        }
        next += 1;
    }
    match (0..lots.len()).find(|&lot| waiting[lot] > 0) {
        Some(lot) => Err(format!("lot {} came of itself", lots[lot].name)),
        None => Ok((order, children)),
    }
}

fn check(question: &Question) -> Result<(), String> {
    let lots = question.lots.len();
    for plan in &question.plans {
        if plan.checks.iter().any(|check| check.step >= plan.steps.len()) {
            return Err(format!("plan {} has a check of a step that it does not know", plan.name));
        }
    }
    if let Some(lot) = question.lots.iter().find(|lot| !is_whole(question, lot)) {
        return Err(format!("lot {} refers to what was not read", lot.name));
    }
    let is_known =
        |deviation: Option<usize>| deviation.is_none_or(|at| at < question.deviations.len());
    if question.challenges.iter().any(|challenge| !is_known(challenge.deviation)) {
        return Err("a challenge refers to a deviation that was not read".to_owned());
    }
    if question.ships.iter().any(|ship| ship.lot >= lots) {
        return Err("what ships is of a lot that was not read".to_owned());
    }
    Ok(())
}

fn is_whole(question: &Question, lot: &Lot) -> bool {
    let is_deviation = |at: &usize| *at < question.deviations.len();
    let checks = match lot.plan {
        None => usize::MAX,
        Some(plan) => match question.plans.get(plan) {
            Some(plan) => plan.checks.len(),
            None => return false,
        },
    };
    lot.inputs.iter().all(|input| *input < question.lots.len())
        && lot.deviations.iter().all(is_deviation)
        && lot
            .findings
            .iter()
            .all(|found| found.check < checks && found.deviation.as_ref().is_none_or(is_deviation))
        && lot.gaps.iter().all(|gap| gap.check < checks)
        && lot.covers.iter().all(|cover| cover.check < checks)
}
