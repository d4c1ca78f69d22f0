//! The review before shipment: for which cases it stands, and what it has not seen.
//! It never decides whether a closure's versions are those that were reviewed; who asks says so.

use std::collections::{BTreeSet, HashSet};

use super::question::{Finding, Kind, Obstacle, Review};
use super::{Facts, items, spans, words};
use crate::verdict::Verdict;

/// What keeps a review from standing, and ships of no case.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = Vec::new();
    let known = Known::of(facts);
    for (ship, shipped) in facts.question.ships.iter().enumerate() {
        if shipped.review != Review::NotAsked && shipped.cases.is_empty() {
            found.push(words::no_cases(ship, shipped.lot));
        }
        let (excepted, seen) = match &shipped.review {
            Review::NotAsked => continue,
            Review::Missing => {
                found.push(words::not_reviewed(ship, shipped.lot));
                continue;
            }
            Review::Signed { excepted, seen } => (excepted, seen),
        };
        let seen: HashSet<&str> = seen.iter().map(String::as_str).collect();
        if known.lots[ship].iter().any(|name| !seen.contains(name.as_str())) {
            found.push(words::not_reviewed(ship, shipped.lot));
        }
        let unseen = known.spans[ship].iter().filter(|(name, _)| !seen.contains(name.as_str()));
        let unseen: HashSet<usize> = unseen.map(|&(_, case)| case).collect();
        let excepted: HashSet<&str> = excepted.iter().map(String::as_str).collect();
        let left =
            shipped.cases.iter().enumerate().filter(|(at, case)| {
                unseen.contains(at) || excepted.contains(case.serial.as_str())
            });
        let left: Vec<String> = left.map(|(_, case)| case.serial.clone()).collect();
        if !left.is_empty() {
            found.push(words::excepted(ship, shipped.lot, left));
        }
    }
    found
}

/// The names of what was ever not met of each ship.
pub(super) fn unmet(facts: &Facts) -> Vec<Vec<String>> {
    let known = Known::of(facts);
    let each = known.lots.into_iter().zip(known.spans);
    each.map(|(mut names, spans)| {
        names.extend(spans.into_iter().map(|(name, _)| name));
        names.into_iter().collect()
    })
    .collect()
}

/// By ship: what was not met of whole lots, and of which cases in a span.
struct Known {
    lots: Vec<BTreeSet<String>>,
    spans: Vec<BTreeSet<(String, usize)>>,
}

impl Known {
    fn of(facts: &Facts) -> Self {
        let ships = facts.question.ships.len();
        let mut lots = vec![BTreeSet::new(); ships];
        for lot in 0..facts.question.lots.len() {
            let names = of_lot(facts, lot);
            if names.is_empty() {
                continue;
            }
            for ship in facts.graph.ships_of(lot) {
                lots[ship].extend(names.iter().cloned());
            }
        }
        let mut spans = vec![BTreeSet::new(); ships];
        for concerned in spans::concerned(facts) {
            let id = &facts.question.deviations[concerned.deviation].id;
            let cases = concerned.cases.into_iter();
            spans[concerned.ship].extend(cases.map(|case| (format!("deviation:{id}"), case)));
        }
        Self { lots, spans }
    }
}

fn of_lot(facts: &Facts, at: usize) -> Vec<String> {
    let lot = &facts.question.lots[at];
    let id = |deviation: usize| &facts.question.deviations[deviation].id;
    let named = facts.fates[at].iter().map(|named| format!("deviation:{}", id(named.deviation)));
    let mut names: Vec<String> = named.collect();
    let Some(plan) = lot.plan.map(|plan| &facts.question.plans[plan]) else { return names };
    for (check, of) in items::on_kind(plan, lot.kind) {
        if of.kind == Kind::Bracket || !of.class.gates() {
            continue;
        }
        let about = format!("{}:{}", lot.name, of.code);
        // Of a limit to be reached also what a later reading overtook: who signed had counted on
        // it while it was the last, and it may have come to be in doubt since. Two at one time are
        // told apart by when each came to be known as it stands.
        let unmet = lot.findings.iter().filter(|found| found.check == check);
        let unmet = unmet.filter(|found| found.verdict != Verdict::Pass);
        let name = |found: &Finding| format!("finding:{about}:{}:{}", found.at, found.known_at);
        names.extend(unmet.map(name));
        let gaps = lot.gaps.iter().filter(|gap| gap.check == check);
        names.extend(gaps.map(|gap| format!("gap:{about}:{}", gap.from)));
    }
    names
}
