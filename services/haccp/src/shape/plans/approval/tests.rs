//! What is refused at an approval, reason by reason.
//! It never asks the database.

use super::*;

fn step(code: &str, on: &str, operation: &str) -> v1::RouteStep {
    v1::RouteStep {
        code: code.into(),
        title: code.into(),
        on: on.into(),
        operation: operation.into(),
        on_every_path: None,
    }
}

fn cook() -> v1::PlanCheck {
    v1::PlanCheck {
        code: "CCP-1".into(),
        title: "Core at the end of the cook".into(),
        class: "ccp".into(),
        kind: "attain".into(),
        hazard: "Salmonella".into(),
        hazard_kind: "pathogen".into(),
        dispositions: vec!["recook".into(), "destroy".into()],
        unit: "[degF]".into(),
        at_least: Some("155".into()),
        step: "COOK".into(),
        every_s: Some(1800),
        ..v1::PlanCheck::default()
    }
}

fn metal() -> v1::PlanCheck {
    v1::PlanCheck {
        code: "CCP-2".into(),
        kind: "bracket".into(),
        hazard: "metal".into(),
        hazard_kind: "metal".into(),
        dispositions: vec!["destroy".into()],
        unit: "mm".into(),
        at_least: None,
        step: "PACK".into(),
        every_s: None,
        device: "metal_detector".into(),
        ..cook()
    }
}

fn product() -> v1::PlanContent {
    v1::PlanContent {
        name: "No. 1 Rope".into(),
        binds: "product".into(),
        process_category: "fully_cooked_not_shelf_stable".into(),
        route: vec![step("COOK", "rack", "cook"), step("PACK", "finished", "pack")],
        checks: vec![cook(), metal()],
        ..v1::PlanContent::default()
    }
}

/// The codes of the reasons for which a plan is refused, after a change of a good one.
fn refused(change: impl FnOnce(&mut v1::PlanContent)) -> Vec<&'static str> {
    let mut content = product();
    change(&mut content);
    match check(Uuid::nil(), &content) {
        Ok(()) => Vec::new(),
        Err(failure) => failure.reasons.iter().map(|reason| reason.code).collect(),
    }
}

#[test]
fn a_good_plan_is_approved_and_so_is_one_without_a_route() {
    assert!(refused(|_| ()).is_empty());
    assert!(check(Uuid::nil(), &receiving()).is_ok());
}

fn receiving() -> v1::PlanContent {
    let at_dock = v1::PlanCheck {
        kind: "each".into(),
        step: String::new(),
        every_s: None,
        hazard_kind: String::new(),
        dispositions: vec!["destroy".into()],
        ..cook()
    };
    v1::PlanContent {
        binds: "received".into(),
        checks: vec![at_dock],
        ..v1::PlanContent::default()
    }
}

#[test]
fn a_product_needs_its_route_its_category_and_a_check_on_each_step() {
    let codes = refused(|plan| {
        plan.route.clear();
        plan.process_category.clear();
    });
    let missing = ["ROUTE_MISSING", "PROCESS_CATEGORY_MISSING"];
    let nowhere = ["STEP_UNKNOWN", "STEP_UNKNOWN", "BRACKET_NOT_ON_FINISHED"];
    assert_eq!(codes, [missing.as_slice(), &nowhere].concat());
    assert_eq!(
        refused(|plan| plan.route.push(step("PEEL", "rack", "peel"))),
        ["STEP_WITHOUT_CHECK"]
    );
    assert_eq!(refused(|plan| plan.checks[0].step.clear()), ["STEP_WITHOUT_CHECK", "STEP_UNKNOWN"]);
}

#[test]
fn a_challenge_needs_its_device_and_finished_lots() {
    assert_eq!(refused(|plan| plan.checks[1].device.clear()), ["DEVICE_MISSING"]);
    assert_eq!(refused(|plan| plan.route[1].on = "rack".into()), ["BRACKET_NOT_ON_FINISHED"]);
}

#[test]
fn only_attain_has_times_and_only_a_limit_has_bounds() {
    assert_eq!(refused(|plan| plan.checks[0].kind = "each".into()), ["TIME_NOT_ALLOWED"]);
    assert_eq!(refused(|plan| plan.checks[0].at_least = None), ["LIMIT_MISSING"]);
    let cooling = |plan: &mut v1::PlanContent| plan.checks[0].judged_by = "cooling_option_1".into();
    assert_eq!(refused(cooling), ["LIMIT_NOT_ALLOWED"]);
}

#[test]
fn heat_never_answers_what_it_cannot_destroy() {
    for kind in NOT_COOKED_AWAY {
        let codes = refused(|plan| plan.checks[0].hazard_kind = kind.into());
        assert_eq!(codes, ["DISPOSITION_DOES_NOT_ANSWER"], "{kind}");
    }
    assert_eq!(refused(|plan| plan.checks[0].hazard_kind.clear()), ["HAZARD_KIND_MISSING"]);
}
