//! Checks of what lots hold, through kits, batches and rework.
//! They never ask a database.

use super::*;
use crate::book::{Material, Specification};

fn at(hour: i64) -> Timestamp {
    Timestamp::from_second(hour * 3600).expect("an instant")
}

fn material(id: u128, name: &str, stated: Vec<Specification>) -> (Uuid, Material) {
    let id = Uuid::from_u128(id);
    let material = Material {
        id,
        name: name.into(),
        kind: Kind::Other,
        kind_word: "other".into(),
        in_use: true,
        specifications: stated,
    };
    (id, material)
}

fn specification(
    lot: Option<u128>,
    from: i64,
    allergens: &[&'static str],
    words: &str,
) -> Specification {
    Specification {
        version: 1,
        lot: lot.map(Uuid::from_u128),
        in_force_from: at(from),
        pct: Default::default(),
        allergens: allergens.to_vec(),
        agents: Vec::new(),
        statement: words.into(),
    }
}

fn origin(lot: u128, material: &str, made: i64, uses: &[(usize, i64)]) -> Origin {
    Origin {
        lot: Uuid::from_u128(lot),
        code: String::new(),
        material: material.into(),
        made_at: at(made),
        uses: uses.iter().map(|(place, grams)| (*place, Exact::whole(*grams))).collect(),
    }
}

/// Pork and a blend of which lot 71 brings soy, from hour 100 on.
fn book() -> Book {
    let pork = material(1, "Pork trim", vec![specification(None, 0, &[], "pork")]);
    let blend = vec![
        specification(None, 0, &[], "seasoning (salt)"),
        specification(Some(71), 100, &["soy"], "seasoning (salt, soy flour)"),
    ];
    let film = material(3, "Film", Vec::new());
    let film = (film.0, Material { kind: Kind::Packaging, ..film.1 });
    let materials = [pork, material(2, "Spice blend", blend), film];
    Book { materials: materials.into_iter().collect(), ..Book::default() }
}

#[test]
fn an_allergen_travels_through_kit_batch_and_rework_however_little_it_was() {
    let origins = [
        origin(10, "pork TRIM", 0, &[]),
        origin(71, "Spice blend", 0, &[]),
        origin(20, "", 110, &[(1, 1)]),
        origin(30, "", 111, &[(0, 1_000_000), (2, 1)]),
        origin(40, "", 112, &[(3, 1)]),
        origin(50, "No. 1 Rope", 113, &[(0, 999_999_999), (4, 0), (6, 5)]),
        origin(60, "film", 0, &[]),
    ];
    let cover = read(&origins, &[5], &book(), at(200)).expect("no circle");
    let held = cover.held(5);
    assert_eq!(held.allergens, ["soy"]);
    assert_eq!(held.entries[0], "pork");
    assert_eq!(held.entries.len(), 2, "{:?}", held.entries);
    assert_eq!(cover.unknown(5), &[] as &[String]);
}

#[test]
fn a_lot_counts_by_what_was_in_force_when_it_was_used() {
    let made = |hour| {
        let origins = [origin(71, "Spice blend", 0, &[]), origin(30, "", hour, &[(0, 1)])];
        read(&origins, &[1], &book(), at(200)).expect("no circle").held(1).allergens
    };
    assert_eq!(made(99), [] as [&str; 0]);
    assert_eq!(made(100), ["soy"]);
}

#[test]
fn what_is_not_known_is_told_and_a_circle_has_no_answer() {
    let origins = [origin(10, "Something", 0, &[]), origin(30, "", 1, &[(0, 1)])];
    let cover = read(&origins, &[1], &book(), at(200)).expect("no circle");
    assert_eq!(cover.unknown(1).len(), 1);
    let circle = [origin(1, "", 1, &[(1, 1)]), origin(2, "", 1, &[(0, 1)])];
    assert!(read(&circle, &[0], &book(), at(200)).is_none());
    assert!(read(&[origin(1, "", 1, &[(7, 1)])], &[0], &book(), at(200)).is_none());
}
