//! The lots of a trace both ways with every use between them, and the stage of each.
//! It never draws what it does not hold: the nearest lots where there are too many.

use std::collections::{HashMap, HashSet};

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
        let behind: HashSet<String> = lots.iter().map(|known| known.lot.clone()).collect();
        lots.extend(forward.lots.into_iter().filter(|other| !behind.contains(&other.lot)));
        let all = lots.len();
        lots.sort_by(|one, other| (one.distance, &one.code).cmp(&(other.distance, &other.code)));
        lots.truncate(LOTS_MAX);
        // Codes end in running numbers: the shorter one is the earlier.
        lots.sort_by(|one, other| {
            let key = |lot: &v1::TracedLot| (stage(&lot.kind), lot.code.len());
            key(one).cmp(&key(other)).then_with(|| one.code.cmp(&other.code))
        });
        let drawn: HashSet<&str> = lots.iter().map(|lot| lot.lot.as_str()).collect();
        let is_drawn = |used: &v1::TracedUse| {
            drawn.contains(used.from_lot.as_str()) && drawn.contains(used.to_lot.as_str())
        };
        let mut uses: Vec<v1::TracedUse> = back.uses.into_iter().filter(is_drawn).collect();
        for other in forward.uses.into_iter().filter(is_drawn) {
            if uses.iter().all(|known| *known != other) {
                uses.push(other);
            }
        }
        let mut shipments = forward.shipments;
        shipments.retain(|shipment| drawn.contains(shipment.lot.as_str()));
        Self { lot: lot.to_owned(), lots, uses, shipments, all }
    }

    /// The code of a lot.
    pub fn code(&self, lot: &str) -> &str {
        self.lots.iter().find(|one| one.lot == lot).map_or("", |one| one.code.as_str())
    }
}

/// The lots that were made of each use together.
pub struct Together<'u>(HashMap<(&'u str, &'u str), Vec<&'u str>>);

impl<'u> Together<'u> {
    /// Of uses of one trace.
    pub fn of(uses: &'u [v1::TracedUse]) -> Self {
        let mut made: HashMap<_, Vec<&str>> = HashMap::new();
        for used in uses {
            let lots = made.entry(key(used)).or_default();
            if !lots.contains(&used.to_lot.as_str()) {
                lots.push(&used.to_lot);
            }
        }
        Self(made)
    }

    /// The lots of a use, each once: its making used the lot for all of them, and perhaps again
    /// later.
    pub fn lots(&self, used: &'u v1::TracedUse) -> &[&'u str] {
        self.0.get(&key(used)).map_or(&[], Vec::as_slice)
    }
}

/// What a use has in common with those of which lots were made together.
fn key(used: &v1::TracedUse) -> (&str, &str) {
    (&used.from_lot, &used.transformation)
}

impl Graph {
    /// The mass of a use that went to its lot, in grams, for the width of a line alone: of several
    /// lots that were made together each has its part by its own mass.
    pub fn share<'u>(&self, together: &Together<'u>, used: &'u v1::TracedUse) -> f64 {
        let made = |lot: &str| {
            let found = self.lots.iter().find(|one| one.lot == lot);
            found.map_or(0.0, |one| grams(one.mass.as_ref()))
        };
        let all: f64 = together.lots(used).iter().map(|lot| made(lot)).sum();
        let part = if all > 0.0 { made(&used.to_lot) / all } else { 1.0 };
        grams(used.mass.as_ref()) * part
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
    fn lots_that_were_made_together_share_what_was_used() {
        let mass = |value: &str| {
            Some(v1::Quantity { value: Some(value.to_owned()), unit: "kg".to_owned() })
        };
        let weighed = |one: v1::TracedLot, value: &str| v1::TracedLot { mass: mass(value), ..one };
        let use_of = |to: &str| v1::TracedUse { mass: mass("100"), ..used("batch", to) };
        let forward = v1::Trace {
            lots: vec![
                lot("batch", "batch", 0),
                weighed(lot("r1", "rack", 1), "60"),
                weighed(lot("r2", "rack", 1), "30"),
            ],
            uses: vec![use_of("r1"), use_of("r2")],
            ..Default::default()
        };
        let graph = Graph::of("batch", v1::Trace::default(), forward);
        let together = Together::of(&graph.uses);
        assert_eq!(together.lots(&graph.uses[0]), ["r1", "r2"]);
        let share = |one| graph.share(&together, one).round();
        let shares: Vec<f64> = graph.uses.iter().map(share).collect();
        assert_eq!(shares, [66_667.0, 33_333.0]);
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
