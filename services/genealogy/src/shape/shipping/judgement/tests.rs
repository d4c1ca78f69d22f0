//! Checks what stands in the way of pallets, and what is said of each.
//! It never asks a database or haccp.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;

use bigdecimal::BigDecimal;
use proptest::prelude::*;

use super::*;
use crate::shape::closure::{ClosedLot, Closure};
use crate::shape::holds::Span;
use crate::shape::shipping::picture::Now;

const LINE: u128 = 900;
const DETECTOR: u128 = 901;

fn uuid(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_second(second).expect("an instant")
}

fn lot(number: u128, inputs: &[u32]) -> ClosedLot {
    ClosedLot {
        id: uuid(number),
        code: format!("L{number}"),
        kind: "finished".into(),
        material: "No. 3 Turkey Link".into(),
        version: 1,
        made_at: at(0),
        inputs: Arc::from(inputs),
        stays: Vec::new(),
    }
}

fn case(serial: &str, pallet: u128, of: u128, packed: i64) -> CaseSeen {
    CaseSeen {
        serial: serial.into(),
        pallet: uuid(pallet),
        lot: uuid(of),
        mass_g: BigDecimal::from(10),
        label_revision: String::new(),
        packed_at: at(packed),
        passings: vec![(uuid(LINE), at(packed))],
    }
}

fn pallet(number: u128) -> PalletSeen {
    PalletSeen { id: uuid(number), label: format!("P{number}"), left_with: None }
}

/// Trim 1 became batch 2, of which finished lots 3 and 4 came; pallet 101 has cases of both,
/// pallet 102 of lot 4 alone.
fn picture() -> Picture {
    let lots = vec![lot(1, &[]), lot(2, &[0]), lot(3, &[1]), lot(4, &[1])];
    Picture {
        pallets: vec![pallet(101), pallet(102)],
        cases: vec![
            case("A-1", 101, 3, 10),
            case("A-2", 101, 3, 20),
            case("B-1", 101, 4, 30),
            case("B-2", 102, 4, 40),
        ],
        ships: vec![uuid(3), uuid(4)],
        closure: Closure { lots, plant_version: 7, holds: Vec::new() },
        made_of: Default::default(),
        on_hand: BTreeMap::from([(uuid(3), 20.into()), (uuid(4), 20.into())]),
        holds: Vec::new(),
        owed: BTreeSet::new(),
        refused: Vec::new(),
    }
}

fn hold(held: Held, lots: &[u128]) -> HoldSeen {
    HoldSeen {
        id: uuid(500),
        reason: "Torn liners".into(),
        deviation: None,
        held,
        lots: lots.iter().map(|lot| uuid(*lot)).collect(),
    }
}

fn answered() -> Said {
    let nothing = |id| Told::Answer { id: uuid(id), obstacles: Vec::new() };
    Said { clear: nothing(77), cover: nothing(78) }
}

/// This of haccp, and nothing in the way of labels.
fn by_haccp(clear: Told) -> Said {
    Said { clear, ..answered() }
}

/// The cases that could leave, by pallet.
fn clear(picture: &Picture, said: &Said) -> Vec<Vec<String>> {
    let said = by_pallet(picture, &obstacles(picture, said));
    said.into_iter().map(|said| said.clear_cases).collect()
}

fn with_hold(hold: HoldSeen) -> Vec<Vec<String>> {
    clear(&Picture { holds: vec![hold], ..picture() }, &answered())
}

#[test]
fn nothing_in_the_way_lets_everything_go() {
    let picture = picture();
    let found = obstacles(&picture, &answered());
    assert_eq!(found, []);
    assert_eq!(reasons(&picture, &found), []);
    assert_eq!(clear(&picture, &answered()), [vec!["A-1", "A-2", "B-1"], vec!["B-2"]]);
}

