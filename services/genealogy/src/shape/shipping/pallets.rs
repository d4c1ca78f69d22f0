//! Pallets: what is put on and taken off, and what refuses it.
//! It never asks the database: where cases stand is handed in.

use std::collections::BTreeMap;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::beside;
use crate::shape::holds::serials_in;
use crate::shape::lots::{id_or_empty, named, place_in_use};
use crate::store::places::PlaceRow;
use crate::store::shipping::cases::{CaseOfLot, CaseStateRow};
use crate::store::shipping::pallets::{CaseOnPallet, PalletRow};

/// A pallet to build, read as far as the message goes.
pub struct AskedPallet {
    pub stamp: Stamp,
    pub place: Uuid,
    label: String,
    cases: Vec<String>,
    moments: Option<Moments>,
    faults: Faults,
}

/// A pallet about to be built.
#[derive(Clone)]
pub struct NewPallet {
    pub stamp: Stamp,
    pub label: String,
    pub place: PlaceRow,
    pub cases: Vec<String>,
    pub moments: Moments,
}

/// What is to change on a pallet.
#[derive(Clone)]
pub struct NewChange {
    pub stamp: Stamp,
    pub pallet: Uuid,
    pub put_on: Vec<String>,
    pub taken_off: Vec<String>,
    pub reason: String,
    pub moments: Moments,
}

/// Reads a pallet to build.
pub fn pallet_in(
    call: &Call,
    plant: &Plant,
    request: &v1::BuildPalletRequest,
) -> Result<AskedPallet, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let cases = serials_in(&request.cases, "cases", &mut faults);
    let (Some(id), Some(place)) = (id, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("pallet:{id}"), request)?;
    Ok(AskedPallet { stamp, place, label: request.label.clone(), cases, moments, faults })
}

impl AskedPallet {
    /// Judges the place; gives all faults.
    pub fn content(mut self, place: Option<PlaceRow>) -> Result<NewPallet, Failure> {
        let place = place_in_use(self.place, place, &mut self.faults);
        let (place, moments) = self.faults.into_result(place.zip(self.moments))?;
        let Self { stamp, label, cases, .. } = self;
        Ok(NewPallet { stamp, label, place, cases, moments })
    }
}

/// Reads a change of a pallet; a serial stands in one list once.
pub fn change_in(
    call: &Call,
    plant: &Plant,
    request: &v1::ChangePalletRequest,
) -> Result<NewChange, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let pallet = shape::id(&request.pallet, "pallet", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let put_on = serials_in(&request.put_on, "put_on", &mut faults);
    let taken_off = serials_in(&request.taken_off, "taken_off", &mut faults);
    for (at, serial) in taken_off.iter().enumerate().filter(|(_, s)| put_on.contains(s)) {
        faults.add_value(format!("taken_off[{at}]"), serial, "is put on by the same call");
    }
    if put_on.is_empty() && taken_off.is_empty() {
        faults.add("put_on", "name at least one case to put on or take off");
    }
    let (id, pallet, moments) =
        faults.into_result(id.zip(pallet).zip(moments).map(|((id, p), m)| (id, p, m)))?;
    let stamp = Stamp::of(call, plant, id, format!("pallet:{pallet}"), request)?;
    let reason = request.reason.clone();
    Ok(NewChange { stamp, pallet, put_on, taken_off, reason, moments })
}

impl NewPallet {
    /// Its entry.
    pub fn entry(&self) -> Value {
        json!({
            "pallet": self.stamp.id.to_string(),
            "label": self.label,
            "place": named(self.place.id, self.place.version, &self.place.name),
            "cases": self.cases,
            "times": Value::from(self.moments),
        })
    }

    /// Why it cannot be built: another pallet is called so.
    pub fn label_in_use(&self, other: Uuid) -> Reason {
        Reason {
            code: "LABEL_IN_USE",
            subject: format!("pallet:{other}"),
            message: format!("Another pallet is called {}.", self.label),
            who: "dock".into(),
            way_on: "Label it otherwise: a label is used once in the plant.".into(),
        }
    }
}

impl NewChange {
    /// Its entry.
    pub fn entry(&self) -> Value {
        json!({
            "pallet": self.pallet.to_string(),
            "put_on": self.put_on,
            "taken_off": self.taken_off,
            "reason": self.reason,
            "times": Value::from(self.moments),
        })
    }

