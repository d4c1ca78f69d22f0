//! Plans of an invented plant: what is received, kits, two products of which one has two versions.
//! It never makes a plan that approval would refuse.

use domain::haccp::gate::question::{Check, Class, Kind, LotKind, Plan, Step};

use super::random::Rng;

/// Of received goods.
pub const RECEIVED: usize = 0;
/// Of packaging.
pub const PACKAGING: usize = 1;
/// Of kits.
pub const KIT: usize = 2;
/// The first version of the first product.
pub const FIRST: usize = 3;
/// Its second version.
pub const SECOND: usize = 4;
/// The other product.
pub const OTHER: usize = 5;
/// Of opening stock.
pub const STOCK: usize = 6;

/// How long a reading at loading is fresh.
pub const FRESH: i64 = 60;

/// All plans, each at the place that its name above says.
pub fn plans(rng: &mut Rng) -> Vec<Plan> {
    let mut first = product(rng, 3, "Rope");
    let mut second = first.clone();
    "Rope 2".clone_into(&mut second.name);
    if rng.chance(40) {
        let step = place(&second, "CHILL");
        second.checks.push(check("CCP-5", step, Class::Ccp, Kind::Each));
    }
    if rng.chance(30) {
        first.checks[0].class = Class::Quality;
    }
    let other = product(rng, 4, "Ring");
    let gates = Class::Programme { gates: rng.chance(70) };
    vec![
        single(0, "Receiving", LotKind::Received, check("TEMP", 0, Class::Ccp, Kind::Each)),
        packaging(rng),
        single(2, "Kits", LotKind::Kit, check("WEIGHT", 0, gates, Kind::Each)),
        first,
        second,
        other,
        single(5, "Stock", LotKind::OpeningStock, check("SIGNED", 0, Class::Ccp, Kind::Attain)),
    ]
}

fn packaging(rng: &mut Rng) -> Plan {
    let gates = Class::Programme { gates: rng.chance(50) };
    let looked_at = check("LOOK", 0, gates, Kind::Each);
    Plan { is_packaging: true, ..single(1, "Packaging", LotKind::Received, looked_at) }
}

fn single(identity: usize, name: &str, on: LotKind, check: Check) -> Plan {
    let step = Step { code: "ALL".to_owned(), on, on_every_path: true, is_lethal: false };
    Plan {
        identity,
        name: name.to_owned(),
        steps: vec![step],
        checks: vec![check],
        is_packaging: false,
    }
}

fn check(code: &str, step: usize, class: Class, kind: Kind) -> Check {
    Check {
        code: code.to_owned(),
        title: code.to_lowercase(),
        step,
        class,
        kind,
        device: String::new(),
        fresh_for_us: None,
    }
}

fn place(plan: &Plan, code: &str) -> usize {
    plan.steps.iter().position(|step| step.code == code).expect("a step of the product")
}

fn product(rng: &mut Rng, identity: usize, name: &str) -> Plan {
    let mut plan = Plan {
        identity,
        name: name.to_owned(),
        steps: Vec::new(),
        checks: Vec::new(),
        is_packaging: false,
    };
    let mut step = |code: &str, on: LotKind, on_every_path: bool, is_lethal: bool| {
        plan.steps.push(Step { code: code.to_owned(), on, on_every_path, is_lethal });
    };
    step("MIX", LotKind::Batch, rng.chance(60), false);
    step("COOK", LotKind::Rack, true, true);
    step("CHILL", LotKind::Rack, true, false);
    step("KEEP", LotKind::Rework, false, false);
    step("PACK", LotKind::Finished, rng.chance(80), false);
    step("LOAD", LotKind::Finished, true, false);
    let programme = Class::Programme { gates: true };
    let mixed = if rng.chance(50) { Class::Ccp } else { Class::Programme { gates: false } };
    plan.checks.push(check("MIX-T", 0, mixed, Kind::Each));
    plan.checks.push(check("CCP-1", 1, Class::Ccp, Kind::Attain));
    plan.checks.push(check("LOOK-1", 1, programme, Kind::Attain));
    plan.checks.push(check("CCP-2", 2, Class::Ccp, rng.pick(&[Kind::Attain, Kind::Each])));
    plan.checks.push(check("KEEP-T", 3, programme, Kind::Each));
    plan.checks.push(check("SEAL", 4, Class::Quality, Kind::Each));
    let detector = check("CCP-3", 4, Class::Ccp, Kind::Bracket);
    plan.checks.push(Check { device: "metal_detector".to_owned(), ..detector });
    if rng.chance(40) {
        let film = check("FILM", 4, programme, Kind::Bracket);
        plan.checks.push(Check { device: "film".to_owned(), ..film });
    }
    if rng.chance(60) {
        let loaded = check("LOAD-T", 5, Class::Ccp, Kind::Attain);
        plan.checks.push(Check { fresh_for_us: Some(FRESH), ..loaded });
    }
    plan
}
