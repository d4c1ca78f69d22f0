//! Two days of a plant, cook and chill, with every time known to the second.
//! It never leaves the tests. The readings are invented; the limits are those of the rules.

use super::samples::{clock, coldest, exact, fahrenheit, warmest};
use crate::curve::Curve;
use crate::exact::Exact;
use crate::heat::bounds::Taken;
use crate::heat::cooling::{self, Chill, ChilledProduct, OptionResult};
use crate::heat::dwell::{self, TableResult};
use crate::heat::product::CookedProduct;
use crate::heat::{Between, heating};
use crate::rules::Rule;
use crate::verdict::Verdict;

fn rope() -> Curve {
    fahrenheit(&[
        (clock(5, 40, 0), "40.0"),
        (clock(6, 40, 0), "96.0"),
        (clock(7, 40, 0), "126.5"),
        (clock(8, 25, 0), "151.0"),
        (clock(8, 41, 0), "154.2"),
        (clock(8, 44, 0), "155.0"),
        (clock(8, 50, 0), "156.2"),
    ])
}

fn ring_to_0852() -> Curve {
    fahrenheit(&[
        (clock(5, 40, 0), "40.0"),
        (clock(6, 40, 0), "77.5"),
        (clock(7, 40, 0), "111.0"),
        (clock(8, 40, 0), "141.0"),
        (clock(8, 52, 0), "145.8"),
    ])
}

fn by_meat_table(curve: Curve) -> TableResult {
    let rule = Rule::newest("us.cook.meat-6.5-log").expect("a rule");
    let product = CookedProduct {
        species: vec!["pork".into(), "beef".into()],
        cured: true,
        form: Some("link".into()),
    };
    dwell::judge(&coldest(&[curve]), rule, &product)
}

fn row(table: &TableResult, temperature_f: i64) -> &dwell::RowResult {
    let wanted = Exact::whole(temperature_f);
    table.rows.iter().find(|row| row.temperature_f == wanted).expect("a row")
}

#[test]
fn the_rope_meets_its_limit_to_the_second() {
    let probes = coldest(&[rope()]);
    let stay = dwell::longest_stay(&probes, &Exact::whole(155)).expect("reached");
    assert_eq!(stay.from_s, Exact::whole(clock(8, 44, 0)));
    let table = by_meat_table(rope());
    assert!(row(&table, 150).met);
    // Row 150 asks 67 s; the curve passes 150 [degF] 67 s before it is met.
    let stay = row(&table, 150).longest.as_ref().expect("a stay");
    let met_at = &stay.from_s + &row(&table, 150).required_s;
    assert_eq!(met_at.floor(), Exact::whole(clock(8, 24, 16)));
    assert_eq!(met_at.round(), Exact::whole(clock(8, 24, 17)));
}

#[test]
fn the_ring_meets_rows_138_to_143_when_pulled_early() {
    let table = by_meat_table(ring_to_0852());
    assert_eq!(row(&table, 143).longest.as_ref().map(|s| s.length_s()), Some(Exact::whole(420)));
    assert_eq!(row(&table, 143).required_s, Exact::whole(360));
    let met: Vec<String> =
        table.rows.iter().filter(|r| r.met).map(|r| r.temperature_f.to_string()).collect();
    assert_eq!(met, ["138", "139", "140", "141", "142", "143"]);
    assert_eq!(
        table.met_row.map(|at| table.rows[at].temperature_f.to_string()),
        Some("143".into())
    );
    let probes = coldest(&[ring_to_0852()]);
    assert_eq!(dwell::longest_stay(&probes, &Exact::whole(155)), None);
    assert_eq!(probes.peak().expect("a peak").value_f, exact("145.8"));
}

#[test]
fn the_warmest_opens_and_the_coldest_closes_the_come_up() {
    let ring = fahrenheit(&[
        (clock(5, 40, 0), "40.0"),
        (clock(6, 40, 0), "77.5"),
        (clock(7, 40, 0), "111.0"),
        (clock(8, 40, 0), "141.0"),
    ]);
    let limit = |limit_s, between| heating::HeatingLimit {
        from_f: Exact::whole(50),
        to_f: Exact::whole(130),
        limit_s: Exact::whole(limit_s),
        between,
    };
    let both = coldest(&[rope(), ring]);
    let found = heating::judge(&both, &limit(8837, Between::Linear));
    assert_eq!(found.taken, Some(Taken::known(Exact::ratio(61_860, 7).expect("a ratio"))));
    assert_eq!(found.judgement.verdict, Verdict::Fail);
    let found = heating::judge(&coldest(&[rope()]), &limit(9900, Between::Bounds));
    let taken = found.taken.expect("bounds");
    assert_eq!((taken.least_s, taken.most_s), (Some(Exact::whole(3600)), Some(Exact::whole(9900))));
    assert_eq!(found.judgement.verdict, Verdict::Pass);
}

