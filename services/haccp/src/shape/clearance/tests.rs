//! What the closure and its records become in the gate's question.
//! It never asks the database.

use domain::verdict::Verdict;

use super::*;
use crate::store::clearance::stations::{Binding, Heard, Look, Stations};
use crate::store::clearance::{Bound, Read};

const MINUTE: At = 60_000_000;

fn id(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

fn version(at_most: &str, number: i32) -> Arc<PlanVersion> {
    let check = wire::v1::PlanCheck {
        code: "CCP-1".into(),
        class: "ccp".into(),
        kind: "each".into(),
        unit: "[degF]".into(),
        at_most: Some(at_most.into()),
        ..wire::v1::PlanCheck::default()
    };
    let content = wire::v1::PlanContent {
        name: "Receiving".into(),
        binds: "received".into(),
        checks: vec![check],
        ..wire::v1::PlanContent::default()
    };
    Arc::new(crate::shape::plans::version((id(9), number), content).expect("a version"))
}

fn closure(stays: Vec<v1::Stay>) -> Closure {
    let lot = v1::ClosureLot {
        lot: id(1).to_string(),
        code: "R26329-1".into(),
        kind: "received".into(),
        version: 1,
        inputs: Vec::new(),
        stays,
        made_at_us: 0,
    };
    let ship = v1::ShippingLot { lot: 0, closure: vec![0; 32].into(), cases: Vec::new() };
    Closure::of(vec![lot], vec![ship]).expect("a closure")
}

fn read(number: u128, first: u128, value: &str, verdict: &str) -> Read {
    Read {
        lot: id(1),
        first: id(first),
        id: id(number),
        plan: id(9),
        plan_version: 1,
        check_code: "CCP-1".into(),
        read: vec![value.into()],
        unit: "[degF]".into(),
        verdict: verdict.into(),
        has_instrument: false,
        correction: None,
        at: MINUTE,
        known_at: 2 * MINUTE,
        late_s: 0,
        offset_ms: 0,
        is_doubtful: false,
        deviation: None,
    }
}

fn asked(facts: &Facts, version: &Arc<PlanVersion>) -> Question {
    let plans = Plans::from([((id(9), version.version), version.clone())]);
    let bound = Bound { lot: id(1), plan: id(9), version: version.version };
    let facts = Facts { bound: vec![bound], ..facts.clone() };
    question(&closure(Vec::new()), &facts, &plans, (10 * MINUTE, true)).expect("asked").question
}

fn verdicts(readings: Vec<Read>, version: &Arc<PlanVersion>) -> Vec<Verdict> {
    let facts = Facts { readings, ..Facts::default() };
    asked(&facts, version).lots[0].findings.iter().map(|found| found.verdict).collect()
}

#[test]
fn an_amendment_never_makes_a_finding_better() {
    let met = version("40", 1);
    let better = vec![read(2, 2, "41", "FAIL"), read(3, 2, "39", "PASS")];
    assert_eq!(verdicts(better, &met), [Verdict::Fail]);
    let worse = vec![read(2, 2, "39", "PASS"), read(3, 2, "41", "FAIL")];
    assert_eq!(verdicts(worse, &met), [Verdict::Fail]);
}

#[test]
fn a_reading_of_another_version_is_judged_by_the_bound_one() {
    assert_eq!(verdicts(vec![read(2, 2, "39", "PASS")], &version("38", 2)), [Verdict::Fail]);
    assert_eq!(verdicts(vec![read(2, 2, "39", "PASS")], &version("39", 2)), [Verdict::Pass]);
}

#[test]
fn an_instrument_in_doubt_makes_what_was_met_undetermined_and_heals_nothing() {
    let doubtful = |verdict| Read { is_doubtful: true, ..read(2, 2, "39", verdict) };
    assert_eq!(verdicts(vec![doubtful("PASS")], &version("40", 1)), [Verdict::Undetermined]);
    assert_eq!(verdicts(vec![doubtful("FAIL")], &version("40", 1)), [Verdict::Fail]);
}

#[test]
fn what_is_recorded_under_another_plan_says_nothing() {
    let other = Read { plan: id(8), ..read(2, 2, "39", "PASS") };
    assert!(verdicts(vec![other], &version("40", 1)).is_empty());
}

#[test]
fn a_lot_that_nobody_bound_is_asked_about_without_a_plan() {
    let found = question(&closure(Vec::new()), &Facts::default(), &Plans::new(), (MINUTE, true));
    assert_eq!(found.expect("asked").question.lots[0].plan, None);
}

#[test]
fn gaps_run_from_the_start_to_the_end_and_a_look_in_time_leaves_none() {
    let gaps = |looks: &[At]| {
        let looks = looks.iter().map(|minute| minute * MINUTE).collect();
        let found = gaps::between((0, 90 * MINUTE), looks, 30 * MINUTE);
        found.into_iter().map(|(from, to)| (from / MINUTE, to / MINUTE)).collect::<Vec<_>>()
    };
    assert!(gaps(&[30, 60]).is_empty(), "exactly in time is in time");
    assert_eq!(gaps(&[30]), [(30, 90)]);
    assert_eq!(gaps(&[]), [(0, 90)]);
    assert_eq!(gaps(&[59, 200]), [(0, 59), (59, 90)]);
}

fn silent(stay: (At, At), heard: Vec<(At, i32)>, looks: Vec<(At, At)>) -> bool {
    let stay =
        v1::Stay { place: id(5).to_string(), from_us: stay.0 * MINUTE, to_us: stay.1 * MINUTE };
    let stations = Stations {
        bindings: vec![Binding {
            station: id(6),
            station_name: "Tablet 3".into(),
            place: id(5),
            is_bound: true,
            at: 0,
        }],
        heard: heard
            .into_iter()
            .map(|(at, queued)| Heard { station: id(6), at: at * MINUTE, queued })
            .collect(),
        looks: looks
            .into_iter()
            .map(|(from, to)| Look { station: id(6), from_us: from * MINUTE, to_us: to * MINUTE })
            .collect(),
    };
    let facts = Facts { stations, ..Facts::default() };
    let closure = closure(vec![stay]);
    let asked = question(&closure, &facts, &Plans::new(), (100 * MINUTE, true)).expect("asked");
    !asked.question.lots[0].silent.is_empty()
}

#[test]
fn a_station_is_silent_until_it_is_heard_with_nothing_left_to_send() {
    assert!(silent((10, 20), vec![], vec![]));
    assert!(silent((10, 20), vec![(15, 0)], vec![]), "heard before the lot left");
    assert!(silent((10, 20), vec![(25, 3)], vec![]), "something is still to come");
    assert!(!silent((10, 20), vec![(25, 0)], vec![]));
    assert!(!silent((10, 20), vec![], vec![(10, 20)]), "somebody looked");
    assert!(silent((10, 20), vec![], vec![(11, 20)]), "the look does not cover the whole time");
    assert!(!silent((10, 0), vec![(15, 0)], vec![]), "heard since the lot came");
    assert!(silent((10, 0), vec![(15, 0), (16, 2)], vec![]), "something came after");
}
