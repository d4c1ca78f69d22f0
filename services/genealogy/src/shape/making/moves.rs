//! Transfers, opening stock and destruction: from messages to records and back.
//! It never asks the database.

use domain::fault::Faults;
use jiff::civil::Date;
use platform::caller::Call;
use platform::error::Failure;
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::{Placed, mass_out};
use crate::shape::lots::{Content, Mass, id_or_empty, mass_in, named, use_by_in};
use crate::shape::{ids_in, texts};
use crate::store::making::ends::DestructionRow;
use crate::store::making::transfers::TransferRow;
use crate::store::places::PlaceRow;

/// What the message alone says of a transfer.
pub struct Moved {
    pub lots: Vec<Uuid>,
    pub pallets: Vec<Uuid>,
    pub moments: Moments,
}

/// A transfer about to be recorded.
pub struct NewTransfer {
    pub stamp: Stamp,
    pub place: PlaceRow,
    pub moved: Moved,
}

/// Reads a transfer.
pub fn transfer_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordTransferRequest,
) -> Result<Placed<Moved>, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let lots = ids_in(&request.lots, "lots", true, &mut faults);
    let pallets = ids_in(&request.pallets, "pallets", true, &mut faults);
    if request.lots.is_empty() && request.pallets.is_empty() {
        faults.add("lots", "lots or pallets are needed");
    }
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let moved = moments.map(|moments| Moved { lots, pallets, moments });
    let (Some(id), Some(place)) = (id, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("transfer:{id}"), request)?;
    Ok(Placed::new(stamp, place, moved, faults))
}

/// The entry of a transfer.
pub fn transfer_entry(new: &NewTransfer) -> Value {
    let NewTransfer { stamp, place, moved } = new;
    json!({
        "transfer": stamp.id.to_string(),
        "lots": texts(&moved.lots),
        "pallets": texts(&moved.pallets),
        "place": named(place.id, place.version, &place.name),
        "times": Value::from(moved.moments),
    })
}

/// A transfer as a message, with the holds that went along.
pub fn transfer_out(
    row: TransferRow,
    (lots, pallets): (&[Uuid], &[Uuid]),
    holds: &[Uuid],
) -> v1::Transfer {
    v1::Transfer {
        transfer: row.id.to_string(),
        lots: texts(lots),
        pallets: texts(pallets),
        place: row.place.to_string(),
        place_name: row.place_name,
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        holds: texts(holds),
    }
}

/// What the message alone says of opening stock.
pub struct Opening {
    pub content: Content,
    pub plan: Uuid,
    pub statement: String,
}

/// Reads opening stock to take up.
pub fn opening_in(
    call: &Call,
    plant: &Plant,
    request: &v1::TakeUpOpeningStockRequest,
) -> Result<Placed<Opening>, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let mass = mass_in(request.mass.as_ref(), "mass", &mut faults);
    let use_by: Option<Date> = use_by_in(&request.use_by, "use_by", &mut faults);
    let moments = Moments::of(call, now(&request.observed_at), &mut faults);
    let opening = plan.zip(mass).zip(moments).map(|((plan, mass), moments)| Opening {
        content: Content { material: request.material.clone(), mass, use_by, run: None, moments },
        plan,
        statement: request.statement.clone(),
    });
    let (Some(id), Some(place)) = (id, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("lot:{id}"), request)?;
    Ok(Placed::new(stamp, place, opening, faults))
}

/// What is signed here is never a fact of a device that was offline.
fn now(observed_at: &str) -> Claimed<'_> {
    Claimed { observed_at, entered_at: "", happened: false }
}

/// The entry of an opening statement.
pub fn statement_entry(id: Uuid, lot: Uuid, statement: &str, ticket: &Ticket) -> Value {
    json!({
        "opening_statement": id.to_string(),
        "lot": lot.to_string(),
        "statement": statement,
        "signature": ticket.entry(),
    })
}

/// What is to be destroyed: whole cases, or a mass that is in no case.
#[derive(Clone, Debug)]
pub enum Destroyed {
    Cases(Vec<String>),
    Mass(Mass),
}

/// A destruction about to be recorded.
pub struct NewDestruction {
    pub stamp: Stamp,
    pub lot: Uuid,
    pub destroyed: Destroyed,
    pub deviation: Option<Uuid>,
    pub reason: String,
    pub moments: Moments,
}

/// Reads a destruction: cases or a mass, never both.
pub fn destruction_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordDestructionRequest,
) -> Result<NewDestruction, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lot = shape::id(&request.lot, "lot", &mut faults);
    let deviation = shape::optional_id(&request.deviation, "deviation", &mut faults);
    let destroyed = destroyed_in(request, &mut faults);
    let moments = Moments::of(call, now(&request.observed_at), &mut faults);
    let read = id.zip(lot).zip(destroyed).zip(moments);
    let (((id, lot), destroyed), moments) = faults.into_result(read)?;
    let stamp = Stamp::of(call, plant, id, format!("lot:{lot}"), request)?;
    let reason = request.reason.clone();
    Ok(NewDestruction { stamp, lot, destroyed, deviation, reason, moments })
}

fn destroyed_in(request: &v1::RecordDestructionRequest, faults: &mut Faults) -> Option<Destroyed> {
    if request.cases.is_empty() {
        return mass_in(request.mass.as_ref(), "mass", faults).map(Destroyed::Mass);
    }
    if request.mass.is_some() {
        faults.add("mass", "is that of the cases: leave it out where cases are named");
    }
    let mut serials: Vec<String> = Vec::with_capacity(request.cases.len());
    for (at, serial) in request.cases.iter().enumerate() {
        if serials.contains(serial) {
            faults.add_value(format!("cases[{at}]"), serial, "is named twice");
        } else {
            serials.push(serial.clone());
        }
    }
    Some(Destroyed::Cases(serials))
}

/// The entry of a destruction.
pub fn destruction_entry(new: &NewDestruction, mass: &Mass, ticket: &Ticket) -> Value {
    let cases: &[String] = match &new.destroyed {
        Destroyed::Cases(cases) => cases,
        Destroyed::Mass(_) => &[],
    };
    json!({
        "destruction": new.stamp.id.to_string(),
        "lot": new.lot.to_string(),
        "cases": cases,
        "mass": mass.entry(),
        "deviation": new.deviation.map(|deviation| deviation.to_string()),
        "reason": new.reason,
        "times": Value::from(new.moments),
        "signature": ticket.entry(),
    })
}

/// A destruction as a message.
pub fn destruction_out(row: DestructionRow, cases: Vec<String>) -> v1::Destruction {
    v1::Destruction {
        destruction: row.id.to_string(),
        lot: row.lot.to_string(),
        cases,
        mass: Some(mass_out(&row.mass_value, &row.mass_unit)),
        deviation: id_or_empty(row.deviation),
        reason: row.reason,
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        signed_by_name: row.entered_by_name,
    }
}
