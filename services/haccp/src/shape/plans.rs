//! Plans that were approved, as messages, as rows and as what is judged by.
//! It never asks the database.

mod approval;

use domain::exact::Exact;
use domain::haccp::gate::question::{Class, Kind, LotKind};
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

pub use approval::check as check_approval;

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

/// A step of a route, or the one step of what a plan without a route binds.
#[derive(Clone, Debug)]
pub struct Step {
    /// Its code: COOK; empty where the plan has no route.
    pub code: String,
    /// On which lots it is done.
    pub on: LotKind,
    /// cook, chill and so on; empty where the plan has no route.
    pub operation: String,
    /// Whether every raw lot that joined must have passed it afterwards.
    pub on_every_path: bool,
}

/// A check of a version, ready to judge by.
#[derive(Clone, Debug)]
pub struct Check {
    /// Its code: CCP-1.
    pub code: String,
    /// What it asks for, in words.
    pub title: String,
    /// What it is for.
    pub class: Class,
    /// How single findings settle it.
    pub kind: Kind,
    /// Its step, by its place in the plan's steps; none: one that the plan does not know.
    pub step: Option<usize>,
    /// What is at stake.
    pub hazard: String,
    /// What may become of product that failed it.
    pub dispositions: Vec<String>,
    /// The limit; without bounds where a challenge or a cooling option settles it.
    pub limit: Limit,
    /// The cooling option by which a chill is judged: cooling_option_1; empty: by the limit.
    pub cooling: String,
    /// The edition of the cooling options: 1999 or 2021; empty where none is named.
    pub edition: String,
    /// Attain: how often somebody must look, in seconds.
    pub every_s: Option<i64>,
    /// Attain: how old the last finding that met it may be when the product ships, in seconds.
    pub fresh_for_s: Option<i64>,
    /// Bracket: what is challenged.
    pub device: String,
    /// What the limit rests on.
    pub source: String,
}

impl Check {
    /// True for a critical control point.
    pub fn is_ccp(&self) -> bool {
        self.class == Class::Ccp
    }

    /// The class as the plan writes it.
    pub fn class_word(&self) -> &'static str {
        match self.class {
            Class::Ccp => "ccp",
            Class::Programme { .. } => "programme",
            Class::Quality => "quality",
        }
    }
}

/// A version of a plan, which never changes.
#[derive(Clone, Debug)]
pub struct PlanVersion {
    /// The plan.
    pub plan: Uuid,
    /// The version.
    pub version: i32,
    /// Its name.
    pub name: String,
    /// Which lots are bound to it.
    pub binds: String,
    /// Its steps in their order.
    pub steps: Vec<Step>,
    /// Its checks.
    pub checks: Vec<Check>,
    /// Packaging, which no step needs to follow.
    pub is_packaging: bool,
    /// The diameter of the product, in millimetres.
    pub diameter_mm: Option<Exact>,
    /// Whether it is cured, as the cooling options ask; none: not said.
    pub cured: Option<bool>,
    /// The ingoing nitrite of its formula.
    pub ingoing_nitrite_ppm: Option<Exact>,
    /// Of which species it is; empty: not said.
    pub species: Vec<String>,
    /// Whether who signs the review must not have recorded anything that it reviews.
    pub reviewer_must_differ: bool,
}

impl PlanVersion {
    /// Reads a row. A row that was approved can be judged by; anything else is our fault.
    pub fn of(row: &PlanRow) -> Result<Self, Failure> {
        let content = content(&row.content)?;
        let broken = || Failure::internal(format!("haccp.plan {} {}", row.id, row.version));
        version((row.id, row.version), content).ok_or_else(broken)
    }

    /// The check of a code.
    pub fn check(&self, code: &str) -> Option<&Check> {
        self.checks.iter().find(|check| check.code == code)
    }

    /// The step of a check; none where the plan does not know it.
    pub fn step_of(&self, check: &Check) -> Option<&Step> {
        self.steps.get(check.step?)
    }

    /// Whether only the release of such a check frees what joined after its step: the step is asked
    /// on every path, none of its checks gates, and this one may be released.
    pub fn frees_its_step(&self, check: &Check) -> bool {
        let mut of_step = self.checks.iter().filter(|one| one.step == check.step);
        self.step_of(check).is_some_and(|step| step.on_every_path)
            && !of_step.any(|one| one.class.gates())
            && check.dispositions.iter().any(|word| word == "release_with_support")
    }

    /// True when its demand is whole: it has steps, and each check belongs to one of them. By any
    /// other version nothing is ever clear.
    pub fn is_whole(&self) -> bool {
        let known = |check: &Check| self.step_of(check).is_some();
        !self.steps.is_empty() && self.checks.iter().all(known)
    }
}

pub(in crate::shape) fn version(
    (plan, version): (Uuid, i32),
    content: v1::PlanContent,
) -> Option<PlanVersion> {
    let number = |text: Option<String>| text.map(|text| text.parse::<Exact>()).transpose().ok();
    let steps = steps(&content);
    let checks = content.checks.into_iter().map(|given| check(given, &steps));
    Some(PlanVersion {
        plan,
        version,
        name: content.name,
        binds: content.binds,
        checks: checks.collect::<Option<Vec<_>>>()?,
        steps,
        is_packaging: content.packaging,
        diameter_mm: number(content.diameter_mm)?,
        cured: content.cured,
        ingoing_nitrite_ppm: number(content.ingoing_nitrite_ppm)?,
        species: content.species,
        reviewer_must_differ: content.reviewer_must_differ,
    })
}

