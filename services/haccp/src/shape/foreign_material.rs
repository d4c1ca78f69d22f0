//! Foreign material that was found, and QA's answer whether earlier product is touched.
//! It never frees a lot: until QA has answered, the gate keeps it.

use domain::fault::Faults;
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

use super::follows::LessSafe;
use crate::store::foreign_material::FoundRow;

/// Something found, about to be recorded.
#[derive(Clone)]
pub struct NewFound {
    pub lot: Uuid,
    pub serial: String,
    pub what: String,
    pub size_mm: Option<String>,
    pub found_at: String,
    pub knives_and_plates: String,
    pub moments: Moments,
    pub stamp: Stamp,
}

/// Reads what was found.
pub fn found_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordForeignMaterialRequest,
) -> Result<NewFound, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lot = shape::id(&request.lot, "lot", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, lot?, moments?)))();
    let (id, lot, moments) = faults.into_result(all)?;
    Ok(NewFound {
        lot,
        serial: request.serial.clone(),
        what: request.what.clone(),
        size_mm: request.size_mm.clone(),
        found_at: request.found_at.clone(),
        knives_and_plates: request.knives_and_plates.clone(),
        moments,
        stamp: Stamp::of(call, plant, id, format!("lot:{lot}"), request)?,
    })
}

impl NewFound {
    /// The columns of the record, and its entry.
    pub fn record(&self) -> (Value, Value) {
        let said = json!({
            "lot": self.lot.to_string(), "serial": self.serial, "what": self.what,
            "size_mm": self.size_mm, "found_at_place": self.found_at,
            "knives_and_plates": self.knives_and_plates,
        });
        (said.clone(), said)
    }

    /// Its lot is less safe than it was.
    pub fn less_safe(&self) -> LessSafe {
        let about = format!("foreign_material:{}", self.stamp.id);
        LessSafe::of(about, &format!("Foreign material: {}", self.what), &[self.lot])
    }
}

/// QA's answer, about to be recorded.
#[derive(Clone)]
pub struct NewAnswer {
    pub foreign_material: Uuid,
    pub is_earlier_touched: bool,
    pub why: String,
    pub stamp: Stamp,
}

/// Reads an answer.
pub fn answer_in(
    call: &Call,
    plant: &Plant,
    request: &v1::AnswerForeignMaterialRequest,
) -> Result<NewAnswer, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let found = shape::id(&request.foreign_material, "foreign_material", &mut faults);
    if request.why.trim().is_empty() {
        faults.add_value("why", &request.why, "must say something");
    }
    let (id, found) = faults.into_result(id.zip(found))?;
    Ok(NewAnswer {
        foreign_material: found,
        is_earlier_touched: request.is_earlier_touched.unwrap_or(true),
        why: request.why.clone(),
        stamp: Stamp::of(call, plant, id, format!("foreign_material:{found}"), request)?,
    })
}

impl NewAnswer {
    /// The columns of the record, and its entry.
    pub fn record(&self, ticket: &Ticket) -> (Value, Value) {
        let said = json!({
            "foreign_material": self.foreign_material.to_string(),
            "is_earlier_touched": self.is_earlier_touched, "why": self.why,
        });
        let (mut columns, mut entry) = (said.clone(), said);
        columns["ticket"] = json!(ticket.id.to_string());
        entry["signature"] = ticket.entry();
        (columns, entry)
    }
}

/// What was found as a message, with its answer.
pub fn found_out(row: FoundRow) -> v1::ForeignMaterial {
    v1::ForeignMaterial {
        foreign_material: row.id.to_string(),
        lot: row.lot.to_string(),
        serial: row.serial,
        what: row.what,
        size_mm: row.size_mm,
        found_at: row.found_at_place,
        knives_and_plates: row.knives_and_plates,
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        answered_at: row.answered_at.map(|at| at.to_jiff().to_string()).unwrap_or_default(),
        answered_by_name: row.answered_by_name.unwrap_or_default(),
        is_earlier_touched: row.is_earlier_touched.unwrap_or(false),
        why: row.why.unwrap_or_default(),
    }
}