fn chill(curve: Curve, between: Between, product: &ChilledProduct) -> Vec<OptionResult> {
    let probes = warmest(&[curve]);
    let start = clock(10, 5, 0);
    let chill = Chill {
        probes: &probes,
        product,
        cook_ended_s: Exact::whole(start),
        chill_started_s: Some(Exact::whole(start + 240)),
        between,
    };
    cooling::judge(&chill, "1999")
}

fn by_hand() -> Curve {
    fahrenheit(&[
        (clock(10, 5, 0), "158.4"),
        (clock(11, 10, 0), "107.4"),
        (clock(12, 0, 0), "83.1"),
        (clock(12, 11, 0), "79.0"),
    ])
}

/// Minute by minute `36 + 122.4 e^(-0.0083 t)`, to the tenth.
fn by_logger() -> Curve {
    let start = clock(10, 5, 0);
    let value = |minute: i64| 36.0 + 122.4 * (-0.0083 * minute as f64).exp();
    let samples: Vec<(i64, String)> =
        (0..=411).map(|minute| (start + 60 * minute, format!("{:.1}", value(minute)))).collect();
    fahrenheit(&samples.iter().map(|(t, v)| (*t, v.as_str())).collect::<Vec<_>>())
}

#[test]
fn hand_readings_prove_bounds_and_nothing_more() {
    let options = chill(by_hand(), Between::Bounds, &ChilledProduct::default());
    let limb = &options[0].limbs[0];
    let taken = limb.taken.clone().expect("bounds");
    assert_eq!(taken.least_s, Some(Exact::whole(50 * 60)));
    assert_eq!(taken.most_s, Some(Exact::whole(126 * 60)));
    assert_eq!(limb.judgement.verdict, Verdict::Undetermined);
    let second = options[0].limbs[1].taken.clone().expect("bounds");
    assert_eq!((second.least_s, second.most_s), (Some(Exact::zero()), None));
    assert_eq!(options[1].judgement.verdict, Verdict::Undetermined);
    assert!(!options[2].applies);
    assert_eq!(cooling::overall(&options).verdict, Verdict::Undetermined);
    // What straight lines would have said: about 87.1 minutes, and a pass.
    let options = chill(by_hand(), Between::Linear, &ChilledProduct::default());
    let taken_s = options[0].limbs[0].taken.clone().and_then(|t| t.most_s).expect("a time");
    assert!((taken_s.to_f64() / 60.0 - 87.1).abs() < 0.05);
    assert_eq!(options[0].limbs[0].judgement.verdict, Verdict::Pass);
}

#[test]
fn the_logger_decides_by_a_minute_and_a_half() {
    let probes = warmest(&[by_logger()]);
    let since = probes.worst_moment().expect("a moment");
    let passes = |level: i64| {
        let runs = probes.good_runs(&probes.level(&Exact::whole(level)), &since);
        probes.time(&runs[0].from)
    };
    assert_eq!(passes(130), Exact::whole(clock(10, 36, 45)));
    assert_eq!(passes(80), Exact::whole(clock(12, 8, 15)));
    let options = chill(by_logger(), Between::Linear, &ChilledProduct::default());
    let taken_min = |option: usize, limb: usize| {
        let taken = options[option].limbs[limb].taken.clone().and_then(|t| t.most_s);
        taken.expect("a time") / Exact::whole(60)
    };
    assert_eq!(taken_min(0, 0), exact("91.5"));
    assert_eq!(options[0].limbs[0].judgement.verdict, Verdict::Fail);
    assert_eq!(taken_min(0, 1), exact("287.75"));
    assert_eq!(options[0].limbs[1].judgement.verdict, Verdict::Pass);
    assert!((taken_min(1, 0).to_f64() - 78.0).abs() < 0.5);
    assert_eq!(options[1].judgement.verdict, Verdict::Fail);
    assert!(!options[2].applies);
    assert_eq!(cooling::overall(&options).verdict, Verdict::Fail);
}
