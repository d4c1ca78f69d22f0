//! The plans of the histories: for the model as it judges them, for the program as people write.
//! It never writes a limit twice: both come of the same lines.

use domain::haccp::gate::question::{Check, Class, Kind, LotKind, Plan, Step};
use serde_json::{Value, json};

use super::random::Rng;

pub const RECEIVED: usize = 0;
pub const STOCK: usize = 1;
pub const PRODUCT: usize = 2;

/// How long a reading at loading is fresh, in seconds.
pub const FRESH_S: i64 = 3600;
/// The code of the check that must be at least something; all others are at most.
const COOK: &str = "CCP-1";

/// What a reading shows that is met or not.
pub fn value(check: &Check, is_met: bool) -> &'static str {
    match (check.code == COOK, is_met) {
        (true, true) => "160",
        (true, false) => "140",
        (false, true) => "36",
        (false, false) => "44",
    }
}

fn check(code: &str, step: usize, class: Class, kind: Kind) -> Check {
    let device = if kind == Kind::Bracket { "metal_detector" } else { "" };
    Check {
        code: code.to_owned(),
        title: code.to_lowercase(),
        step,
        class,
        kind,
        device: device.to_owned(),
        fresh_for_us: None,
    }
}

fn step(code: &str, on: LotKind, on_every_path: bool) -> Step {
    Step { code: code.to_owned(), on, on_every_path, is_lethal: code == "COOK" }
}

fn single(identity: usize, name: &str, on: LotKind, check: Check) -> Plan {
    Plan {
        identity,
        name: name.to_owned(),
        steps: vec![step("ALL", on, true)],
        checks: vec![check],
        is_packaging: false,
    }
}

pub fn received() -> Plan {
    single(RECEIVED, "Receiving", LotKind::Received, check("R-1", 0, Class::Ccp, Kind::Each))
}

pub fn stock() -> Plan {
    single(STOCK, "Stock", LotKind::OpeningStock, check("S-1", 0, Class::Ccp, Kind::Each))
}

/// A product as one history has it.
pub fn product(rng: &mut Rng) -> Plan {
    let programme = Class::Programme { gates: true };
    let mix = if rng.chance(50) { programme } else { Class::Programme { gates: false } };
    let loading = check("L-1", 4, programme, Kind::Attain);
    let loading = Check { fresh_for_us: Some(FRESH_S * 1_000_000), ..loading };
    let chill = rng.pick(&[Kind::Attain, Kind::Each]);
    Plan {
        identity: PRODUCT,
        name: "Rope".to_owned(),
        steps: vec![
            step("MIX", LotKind::Batch, rng.chance(50)),
            step("COOK", LotKind::Rack, true),
            step("CHILL", LotKind::Rack, true),
            step("PACK", LotKind::Finished, rng.chance(50)),
            step("LOAD", LotKind::Finished, rng.chance(50)),
        ],
        checks: vec![
            check("M-1", 0, mix, Kind::Each),
            check(COOK, 1, Class::Ccp, Kind::Attain),
            check("CCP-2", 2, Class::Ccp, chill),
            check("CCP-3", 3, Class::Ccp, Kind::Bracket),
            loading,
        ],
        is_packaging: false,
    }
}

/// The checks about which a deviation may be opened by hand: those that gate, and all of a step on
/// every path that has none such.
pub fn opened_by_hand(plan: &Plan) -> Vec<usize> {
    let gates = |step: usize| {
        let mut of_step = plan.checks.iter().filter(|check| check.step == step);
        of_step.any(|check| check.class.gates())
    };
    let may = |check: &Check| {
        let is_asked = plan.steps[check.step].on_every_path;
        check.class.gates() || (is_asked && !gates(check.step))
    };
    (0..plan.checks.len()).filter(|&check| may(&plan.checks[check])).collect()
}

fn kind(on: LotKind) -> &'static str {
    match on {
        LotKind::Received => "received",
        LotKind::Kit => "kit",
        LotKind::Batch => "batch",
        LotKind::Rack => "rack",
        LotKind::Finished => "finished",
        LotKind::Rework => "rework",
        LotKind::OpeningStock => "opening_stock",
    }
}

/// What it is as the program's word.
pub fn kind_word(on: LotKind) -> &'static str {
    kind(on)
}

fn check_out(plan: &Plan, check: &Check) -> Value {
    let mut dispositions = vec!["release_with_support", "destroy"];
    if check.kind != Kind::Bracket {
        dispositions.extend(["recook", "rework_with_lethal_step"]);
    }
    let class = match check.class {
        Class::Ccp => "ccp",
        Class::Programme { .. } => "programme",
        Class::Quality => "quality",
    };
    let mut said = json!({
        "code": check.code, "title": check.title, "class": class, "hazard": "Salmonella",
        "hazardKind": if check.kind == Kind::Bracket { "metal" } else { "pathogen" },
        "dispositions": dispositions, "source": "the plant's own limit",
        "kind": match check.kind {
            Kind::Attain => "attain",
            Kind::Each => "each",
            Kind::Bracket => "bracket",
        },
    });
    if let Class::Programme { gates } = check.class {
        said["gates"] = json!(gates);
    }
    if check.kind == Kind::Bracket {
        said["device"] = json!(check.device);
    } else {
        said["unit"] = json!("[degF]");
        let limit = if check.code == COOK { ("atLeast", "155") } else { ("atMost", "40") };
        said[limit.0] = json!(limit.1);
    }
    if check.fresh_for_us.is_some() {
        said["freshForS"] = json!(FRESH_S);
    }
    if plan.steps.len() > 1 {
        said["step"] = json!(plan.steps[check.step].code);
    }
    said
}

/// The content of a plan as QA drafts it.
pub fn content(plan: &Plan) -> Value {
    let checks: Vec<Value> = plan.checks.iter().map(|check| check_out(plan, check)).collect();
    if let [only] = plan.steps.as_slice() {
        return json!({ "name": plan.name, "binds": kind(only.on), "checks": checks });
    }
    let step = |step: &Step| {
        let operation = step.code.to_lowercase();
        json!({ "code": step.code, "title": step.code, "on": kind(step.on),
            "operation": operation, "onEveryPath": step.on_every_path })
    };
    json!({
        "name": plan.name, "binds": "product",
        "processCategory": "fully_cooked_not_shelf_stable", "cured": true, "species": ["pork"],
        "ingoingNitritePpm": "150", "diameterMm": "33",
        "route": plan.steps.iter().map(step).collect::<Vec<_>>(), "checks": checks,
    })
}