    /// Faults of what it takes off: a case that does not stand on the pallet cannot have come off.
    pub fn check_taken_off(&self, states: &BTreeMap<String, CaseStateRow>) -> Result<(), Failure> {
        let mut faults = Faults::new();
        for (at, serial) in self.taken_off.iter().enumerate() {
            let pallet = states.get(serial).and_then(|state| state.pallet);
            if pallet != Some(self.pallet) {
                let text = "this case does not stand on the pallet";
                faults.add_value(format!("taken_off[{at}]"), serial, text);
            }
        }
        Ok(faults.into_result(Some(()))?)
    }
}

/// The changes that take cases off the pallets on which they stood, where a fact tells that they
/// stand on another now.
pub fn moved_away(
    cause: (&Stamp, Moments),
    label: &str,
    from: BTreeMap<Uuid, Vec<String>>,
) -> Vec<NewChange> {
    let change = |(pallet, taken_off)| NewChange {
        stamp: beside(cause.0, |_| format!("pallet:{pallet}")),
        pallet,
        put_on: Vec::new(),
        taken_off,
        reason: format!("They stand on pallet {label}."),
        moments: cause.1,
    };
    from.into_iter().map(change).collect()
}

/// Names each serial that no case has, by its field and place in the list.
pub fn unknown(lists: &[(&str, &[String])], known: &[CaseOfLot]) -> Result<(), Failure> {
    let mut faults = Faults::new();
    for (field, serials) in lists {
        for (at, serial) in serials.iter().enumerate() {
            if !known.iter().any(|case| case.serial == *serial) {
                faults.add_value(format!("{field}[{at}]"), serial, "there is no such case");
            }
        }
    }
    Ok(faults.into_result(Some(()))?)
}

/// Why cases cannot be handled: they are not here any more.
pub fn gone(states: &[CaseStateRow]) -> Vec<Reason> {
    let reason = |state: &CaseStateRow| {
        let serial = &state.serial;
        let (code, message, way_on) = match (state.shipment, state.destruction) {
            (Some(shipment), _) => (
                "CASE_SHIPPED",
                format!("Case {serial} has left."),
                format!("Read the label again, or look at GET /v1/shipments/{shipment}"),
            ),
            (None, Some(destruction)) => (
                "CASE_DESTROYED",
                format!("Case {serial} was destroyed."),
                format!("Read the label again; the record of its end is {destruction}."),
            ),
            (None, None) => return None,
        };
        let subject = format!("case:{serial}");
        Some(Reason { code, subject, message, who: "dock".into(), way_on })
    };
    states.iter().filter_map(reason).collect()
}

/// Why cases cannot be put on this pallet: they stand on others.
pub fn elsewhere(pallet: Uuid, states: &[CaseStateRow], put_on: &[String]) -> Vec<Reason> {
    let reason = |state: &CaseStateRow| {
        let other = state.pallet.filter(|_| put_on.contains(&state.serial))?;
        let (message, way_on) = if other == pallet {
            let message = format!("Case {} stands on this pallet already.", state.serial);
            (message, "Nothing is left to do.".to_owned())
        } else {
            let message = format!("Case {} stands on another pallet.", state.serial);
            (message, format!("Take it off there: POST /v1/pallets/{other}/changes"))
        };
        let subject = format!("case:{}", state.serial);
        Some(Reason { code: "CASE_ON_PALLET", subject, message, who: "dock".into(), way_on })
    };
    states.iter().filter_map(reason).collect()
}

/// Why a pallet cannot change: it has left.
pub fn pallet_shipped(label: &str, shipment: Uuid, pallet: Uuid) -> Reason {
    Reason {
        code: "PALLET_SHIPPED",
        subject: format!("pallet:{pallet}"),
        message: format!("Pallet {label} has left."),
        who: "dock".into(),
        way_on: format!("Build another pallet; look at GET /v1/shipments/{shipment}"),
    }
}

/// A pallet as it stands now, as a message.
pub fn pallet_out(row: PalletRow, cases: Vec<CaseOnPallet>) -> v1::Pallet {
    let mass_g: BigDecimal = cases.iter().map(|case| &case.mass_g).sum();
    let shipment = cases.iter().find_map(|case| case.shipment);
    let case = |case: CaseOnPallet| v1::PalletCase {
        serial: case.serial,
        lot: case.lot.to_string(),
        code: case.code,
        material: case.material,
        mass: Some(v1::Quantity {
            value: Some(case.mass_value.to_plain_string()),
            unit: case.mass_unit,
        }),
        packed_at: case.packed_at.to_jiff().to_string(),
    };
    v1::Pallet {
        pallet: row.id.to_string(),
        label: row.label,
        place: row.place.to_string(),
        place_name: row.place_name,
        cases: cases.into_iter().map(case).collect(),
        mass_g: Some(mass_g.to_plain_string()),
        shipment: id_or_empty(shipment),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
    }
}
