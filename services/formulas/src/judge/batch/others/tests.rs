//! Checks which lots are named at a stop.
//! They never ask a database.

use std::collections::HashMap;

use domain::exact::Exact;
use domain::formula::agents::{Active, Agent, ProductClass};
use domain::formula::composition::PartKind;
use domain::units::{Quantity, Unit};
use jiff::Timestamp;

use super::super::{Judged, judge};
use super::*;
use crate::book::{Book, Kind, Label, Product, Recipe, RecipeLine, Revision, Specification};
use crate::judge::Portion;

const PORK: Uuid = Uuid::from_u128(1);
const BLEND: Uuid = Uuid::from_u128(2);
const CURE: Uuid = Uuid::from_u128(3);
const LABEL: Uuid = Uuid::from_u128(4);
const PRODUCT: Uuid = Uuid::from_u128(5);

fn pounds(value: &str) -> Quantity {
    Quantity::new(value.parse().expect("a number"), Unit::Pound)
}

fn stated(lot: Option<u128>, statement: &str) -> Specification {
    Specification {
        version: 1,
        lot: lot.map(Uuid::from_u128),
        in_force_from: Timestamp::UNIX_EPOCH,
        pct: Default::default(),
        allergens: Vec::new(),
        agents: Vec::new(),
        statement: statement.into(),
    }
}

/// What is stated of a lot that brings soy.
fn soy(lot: Option<u128>) -> Specification {
    Specification { allergens: vec!["soy"], ..stated(lot, "salt, soy flour") }
}

fn cure(lot: Option<u128>, pct: &str) -> Specification {
    let pct = pct.parse().expect("a number");
    let agents = vec![Active { agent: Agent::Nitrite, pct }];
    Specification { agents, ..stated(lot, "sodium nitrite") }
}

fn material(id: Uuid, name: &str, kind: Kind, specifications: Vec<Specification>) -> Material {
    Material {
        id,
        name: name.into(),
        kind,
        kind_word: "other".into(),
        in_use: true,
        specifications,
    }
}

/// A book in which lots 71 and 72 of the blend bring soy, and lot 22 of the cure is stronger.
fn book() -> Book {
    let blend = vec![stated(None, "salt"), soy(Some(71)), soy(Some(72))];
    let cures = vec![cure(None, "6.25"), cure(Some(22), "6.40")];
    let materials = [
        material(PORK, "Pork trim", Kind::Raw(PartKind::Meat), vec![stated(None, "pork")]),
        material(BLEND, "Spice blend", Kind::Other, blend),
        material(CURE, "Cure mix", Kind::Other, cures),
    ];
    let product = Product {
        name: "No. 1 Rope".into(),
        class: ProductClass::Comminuted,
        standard: None,
        in_use: true,
    };
    let revision = Revision {
        version: 1,
        item: "No. 1 Rope".into(),
        revision: "3".into(),
        statement: "Pork, salt, sodium nitrite.".into(),
        allergens: Vec::new(),
        from: Timestamp::UNIX_EPOCH,
        to: None,
    };
    Book {
        materials: materials.into_iter().map(|one| (one.id, one)).collect(),
        products: HashMap::from([(PRODUCT, product)]),
        labels: HashMap::from([(LABEL, Label { records: vec![revision] })]),
    }
}

fn recipe() -> Recipe {
    let line = |material, pct: &str| RecipeLine {
        material,
        pct: pct.parse().expect("a number"),
        kit: String::new(),
        division: None,
        tolerance_pct: None,
    };
    Recipe {
        name: "No. 1 Rope".into(),
        product: PRODUCT,
        label: LABEL,
        block: pounds("400"),
        block_division: None,
        block_tolerance_pct: Exact::whole(5),
        expected_yield_pct: Exact::whole(90),
        lines: vec![line(PORK, "100"), line(BLEND, "2"), line(CURE, "0.25")],
        kits: Vec::new(),
    }
}

/// A lot on hand; the number tells its age.
fn lot(number: u128, material: &str) -> OnHand {
    OnHand {
        lot: Uuid::from_u128(number),
        code: format!("L-{number}"),
        kind: "received".into(),
        material: material.into(),
        mass: pounds("150"),
        made_at: Timestamp::UNIX_EPOCH,
        use_by: String::new(),
        forbidden_by: Vec::new(),
    }
}

fn known(lots: &[OnHand]) -> Shelf {
    Shelf::Known { lots: lots.to_vec(), more: Vec::new() }
}

/// A batch of 400 lb with these lots of blend and cure.
fn judged<'b>(
    (book, recipe): (&'b Book, &'b Recipe),
    lots: &[(Uuid, u128, &str)],
    shelf: Shelf,
) -> Judged<'b> {
    let all = [&[(PORK, 10, "400")][..], lots].concat();
    let portions = all.iter().map(|(material, lot, mass)| {
        let (material, lot) = (&book.materials[material], Some(Uuid::from_u128(*lot)));
        Portion {
            material,
            specification: material.specification(lot, Timestamp::UNIX_EPOCH),
            lot,
            kit: None,
            mass: pounds(mass),
            division: None,
            origin: None,
        }
    });
    judge(&Asked {
        formula: (Uuid::nil(), 1),
        recipe,
        book,
        portions: portions.collect(),
        unknown: Vec::new(),
        made_here: Vec::new(),
        batch: None,
        products: Vec::new(),
        kits: Vec::new(),
        closing: false,
        hold_for_label: false,
        shelf,
        at: Timestamp::UNIX_EPOCH,
    })
}

