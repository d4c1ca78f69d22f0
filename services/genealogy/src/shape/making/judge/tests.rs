//! Checks what refuses the use of a lot, and that masses balance whatever is asked for.
//! It never asks a database.

use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::date;
use jiff_diesel::ToDiesel as _;
use proptest::prelude::*;

use super::*;
use crate::shape::closure::ClosedLot;
use crate::store::holds::HoldRow;

fn mass(grams: &str) -> Mass {
    let grams: BigDecimal = grams.parse().expect("a number");
    Mass { value: grams.clone(), unit: "g".into(), grams }
}

fn stock(on_hand: &str, packed: &str) -> Stock {
    Stock {
        lot: Uuid::from_u128(1),
        code: "R-1".into(),
        on_hand_g: on_hand.parse().expect("a number"),
        packed_g: packed.parse().expect("a number"),
        use_by: None,
        holds: Vec::new(),
        kit_used_in: None,
    }
}

const TODAY: Date = date(2026, 11, 25);

fn codes(stock: &Stock, grams: &str) -> Vec<&'static str> {
    let broken = stock.faults_of_use(&mass(grams), TODAY);
    broken.into_iter().map(|broken| broken.reason.code).collect()
}

#[test]
fn a_lot_is_used_to_its_last_gram_and_no_further() {
    assert_eq!(codes(&stock("680.388555", "0"), "680.388555"), [""; 0]);
    assert_eq!(codes(&stock("680.388555", "0"), "680.388556"), ["MORE_THAN_ON_HAND"]);
    let all = stock("500", "200.5").more_than_on_hand(&mass("300")).expect("too much");
    assert_eq!(all.reason.message, "R-1 has 500 g on hand, 200.5 g of it in cases; 300 g is more.");
    assert!(all.reason.way_on.contains("299.5 g"), "{}", all.reason.way_on);
}

#[test]
fn the_last_day_is_a_day_of_use() {
    let mut dated = stock("500", "0");
    for (last, found) in [(TODAY, [].as_slice()), (date(2026, 11, 24), &["LOT_OUT_OF_DATE"])] {
        dated.use_by = Some(last);
        assert_eq!(codes(&dated, "1"), found, "{last}");
    }
}

#[test]
fn a_kit_is_used_once_though_some_of_it_is_left() {
    let used = Stock { kit_used_in: Some("B-7".into()), ..stock("500", "0") };
    assert_eq!(codes(&used, "1"), ["KIT_USED"]);
}

#[test]
fn every_reason_is_told_not_the_first() {
    let mut bad = stock("1", "0");
    bad.use_by = Some(date(2026, 1, 1));
    let stop = |deviation| Stop {
        hold: Uuid::from_u128(7),
        reason: "Torn bag".into(),
        deviation,
        through: Some("M-4".into()),
    };
    bad.holds = vec![stop(None), stop(Some(Uuid::from_u128(8)))];
    let told = codes(&bad, "2");
    assert_eq!(told, ["MORE_THAN_ON_HAND", "LOT_OUT_OF_DATE", "LOT_ON_HOLD", "LOT_ON_HOLD"]);
    let broken = bad.faults_of_use(&mass("2"), TODAY);
    assert!(broken[2].reason.way_on.contains("/v1/holds/"), "{:?}", broken[2].reason);
    assert!(broken[3].reason.way_on.contains("/v1/deviations/"), "{:?}", broken[3].reason);
    assert!(broken[2].reason.message.contains("through M-4"), "{:?}", broken[2].reason);
}

#[test]
fn what_is_made_comes_of_what_is_used_and_added() {
    let uses = [Use { lot: Uuid::from_u128(1), mass: mass("1000") }];
    let ice = [Addition { name: "Ice".into(), mass: mass("100.5") }];
    let out = Uuid::from_u128(2);
    assert!(balance(&uses, &ice, &[(out, &mass("1100.5"))]).is_none());
    let more = balance(&uses, &ice, &[(out, &mass("1100.6"))]).expect("too much");
    assert!(more.reason.message.contains("0.1 g too much"), "{}", more.reason.message);
    assert!(balance(&uses, &[], &[(out, &mass("1000.1"))]).is_some());
}

