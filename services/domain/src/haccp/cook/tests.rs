//! One house with three products, every time known to the second.
//! It never leaves the tests. The readings are invented; times follow from them by straight lines.

use super::*;
use crate::haccp::fall;
use crate::haccp::samples::Block;
use crate::heat::product::CookedProduct;

const DAY: i64 = 1_795_564_800; // 2026-11-25T00:00:00Z

pub fn at(hour: i64, minute: i64, second: i64) -> At {
    (DAY + hour * 3600 + minute * 60 + second) * 1_000_000
}

pub fn line(points: &[(i64, i64, &str)]) -> Line {
    let sample = |(hour, minute, value): &(i64, i64, &str)| {
        let t_s = rust_decimal::Decimal::from(hour * 3600 + minute * 60);
        (t_s, crate::exact::decimal(value).expect("a decimal"))
    };
    let samples = points.iter().map(sample).collect();
    let correction = rust_decimal::Decimal::ZERO;
    let block = Block { begun_at: at(0, 0, 0), samples, unit: Unit::Fahrenheit, correction };
    Line::of([&block]).expect("a line")
}

fn limit() -> Limit {
    Limit { unit: Unit::Fahrenheit, at_least: Some(Exact::whole(155)), at_most: None }
}

fn probe(name: &str, points: &[(i64, i64, &str)]) -> Probe {
    Probe { name: name.into(), rack: 0, line: line(points), left_out_from: None, fall: None }
}

fn product(racks: usize, probes: Vec<Probe>) -> Product {
    Product { limit: limit(), racks: vec![Rack::default(); racks], probes }
}

fn rope() -> Product {
    let p1 = [
        (5, 40, "40.0"),
        (6, 40, "96.0"),
        (7, 40, "126.5"),
        (8, 25, "151.0"),
        (8, 41, "154.2"),
        (8, 44, "155.0"),
        (8, 50, "156.2"),
    ];
    product(4, vec![probe("P1", &p1)])
}

fn turkey() -> Product {
    let p2 = [
        (5, 40, "40.0"),
        (6, 40, "100.2"),
        (7, 40, "129.0"),
        (7, 52, "138.0"),
        (7, 54, "166.0"),
        (8, 10, "168.5"),
        (8, 50, "172.0"),
    ];
    let air = [
        (5, 40, "130"),
        (6, 40, "130"),
        (6, 41, "150"),
        (7, 40, "150"),
        (7, 41, "170"),
        (9, 30, "170"),
    ];
    let mut p2 = probe("P2", &p2);
    p2.fall = fall::find(&p2.line, &[line(&air)], 26.0);
    product(2, vec![p2])
}

fn ring() -> Product {
    let p3 = [
        (5, 40, "40.0"),
        (6, 40, "77.5"),
        (7, 40, "111.0"),
        (8, 40, "141.0"),
        (8, 52, "145.8"),
        (9, 2, "149.8"),
        (9, 24, "155.0"),
        (9, 26, "155.4"),
    ];
    product(1, vec![probe("P3", &p3)])
}

fn hand(minute: i64, verdict: Verdict, what: &str) -> HandReading {
    HandReading { at: at(8, minute, 0), verdict, what: what.into() }
}

fn meat() -> CookedProduct {
    let species = vec!["pork".to_owned(), "beef".to_owned()];
    CookedProduct { species, cured: true, form: Some("link".into()) }
}

#[test]
fn the_rope_meets_155_at_0844_and_the_table_is_support() {
    let rope = rope();
    let before = judge(&rope, &[0, 1, 2, 3], at(8, 43, 59), Stage::InTheHouse);
    assert_eq!((before.verdict, before.met_at), (Verdict::Undetermined, None));
    assert_eq!(before.stands_at.as_deref(), Some("154.2 of 155 [degF]"));
    let met = judge(&rope, &[0, 1, 2, 3], at(8, 50, 0), Stage::Pulled);
    assert_eq!((met.verdict, met.met_at), (Verdict::Pass, Some(at(8, 44, 0))));
    assert_eq!(met.decided_by, "probes");
    assert_eq!(met.reasons, ["P1 reached 155 [degF] at 2026-11-25T08:44:00Z."]);
    // Row 150 asks 67 s (FSIS Appendix A, 64 FR 732).
    let rows = support(&rope, &meat(), at(8, 50, 0));
    assert!(rows.iter().any(|row| row.contains("row 150 ") && row.contains("T08:24:17Z")));
}

#[test]
fn the_turkey_is_undetermined_until_it_is_read_by_hand() {
    let mut turkey = turkey();
    let lost = judge(&turkey, &[0, 1], at(8, 10, 0), Stage::InTheHouse);
    assert_eq!((lost.verdict, lost.met_at, lost.decided_by), (Verdict::Undetermined, None, ""));
    assert!(
        lost.reasons[0]
            .starts_with("P2 counts no more from 2026-11-25T07:52:00Z on: not in product")
    );
    for rack in &mut turkey.racks {
        rack.hand.push(hand(20, Verdict::Fail, "154.5 is below the limit of at least 155."));
    }
    let cook_on = judge(&turkey, &[0, 1], at(8, 21, 0), Stage::InTheHouse);
    assert_eq!((cook_on.verdict, cook_on.decided_by), (Verdict::Undetermined, "reading"));
    assert_eq!(judge(&turkey, &[0], at(8, 21, 0), Stage::Pulled).verdict, Verdict::Fail);
    turkey.racks[0].hand.push(hand(47, Verdict::Pass, "all five values meet it"));
    let half = judge(&turkey, &[0, 1], at(8, 52, 0), Stage::InTheHouse);
    assert_eq!(half.verdict, Verdict::Undetermined, "one of two racks was read");
    turkey.racks[1].hand.push(hand(47, Verdict::Pass, "all five values meet it"));
    let met = judge(&turkey, &[0, 1], at(8, 52, 0), Stage::Pulled);
    assert_eq!((met.verdict, met.met_at), (Verdict::Pass, Some(at(8, 47, 0))));
    assert_eq!(met.decided_by, "reading");
    let bird = CookedProduct { species: vec!["turkey".into()], ..meat() };
    let rows = support(&turkey, &bird, at(8, 52, 0));
    assert_eq!(rows, ["us.cook.meat-6.5-log is not written for product that holds turkey"]);
}

