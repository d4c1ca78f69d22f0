//! Deviations as messages, as rows and as entries.
//! It never asks the database.

use domain::fault::Faults;
use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::{self, Leaf, Stamp};
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1::HoldForDeviationRequest;
use wire::v1;

use super::plans::{Check, PlanVersion};
use super::readings::{check_of, lots};
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

/// What a deviation comes of.
#[derive(Clone, Copy, Debug)]
pub enum Cause {
    /// A reading that was not met.
    Reading(Uuid),
    /// A judgement of a load.
    Judgement(Uuid),
    /// A failed challenge: it concerns what passed the place in the span.
    Challenge(Uuid, Span),
    /// A person who saw it; the record has the deviation's own id.
    Person,
}

/// What passed a place after `from` (none: from the beginning) and up to `to`.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    /// The line or detector.
    pub place: Uuid,
    /// The last good challenge.
    pub from: Option<Timestamp>,
    /// The failed one.
    pub to: Timestamp,
}

/// A deviation about to open: its lots (none for a span), its plan and version, what was found.
pub struct Opens<'a> {
    pub cause: Cause,
    pub lots: &'a [Uuid],
    pub plan: (Uuid, i32),
    pub check: &'a Check,
    pub what: String,
}

/// A deviation that somebody opens by hand.
#[derive(Clone)]
pub struct ByHand {
    pub lots: Vec<Uuid>,
    /// The plan, its version and the code of the check.
    pub plan: (Uuid, i32, String),
    pub what: String,
    pub stamp: Stamp,
}

/// Reads a deviation to open by hand.
pub fn by_hand_in(
    call: &Call,
    plant: &Plant,
    request: &v1::OpenDeviationRequest,
) -> Result<ByHand, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let lots = lots(&request.lots, &mut faults);
    if request.what.trim().is_empty() {
        faults.add_value("what", &request.what, "must say something");
    }
    let (id, plan) = faults.into_result(id.zip(plan))?;
    let plan = (plan, request.plan_version.unwrap_or_default(), request.check.clone());
    let stamp = Stamp::of(call, plant, id, format!("lot:{}", lots[0]), request)?;
    Ok(ByHand { lots, plan, what: request.what.clone(), stamp })
}

/// The deviation of a person. A check that stops no shipment opens none, unless it is all that its
/// step has: the order of steps stops what joined too late, and somebody must be able to free it.
pub fn opened_by_hand(new: &ByHand, plan: &PlanVersion) -> Result<Opening, Failure> {
    let code = &new.plan.2;
    let check = check_of(plan, code)?;
    if !check.class.gates() && !plan.frees_its_step(check) {
        let text = "a check that stops no shipment opens no deviation";
        return Err(Failure::fault("check", code, text));
    }
    let opens = Opens {
        cause: Cause::Person,
        lots: &new.lots,
        plan: (plan.plan, plan.version),
        check,
        what: new.what.clone(),
    };
    opened(&new.stamp, opens)
}

/// A deviation with all that goes with it, by the stamp of the record that it comes of.
pub fn opened(stamp: &Stamp, opens: Opens<'_>) -> Result<Opening, Failure> {
    let by_person = matches!(opens.cause, Cause::Person);
    // The service opens it; who took the reading stands in the reading.
    let stamp = match by_person {
        true => stamp.clone(),
        false => Stamp {
            id: records::new_id(),
            entered_by: "system/haccp".into(),
            entered_by_name: "system/haccp".into(),
            station: String::new(),
            fingerprint: Vec::new(),
            ..stamp.clone()
        },
    };
    let mut row = DeviationRow {
        id: stamp.id,
        reading: None,
        plan: opens.plan.0,
        plan_version: opens.plan.1,
        check_code: opens.check.code.clone(),
        hazard: opens.check.hazard.clone(),
        is_ccp: opens.check.is_ccp(),
        what: opens.what,
        recorded_at: stamp.recorded_at.to_diesel(),
        judgement: None,
        challenge: None,
        place: None,
        span_from: None,
        span_to: None,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        fingerprint: by_person.then(|| stamp.fingerprint.clone()),
    };
    let mut span = None;
    match opens.cause {
        Cause::Reading(id) => row.reading = Some(id),
        Cause::Judgement(id) => row.judgement = Some(id),
        Cause::Challenge(id, over) => {
            row.challenge = Some(id);
            row.place = Some(over.place);
            row.span_from = over.from.map(|at| at.to_diesel());
            row.span_to = Some(over.to.to_diesel());
            span = Some(over);
        }
        Cause::Person => {}
    }
    let form = if row.reading.is_some() { "haccp.deviation/1" } else { "haccp.deviation/2" };
    let leaf = stamp.leaf(form, open_entry(&row, opens.lots))?;
    let hold = hold(&row, opens.lots, span);
    Ok(Opening { row, lots: opens.lots.to_vec(), leaf, hold })
}

