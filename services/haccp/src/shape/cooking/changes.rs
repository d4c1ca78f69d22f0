//! What follows of what was found: a judgement each time that a verdict changes, and a deviation.
//! It never opens a deviation because nothing is known, unless somebody pulled all the same.

use domain::verdict::Verdict;
use platform::error::Failure;
use platform::records::{self, Stamp};
use serde_json::{Value, json};
use uuid::Uuid;

use super::found::Found;
use crate::shape::deviations::{Cause, Opening, Opens, opened};
use crate::store::cooking::whole::StandingRow;

/// A judgement about to be recorded.
pub struct NewJudgement {
    /// By the service itself, at the call that brought what changed it.
    pub stamp: Stamp,
    /// The plan, and the code of the check.
    pub plan: Uuid,
    pub check: String,
    /// The columns of its row.
    pub columns: Value,
    /// Its entry.
    pub entry: Value,
    /// The racks, in id order.
    pub lots: Vec<Uuid>,
    /// True where the verdict is not PASS.
    pub is_less_safe: bool,
    /// True where the check can stop a shipment.
    pub gates: bool,
    /// `CCP-2: FAIL: …`, for who asked and for genealogy.
    pub what: String,
    /// The deviation that it opens.
    pub opens: Option<Opening>,
}

/// What is recorded of what was found: nothing of racks of which the verdict stands already.
/// `pulled` are racks that are pulled by this very call, whatever stands against it.
pub fn changes(
    load: Uuid,
    (found, standing): (&[Found<'_>], &[StandingRow]),
    stamp: &Stamp,
    pulled: &[Uuid],
) -> Result<Vec<NewJudgement>, Failure> {
    let mut changes = Vec::new();
    for found in found {
        let stands = |lot: &Uuid| {
            standing.iter().any(|row| {
                (row.lot, row.plan) == (*lot, found.plan.0)
                    && row.check_code == found.check.code
                    && row.verdict == found.verdict.word()
            })
        };
        let lots: Vec<Uuid> = found.lots.iter().filter(|lot| !stands(lot)).copied().collect();
        if !lots.is_empty() {
            changes.push(judgement(load, found, (stamp, pulled), lots)?);
        }
    }
    Ok(changes)
}

fn judgement(
    load: Uuid,
    found: &Found<'_>,
    (stamp, pulled): (&Stamp, &[Uuid]),
    lots: Vec<Uuid>,
) -> Result<NewJudgement, Failure> {
    let stamp = Stamp {
        id: records::new_id(),
        subject: format!("load:{load}"),
        entered_by: "system/haccp".into(),
        entered_by_name: "system/haccp".into(),
        station: String::new(),
        fingerprint: Vec::new(),
        ..stamp.clone()
    };
    let what = found.reasons.join(" ");
    let columns = json!({
        "load": load.to_string(),
        "plan": found.plan.0.to_string(),
        "plan_version": found.plan.1,
        "check_code": found.check.code,
        "verdict": found.verdict.word(),
        "observed_at": found.observed_at.to_string(),
        "what": what,
    });
    let entry = json!({
        "load": load.to_string(),
        "lots": lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        "plan": found.plan.0.to_string(),
        "plan_version": found.plan.1,
        "check": found.check.code,
        "verdict": found.verdict.word(),
        "observed_at": found.observed_at.to_string(),
        "reasons": found.reasons,
    });
    // Who pulls although nothing is known has not met the limit.
    let is_pulled_unmet = found.is_cook && lots.iter().any(|lot| pulled.contains(lot));
    let fails = match found.verdict {
        Verdict::Pass => false,
        Verdict::Fail => true,
        Verdict::Undetermined => is_pulled_unmet,
    };
    let opens = (fails && found.check.class.gates()).then(|| Opens {
        cause: Cause::Judgement(stamp.id),
        lots: &lots,
        plan: found.plan,
        check: found.check,
        what: what.clone(),
    });
    let opens = opens.map(|opens| opened(&stamp, opens)).transpose()?;
    let what = format!("{}: {}: {what}", found.check.code, found.verdict);
    let is_less_safe = found.verdict != Verdict::Pass;
    let gates = found.check.class.gates();
    let (plan, check) = (found.plan.0, found.check.code.clone());
    let judgement =
        NewJudgement { stamp, plan, check, columns, entry, lots, is_less_safe, gates, what, opens };
    Ok(judgement)
}