#[test]
fn the_ring_may_not_go_at_145_8_whatever_the_table_says() {
    let ring = ring();
    let early = judge(&ring, &[0], at(8, 52, 0), Stage::Pulled);
    assert_eq!((early.verdict, early.met_at), (Verdict::Fail, None));
    assert_eq!(early.stands_at.as_deref(), Some("145.8 of 155 [degF]"));
    let rows = support(&ring, &meat(), at(8, 52, 0));
    let met = ["138", "139", "140", "141", "142", "143"];
    assert_eq!(rows.len(), 1 + met.len());
    for (row, temperature) in rows[1..].iter().zip(met) {
        assert!(row.starts_with(&format!("row {temperature} ")), "{row}");
    }
    // Row 143 asks 360 s (FSIS Appendix A, 64 FR 732).
    assert!(rows[6].contains("420 s of 360 s"), "{}", rows[6]);
    let met = judge(&ring, &[0], at(9, 24, 0), Stage::Pulled);
    assert_eq!((met.verdict, met.met_at), (Verdict::Pass, Some(at(9, 24, 0))));
}

#[test]
fn the_coldest_probe_that_counts_decides() {
    let mut two = rope();
    two.probes.push(probe("P4", &[(5, 40, "40.0"), (8, 49, "154.9")]));
    assert_eq!(judge(&two, &[0], at(8, 50, 0), Stage::Pulled).verdict, Verdict::Fail);
    // A probe below the limit is not outvoted by a reading by hand; leaving it out is signed.
    two.racks[0].hand.push(hand(49, Verdict::Pass, "156"));
    assert_eq!(judge(&two, &[0], at(8, 50, 0), Stage::Pulled).verdict, Verdict::Fail);
    two.probes[1].left_out_from = Some(at(6, 0, 0));
    assert_eq!(judge(&two, &[0], at(8, 50, 0), Stage::Pulled).verdict, Verdict::Pass);
    two.probes.push(Probe { line: Line::default(), ..probe("P5", &[]) });
    let silent = judge(&two, &[0], at(8, 50, 0), Stage::Pulled);
    assert_eq!(silent.verdict, Verdict::Fail, "a probe that shows nothing is not passed over");
}

#[test]
fn a_colder_reading_by_hand_after_the_probes_met_the_limit_stands() {
    let mut rope = rope();
    rope.racks[2].hand.push(hand(46, Verdict::Fail, "151 is below the limit of at least 155."));
    let colder = judge(&rope, &[0, 1, 2, 3], at(8, 50, 0), Stage::InTheHouse);
    assert_eq!((colder.verdict, colder.decided_by), (Verdict::Undetermined, "reading"));
    rope.racks[2].hand.push(hand(49, Verdict::Pass, "156"));
    let met = judge(&rope, &[0, 1, 2, 3], at(8, 50, 0), Stage::Pulled);
    assert_eq!(met.verdict, Verdict::Pass);
}

#[test]
fn what_a_probe_shows_after_its_rack_was_pulled_proves_nothing_of_the_cook() {
    let mut ring = ring();
    ring.racks[0].pulled_at = Some(at(9, 10, 0));
    let late = judge(&ring, &[0], at(9, 30, 0), Stage::Pulled);
    assert_eq!(
        (late.verdict, late.stands_at.as_deref()),
        (Verdict::Fail, Some("149.8 of 155 [degF]"))
    );
}

#[test]
fn a_limit_in_another_unit_is_met_exactly_and_shown_as_set() {
    let mut ring = ring();
    ring.limit = Limit {
        unit: Unit::Celsius,
        at_least: Some("68.3".parse().expect("a decimal")),
        at_most: None,
    };
    // 68.3 Cel is 154.94 [degF] (plain arithmetic), passed between 09:02 and 09:24.
    let met = judge(&ring, &[0], at(9, 24, 0), Stage::Pulled);
    assert_eq!(met.verdict, Verdict::Pass);
    let early = judge(&ring, &[0], at(8, 52, 0), Stage::Pulled);
    assert_eq!(early.stands_at.as_deref(), Some("63.22 of 68.3 Cel"));
    ring.limit.at_most = Some(Exact::whole(80));
    assert_eq!(judge(&ring, &[0], at(9, 24, 0), Stage::Pulled).verdict, Verdict::Undetermined);
}

#[test]
fn a_probe_that_comes_hot_from_the_load_before_proves_nothing() {
    let hot = probe("P1", &[(5, 40, "160.0"), (5, 41, "90.0"), (5, 45, "41.0"), (7, 0, "130.0")]);
    let judged = judge(&product(1, vec![hot]), &[0], at(7, 0, 0), Stage::Pulled);
    assert_eq!((judged.verdict, judged.met_at), (Verdict::Fail, None));
    assert_eq!(judged.stands_at.as_deref(), Some("130 of 155 [degF]"));
}