#[test]
fn a_whole_hold_on_any_ancestor_stops_all_that_came_of_it() {
    assert_eq!(with_hold(hold(Held::Whole, &[1])), [vec![""; 0], vec![]]);
    assert_eq!(with_hold(hold(Held::Whole, &[3])), [vec!["B-1"], vec!["B-2"]]);
    let held = Picture { holds: vec![hold(Held::Whole, &[1])], ..picture() };
    let found = reasons(&held, &obstacles(&held, &answered()));
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].message, "Lot L1, of which L3, L4 came, is on hold: Torn liners");
    assert_eq!(found[0].subject, format!("lot:{}", uuid(1)));
    assert!(found[0].way_on.contains(&format!("/v1/holds/{}/end", uuid(500))));
}

#[test]
fn a_hold_on_what_is_left_stops_only_that_lot_itself() {
    assert_eq!(with_hold(hold(Held::WhatIsLeft, &[2])), [vec!["A-1", "A-2", "B-1"], vec!["B-2"]]);
    assert_eq!(with_hold(hold(Held::WhatIsLeft, &[4])), [vec!["A-1", "A-2"], vec![]]);
}

#[test]
fn a_hold_on_cases_stops_those_and_tells_how_to_ship_the_others() {
    let named = Held::Cases(BTreeSet::from(["A-2".to_owned()]));
    assert_eq!(with_hold(hold(named.clone(), &[3])), [vec!["A-1", "B-1"], vec!["B-2"]]);
    let held = Picture { holds: vec![hold(named, &[3])], ..picture() };
    let said = by_pallet(&held, &obstacles(&held, &answered()));
    assert_eq!(said[1].reasons, []);
    let reason = &said[0].reasons[0];
    assert_eq!(reason.message, "1 case of lot L3 on hold: Torn liners (A-2)");
    let way_on = format!(
        "; or take 1 case off pallet P101 and ship the other 2: POST /v1/pallets/{}/changes \
         takenOff A-2",
        uuid(101)
    );
    assert!(reason.way_on.ends_with(&way_on), "{}", reason.way_on);
}

#[test]
fn a_span_is_after_its_beginning_and_up_to_its_end() {
    let span = |from: Option<i64>, to| {
        Held::Span(Span { place: uuid(LINE), from: from.map(at), to: at(to) })
    };
    let deviation = |held| HoldSeen { deviation: Some(uuid(6)), ..hold(held, &[]) };
    assert_eq!(with_hold(deviation(span(Some(10), 30))), [vec!["A-1"], vec!["B-2"]]);
    assert_eq!(with_hold(deviation(span(None, 20))), [vec!["B-1"], vec!["B-2"]]);
    // A person's span holds only of the lots that it names.
    assert_eq!(with_hold(hold(span(Some(10), 30), &[4])), [vec!["A-1", "A-2"], vec!["B-2"]]);
}

#[test]
fn any_passing_in_a_span_counts_and_another_place_does_not() {
    let mut again = picture();
    again.cases[0].passings.push((uuid(DETECTOR), at(100)));
    let span = |place, to| Held::Span(Span { place: uuid(place), from: Some(at(90)), to: at(to) });
    let hold = |held| HoldSeen { deviation: Some(uuid(6)), ..hold(held, &[]) };
    again.holds = vec![hold(span(DETECTOR, 100))];
    assert_eq!(clear(&again, &answered()), [vec!["A-2", "B-1"], vec!["B-2"]]);
    again.holds = vec![hold(span(LINE, 100))];
    assert_eq!(clear(&again, &answered()), [vec!["A-1", "A-2", "B-1"], vec!["B-2"]]);
}

#[test]
fn silence_stops_everything_and_may_be_asked_again() {
    let picture = picture();
    let silent = |away: &Said| {
        assert_eq!(clear(&picture, away), [vec![""; 0], vec![]]);
        let found = reasons(&picture, &obstacles(&picture, away));
        found.into_iter().map(|reason| reason.code).collect::<Vec<_>>()
    };
    assert_eq!(silent(&by_haccp(Told::Away)), [AWAY[0]]);
    let no_label = Said { cover: Told::Away, ..answered() };
    assert_eq!(silent(&no_label), [AWAY[1]]);
}

