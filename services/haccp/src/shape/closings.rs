//! The signed ends of deviations: what becomes of the product, and whether its hold ends with it.
//! It never asks the database.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
pub use wire::internal::v1::EndHoldForDeviationRequest as EndHold;
use wire::v1;

use super::plans::Check;
use crate::store::deviations::{Recooked, Wrong};

/// The disposition of what was no deviation: its record was wrong.
const WRONG: &str = "recorded_wrongly";
/// The dispositions with which the hold ends at the closing. Into rework it may be used again, and
/// the gate keeps it from shipping without a later lethal step.
const END_AT_CLOSING: [&str; 3] = ["release_with_support", "rework_with_lethal_step", WRONG];

/// A closing about to be recorded.
#[derive(Clone)]
pub struct Closing {
    pub deviation: Uuid,
    pub cause: String,
    pub control: String,
    pub prevention: String,
    pub disposition: String,
    pub disposition_text: String,
    /// What shows that the record was wrong.
    pub evidence: Option<String>,
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
    let is_wrong = request.disposition == WRONG;
    if is_wrong && request.evidence.trim().is_empty() {
        faults.add("evidence", "is needed where a record is said to be wrong");
    }
    if !is_wrong && !request.evidence.is_empty() {
        faults.add("evidence", "is only for what was recorded wrongly");
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
        evidence: Some(request.evidence.clone()).filter(|text| !text.is_empty()),
        stamp: Stamp::of(call, plant, id, subject, request)?,
    })
}

/// The form of a closing's entry: the first one knew no evidence.
pub fn end_form(closing: &Closing) -> &'static str {
    if closing.evidence.is_some() { "haccp.deviation_end/2" } else { "haccp.deviation_end/1" }
}

/// The entry of a closing.
pub fn end_entry(closing: &Closing, ticket: &Ticket) -> Value {
    let mut entry = json!({
        "deviation": closing.deviation.to_string(),
        "cause": closing.cause,
        "control": closing.control,
        "prevention": closing.prevention,
        "disposition": closing.disposition,
        "disposition_text": closing.disposition_text,
        "signature": ticket.entry(),
    });
    if let Some(evidence) = &closing.evidence {
        entry["evidence"] = json!(evidence);
    }
    entry
}

/// Refuses a disposition that does not answer the hazard of the check.
pub fn check_disposition(closing: &Closing, check: &Check) -> Result<(), Failure> {
    // Whether the record was wrong is not for the plan: its readings tell.
    if closing.disposition == WRONG || check.dispositions.contains(&closing.disposition) {
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

impl Closing {
    /// True when it says that the record was wrong.
    pub fn is_wrong(&self) -> bool {
        self.disposition == WRONG
    }

    /// The message that ends the hold, where the disposition ends it at the closing.
    pub fn end_hold(&self, signed_by: &str) -> Option<EndHold> {
        let ends = END_AT_CLOSING.contains(&self.disposition.as_str());
        ends.then(|| EndHold {
            deviation: self.deviation.to_string(),
            signed_by_name: signed_by.to_owned(),
            reason: shape::shortened(&self.disposition_text, 300),
        })
    }
}

/// Refuses to call a record wrong, with every reason: its reading was not amended to one that is
/// met, or who signs took it or amended it.
pub fn check_wrong(closing: &Closing, wrong: &Wrong) -> Result<(), Failure> {
    let subject = format!("deviation:{}", closing.deviation);
    let reason = |code, message: &str, who: &str, way_on: String| Reason {
        code,
        subject: subject.clone(),
        message: message.to_owned(),
        who: who.to_owned(),
        way_on,
    };
    let mut reasons = Vec::new();
    if !wrong.is_amended_to_met {
        let (message, way_on) = match wrong.reading {
            Some(reading) => (
                "Its reading was not amended to one that is met.",
                format!("Amend it first: POST /v1/readings/{reading}/amendments."),
            ),
            None => (
                "It does not come of a reading, so no amendment shows that it was wrong.",
                "Close it with another disposition that the plan names.".to_owned(),
            ),
        };
        reasons.push(reason("NOT_AMENDED_TO_MET", message, "supervisor or QA", way_on));
    }
    if wrong.parties.contains(&closing.stamp.entered_by) {
        let message = "Who took or amended a reading cannot sign that it was recorded wrongly.";
        let way_on = "Let another person of QA sign it.".to_owned();
        reasons.push(reason("SIGNER_TOOK_PART", message, "another person of QA", way_on));
    }
    if reasons.is_empty() { Ok(()) } else { Err(Failure::refused(reasons)) }
}

/// The message that ends the hold of what was cooked again and met.
pub fn recooked(deviation: Recooked) -> EndHold {
    EndHold {
        deviation: deviation.id.to_string(),
        signed_by_name: deviation.signed_by_name,
        reason: "Cooked again as its closing asked, and met since.".to_owned(),
    }
}
