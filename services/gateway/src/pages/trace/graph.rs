//! The lots of a trace both ways with every use between them, and the stage of each.
//! It never draws what it does not hold: the nearest lots where there are too many.

use std::collections::HashSet;

use domain::exact::Exact;
use domain::units::{Quantity, Unit};
use wire::v1;

/// Lots drawn at most.
pub const LOTS_MAX: usize = 200;
/// Stages from left to right; rework stands where it is used again.
const STAGES: [&[&str]; 5] =
    [&["received", "opening_stock"], &["kit", "rework"], &["batch"], &["rack"], &["finished"]];

/// The graph.
pub struct Graph {
    /// The lot that was asked for.
    pub lot: String,
    /// In the order of stages, the nearest first.
    pub lots: Vec<v1::TracedLot>,
    /// Uses between those lots.
    pub uses: Vec<v1::TracedUse>,
    pub shipments: Vec<v1::TracedShipment>,
    /// How many lots there are.
    pub all: usize,
}

impl Graph {
    /// Puts both directions together.
    pub fn of(lot: &str, back: v1::Trace, forward: v1::Trace) -> Self {
        let mut lots = back.lots;
        for other in forward.lots {
            if lots.iter().all(|known| known.lot != other.lot) {
                lots.push(other);
            }
        }
        let all = lots.len();
        lots.sort_by(|one, other| (one.distance, &one.code).cmp(&(other.distance, &other.code)));
        lots.truncate(LOTS_MAX);
        lots.sort_by_key(|lot| stage(&lot.kind));
        let drawn: HashSet<&str> = lots.iter().map(|lot| lot.lot.as_str()).collect();
        let mut uses = back.uses;
        for other in forward.uses {
            if uses.iter().all(|known| *known != other) {
                uses.push(other);
            }
        }
        uses.retain(|used| {
            drawn.contains(used.from_lot.as_str()) && drawn.contains(used.to_lot.as_str())
        });
        let mut shipments = forward.shipments;
        shipments.retain(|shipment| drawn.contains(shipment.lot.as_str()));
        Self { lot: lot.to_owned(), lots, uses, shipments, all }
    }

    /// The code of a lot.
    pub fn code(&self, lot: &str) -> &str {
        self.lots.iter().find(|one| one.lot == lot).map_or("", |one| one.code.as_str())
    }
}

/// The stage of a kind of lot; one that is not known stands last.
pub fn stage(kind: &str) -> usize {
    STAGES.iter().position(|kinds| kinds.contains(&kind)).unwrap_or(STAGES.len() - 1)
}

/// A mass in grams, for the width of a line alone.
pub fn grams(mass: Option<&v1::Quantity>) -> f64 {
    let read = || {
        let mass = mass?;
        let value: Exact = mass.value.as_deref()?.parse().ok()?;
        let unit = Unit::from_code(&mass.unit)?;
        Some(Quantity::new(value, unit).to(Unit::Gram)?.value.to_f64())
    };
    read().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lot(id: &str, kind: &str, distance: i32) -> v1::TracedLot {
        let (lot, code, kind) = (id.to_owned(), id.to_owned(), kind.to_owned());
        v1::TracedLot { lot, code, kind, distance, ..Default::default() }
    }

    fn used(from: &str, to: &str) -> v1::TracedUse {
        v1::TracedUse { from_lot: from.into(), to_lot: to.into(), ..Default::default() }
    }

    #[test]
    fn both_ways_are_one_graph_in_the_order_of_stages() {
        let back = v1::Trace {
            lots: vec![lot("batch", "batch", 0), lot("meat", "received", 1)],
            uses: vec![used("meat", "batch")],
            ..Default::default()
        };
        let forward = v1::Trace {
            lots: vec![lot("batch", "batch", 0), lot("rack", "rack", 1)],
            uses: vec![used("batch", "rack")],
            ..Default::default()
        };
        let graph = Graph::of("batch", back, forward);
        let order: Vec<_> = graph.lots.iter().map(|lot| lot.code.as_str()).collect();
        assert_eq!(order, ["meat", "batch", "rack"]);
        assert_eq!(graph.uses.len(), 2);
        assert_eq!(graph.all, 3);
    }

    #[test]
    fn of_too_many_the_nearest_are_drawn() {
        let far = (0..300).map(|at| lot(&format!("m{at:03}"), "received", at));
        let uses = (1..300).map(|at| used(&format!("m{at:03}"), "m000")).collect();
        let back = v1::Trace { lots: far.collect(), uses, ..Default::default() };
        let graph = Graph::of("m000", back, v1::Trace::default());
        assert_eq!((graph.lots.len(), graph.all, graph.uses.len()), (200, 300, 199));
        assert!(graph.lots.iter().all(|lot| lot.distance < 200));
    }
}
