//! Deviations over what passed a place in a span of time: the cases that they concern.
//! It never frees a case that passed again; only the deviation's closing does.

use std::collections::{BTreeMap, HashMap};

use super::fates::Fate;
use super::question::{At, Closing, Concerns, Deviation, Disposition, Obstacle};
use super::{Facts, words};

/// Cases of a ship that passed in the span of a deviation.
pub(super) struct Concerned {
    pub(super) deviation: usize,
    pub(super) ship: usize,
    /// By their place in the ship, in order.
    pub(super) cases: Vec<usize>,
}

/// One obstacle a ship and span, with the cases that passed in it.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = Vec::new();
    for concerned in concerned(facts) {
        let deviation = &facts.question.deviations[concerned.deviation];
        let Some(fate) = fate(deviation) else { continue };
        let shipped = &facts.question.ships[concerned.ship];
        let serials = concerned.cases.into_iter().map(|case| shipped.cases[case].serial.clone());
        let mut obstacle = words::span(deviation, fate, serials.collect());
        obstacle.lot = shipped.lot;
        obstacle.ships = vec![concerned.ship];
        found.push(obstacle);
    }
    found
}

/// The cases of each ship that passed in the span of each deviation, open or closed.
pub(super) fn concerned(facts: &Facts) -> Vec<Concerned> {
    let mut passings: HashMap<usize, Vec<(At, usize, usize)>> = HashMap::new();
    for (ship, shipped) in facts.question.ships.iter().enumerate() {
        for (case, of) in shipped.cases.iter().enumerate() {
            for &(place, at) in &of.passings {
                passings.entry(place).or_default().push((at, ship, case));
            }
        }
    }
    passings.values_mut().for_each(|at_place| at_place.sort_unstable());
    let mut found = Vec::new();
    for (deviation, of) in facts.question.deviations.iter().enumerate() {
        let Concerns::Span { place, from, to } = of.concerns else { continue };
        let at_place = passings.get(&place).map_or(&[][..], Vec::as_slice);
        let first = at_place.partition_point(|passing| from.is_some_and(|from| passing.0 <= from));
        let end = at_place.partition_point(|passing| passing.0 <= to);
        let mut ships: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &(_, ship, case) in at_place.get(first..end).unwrap_or_default() {
            ships.entry(ship).or_default().push(case);
        }
        for (ship, mut cases) in ships {
            cases.sort_unstable();
            cases.dedup();
            found.push(Concerned { deviation, ship, cases });
        }
    }
    found
}

/// What stands; none when it is closed and frees what it concerns.
fn fate(deviation: &Deviation) -> Option<Fate> {
    match deviation.closing {
        Closing::Open => Some(Fate::Open),
        Closing::Closed { disposition, .. } => match disposition {
            Disposition::ReleaseWithSupport | Disposition::RecordedWrongly => None,
            _ => Some(Fate::Destroy),
        },
    }
}
