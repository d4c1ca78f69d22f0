//! Masses around lots as a message: lots and makings refer to each other by their places.
//! It never asks the database.

use std::collections::HashMap;

use domain::fault::Faults;
use jiff::civil::Date;
use platform::error::Failure;
use platform::shape;
use uuid::Uuid;
use wire::internal::v1 as internal;

use crate::store::masses::Masses;

/// What is asked for.
pub enum Asked {
    /// These lots.
    Lots(Vec<Uuid>),
    /// What a day made of a material.
    Day(Date, String),
}

/// Reads what is asked for.
pub fn asked_in(request: &internal::MassesOfRequest) -> Result<Asked, Failure> {
    let mut faults = Faults::new();
    if request.lots.is_empty() {
        let day = shape::date(&request.day, "day", &mut faults);
        let day = faults.into_result(day)?;
        return Ok(Asked::Day(day, request.material.clone()));
    }
    let lots = super::ids_in(&request.lots, "lots", false, &mut faults);
    Ok(Asked::Lots(faults.into_result(Some(lots))?))
}

/// Masses as a message.
pub fn masses_out(roots: &[Uuid], masses: Masses) -> Result<internal::MassesOfResponse, Failure> {
    let Masses { lots, makings, inputs } = masses;
    let lot_at: HashMap<Uuid, u32> = (0..).zip(&lots).map(|(at, lot)| (lot.id, at)).collect();
    let made_at: HashMap<Uuid, u32> = (1..).zip(&makings).map(|(at, one)| (one.id, at)).collect();
    let mut used: HashMap<Uuid, Vec<internal::MassInput>> = HashMap::new();
    for input in inputs {
        let lot = lot_at.get(&input.lot).copied();
        let lot = lot.ok_or_else(|| Failure::internal("an input that is no lot"))?;
        let mass_g = input.mass_g.to_plain_string();
        used.entry(input.transformation).or_default().push(internal::MassInput { lot, mass_g });
    }
    let makings = makings.into_iter().map(|making| internal::MassMaking {
        transformation: making.id.to_string(),
        inputs: used.remove(&making.id).unwrap_or_default(),
        additions_g: making.additions_g.to_plain_string(),
    });
    let made_by = |by: Option<Uuid>| by.and_then(|by| made_at.get(&by).copied());
    let lots = lots.into_iter().map(|lot| internal::MassLot {
        lot: lot.id.to_string(),
        code: lot.code,
        kind: lot.kind,
        material: lot.material,
        mass_g: lot.mass_g.to_plain_string(),
        made_by: made_by(lot.made_by).unwrap_or_default(),
    });
    let roots = roots.iter().filter_map(|root| lot_at.get(root).copied());
    Ok(internal::MassesOfResponse {
        lots: lots.collect(),
        makings: makings.collect(),
        roots: roots.collect(),
    })
}
