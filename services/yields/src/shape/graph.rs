//! What genealogy answers about masses, as a graph to compute with, and weighings on it.
//! It never goes on with a graph that cannot be.

use std::collections::HashMap;

use domain::units::{Quantity, Unit};
use domain::yields::flow::{Graph, Kind, Lot, Making};
use domain::yields::stages::{Stage, Weighing, weighed_last};
use platform::error::Failure;
use uuid::Uuid;
use wire::internal::v1::MassesOfResponse;
use wire::v1;

use super::{exact, read_exact};
use crate::store::weighings::Whole;

/// The lots around what was asked for.
pub struct Around {
    pub graph: Graph,
    /// Each lot as it is named, in the order of the graph.
    pub lots: Vec<v1::NamedLot>,
    /// Their ids, in the same order.
    pub ids: Vec<Uuid>,
    /// What was asked for, as places among the lots.
    pub roots: Vec<usize>,
    /// True when water or a process aid went into any of them.
    pub has_additions: bool,
}

impl Around {
    /// Reads the answer of genealogy.
    pub fn read(answer: MassesOfResponse) -> Result<Self, Failure> {
        let MassesOfResponse { lots, makings, roots } = answer;
        let made = makings.iter().map(|making| {
            let inputs = making
                .inputs
                .iter()
                .map(|input| Ok((input.lot as usize, read_exact(&input.mass_g)?)));
            let inputs = inputs.collect::<Result<_, Failure>>()?;
            Ok(Making { inputs, additions_g: read_exact(&making.additions_g)? })
        });
        let made: Vec<Making> = made.collect::<Result<_, Failure>>()?;
        let read = lots.iter().map(|lot| {
            let kind = Kind::of_word(&lot.kind);
            let kind = kind.ok_or_else(|| Failure::internal(format!("a lot of {}", lot.kind)))?;
            let made_by = (lot.made_by as usize).checked_sub(1);
            Ok(Lot { kind, mass_g: read_exact(&lot.mass_g)?, made_by })
        });
        let read: Vec<Lot> = read.collect::<Result<_, Failure>>()?;
        let ids = lots.iter().map(|lot| lot.lot.parse().map_err(Failure::internal));
        let ids: Vec<Uuid> = ids.collect::<Result<_, Failure>>()?;
        let roots: Vec<usize> = roots.into_iter().map(|root| root as usize).collect();
        if roots.is_empty() || roots.iter().any(|root| *root >= lots.len()) {
            return Err(Failure::not_found("lot"));
        }
        let has_additions = made.iter().any(|making| making.additions_g.is_positive());
        let graph = Graph::of(read, made);
        let graph = graph.ok_or_else(|| Failure::internal("a lot graph that cannot be"))?;
        let lots = lots.into_iter().map(|lot| v1::NamedLot {
            lot: lot.lot,
            code: lot.code,
            kind: lot.kind,
            material: lot.material,
        });
        Ok(Self { graph, lots: lots.collect(), ids, roots, has_additions })
    }

    /// Puts weighings on this graph, each with its place among `whole`: those that name no stage
    /// count nowhere. What is used of a lot is from now on a part of what it weighed last.
    pub fn weighed(&mut self, whole: &[Whole]) -> Result<(Vec<usize>, Vec<Weighing>), Failure> {
        let places: HashMap<&Uuid, usize> = self.ids.iter().zip(0..).collect();
        let (mut of, mut weighings) = (Vec::new(), Vec::new());
        for (at, one) in whole.iter().enumerate() {
            let row = one.standing();
            let Some(stage) = row.stage.as_deref().and_then(Stage::of_word) else { continue };
            let unit = Unit::from_code(&row.unit);
            let unit = unit.ok_or_else(|| Failure::internal(format!("the unit {}", row.unit)))?;
            let lots = one.lots.iter().map(|lot| places.get(lot).copied()).collect();
            weighings.push(Weighing { lots, stage, net: Quantity::new(exact(&row.net)?, unit) });
            of.push(at);
        }
        weighed_last(&mut self.graph, &weighings);
        Ok((of, weighings))
    }

    /// The codes of lots, for a sentence.
    pub fn codes(&self, places: &[usize]) -> String {
        let codes: Vec<&str> = places.iter().map(|at| self.lots[*at].code.as_str()).collect();
        codes.join(", ")
    }

    /// Lots by their places, as messages.
    pub fn named(&self, places: &[usize]) -> Vec<v1::NamedLot> {
        places.iter().map(|at| self.lots[*at].clone()).collect()
    }
}