fn hold(number: u128, scope: &str) -> HoldRow {
    HoldRow {
        id: Uuid::from_u128(number),
        reason: "Torn bag".into(),
        deviation: None,
        place: None,
        span_from: None,
        span_to: None,
        scope: scope.into(),
        ticket: None,
        recorded_at: Timestamp::UNIX_EPOCH.to_diesel(),
        entered_by: String::new(),
        entered_by_name: String::new(),
        fingerprint: Vec::new(),
    }
}

/// Lot 1 in lot 2; each hold on a lot by its number.
fn family(holds: Vec<(u128, HoldRow)>) -> Closure {
    let lot = |number, inputs: &[u32]| ClosedLot {
        id: Uuid::from_u128(number),
        code: format!("L{number}"),
        kind: "batch".into(),
        material: "No. 1 Rope".into(),
        version: 1,
        made_at: Timestamp::UNIX_EPOCH,
        inputs: Arc::from(inputs),
        stays: Vec::new(),
    };
    let holds = holds.into_iter().map(|(lot, hold)| (Uuid::from_u128(lot), hold)).collect();
    Closure { lots: vec![lot(1, &[]), lot(2, &[0])], plant_version: 1, holds }
}

#[test]
fn a_whole_hold_stops_what_was_made_of_its_lot_and_a_narrowed_one_does_not() {
    let child = Uuid::from_u128(2);
    let through = stops(&family(vec![(1, hold(7, "whole"))]), child);
    assert_eq!(through[0].through.as_deref(), Some("L1"));
    for narrowed in ["what_is_left", "cases", "span"] {
        assert_eq!(stops(&family(vec![(1, hold(7, narrowed))]), child), [], "{narrowed}");
        let own = stops(&family(vec![(2, hold(7, narrowed))]), child);
        assert_eq!((own.len(), own[0].through.as_deref()), (1, None), "{narrowed}");
    }
    assert_eq!(stops(&family(vec![(2, hold(7, "whole"))]), Uuid::from_u128(1)), [], "upwards");
}

proptest! {
    /// However often and however much is asked for, what was taken and what is left are together
    /// what there was, and neither is below zero.
    #[test]
    fn what_is_taken_and_what_is_left_are_what_there_was(
        there in 0u64..1_000_000, packed in 0u64..1_000_000,
        asked in proptest::collection::vec(1u64..400_000, 1..12), scale in 0i64..9,
    ) {
        let exact = |units: u64| BigDecimal::new(units.into(), scale);
        let packed = packed.min(there);
        let mut stock = stock("0", "0");
        stock.on_hand_g = exact(there);
        stock.packed_g = exact(packed);
        let mut taken_g = BigDecimal::zero();
        for one in asked {
            let one = Mass { value: exact(one), unit: "g".into(), grams: exact(one) };
            let taken = stock.taken_g(&one);
            prop_assert!(taken >= BigDecimal::zero() && taken <= one.grams);
            let is_refused = stock.more_than_on_hand(&one).is_some();
            prop_assert_eq!(is_refused, taken < one.grams);
            stock.on_hand_g -= &taken;
            taken_g += taken;
            prop_assert!(stock.on_hand_g >= stock.packed_g);
        }
        prop_assert_eq!(taken_g + &stock.on_hand_g, exact(there));
    }

    /// Scaling every mass by the same factor never changes the balance.
    #[test]
    fn the_balance_is_the_same_at_every_scale(
        used in proptest::collection::vec(1u64..100_000, 1..6),
        made in proptest::collection::vec(1u64..100_000, 1..6), scale in 0i64..9,
    ) {
        let at = |scale: i64| {
            let exact = |units: &u64| {
                let grams = BigDecimal::new((*units).into(), scale);
                Mass { value: grams.clone(), unit: "g".into(), grams }
            };
            let uses = used.iter().map(|one| Use { lot: Uuid::nil(), mass: exact(one) });
            let made: Vec<Mass> = made.iter().map(exact).collect();
            let outputs: Vec<_> = made.iter().map(|one| (Uuid::nil(), one)).collect();
            balance(&uses.collect::<Vec<_>>(), &[], &outputs).is_some()
        };
        let is_more = made.iter().sum::<u64>() > used.iter().sum::<u64>();
        prop_assert_eq!(at(0), is_more);
        prop_assert_eq!(at(scale), is_more);
    }
}
