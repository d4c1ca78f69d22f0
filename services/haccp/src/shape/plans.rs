//! Plans that were approved, as messages, as rows and as what readings are judged by.
//! It never asks the database.

use domain::exact::Exact;
use domain::haccp::reading::Limit;
use domain::units::Unit;
use platform::error::Failure;
use platform::records::Stamp;
use platform::tickets::Ticket;
use prost::Message;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use crate::store::plans::PlanRow;

/// An approval about to be recorded.
#[derive(Clone)]
pub struct Approval {
    /// The plan.
    pub plan: Uuid,
    /// The draft that the signer read.
    pub draft_version: i32,
    /// Who and when.
    pub stamp: Stamp,
}

/// A check of a version, ready to judge by.
#[derive(Clone, Debug)]
pub struct Check {
    /// Its code: CCP-1.
    pub code: String,
    /// True for a critical control point.
    pub is_ccp: bool,
    /// attain, each or bracket.
    pub kind: String,
    /// What is at stake.
    pub hazard: String,
    /// What may become of product that failed it.
    pub dispositions: Vec<String>,
    /// The limit.
    pub limit: Limit,
    /// What the limit rests on.
    pub source: String,
}

/// A version of a plan, which never changes.
#[derive(Clone, Debug)]
pub struct PlanVersion {
    /// The plan.
    pub plan: Uuid,
    /// The version.
    pub version: i32,
    /// Its checks.
    pub checks: Vec<Check>,
}

impl PlanVersion {
    /// Reads a row. A row that was approved can be judged by; anything else is our fault.
    pub fn of(row: &PlanRow) -> Result<Self, Failure> {
        let checks = content(&row.content)?.checks.into_iter().map(check);
        let checks = checks.collect::<Option<Vec<_>>>();
        let broken = || Failure::internal(format!("haccp.plan {} {}", row.id, row.version));
        Ok(Self { plan: row.id, version: row.version, checks: checks.ok_or_else(broken)? })
    }

    /// The check of a code.
    pub fn check(&self, code: &str) -> Option<&Check> {
        self.checks.iter().find(|check| check.code == code)
    }
}

/// The content of a plan as it is stored.
pub fn content(bytes: &[u8]) -> Result<v1::PlanContent, Failure> {
    v1::PlanContent::decode(bytes).map_err(Failure::internal)
}

fn check(check: v1::PlanCheck) -> Option<Check> {
    let bound = |text: Option<String>| text.map(|text| text.parse::<Exact>()).transpose().ok();
    let limit = Limit {
        unit: Unit::from_code(&check.unit)?,
        at_least: bound(check.at_least)?,
        at_most: bound(check.at_most)?,
    };
    Some(Check {
        code: check.code,
        is_ccp: check.class == "ccp",
        kind: check.kind,
        hazard: check.hazard,
        dispositions: check.dispositions,
        limit,
        source: check.source,
    })
}

/// The entry of an approval: the whole content, and the signature.
pub fn entry(row: &PlanRow, content: &v1::PlanContent, ticket: &Ticket) -> Value {
    json!({
        "plan": row.id.to_string(),
        "version": row.version,
        "name": content.name,
        "binds": content.binds,
        "checks": content.checks.iter().map(check_entry).collect::<Vec<_>>(),
        "signature": ticket.entry(),
    })
}

fn check_entry(check: &v1::PlanCheck) -> Value {
    json!({
        "code": check.code, "title": check.title, "class": check.class, "kind": check.kind,
        "hazard": check.hazard, "dispositions": check.dispositions, "unit": check.unit,
        "at_least": check.at_least, "at_most": check.at_most, "gates": check.gates,
        "source": check.source,
    })
}

/// A version as a message.
pub fn plan_out(row: PlanRow) -> Result<v1::Plan, Failure> {
    let content = content(&row.content)?;
    Ok(v1::Plan {
        plan: row.id.to_string(),
        version: row.version,
        content: Some(content),
        approved_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    })
}