/// The answer of formulas: the reasons of each lot and label, in the order of the question.
fn cover(reasons: &[&[&str]]) -> internal::LabelCoverResponse {
    let reason = |code: &&str| RefusalReason { code: (*code).into(), ..Default::default() };
    let lot = |codes: &&[&str]| internal::LotCover {
        reasons: codes.iter().map(reason).collect(),
        ..Default::default()
    };
    let lots = reasons.iter().map(lot).collect();
    internal::LabelCoverResponse { answer: uuid(78).to_string(), lots }
}

#[test]
fn a_label_that_does_not_cover_stops_the_cases_that_carry_it_and_no_others() {
    let mut picture = picture();
    picture.cases[1].label_revision = "3".into();
    let asked = picture.label_question().labelled;
    let asked: Vec<_> =
        asked.iter().map(|one| (one.lot, one.revision.as_str(), one.from_us, one.to_us)).collect();
    let s = 1_000_000;
    let all = [(2, "", 10 * s, 10 * s), (2, "3", 20 * s, 20 * s), (3, "", 30 * s, 40 * s)];
    assert_eq!(asked, all);
    let clear =
        |answer| clear(&picture, &Said { cover: Told::of_cover(&picture, answer), ..answered() });
    assert_eq!(clear(cover(&[&[], &[], &[]])), [vec!["A-1", "A-2", "B-1"], vec!["B-2"]]);
    assert_eq!(clear(cover(&[&[], &["X"], &[]])), [vec!["A-1", "B-1"], vec!["B-2"]]);
    assert_eq!(clear(cover(&[&[], &[], &["X"]])), [vec!["A-1", "A-2"], vec![]]);
    assert_eq!(clear(cover(&[&[], &[]])), [vec![""; 0], vec![]], "a lot was left out");
}

#[test]
fn what_genealogy_owes_or_had_to_refuse_counts_below_the_lot() {
    let owed = Picture { owed: BTreeSet::from([uuid(2)]), ..picture() };
    assert_eq!(clear(&owed, &answered()), [vec![""; 0], vec![]]);
    let refused = RefusedSeen {
        item: uuid(8),
        reason: "It names lots that do not exist".into(),
        lots: BTreeSet::from([uuid(4)]),
    };
    let refused = Picture { refused: vec![refused], ..picture() };
    assert_eq!(clear(&refused, &answered()), [vec!["A-1", "A-2"], vec![]]);
    let found = reasons(&refused, &obstacles(&refused, &answered()));
    assert!(found[0].way_on.contains(&format!("/v1/lot-items/{}/answer", uuid(8))));
}

#[test]
fn cases_never_weigh_more_than_is_on_hand() {
    let mut short = picture();
    short.on_hand.insert(uuid(3), BigDecimal::from(19));
    assert_eq!(clear(&short, &answered()), [vec!["B-1"], vec!["B-2"]]);
}

#[test]
fn a_pallet_that_left_or_is_empty_is_no_shipment() {
    let mut gone = picture();
    gone.pallets[1].left_with = Some(uuid(60));
    gone.cases.truncate(3);
    gone.pallets.push(pallet(103));
    let codes: Vec<_> = not_to_ship(&gone).into_iter().map(|(_, reason)| reason.code).collect();
    assert_eq!(codes, ["PALLET_SHIPPED", "PALLET_EMPTY"]);
}

fn told(ships: Vec<u32>, cases: &[&str]) -> internal::ClearResponse {
    let reason = RefusalReason { code: "CHECK_MISSING".into(), ..Default::default() };
    let cases = cases.iter().map(|case| (*case).to_owned()).collect();
    let obstacle = internal::Obstacle { ships, cases, reason: Some(reason) };
    internal::ClearResponse { answer: uuid(77).to_string(), obstacles: vec![obstacle] }
}

#[test]
fn what_haccp_tells_counts_for_what_it_names_and_for_all_where_it_names_nothing_of_ours() {
    let picture = picture();
    let clear = |answer| clear(&picture, &by_haccp(Told::of(&picture, answer)));
    assert_eq!(clear(told(vec![0], &[])), [vec!["B-1"], vec!["B-2"]]);
    assert_eq!(clear(told(vec![1], &["B-2"])), [vec!["A-1", "A-2", "B-1"], vec![]]);
    let nothing = [vec![""; 0], vec![]];
    assert_eq!(clear(told(vec![], &[])), nothing);
    assert_eq!(clear(told(vec![2], &[])), nothing);
    assert_eq!(clear(told(vec![0, 9], &[])), nothing);
    assert_eq!(clear(told(vec![0], &["Z-9"])), nothing);
    let unsigned = internal::ClearResponse { answer: "yes".into(), obstacles: Vec::new() };
    assert_eq!(Told::of(&picture, unsigned), Told::Away);
}

