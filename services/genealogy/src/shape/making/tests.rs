//! Checks that the messages of making lots are read and written exactly as they were meant.
//! It never asks a database.

use super::*;

fn quantity(value: &str) -> Option<v1::Quantity> {
    Some(v1::Quantity { value: Some(value.into()), unit: "kg".into() })
}

fn input(lot: u128, value: &str) -> v1::Input {
    let lot = Uuid::from_u128(lot).to_string();
    v1::Input { lot, mass: quantity(value), contents: Vec::new() }
}

fn output(lot: &str, plan: &str) -> v1::Output {
    v1::Output {
        lot: lot.into(),
        kind: "batch".into(),
        material: "No. 1 Rope".into(),
        mass: quantity("1"),
        plan: plan.into(),
        use_by: "2026-12-01".into(),
        run: String::new(),
    }
}

const LOT: &str = "01997000-0000-7000-8000-000000000001";
const PLAN: &str = "01997000-0000-7000-8000-000000000002";

fn fields(faults: Faults) -> Vec<String> {
    faults.into_vec().into_iter().map(|fault| fault.field).collect()
}

#[test]
fn a_command_names_a_plan_for_each_lot_and_a_fact_need_not() {
    let read = |happened| {
        let mut faults = Faults::new();
        let wanted = outputs_in(&[output(LOT, PLAN), output(LOT, "")], happened, &mut faults);
        (wanted.len(), fields(faults))
    };
    assert_eq!(read(false), (2, vec!["outputs[1].plan".to_owned()]));
    assert_eq!(read(true), (2, Vec::new()));
}

#[test]
fn a_lot_stands_once_and_is_not_made_of_itself() {
    let lot: Uuid = LOT.parse().expect("an id");
    let mut faults = Faults::new();
    let mut uses = uses_in(&[input(5, "1"), input(5, "2")], &mut faults);
    uses.push(Use { lot, mass: uses[0].mass.clone() });
    let wanted = outputs_in(&[output(LOT, PLAN)], false, &mut faults);
    refuse_twice(&uses, &wanted, &mut faults);
    assert_eq!(fields(faults), ["inputs[1].lot", "outputs[0].lot"]);
}

#[test]
fn every_fault_of_a_list_names_its_place() {
    let mut faults = Faults::new();
    uses_in(&[input(5, "0"), v1::Input { lot: "x".into(), ..Default::default() }], &mut faults);
    let added = [v1::Addition { name: "Ice".into(), mass: quantity("-1") }];
    additions_in(&added, &mut faults);
    let found = fields(faults);
    let expected =
        ["inputs[0].mass.value", "inputs[1].lot", "inputs[1].mass", "additions[0].mass.value"];
    assert_eq!(found, expected);
}

#[test]
fn additions_keep_their_digits_and_have_exact_grams() {
    let mut faults = Faults::new();
    let added =
        additions_in(&[v1::Addition { name: "Ice".into(), mass: quantity("1.50") }], &mut faults);
    let stored = additions_entry(&added);
    let expected = json!([{ "name": "Ice", "value": "1.50", "unit": "kg", "g": "1500" }]);
    assert_eq!(stored[0]["value"], expected[0]["value"]);
    assert_eq!(additions_g(&stored), BigDecimal::from(1500));
    let out = additions_out(&stored);
    let mass = out[0].mass.as_ref().expect("a mass");
    assert_eq!((out[0].name.as_str(), mass.value.as_deref()), ("Ice", Some("1.50")));
}
