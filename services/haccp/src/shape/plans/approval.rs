//! What a plan must say before it can be approved, as a whole: each reason at once.
//! It never says whether a limit is right: that is for the plant and its process authority.

use std::collections::BTreeSet;

use platform::error::{Failure, Reason};
use uuid::Uuid;
use wire::v1;

/// Hazards that neither cooking again nor a later lethal step answers.
const NOT_COOKED_AWAY: [&str; 5] = ["metal", "foreign_material", "allergen", "toxin", "chemical"];

/// Refused: a plan that could not be judged by, with every reason.
pub fn check(plan: Uuid, content: &v1::PlanContent) -> Result<(), Failure> {
    let mut faults = Vec::new();
    route(content, &mut faults);
    for given in &content.checks {
        let mut add = |code, message: String| faults.push((code, Some(given), message));
        place(content, given, &mut add);
        kind(content, given, &mut add);
        limit(given, &mut add);
        dispositions(given, &mut add);
    }
    if faults.is_empty() {
        return Ok(());
    }
    let reason = |(code, check, message): (&'static str, Option<&v1::PlanCheck>, String)| Reason {
        code,
        subject: match check {
            Some(check) => format!("check {}", check.code),
            None => format!("plan:{plan}"),
        },
        message,
        who: "QA".into(),
        way_on: format!("Mend the draft by PUT /v1/plans/{plan}/draft, then approve it."),
    };
    Err(Failure::refused(faults.into_iter().map(reason).collect()))
}

type Found<'p> = Vec<(&'static str, Option<&'p v1::PlanCheck>, String)>;

fn route<'p>(content: &'p v1::PlanContent, faults: &mut Found<'p>) {
    let mut add = |code, message: String| faults.push((code, None, message));
    let is_product = content.binds == "product";
    if is_product && content.route.is_empty() {
        add("ROUTE_MISSING", "A plan of a product says the steps of its route.".into());
    }
    if is_product && content.process_category.is_empty() {
        let text = "A plan of a product names its processing category (9 CFR 417.2(b)(1)).";
        add("PROCESS_CATEGORY_MISSING", text.into());
    }
    if !is_product && !content.route.is_empty() {
        add("ROUTE_NOT_ALLOWED", "Only a plan of a product has a route.".into());
    }
    let mut codes = BTreeSet::new();
    for step in &content.route {
        if !codes.insert(step.code.as_str()) {
            add("STEP_TWICE", format!("The step {} stands twice in the route.", step.code));
        }
        if !content.checks.iter().any(|check| check.step == step.code) {
            let text = format!("The step {} has no check: it could never be shown.", step.code);
            add("STEP_WITHOUT_CHECK", text);
        }
    }
}

type Add<'a> = &'a mut dyn FnMut(&'static str, String);

/// The step to which a check belongs.
fn place(content: &v1::PlanContent, check: &v1::PlanCheck, add: Add<'_>) {
    let is_known = content.route.iter().any(|step| step.code == check.step);
    match content.route.is_empty() {
        true if !check.step.is_empty() => {
            add("STEP_UNKNOWN", format!("There is no route, and so no step {}.", check.step));
        }
        false if !is_known => {
            let text = match check.step.is_empty() {
                true => "It names no step of the route.".to_owned(),
                false => format!("The route has no step {}.", check.step),
            };
            add("STEP_UNKNOWN", text);
        }
        _ => {}
    }
}

/// What belongs to one kind of check alone.
fn kind(content: &v1::PlanContent, check: &v1::PlanCheck, add: Add<'_>) {
    if check.kind == "bracket" {
        if check.device.is_empty() {
            add("DEVICE_MISSING", "A challenge needs what is challenged.".into());
        }
        let step = content.route.iter().find(|step| step.code == check.step);
        let on = step.map_or(content.binds.as_str(), |step| step.on.as_str());
        if on != "finished" {
            let text = "Only cases are proved by challenges: its step must be on finished lots.";
            add("BRACKET_NOT_ON_FINISHED", text.into());
        }
    }
    let is_timed = check.every_s.is_some() || check.fresh_for_s.is_some();
    if is_timed && check.kind != "attain" {
        let text = "Only a limit to attain says how often to look and how fresh it must be.";
        add("TIME_NOT_ALLOWED", text.into());
    }
}

fn limit(check: &v1::PlanCheck, add: Add<'_>) {
    let has_bound = check.at_least.is_some() || check.at_most.is_some();
    let is_limit = matches!(check.judged_by.as_str(), "" | "limit");
    if check.kind == "bracket" {
        return;
    }
    if is_limit && !has_bound {
        add("LIMIT_MISSING", "It has neither at_least nor at_most.".into());
    }
    if !is_limit && has_bound {
        let text = "A cooling option has its own limits: leave at_least and at_most out.";
        add("LIMIT_NOT_ALLOWED", text.into());
    }
}

fn dispositions(check: &v1::PlanCheck, add: Add<'_>) {
    let cooked = |word: &&String| matches!(word.as_str(), "recook" | "rework_with_lethal_step");
    let Some(word) = check.dispositions.iter().find(cooked) else { return };
    if check.hazard_kind.is_empty() {
        let text = format!("{word} is allowed only where the kind of hazard is named.");
        add("HAZARD_KIND_MISSING", text);
    } else if NOT_COOKED_AWAY.contains(&check.hazard_kind.as_str()) {
        let text = format!("No heat answers {}: {word} is not allowed.", check.hazard_kind);
        add("DISPOSITION_DOES_NOT_ANSWER", text);
    }
}

#[cfg(test)]
mod tests;