/// The message that puts on hold what a deviation concerns.
fn hold(row: &DeviationRow, lots: &[Uuid], span: Option<Span>) -> HoldForDeviationRequest {
    let micros = |at: Timestamp| at.as_microsecond();
    HoldForDeviationRequest {
        deviation: row.id.to_string(),
        lots: lots.iter().map(Uuid::to_string).collect(),
        reason: shape::shortened(&format!("{}: {}", row.check_code, row.what), 300),
        place: span.map(|span| span.place.to_string()).unwrap_or_default(),
        span_from_us: span.and_then(|span| span.from).map(micros).unwrap_or_default(),
        span_to_us: span.map(|span| micros(span.to)).unwrap_or_default(),
    }
}

/// The entry of a deviation as it opens. One that a reading opened keeps the first form.
pub fn open_entry(row: &DeviationRow, lots: &[Uuid]) -> Value {
    let mut entry = json!({
        "lots": lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "plan": row.plan.to_string(),
        "plan_version": row.plan_version,
        "check": row.check_code,
        "hazard": row.hazard,
        "is_ccp": row.is_ccp,
        "what": row.what,
        "scope": if row.place.is_some() { "span" } else { "whole_lots" },
    });
    if let Some(reading) = row.reading {
        entry["reading"] = json!(reading.to_string());
        return entry;
    }
    let text = |id: Option<Uuid>| id.map(|id| id.to_string());
    let at = |at: Option<jiff_diesel::Timestamp>| at.map(|at| at.to_jiff().to_string());
    entry["judgement"] = json!(text(row.judgement));
    entry["challenge"] = json!(text(row.challenge));
    entry["place"] = json!(text(row.place));
    entry["span_from"] = json!(at(row.span_from));
    entry["span_to"] = json!(at(row.span_to));
    entry
}

/// A deviation as a message.
pub fn deviation_out(whole: Whole, plan: &PlanVersion) -> v1::Deviation {
    let Whole { opened, lots, end } = whole;
    let check = plan.check(&opened.check_code);
    let text = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
    let at = |at: Option<jiff_diesel::Timestamp>| {
        at.map(|at| at.to_jiff().to_string()).unwrap_or_default()
    };
    let mut message = v1::Deviation {
        deviation: opened.id.to_string(),
        reading: text(opened.reading),
        lots: lots.iter().map(Uuid::to_string).collect(),
        plan: opened.plan.to_string(),
        plan_version: opened.plan_version,
        check: opened.check_code.clone(),
        hazard: opened.hazard,
        is_ccp: opened.is_ccp,
        what: opened.what,
        recorded_at: opened.recorded_at.to_jiff().to_string(),
        dispositions: check.map(|check| check.dispositions.clone()).unwrap_or_default(),
        judgement: text(opened.judgement),
        challenge: text(opened.challenge),
        place: text(opened.place),
        span_from: at(opened.span_from),
        span_to: at(opened.span_to),
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
        message.evidence = end.evidence.unwrap_or_default();
    }
    message
}
