//! Between the messages of drafts and their rows.
//! It never asks the database.

use std::collections::BTreeSet;

use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::Unit;
use jiff_diesel::ToDiesel as _;
use platform::caller::Call;
use platform::error::Failure;
use platform::shape;
use prost::Message;
use wire::v1;

use crate::store::drafts::DraftRow;

/// Reads a draft; checks that each check can be judged.
pub fn draft_in(call: &Call, request: v1::PutPlanDraftRequest) -> Result<DraftRow, Failure> {
    let mut faults = Faults::new();
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let content = request.content.unwrap_or_default();
    faults.take_from("content", content_faults(&content));
    let plan = faults.into_result(plan)?;
    let person = call.person()?;
    Ok(DraftRow {
        plan,
        version: 0,
        content: content.encode_to_vec(),
        edited_by: person.id.to_string(),
        edited_by_name: person.name.clone(),
        edited_at: call.received_at.to_diesel(),
    })
}

/// What is wrong with a plan as a whole: codes that stand twice, limits that cannot be met.
fn content_faults(content: &v1::PlanContent) -> Faults {
    let mut faults = Faults::new();
    let mut codes = BTreeSet::new();
    for (at, check) in content.checks.iter().enumerate() {
        let field = |name: &str| format!("checks[{at}].{name}");
        if !codes.insert(check.code.as_str()) {
            faults.add_value(field("code"), &check.code, "must stand once in a plan");
        }
        let has_unit = check.kind != "bracket" || !check.unit.is_empty();
        if has_unit && Unit::from_code(&check.unit).is_none() {
            let allowed = format!("must be one of: {}", Unit::all_codes());
            faults.add_value(field("unit"), &check.unit, allowed);
        }
        if check.class == "ccp" && check.hazard.is_empty() {
            faults.add(field("hazard"), "is needed on a ccp");
        }
        let bound = |text: &Option<String>| text.as_deref().and_then(|t| t.parse::<Exact>().ok());
        match (bound(&check.at_least), bound(&check.at_most)) {
            (None, None) if is_limit(check) => {
                faults.add(field("at_least"), "at_least or at_most is needed");
            }
            (Some(least), Some(most)) if least > most => {
                faults.add_value(field("at_most"), most, "must not be below at_least");
            }
            _ => {}
        }
    }
    faults
}

/// Whether it is single values that settle it: no challenge, no cooling option.
fn is_limit(check: &v1::PlanCheck) -> bool {
    check.kind != "bracket" && matches!(check.judged_by.as_str(), "" | "limit")
}

/// A draft as a message.
pub fn draft_out(row: DraftRow) -> Result<v1::PlanDraft, Failure> {
    let content = v1::PlanContent::decode(row.content.as_slice()).map_err(Failure::internal)?;
    Ok(v1::PlanDraft {
        plan: row.plan.to_string(),
        version: row.version,
        content: Some(content),
        edited_by_name: row.edited_by_name,
        edited_at: row.edited_at.to_jiff().to_string(),
    })
}
