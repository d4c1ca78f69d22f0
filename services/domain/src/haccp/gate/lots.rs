//! What stands in the way of a lot whole: no plan, deviations, checks, silence, and other blocks.
//! It never looks at cases.

use super::fates::{self, Fate, Named};
use super::items::{Standing, on_kind};
use super::question::{Kind, LotKind, Obstacle, Plan, Review};
use super::{Facts, words};

/// What stands in the way of each lot of a closure, one obstacle a lot and check.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = Vec::new();
    for lot in 0..facts.question.lots.len() {
        if facts.graph.is_in_any(lot) {
            of_lot(facts, lot, &mut found);
        }
    }
    found
}

fn of_lot(facts: &Facts, at: usize, found: &mut Vec<Obstacle>) {
    let lot = &facts.question.lots[at];
    let before = found.len();
    match lot.plan.map(|plan| &facts.question.plans[plan]) {
        None => found.push(words::unbound(at, lot)),
        Some(plan) => {
            checks(facts, at, plan, found);
            passed_unseen(facts, at, plan, found);
        }
    }
    deviations(facts, at, found);
    found.extend(lot.blocks.iter().map(|block| words::blocked(at, block)));
    if !lot.silent.is_empty() {
        found.push(words::silent(at, lot));
    }
    for obstacle in &mut found[before..] {
        if obstacle.ships.is_empty() {
            obstacle.ships = facts.graph.ships_of(at);
        }
    }
}

fn checks(facts: &Facts, at: usize, plan: &Plan, found: &mut Vec<Obstacle>) {
    for judged in &facts.judged[at] {
        let check = &plan.checks[judged.check];
        let unanswered = match judged.standing {
            Standing::Unanswered(state) => Some(state),
            _ => None,
        };
        if !check.class.gates() || (unanswered.is_none() && !judged.is_stale) {
            continue;
        }
        let mut obstacle = words::check(&facts.question.lots[at], check, unanswered);
        obstacle.lot = at;
        if check.fresh_for_us.is_some() {
            obstacle.ships = shipping(facts, at);
            if obstacle.ships.is_empty() {
                continue;
            }
        }
        found.push(obstacle);
    }
}

/// What must be fresh when it ships is not asked for before.
fn shipping(facts: &Facts, lot: usize) -> Vec<usize> {
    let mut ships = facts.graph.ships_of(lot);
    ships.retain(|&ship| facts.question.ships[ship].review != Review::NotAsked);
    ships
}

fn deviations(facts: &Facts, at: usize, found: &mut Vec<Obstacle>) {
    let mut standing: Vec<&Named> = facts.fates[at].iter().collect();
    let rework = facts.rework.missing(at);
    standing.retain(|named| match named.fate {
        Fate::Reworked => !rework.is_empty(),
        fate => !fate.is_settled(),
    });
    let code = |named: &Named| facts.question.deviations[named.deviation].check.as_str();
    standing.sort_by_key(|named| (code(named), named.fate as u8));
    for group in standing.chunk_by(|a, b| code(a) == code(b) && a.fate == b.fate) {
        let mut obstacle = words::deviations(facts.question, at, group);
        if group[0].fate == Fate::Reworked {
            obstacle.ships = rework.to_vec();
        }
        found.push(obstacle);
    }
}

/// A finished lot that went into another one left no cases to judge: what its bracket check asks
/// is answered by the same device on what ships, or by hand.
fn passed_unseen(facts: &Facts, at: usize, plan: &Plan, found: &mut Vec<Obstacle>) {
    let lot = &facts.question.lots[at];
    for (_, check) in on_kind(plan, lot.kind) {
        if check.kind != Kind::Bracket || !check.class.gates() {
            continue;
        }
        let about = (plan.identity, check.code.as_str());
        let is_answered = |named: &Named| {
            named.fate == Fate::Released && fates::is_by_hand(facts.question, named, about)
        };
        if facts.fates[at].iter().any(is_answered) {
            continue;
        }
        let mut ships = facts.graph.ships_of(at);
        ships.retain(|&ship| !is_challenged(facts, at, ship, &check.device));
        if !ships.is_empty() {
            found.push(words::passed_unseen(at, lot, check, ships));
        }
    }
}

/// Whether the device is challenged on what ships; of the lot that ships itself cases decide.
fn is_challenged(facts: &Facts, lot: usize, ship: usize, device: &str) -> bool {
    let shipped = facts.question.ships[ship].lot;
    let of = &facts.question.lots[shipped];
    let Some(plan) = of.plan.map(|plan| &facts.question.plans[plan]) else { return false };
    lot == shipped
        || on_kind(plan, of.kind).any(|(_, check)| {
            check.kind == Kind::Bracket && check.class.gates() && check.device == device
        })
}

/// Whether the order of steps on every path is asked of a lot: opening stock's statement stands
/// for all before.
pub(super) fn has_route(kind: LotKind) -> bool {
    kind != LotKind::OpeningStock
}
