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

use super::plans::{Check, PlanVersion};
use super::readings::{check_of, lots};
use super::stations::span;
use crate::store::missed_checks::{Evidence, MissedRow, Track};

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

/// Refuses evidence that does not do, with every reason, lot by lot.
pub fn judge(new: &NewCover, check: &Check, evidence: &Evidence) -> Result<(), Failure> {
    let load = new.evidence;
    let gap_max_s = check.every_s.unwrap_or(GAP_MAX_S);
    let over = (new.from.as_microsecond(), new.to.as_microsecond());
    let mut reasons = Vec::new();
    for lot in &new.lots {
        let mut refuse = |code, message: String, way_on: String| {
            let (subject, who) = (format!("lot:{lot}"), "QA".to_owned());
            reasons.push(Reason { code, subject, message, who, way_on });
        };
        if !evidence.racks.contains(lot) {
            let text = "It was not in the load that is named as evidence.".to_owned();
            refuse("EVIDENCE_OF_OTHER_LOTS", text, format!("See GET /v1/loads?lot={lot}."));
            continue;
        }
        if !evidence.met.contains(lot) {
            let text = format!("The load has not met {} for it.", check.code);
            let way_on = format!("See GET /v1/loads/{load}; or open a deviation by hand.");
            refuse("EVIDENCE_NOT_MET", text, way_on);
        }
        let mut tracks = evidence.tracks.iter().filter(|track| track.is_of(*lot));
        if !tracks.any(|track| covers(track, over, gap_max_s * 1_000_000)) {
            let text = format!(
                "No probe's curve runs from {} to {} without a gap of more than {gap_max_s} s.",
                new.from, new.to
            );
            let way_on = format!("See GET /v1/loads/{load}/curves; or open a deviation by hand.");
            refuse("EVIDENCE_HAS_GAP", text, way_on);
        }
    }
    if reasons.is_empty() { Ok(()) } else { Err(Failure::refused(reasons)) }
}

/// Whether the samples of one probe cover a time: one at or before its start, one at or after its
/// end, and never further apart than `gap_max`. All in microseconds, samples in rising order.
pub fn covers(track: &Track, (from, to): (i64, i64), gap_max: i64) -> bool {
    let Some(first) = track.samples.iter().rposition(|sample| *sample <= from) else {
        return false;
    };
    let mut last = track.samples[first];
    for sample in &track.samples[first..] {
        if sample - last > gap_max {
            return false;
        }
        if *sample >= to {
            return true;
        }
        last = *sample;
    }
    false
}

impl NewCover {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn track(samples: &[i64]) -> Track {
        Track { lots: Vec::new(), samples: samples.to_vec() }
    }

    #[test]
    fn a_curve_covers_a_time_only_from_before_it_to_after_it_without_a_gap() {
        assert!(covers(&track(&[0, 60, 120]), (10, 110), 60));
        assert!(covers(&track(&[0, 60, 120]), (0, 120), 60), "the ends are included");
        assert!(!covers(&track(&[20, 60, 120]), (10, 110), 60), "it began too late");
        assert!(!covers(&track(&[0, 60, 100]), (10, 110), 60), "it ended too early");
        assert!(!covers(&track(&[0, 61, 120]), (10, 110), 60), "a gap of one too much");
        assert!(covers(&track(&[-500, 0, 60, 120, 900]), (10, 110), 60), "gaps outside are none");
        assert!(!covers(&track(&[]), (10, 110), 60));
    }
}
