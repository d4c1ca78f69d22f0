//! Missed checks that other evidence covers: judged by the same limit, met, over the whole time.
//! It never makes a missed check met: it stays missed in every view.

use domain::fault::Faults;
use domain::haccp::gate::question::Kind;
use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::cooking::evidence::Missed;
use super::plans::{Check, PlanVersion};
use super::readings::{check_of, lots};
use super::stations::span;
use crate::store::missed_checks::MissedRow;

/// The longest time between two samples of evidence, where the check does not say how often.
const GAP_MAX_S: i64 = 60;

/// A covering about to be signed.
#[derive(Clone)]
pub struct NewCover {
    pub lots: Vec<Uuid>,
    /// The plan, its version and the code of the check.
    pub plan: (Uuid, i32, String),
    pub from: Timestamp,
    pub to: Timestamp,
    /// The load.
    pub evidence: Uuid,
    pub cause: String,
    pub prevention: String,
    pub stamp: Stamp,
}

/// Reads a covering.
pub fn cover_in(
    call: &Call,
    plant: &Plant,
    request: &v1::CoverMissedCheckRequest,
) -> Result<NewCover, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let lots = lots(&request.lots, &mut faults);
    let evidence = shape::id(&request.evidence, "evidence", &mut faults);
    let from = shape::instant(&request.missed_from, "missed_from", &mut faults);
    let to = shape::instant(&request.missed_to, "missed_to", &mut faults);
    span(("missed_from", "missed_to"), from.zip(to), call, &mut faults);
    for (field, text) in [("cause", &request.cause), ("prevention", &request.prevention)] {
        if text.trim().is_empty() {
            faults.add_value(field, text, "must say something");
        }
    }
    let all = (|| Some((id?, plan?, evidence?, from?, to?)))();
    let (id, plan, evidence, from, to) = faults.into_result(all)?;
    let subject = format!("check:{}", request.check);
    Ok(NewCover {
        lots,
        plan: (plan, request.plan_version.unwrap_or_default(), request.check.clone()),
        from,
        to,
        evidence,
        cause: request.cause.clone(),
        prevention: request.prevention.clone(),
        stamp: Stamp::of(call, plant, id, subject, request)?,
    })
}

/// The check that was missed. Fault: one that challenges settle, which no curve covers.
pub fn check<'p>(new: &NewCover, plan: &'p PlanVersion) -> Result<&'p Check, Failure> {
    let code = &new.plan.2;
    let check = check_of(plan, code)?;
    match check.kind {
        Kind::Bracket => Err(Failure::fault("check", code, "no curve covers a missed challenge")),
        _ => Ok(check),
    }
}

impl NewCover {
    /// What the load is asked to stand for.
    pub fn missed(&self, check: &Check) -> Missed {
        Missed {
            lots: self.lots.clone(),
            plan: (self.plan.0, self.plan.1),
            check: check.code.clone(),
            from: self.from,
            to: self.to,
            gap_s: check.every_s.unwrap_or(GAP_MAX_S),
        }
    }

    /// Refuses evidence that does not do, with every reason against it.
    pub fn judge(&self, against: Vec<String>) -> Result<(), Failure> {
        let load = self.evidence;
        let reason = |message: String| Reason {
            code: "EVIDENCE_DOES_NOT_DO",
            subject: format!("load:{load}"),
            message,
            who: "QA".into(),
            way_on: format!(
                "Name another load, see GET /v1/loads/{load}/curves; or open a deviation: \
                 POST /v1/deviations."
            ),
        };
        match against.is_empty() {
            true => Ok(()),
            false => Err(Failure::refused(against.into_iter().map(reason).collect())),
        }
    }

    /// The columns of the record, and its entry.
    pub fn record(&self, ticket: &Ticket) -> (Value, Value) {
        let said = json!({
            "plan": self.plan.0.to_string(), "plan_version": self.plan.1,
            "missed_from": self.from.to_string(), "missed_to": self.to.to_string(),
            "evidence": self.evidence.to_string(), "cause": self.cause,
            "prevention": self.prevention,
        });
        let (mut columns, mut entry) = (said.clone(), said);
        columns["check_code"] = json!(self.plan.2);
        columns["ticket"] = json!(ticket.id.to_string());
        entry["check"] = json!(self.plan.2);
        entry["lots"] = self.lots.iter().map(Uuid::to_string).collect();
        entry["signature"] = ticket.entry();
        (columns, entry)
    }
}

/// A covered missed check as a message.
pub fn missed_out(row: MissedRow) -> v1::MissedCheck {
    v1::MissedCheck {
        missed_check: row.id.to_string(),
        lots: row.lots.iter().map(Uuid::to_string).collect(),
        plan: row.plan.to_string(),
        plan_version: row.plan_version,
        check: row.check_code,
        missed_from: row.missed_from.to_jiff().to_string(),
        missed_to: row.missed_to.to_jiff().to_string(),
        evidence: row.evidence.to_string(),
        cause: row.cause,
        prevention: row.prevention,
        signed_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
