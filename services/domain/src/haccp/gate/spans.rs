//! Deviations over what passed a place in a span of time: the cases that they concern.
//! It never frees a case that passed again; only the deviation's closing does.

use std::collections::{BTreeMap, HashMap};

use super::fates::Fate;
use super::question::{At, Closing, Concerns, Deviation, Disposition, Obstacle};
use super::{Facts, words};

/// One obstacle a ship and span, with the cases that passed in it.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
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
    for (at, deviation) in facts.question.deviations.iter().enumerate() {
        let (Concerns::Span { place, from, to }, Some(fate)) =
            (deviation.concerns, fate(deviation))
        else {
            continue;
        };
        let at_place = passings.get(&place).map_or(&[][..], Vec::as_slice);
        let first = at_place.partition_point(|passing| from.is_some_and(|from| passing.0 <= from));
        let end = at_place.partition_point(|passing| passing.0 <= to);
        let mut concerned: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &(_, ship, case) in at_place.get(first..end).unwrap_or_default() {
            concerned.entry(ship).or_default().push(case);
        }
        for (ship, mut cases) in concerned {
            cases.sort_unstable();
            cases.dedup();
            let shipped = &facts.question.ships[ship];
            let serials = cases.into_iter().map(|case| shipped.cases[case].serial.clone());
            let mut obstacle = words::span(&facts.question.deviations[at], fate, serials.collect());
            obstacle.lot = shipped.lot;
            obstacle.ships = vec![ship];
            found.push(obstacle);
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