fn now(picture: &Picture) -> Now {
    Now {
        versions: picture.versions(),
        standing: picture.standing(),
        on_hand: picture.on_hand.clone(),
    }
}

#[test]
fn only_what_stands_as_it_was_seen_is_let_go_and_only_for_a_minute() {
    let picture = picture();
    let fresh = Duration::from_millis(59_999);
    assert!(now(&picture).lets_go(&picture, fresh));
    assert!(!now(&picture).lets_go(&picture, Duration::from_secs(60)));
    let changes: [fn(&mut Now); 5] = [
        |now| {
            now.versions.insert(uuid(1), 2);
        },
        |now| {
            now.versions.insert(Uuid::nil(), 8);
        },
        |now| {
            now.standing.remove("A-1");
        },
        |now| {
            now.standing.insert("A-1".into(), (uuid(101), 2));
        },
        |now| drop(now.on_hand.insert(uuid(3), BigDecimal::from(19))),
    ];
    for (at, change) in changes.iter().enumerate() {
        let mut changed = now(&picture);
        change(&mut changed);
        assert!(!changed.lets_go(&picture, fresh), "change {at}");
    }
}

fn any_hold() -> impl Strategy<Value = HoldSeen> {
    let serials = proptest::collection::btree_set(
        proptest::sample::select(vec!["A-1", "A-2", "B-1", "B-2"]).prop_map(str::to_owned),
        0..3,
    );
    let span = (proptest::option::of(0..50_i64), 0..50_i64).prop_map(|(from, to)| {
        Held::Span(Span { place: uuid(LINE), from: from.map(at), to: at(to) })
    });
    let held =
        prop_oneof![Just(Held::Whole), Just(Held::WhatIsLeft), serials.prop_map(Held::Cases), span];
    let lots = proptest::collection::btree_set(1..5_u128, 0..3);
    (held, lots, any::<bool>()).prop_map(|(held, lots, is_deviation)| HoldSeen {
        deviation: is_deviation.then_some(uuid(6)),
        lots: lots.into_iter().map(uuid).collect(),
        ..hold(held, &[])
    })
}

/// The rule in words, case by case: no list of obstacles, no pallets.
fn is_free(picture: &Picture, case: &CaseSeen) -> bool {
    let ancestors: &[u128] = if case.lot == uuid(3) { &[1, 2, 3] } else { &[1, 2, 4] };
    picture.holds.iter().all(|hold| match &hold.held {
        Held::Whole => !ancestors.iter().any(|lot| hold.lots.contains(&uuid(*lot))),
        Held::WhatIsLeft => !hold.lots.contains(&case.lot),
        Held::Cases(serials) => !serials.contains(&case.serial),
        Held::Span(span) => {
            let meant = hold.deviation.is_some() || hold.lots.contains(&case.lot);
            let packed = case.passings[0].1;
            !meant || packed > span.to || span.from.is_some_and(|from| packed <= from)
        }
    })
}

proptest! {
    #[test]
    fn a_case_is_clear_exactly_when_no_hold_concerns_it(
        holds in proptest::collection::vec(any_hold(), 0..4),
    ) {
        let picture = Picture { holds, ..picture() };
        let found = obstacles(&picture, &answered());
        let clear: BTreeSet<_> =
            by_pallet(&picture, &found).into_iter().flat_map(|said| said.clear_cases).collect();
        for case in &picture.cases {
            prop_assert_eq!(clear.contains(&case.serial), is_free(&picture, case));
        }
        let all = picture.cases.iter().all(|case| is_free(&picture, case));
        prop_assert_eq!(reasons(&picture, &found).is_empty(), all);
    }
}
