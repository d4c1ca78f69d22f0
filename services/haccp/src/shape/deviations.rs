//! Deviations as messages, as rows and as entries.
//! It never asks the database.

use domain::fault::Faults;
use domain::verdict::Judgement;
use jiff_diesel::ToDiesel as _;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::{self, Leaf, Stamp};
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1::HoldForDeviationRequest;
use wire::v1;

use super::plans::{Check, PlanVersion};
use super::readings::NewReading;
use crate::store::deviations::{DeviationRow, Whole};

/// A deviation about to open, with all that goes with it.
#[derive(Clone)]
pub struct Opening {
    /// Its row.
    pub row: DeviationRow,
    /// Its lots.
    pub lots: Vec<Uuid>,
    /// Its leaf.
    pub leaf: Leaf,
    /// The message that puts its lots on hold.
    pub hold: HoldForDeviationRequest,
}

/// A deviation that a reading opens.
pub fn opened(new: &NewReading, check: &Check, judgement: &Judgement) -> Result<Opening, Failure> {
    let row = DeviationRow {
        id: records::new_id(),
        reading: new.stamp.id,
        plan: new.plan.0,
        plan_version: new.plan.1,
        check_code: check.code.clone(),
        hazard: check.hazard.clone(),
        is_ccp: check.is_ccp,
        what: judgement.reasons.join(" "),
        recorded_at: new.stamp.recorded_at.to_diesel(),
    };
    // The service opens it; who took the reading stands in the reading.
    let stamp = Stamp {
        id: row.id,
        subject: new.stamp.subject.clone(),
        entered_by: "system/haccp".into(),
        entered_by_name: "system/haccp".into(),
        station: String::new(),
        fingerprint: Vec::new(),
        ..new.stamp.clone()
    };
    let leaf = stamp.leaf("haccp.deviation/1", open_entry(&row, &new.lots))?;
    let hold = HoldForDeviationRequest {
        deviation: row.id.to_string(),
        lots: new.lots.iter().map(Uuid::to_string).collect(),
        reason: format!("{}: {}", row.check_code, row.what).chars().take(300).collect(),
    };
    Ok(Opening { row, lots: new.lots.clone(), leaf, hold })
}

/// The entry of a deviation as it opens.
pub fn open_entry(row: &DeviationRow, lots: &[Uuid]) -> Value {
    json!({
        "reading": row.reading.to_string(),
        "lots": lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "plan": row.plan.to_string(),
        "plan_version": row.plan_version,
        "check": row.check_code,
        "hazard": row.hazard,
        "is_ccp": row.is_ccp,
        "what": row.what,
        "scope": "whole_lots",
    })
}

/// A closing about to be recorded.
#[derive(Clone)]
pub struct Closing {
    pub deviation: Uuid,
    pub cause: String,
    pub control: String,
    pub prevention: String,
    pub disposition: String,
    pub disposition_text: String,
    pub stamp: Stamp,
}

/// Reads a closing.
pub fn closing_in(
    call: &Call,
    plant: &Plant,
    request: &v1::CloseDeviationRequest,
) -> Result<Closing, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let deviation = shape::id(&request.deviation, "deviation", &mut faults);
    for (field, text) in [
        ("cause", &request.cause),
        ("control", &request.control),
        ("prevention", &request.prevention),
        ("disposition_text", &request.disposition_text),
    ] {
        if text.trim().is_empty() {
            faults.add_value(field, text, "must say something");
        }
    }
    let (id, deviation) = faults.into_result(id.zip(deviation))?;
    let subject = format!("deviation:{deviation}");
    Ok(Closing {
        deviation,
        cause: request.cause.clone(),
        control: request.control.clone(),
        prevention: request.prevention.clone(),
        disposition: request.disposition.clone(),
        disposition_text: request.disposition_text.clone(),
        stamp: Stamp::of(call, plant, id, subject, request)?,
    })
}

/// The entry of a closing.
pub fn end_entry(closing: &Closing, ticket: &Ticket) -> Value {
    json!({
        "deviation": closing.deviation.to_string(),
        "cause": closing.cause,
        "control": closing.control,
        "prevention": closing.prevention,
        "disposition": closing.disposition,
        "disposition_text": closing.disposition_text,
        "signature": ticket.entry(),
    })
}

/// Refuses a disposition that does not answer the hazard of the check.
pub fn check_disposition(closing: &Closing, check: &Check) -> Result<(), Failure> {
    if check.dispositions.contains(&closing.disposition) {
        return Ok(());
    }
    let allowed = match check.dispositions.is_empty() {
        true => "none; amend the plan first".to_owned(),
        false => check.dispositions.join(", "),
    };
    Err(Failure::refused(vec![Reason {
        code: "DISPOSITION_DOES_NOT_ANSWER",
        subject: format!("check {}", check.code),
        message: format!("{} does not answer the hazard {}.", closing.disposition, check.hazard),
        who: "QA".into(),
        way_on: format!("The plan names these dispositions: {allowed}."),
    }]))
}

/// A deviation as a message.
pub fn deviation_out(whole: Whole, plan: &PlanVersion) -> v1::Deviation {
    let Whole { opened, lots, end } = whole;
    let check = plan.check(&opened.check_code);
    let mut message = v1::Deviation {
        deviation: opened.id.to_string(),
        reading: opened.reading.to_string(),
        lots: lots.iter().map(Uuid::to_string).collect(),
        plan: opened.plan.to_string(),
        plan_version: opened.plan_version,
        check: opened.check_code.clone(),
        hazard: opened.hazard,
        is_ccp: opened.is_ccp,
        what: opened.what,
        recorded_at: opened.recorded_at.to_jiff().to_string(),
        dispositions: check.map(|check| check.dispositions.clone()).unwrap_or_default(),
        ..v1::Deviation::default()
    };
    if let Some(end) = end {
        message.closed_at = end.recorded_at.to_jiff().to_string();
        message.closed_by_name = end.entered_by_name;
        message.cause = end.cause;
        message.control = end.control;
        message.prevention = end.prevention;
        message.disposition = end.disposition;
        message.disposition_text = end.disposition_text;
    }
    message
}