/// The kind of lot of a word.
pub fn lot_kind(word: &str) -> Option<LotKind> {
    Some(match word {
        "received" => LotKind::Received,
        "kit" => LotKind::Kit,
        "batch" => LotKind::Batch,
        "rack" => LotKind::Rack,
        "finished" => LotKind::Finished,
        "rework" => LotKind::Rework,
        "opening_stock" => LotKind::OpeningStock,
        _ => return None,
    })
}

fn steps(content: &v1::PlanContent) -> Vec<Step> {
    if content.route.is_empty() {
        let on = lot_kind(&content.binds);
        let one =
            |on| Step { code: String::new(), on, operation: String::new(), on_every_path: false };
        return on.map(one).into_iter().collect();
    }
    let step = |step: &v1::RouteStep| {
        Some(Step {
            code: step.code.clone(),
            on: lot_kind(&step.on)?,
            operation: step.operation.clone(),
            on_every_path: step.on_every_path.unwrap_or(true),
        })
    };
    content.route.iter().filter_map(step).collect()
}

/// The content of a plan as it is stored.
pub fn content(bytes: &[u8]) -> Result<v1::PlanContent, Failure> {
    v1::PlanContent::decode(bytes).map_err(Failure::internal)
}

fn check(check: v1::PlanCheck, steps: &[Step]) -> Option<Check> {
    let bound = |text: Option<String>| text.map(|text| text.parse::<Exact>()).transpose().ok();
    // A bracket check has no limit, and so no unit: nothing is ever compared with it.
    let unit = match check.kind.as_str() {
        "bracket" => Unit::from_code(&check.unit).unwrap_or(Unit::Gram),
        _ => Unit::from_code(&check.unit)?,
    };
    let limit = Limit { unit, at_least: bound(check.at_least)?, at_most: bound(check.at_most)? };
    let is_limit = matches!(check.judged_by.as_str(), "" | "limit");
    Some(Check {
        code: check.code,
        title: check.title,
        class: match check.class.as_str() {
            "ccp" => Class::Ccp,
            "programme" => Class::Programme { gates: check.gates.unwrap_or(false) },
            _ => Class::Quality,
        },
        kind: match check.kind.as_str() {
            "attain" => Kind::Attain,
            "bracket" => Kind::Bracket,
            _ => Kind::Each,
        },
        // Where there is no route the one step has no code, and checks name none.
        step: steps.iter().position(|step| step.code == check.step),
        hazard: check.hazard,
        dispositions: check.dispositions,
        limit,
        cooling: if is_limit { String::new() } else { check.judged_by },
        edition: check.edition,
        every_s: check.every_s.map(i64::from),
        fresh_for_s: check.fresh_for_s.map(i64::from),
        device: check.device,
        source: check.source,
    })
}

/// The form of an approval's entry: the first one had neither route nor what goes with it, and
/// stays the form of a plan that says nothing of these.
pub fn form(content: &v1::PlanContent) -> &'static str {
    let is_plain = |check: &v1::PlanCheck| {
        let words = [&check.step, &check.hazard_kind, &check.judged_by, &check.edition];
        words.iter().all(|word| word.is_empty())
            && check.device.is_empty()
            && check.every_s.or(check.fresh_for_s).is_none()
    };
    let is_first = content.route.is_empty()
        && content.process_category.is_empty()
        && !(content.packaging || content.reviewer_must_differ)
        && content.diameter_mm.is_none()
        && content.cured.is_none()
        && content.ingoing_nitrite_ppm.is_none()
        && content.species.is_empty()
        && content.checks.iter().all(is_plain);
    if is_first { "haccp.plan/1" } else { "haccp.plan/2" }
}

/// The entry of an approval: the whole content, and the signature.
pub fn entry(row: &PlanRow, content: &v1::PlanContent, ticket: &Ticket) -> Value {
    let is_first = form(content) == "haccp.plan/1";
    let checks = content.checks.iter().map(|check| check_entry(check, is_first));
    let mut entry = json!({
        "plan": row.id.to_string(),
        "version": row.version,
        "name": content.name,
        "binds": content.binds,
        "checks": checks.collect::<Vec<_>>(),
        "signature": ticket.entry(),
    });
    if !is_first {
        entry["process_category"] = json!(content.process_category);
        entry["route"] = content.route.iter().map(step_entry).collect();
        entry["packaging"] = json!(content.packaging);
        entry["diameter_mm"] = json!(content.diameter_mm);
        entry["cured"] = json!(content.cured);
        entry["ingoing_nitrite_ppm"] = json!(content.ingoing_nitrite_ppm);
        entry["species"] = json!(content.species);
        entry["reviewer_must_differ"] = json!(content.reviewer_must_differ);
    }
    entry
}

fn step_entry(step: &v1::RouteStep) -> Value {
    json!({
        "code": step.code, "title": step.title, "on": step.on, "operation": step.operation,
        "on_every_path": step.on_every_path.unwrap_or(true),
    })
}

fn check_entry(check: &v1::PlanCheck, is_first: bool) -> Value {
    let mut entry = json!({
        "code": check.code, "title": check.title, "class": check.class, "kind": check.kind,
        "hazard": check.hazard, "dispositions": check.dispositions, "unit": check.unit,
        "at_least": check.at_least, "at_most": check.at_most, "gates": check.gates,
        "source": check.source,
    });
    if !is_first {
        entry["hazard_kind"] = json!(check.hazard_kind);
        entry["step"] = json!(check.step);
        entry["judged_by"] = json!(check.judged_by);
        entry["edition"] = json!(check.edition);
        entry["every_s"] = json!(check.every_s);
        entry["fresh_for_s"] = json!(check.fresh_for_s);
        entry["device"] = json!(check.device);
    }
    entry
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