fn ways<'j>(judged: &'j Judged<'_>, code: &str) -> Vec<&'j str> {
    let of = judged.refusals.iter().filter(|reason| reason.code == code);
    of.map(|reason| reason.way_on.as_str()).collect()
}

fn named<'j>(judged: &'j Judged<'_>) -> Vec<Vec<&'j str>> {
    let codes = |one: &'j Others<'_>| one.lots.iter().map(|lot| lot.code.as_str()).collect();
    judged.others.iter().map(codes).collect()
}

#[test]
fn another_lot_is_named_with_what_is_on_hand_and_one_that_brings_the_same_is_not() {
    let (book, recipe) = (book(), recipe());
    let of = (&book, &recipe);
    let scanned = [(BLEND, 71, "8")];
    let asked = judged(of, &scanned, Shelf::NotAsked);
    let plain = "Use another lot of Spice blend that does not bring soy, or make it with \
        hold_for_label and hold it for a revision of the label that declares it.";
    assert_eq!(ways(&asked, "ALLERGEN_NOT_ON_LABEL"), [plain]);
    let held = OnHand { forbidden_by: vec!["on hold".into()], ..lot(68, "Spice blend") };
    let rework = OnHand { kind: "rework".into(), ..lot(69, "Spice blend") };
    let lots = [70, 71, 72, 73].map(|number| lot(number, "Spice blend"));
    let lots = [&[held, rework][..], &lots, &[lot(10, "Pork trim")]].concat();
    let told = judged(of, &scanned, known(&lots));
    assert_eq!(named(&told), [["L-70", "L-73"], ["L-70", "L-73"]], "for soy and for its entry");
    let way = ways(&told, "ALLERGEN_NOT_ON_LABEL")[0];
    let names = "does not bring soy (L-70, 150 [lb_av] on hand; L-73, 150 [lb_av] on hand), or";
    assert!(way.contains(names), "{way}");
    assert!(ways(&told, "INGREDIENT_NOT_ON_LABEL")[0].contains("L-70, 150 [lb_av] on hand"));
}

#[test]
fn no_lot_and_no_answer_are_said() {
    let (book, recipe) = (book(), recipe());
    let of = (&book, &recipe);
    let scanned = [(BLEND, 71, "8")];
    let way = |shelf| ways(&judged(of, &scanned, shelf), "ALLERGEN_NOT_ON_LABEL")[0].to_owned();
    let none = way(known(&[lot(72, "Spice blend")]));
    assert!(none.contains("soy (no other lot on hand may go in), or make it"), "{none}");
    let more =
        Shelf::Known { lots: vec![lot(72, "Spice blend")], more: vec!["spice blend".into()] };
    let more = way(more);
    assert!(more.contains("none of the oldest lots on hand may go in, and there are"), "{more}");
    let away = way(Shelf::Away);
    assert!(away.contains("(which lots are on hand cannot be said now)"), "{away}");
}

#[test]
fn two_lots_that_bring_the_same_do_not_hide_what_could_stand_in() {
    let (book, recipe) = (book(), recipe());
    let scanned = [(BLEND, 71, "4"), (BLEND, 72, "4")];
    let told = judged((&book, &recipe), &scanned, known(&[lot(70, "Spice blend")]));
    assert_eq!(named(&told), [["L-70"], ["L-70"]]);
}

#[test]
fn a_lot_that_would_break_another_limit_is_not_named() {
    let (mut book, recipe) = (book(), recipe());
    // 9 CFR 424.21(c): a quarter of an ounce of nitrite to a hundredweight, which is what 1 lb of
    // 6.25 % brings to 400 lb. 6.40 % is above.
    let strong = soy(Some(21));
    let strong = Specification { agents: cure(None, "6.25").agents, ..strong };
    book.materials.get_mut(&CURE).expect("it is there").specifications.push(strong);
    let scanned = [(CURE, 21, "1")];
    let lots = [lot(22, "Cure mix"), lot(23, "Cure mix")];
    let told = judged((&book, &recipe), &scanned, known(&lots));
    assert_eq!(ways(&told, "AGENT_NOT_MET"), [""; 0]);
    assert_eq!(named(&told), [["L-23"], ["L-23"]], "the stronger lot would stop the batch anew");
}

#[test]
fn a_lot_without_a_specification_gives_way_to_one_that_has_its_own() {
    let (mut book, recipe) = (book(), recipe());
    let blend = book.materials.get_mut(&BLEND).expect("it is there");
    blend.specifications = vec![stated(Some(73), "salt")];
    let lots = [lot(72, "Spice blend"), lot(73, "Spice blend")];
    let told = judged((&book, &recipe), &[(BLEND, 71, "8")], known(&lots));
    assert_eq!(named(&told), [["L-73"]]);
    let way = ways(&told, "MATERIAL_NOT_APPROVED")[0];
    assert!(way.ends_with("or take another lot (L-73, 150 [lb_av] on hand)."), "{way}");
    let mut ended = book.clone();
    ended.materials.get_mut(&BLEND).expect("it is there").in_use = false;
    let told = judged((&ended, &recipe), &[(BLEND, 71, "8")], known(&lots));
    assert!(told.others.is_empty(), "no lot of a material out of use may go in");
}
