//! A trace as a message: what was reached, and how far away each lot is.
//! It never asks the database.

use std::collections::{HashMap, VecDeque};

use uuid::Uuid;
use wire::v1;

use super::judge::grams;
use super::mass_out;
use crate::store::making::trace::{Direction, Reached, ReachedLot, ReachedShipment, ReachedUse};

/// The direction that a word names.
pub fn direction_in(word: &str) -> Direction {
    if word == "back" { Direction::Back } else { Direction::Forward }
}

/// A trace as a message.
pub fn trace_out(lot: Uuid, word: &str, reached: Reached) -> v1::Trace {
    let distances = distances(lot, direction_in(word), &reached.uses);
    let Reached { lots, uses, shipments } = reached;
    let mut lots: Vec<_> = lots
        .into_iter()
        .map(|lot| {
            let distance = distances.get(&lot.id).copied().unwrap_or_default();
            lot_out(lot, distance)
        })
        .collect();
    lots.sort_by_key(|lot| lot.distance);
    v1::Trace {
        lot: lot.to_string(),
        direction: word.to_owned(),
        lots,
        uses: uses.into_iter().map(use_out).collect(),
        shipments: shipments.into_iter().map(shipment_out).collect(),
    }
}

/// Steps from a lot to each that was reached, by the shortest way.
pub fn distances(lot: Uuid, direction: Direction, uses: &[ReachedUse]) -> HashMap<Uuid, i32> {
    let mut next: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    for used in uses {
        let (here, there) = match direction {
            Direction::Back => (used.to_lot, used.from_lot),
            Direction::Forward => (used.from_lot, used.to_lot),
        };
        next.entry(here).or_default().push(there);
    }
    let mut distances = HashMap::from([(lot, 0)]);
    let mut open = VecDeque::from([(lot, 0)]);
    while let Some((here, distance)) = open.pop_front() {
        for there in next.remove(&here).unwrap_or_default() {
            distances.entry(there).or_insert_with(|| {
                open.push_back((there, distance + 1));
                distance + 1
            });
        }
    }
    distances
}

fn lot_out(lot: ReachedLot, distance: i32) -> v1::TracedLot {
    v1::TracedLot {
        lot: lot.id.to_string(),
        code: lot.code,
        kind: lot.kind,
        material: lot.material,
        mass: Some(mass_out(&lot.mass_value, &lot.mass_unit)),
        on_hand_g: Some(grams(&lot.on_hand_g)),
        distance,
        supplier_name: lot.supplier_name.unwrap_or_default(),
        supplier_lot: lot.supplier_lot.unwrap_or_default(),
        observed_at: lot.observed_at.to_jiff().to_string(),
        run: lot.run.unwrap_or_default(),
    }
}

fn use_out(used: ReachedUse) -> v1::TracedUse {
    v1::TracedUse {
        from_lot: used.from_lot.to_string(),
        to_lot: used.to_lot.to_string(),
        transformation: used.transformation.to_string(),
        mass: Some(mass_out(&used.mass_value, &used.mass_unit)),
    }
}

fn shipment_out(sent: ReachedShipment) -> v1::TracedShipment {
    v1::TracedShipment {
        shipment: sent.shipment.to_string(),
        lot: sent.lot.to_string(),
        customer_name: sent.customer_name,
        customer_phone: sent.phone,
        cases: i32::try_from(sent.cases).unwrap_or(i32::MAX),
        mass_g: Some(grams(&sent.mass_g)),
        observed_at: sent.observed_at.to_jiff().to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lot_stands_at_its_shortest_way() {
        let id = Uuid::from_u128;
        let used = |from: u128, to: u128| ReachedUse {
            from_lot: id(from),
            to_lot: id(to),
            transformation: id(90),
            mass_value: 1.into(),
            mass_unit: "kg".into(),
        };
        // Meat 1 in batch 2 and, as rework 3, again in batch 4.
        let uses = [used(1, 2), used(2, 3), used(3, 4), used(1, 4)];
        let back = distances(id(4), Direction::Back, &uses);
        assert_eq!((back[&id(1)], back[&id(3)], back[&id(2)]), (1, 1, 2));
        let forward = distances(id(1), Direction::Forward, &uses);
        assert_eq!((forward[&id(2)], forward[&id(4)], forward[&id(3)]), (1, 1, 2));
    }
}
