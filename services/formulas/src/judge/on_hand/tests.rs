//! Checks how a line is filled from lots, and what of a lot would be stopped at the scan.
//! They never ask a database.

use domain::units::Unit;

use super::*;
use crate::book::{Kind, Revision, Specification};

fn pounds(value: &str) -> Quantity {
    Quantity::new(value.parse().expect("a number"), Unit::Pound)
}

fn lot(number: u128, mass: Quantity) -> OnHand {
    OnHand {
        lot: Uuid::from_u128(number),
        code: format!("SB-{number}"),
        kind: "received".into(),
        material: "Spice blend No. 1".into(),
        mass,
        made_at: Timestamp::UNIX_EPOCH,
        use_by: String::new(),
        forbidden_by: Vec::new(),
    }
}

fn filled(target: &str, lots: &[(OnHand, &[&str])]) -> Vec<String> {
    let lots =
        lots.iter().map(|(lot, why)| (lot, why.iter().map(|one| (*one).to_owned()).collect()));
    let filled = fill(&pounds(target), lots.collect());
    let say = |one: &Suggested<'_>| match &one.take {
        Some(take) => format!("{}: {take}", one.lot.code),
        None => format!("{}: nothing", one.lot.code),
    };
    let mut said: Vec<_> = filled.lots.iter().map(say).collect();
    said.extend(filled.missing.map(|missing| format!("missing: {missing}")));
    said
}

#[test]
fn a_line_takes_the_oldest_whole_and_the_rest_of_the_next() {
    let lots = [
        (lot(70, pounds("40")), &[][..]),
        (lot(71, pounds("100")), &[][..]),
        (lot(72, pounds("5")), &[][..]),
    ];
    let said = filled("55.5", &lots);
    assert_eq!(said, ["SB-70: 40 [lb_av]", "SB-71: 15.5 [lb_av]", "SB-72: nothing"]);
    assert_eq!(filled("145", &lots).last().expect("a lot"), "SB-72: 5 [lb_av]");
    assert_eq!(filled("145.001", &lots).last().expect("it"), "missing: 0.001 [lb_av]");
    assert_eq!(filled("8", &[]), ["missing: 8 [lb_av]"]);
}

#[test]
fn what_may_not_be_used_fills_nothing_and_stands_last() {
    let held = &["It is on hold."][..];
    let younger = OnHand { made_at: Timestamp::MAX, ..lot(9, pounds("1")) };
    let lots = [
        (lot(100, pounds("1")), held),
        (younger, held),
        (lot(70, pounds("40")), held),
        (lot(71, pounds("5")), &[][..]),
    ];
    let last = ["SB-70: nothing", "SB-100: nothing", "SB-9: nothing", "missing: 3 [lb_av]"];
    assert_eq!(filled("8", &lots), [&["SB-71: 5 [lb_av]"][..], &last].concat());
}

#[test]
fn a_mass_without_an_end_is_cut_and_what_is_missing_is_not() {
    // 1 kg is 2.20462262184877... lb, by the pound of 0.45359237 kg (NIST Handbook 44, appendix C).
    let kilo = Quantity::new(Exact::one(), Unit::Kilogram);
    let said = filled("8", &[(lot(70, kilo.clone()), &[])]);
    assert_eq!(said, ["SB-70: 2.204622621 [lb_av]", "missing: 5.795377379 [lb_av]"]);
    assert_eq!(cut(&kilo).value, Exact::one());
}

fn specification(of: Option<u128>, allergens: &[&'static str]) -> Specification {
    Specification {
        version: 1,
        lot: of.map(Uuid::from_u128),
        in_force_from: Timestamp::UNIX_EPOCH,
        pct: Default::default(),
        allergens: allergens.to_vec(),
        agents: Vec::new(),
        statement: if allergens.is_empty() { "salt" } else { "salt, soy flour" }.into(),
    }
}

#[test]
fn a_lot_is_held_against_the_label_by_its_own_specification() {
    let blend = Material {
        id: Uuid::from_u128(1),
        name: "Spice blend No. 1".into(),
        kind: Kind::Other,
        kind_word: "other".into(),
        in_use: true,
        specifications: vec![specification(None, &[]), specification(Some(71), &["soy"])],
    };
    let revision = Revision {
        version: 1,
        item: "No. 1 Rope".into(),
        revision: "3".into(),
        statement: "Pork, salt.".into(),
        allergens: Vec::new(),
        from: Timestamp::UNIX_EPOCH,
        to: None,
    };
    let label = Label { records: vec![revision] };
    let stopped = |number: u128, kind: &str| {
        let lot = (Uuid::from_u128(number), "SB", kind);
        stopped_by(&blend, lot, Some(&label), Timestamp::UNIX_EPOCH)
    };
    assert_eq!(stopped(70, "received"), [""; 0]);
    let soy = "SB brings soy, which the label in force does not declare.";
    let entry = "SB brings \"soy flour\", of which the label in force has no entry.";
    assert_eq!(stopped(71, "received"), [soy, entry]);
    assert_eq!(stopped(71, "rework"), [""; 0], "what went into it is judged at the scan");
    let none = Material { specifications: Vec::new(), ..blend };
    let stopped = stopped_by(
        &none,
        (Uuid::from_u128(70), "SB", "received"),
        Some(&label),
        Timestamp::UNIX_EPOCH,
    );
    assert_eq!(stopped, ["SB: Spice blend No. 1 has no specification in force."]);
}

#[test]
fn lots_are_found_by_name_or_id_and_kits_are_none() {
    let blend = Material {
        id: Uuid::from_u128(1),
        name: "Spice blend No. 1".into(),
        kind: Kind::Other,
        kind_word: "other".into(),
        in_use: true,
        specifications: Vec::new(),
    };
    let named = |number, material: &str| OnHand {
        material: material.to_owned(),
        ..lot(number, pounds("1"))
    };
    let kit = OnHand { kind: "kit".into(), ..named(4, "Spice blend No. 1") };
    let by_id = named(2, "00000000-0000-0000-0000-000000000001");
    let lots = vec![named(1, "SPICE blend No. 1"), by_id, named(3, "Spice blend"), kit];
    let shelf = Shelf::Known { lots, more: vec!["spice blend no. 1".into()] };
    let found: Vec<_> = shelf.of(&blend).map(|lot| lot.code.as_str()).collect();
    assert_eq!(found, ["SB-1", "SB-2"]);
    assert!(shelf.has_more_of(&blend));
    assert!(!Shelf::Away.has_more_of(&blend));
}
