//! Whether a lethal step was met later, on every path from a lot that went into rework.
//! It never asks what the step was: the verdict of the lot on which it was done answers.

use std::collections::HashMap;

use super::fates::{Fate, Named};
use super::graph::Graph;
use super::items::{Judged, on_kind};
use super::question::Question;

/// Lots that were to go into rework, and the ships that they reach without a later lethal step.
pub(super) struct Rework {
    missing: HashMap<usize, Vec<usize>>,
}

impl Rework {
    /// Linear in lots and inputs for each ship that has such a lot in its closure; without one,
    /// nothing.
    pub(super) fn of(
        question: &Question,
        graph: &Graph,
        fates: &[Vec<Named>],
        judged: &[Vec<Judged>],
    ) -> Self {
        let is_reworked = |named: &[Named]| named.iter().any(|one| one.fate == Fate::Reworked);
        let reworked: Vec<usize> =
            (0..fates.len()).filter(|&lot| is_reworked(&fates[lot])).collect();
        let mut missing: HashMap<usize, Vec<usize>> = HashMap::new();
        for ship in 0..question.ships.len() {
            let mine: Vec<usize> =
                reworked.iter().copied().filter(|&lot| graph.is_in(lot, ship)).collect();
            if mine.is_empty() {
                continue;
            }
            let later = lethal_later(question, graph, judged, ship);
            for lot in mine.into_iter().filter(|&lot| !later[lot]) {
                missing.entry(lot).or_default().push(ship);
            }
        }
        Self { missing }
    }

    /// The ships that the lot reaches by a path without a later lethal step.
    pub(super) fn missing(&self, lot: usize) -> &[usize] {
        self.missing.get(&lot).map_or(&[], Vec::as_slice)
    }
}

fn lethal_later(
    question: &Question,
    graph: &Graph,
    judged: &[Vec<Judged>],
    ship: usize,
) -> Vec<bool> {
    let shipped = question.ships[ship].lot;
    let mut later = vec![false; question.lots.len()];
    for &lot in graph.order.iter().rev() {
        if lot == shipped || !graph.is_in(lot, ship) {
            continue;
        }
        later[lot] = graph.children[lot]
            .iter()
            .filter(|&&child| graph.is_in(child, ship))
            .all(|&child| later[child] || is_lethal(question, child, &judged[child], later[child]));
    }
    later
}

/// Whether a lethal step was met on this lot: a step without a gating check has no verdict.
fn is_lethal(question: &Question, at: usize, judged: &[Judged], is_lethal_later: bool) -> bool {
    let lot = &question.lots[at];
    let Some(plan) = lot.plan.map(|plan| &question.plans[plan]) else { return false };
    let steps = plan.steps.iter().enumerate();
    let mut lethal = steps.filter(|(_, step)| step.is_lethal && step.on == lot.kind);
    lethal.any(|(step, _)| {
        let mut gating = on_kind(plan, lot.kind)
            .filter(|(_, check)| check.step == step && check.class.gates())
            .peekable();
        gating.peek().is_some()
            && gating.all(|(check, _)| {
                let known = judged.iter().find(|one| one.check == check);
                known.is_some_and(|one| one.is_satisfied(is_lethal_later))
            })
    })
}
