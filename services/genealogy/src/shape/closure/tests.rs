//! Checks that a closure has every ancestor and that its digest tells one closure from another.
//! It never asks a database.

use super::*;

fn at(second: i64) -> Timestamp {
    Timestamp::from_second(second).expect("an instant")
}

/// A lot of this number with its direct ancestors, by their place in the list.
fn lot(number: u128, version: i64, inputs: &[u32]) -> ClosedLot {
    ClosedLot {
        id: Uuid::from_u128(number),
        code: format!("L{number}"),
        kind: "batch".into(),
        material: "No. 1 Rope".into(),
        version,
        made_at: at(0),
        inputs: inputs.into(),
        stays: Vec::new(),
    }
}

/// Meat 0 and kit 1 in batch 2; rack 3 of it; finished 4 of the rack; meat 5 in nothing.
fn closure() -> Closure {
    let lots = vec![
        lot(1, 1, &[]),
        lot(2, 3, &[]),
        lot(3, 1, &[0, 1]),
        lot(4, 1, &[2]),
        lot(5, 2, &[3, 2]),
        lot(6, 1, &[]),
    ];
    Closure { lots, plant_version: 1, holds: Vec::new() }
}

#[test]
fn a_lot_has_its_ancestors_by_every_path_and_no_others() {
    let closure = closure();
    assert_eq!(closure.own(4), [0, 1, 2, 3, 4]);
    assert_eq!(closure.own(2), [0, 1, 2]);
    assert_eq!(closure.own(5), [5]);
    assert_eq!(closure.index(Uuid::from_u128(3)), Some(2));
    assert_eq!(closure.index(Uuid::from_u128(9)), None);
}

#[test]
fn the_digest_is_that_of_its_lines() {
    let lines = "00000000-0000-0000-0000-000000000001:1\n\
                 00000000-0000-0000-0000-000000000002:3\n\
                 00000000-0000-0000-0000-000000000003:1\n";
    let expected: [u8; 32] = Sha256::digest(lines).into();
    assert_eq!(closure().digest(2), expected);
}

#[test]
fn the_digest_changes_with_a_version_or_a_lot_of_its_own_alone() {
    let before = closure();
    let mut raised = closure();
    raised.lots[0].version += 1;
    assert_ne!(before.digest(4), raised.digest(4));
    assert_eq!(before.digest(5), raised.digest(5), "it did not come of that lot");
    let mut joined = closure();
    joined.lots[2].inputs = [0, 1, 5].as_slice().into();
    assert_ne!(before.digest(4), joined.digest(4));
}

#[test]
fn a_shipping_lot_has_its_own_cases_alone() {
    let lots = [Uuid::from_u128(5), Uuid::from_u128(99)];
    let case = OpenCase {
        serial: "C1".into(),
        lot: lots[0],
        pallet: None,
        passings: vec![(Uuid::from_u128(7), at(12))],
    };
    let stray = OpenCase { lot: Uuid::from_u128(1), ..case.clone() };
    let ships = closure().ships_out(&lots, vec![case, stray]);
    assert_eq!(ships.len(), 1);
    assert_eq!((ships[0].lot, ships[0].cases.len()), (4, 1));
    assert_eq!(ships[0].cases[0].passings[0].at_us, 12_000_000);
}

#[test]
fn a_stay_ends_where_the_next_begins_and_the_last_at_the_use() {
    let (a, b, c) = (Uuid::from_u128(1), Uuid::from_u128(2), Uuid::from_u128(3));
    let stay = |place, from, to: Option<i64>| Stay { place, from: at(from), to: to.map(at) };
    let moves = vec![(at(30), b), (at(10), a), (at(90), c)];
    let used = stays(moves.clone(), Some(at(50)));
    assert_eq!(used, [stay(a, 10, Some(30)), stay(b, 30, Some(50))]);
    let here = stays(moves, None);
    assert_eq!(here.last(), Some(&stay(c, 90, None)));
    assert_eq!(stays(vec![(at(10), a)], Some(at(5))), [stay(a, 10, Some(10))]);
}

#[test]
fn the_closure_of_one_lot_alone_is_what_it_is_among_others() {
    let closure = closure();
    for (at, whole) in closure.lots.iter().enumerate() {
        let only = closure.only(at);
        let place = only.index(whole.id).expect("itself");
        let ids = |of: &Closure, places: &[usize]| -> Vec<Uuid> {
            places.iter().map(|place| of.lots[*place].id).collect()
        };
        let all: Vec<usize> = (0..only.lots.len()).collect();
        assert_eq!(only.own(place), all, "nothing stands in it that is not its own");
        assert_eq!(ids(&only, &all), ids(&closure, &closure.own(at)));
        assert_eq!(only.digest(place), closure.digest(at));
        for lot in &only.lots {
            let before = &closure.lots[closure.index(lot.id).expect("a lot")];
            let inputs = |of: &Closure, lot: &ClosedLot| -> Vec<Uuid> {
                lot.inputs.iter().map(|input| of.lots[*input as usize].id).collect()
            };
            assert_eq!(inputs(&only, lot), inputs(&closure, before));
        }
    }
}
