//! What must hold of every curve, whatever its readings.
//! It never leaves the tests.

use std::slice::from_ref;

use proptest::prelude::*;
use rust_decimal::Decimal;

use super::samples::{coldest, warmest};
use crate::curve::{Curve, Sample};
use crate::exact::Exact;
use crate::heat::dwell::{self, TableResult};
use crate::heat::integral::integrate;
use crate::heat::model::Model;
use crate::heat::probes::{Probes, Worst};
use crate::heat::product::CookedProduct;
use crate::heat::tenths::{RateTable, TenthsCurve};
use crate::heat::{Between, cooling, heating};
use crate::rules::Rule;
use crate::units::Unit;

fn model() -> Model {
    Model {
        reference_f: Exact::whole(140),
        z_f: Exact::whole(10),
        d_s: Exact::whole(100),
        floor_f: Some(Exact::whole(130)),
        r_squared: None,
    }
}

/// Readings in tenths of [degF] every `step` seconds as a curve.
fn curve(readings: &[i64], step: i64) -> Curve {
    let sample = |(at, value): (usize, &i64)| Sample {
        t_s: Decimal::from(at as i64 * step),
        value: Decimal::new(*value, 1),
    };
    Curve::new(Unit::Fahrenheit, readings.iter().enumerate().map(sample).collect())
        .expect("a curve")
}

/// The same curve in Cel: exact, for readings that are whole multiples of 1.8.
fn in_celsius(curve: &Curve) -> Curve {
    let samples = curve.samples().iter().map(|sample| {
        let celsius = (Exact::from(sample.value) - Exact::whole(32)) * Exact::whole(5);
        let value = (celsius / Exact::whole(9)).to_decimal().expect("an end");
        Sample { t_s: sample.t_s, value }
    });
    Curve::new(Unit::Celsius, samples.collect()).expect("a curve")
}

/// The curve with a sample more in the middle of a segment.
fn with_middle(curve: &Curve, segment: usize) -> Curve {
    let mut samples = curve.samples().to_vec();
    let (a, b) = (samples[segment], samples[segment + 1]);
    let half = Decimal::new(5, 1);
    let middle = Sample { t_s: (a.t_s + b.t_s) * half, value: (a.value + b.value) * half };
    samples.insert(segment + 1, middle);
    Curve::new(curve.unit(), samples).expect("a curve")
}

fn table(probes: &Probes) -> TableResult {
    let rule = Rule::newest("us.cook.meat-6.5-log").expect("a rule");
    dwell::judge(probes, rule, &CookedProduct::default())
}

fn chill_options(probes: &Probes) -> Vec<cooling::OptionResult> {
    let chill = cooling::Chill {
        probes,
        product: &cooling::ChilledProduct::default(),
        cook_ended_s: Exact::zero(),
        chill_started_s: Some(Exact::whole(60)),
        between: Between::Linear,
    };
    cooling::judge(&chill, "1999")
}

fn come_up(probes: &Probes) -> heating::HeatingResult {
    let limit = heating::HeatingLimit {
        from_f: Exact::whole(50),
        to_f: Exact::whole(130),
        limit_s: Exact::whole(7200),
        between: Between::Linear,
    };
    heating::judge(probes, &limit)
}

fn equivalent_s(probes: &Probes, model: &Model) -> f64 {
    integrate(probes, model, None).expect("an integral").equivalent_s
}

fn near(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs())
}

fn cook() -> impl Strategy<Value = Vec<i64>> {
    prop::collection::vec(400i64..1700, 2..160)
}

/// The plain way: every level searched sample by sample with exact numbers.
fn longest_by_hand(curves: &[Curve], level: &Exact) -> Option<Exact> {
    let mut times: Vec<Exact> =
        curves.iter().flat_map(|c| c.samples().iter().map(|s| s.t_s.into())).collect();
    for curve in curves {
        for pair in curve.samples().windows(2) {
            let (v0, v1) = (Exact::from(pair[0].value), Exact::from(pair[1].value));
            if (v0 < *level) != (v1 < *level) {
                let (t0, t1) = (Exact::from(pair[0].t_s), Exact::from(pair[1].t_s));
                times.push(&t0 + &((t1 - &t0) * ((level - &v0) / (&v1 - &v0))));
            }
        }
    }
    times.sort();
    times.dedup();
    let above = |t: &Exact| curves.iter().all(|c| c.at(t).is_some_and(|v| v >= *level));
    let mut longest: Option<Exact> = None;
    let mut since: Option<Exact> = None;
    let mut last: Option<&Exact> = None;
    for time in &times {
        // Between neighbours every curve is straight and on one side, so the middle speaks for all.
        let joined = last.is_some_and(|last| above(&(&(last + time) / &Exact::whole(2))));
        if !above(time) {
            since = None;
        } else if !joined || since.is_none() {
            since = Some(time.clone());
        }
        if let Some(since) = &since {
            longest = longest.max(Some(time - since));
        }
        last = Some(time);
    }
    longest
}

proptest! {
    #[test]
    fn a_sample_on_the_line_changes_nothing(
        readings in cook(), at in any::<prop::sample::Index>(),
    ) {
        let plain = curve(&readings, 60);
        let more = with_middle(&plain, at.index(readings.len() - 1));
        let (a, b) = (coldest(from_ref(&plain)), coldest(from_ref(&more)));
        prop_assert_eq!(table(&a), table(&b));
        prop_assert_eq!(come_up(&a), come_up(&b));
        prop_assert_eq!(a.peak().map(|p| p.value_f), b.peak().map(|p| p.value_f));
        prop_assert!(near(equivalent_s(&a, &model()), equivalent_s(&b, &model()), 1e-12));
        let (a, b) = (warmest(&[plain]), warmest(&[more]));
        prop_assert_eq!(chill_options(&a), chill_options(&b));
    }

    #[test]
    fn fahrenheit_and_celsius_agree(readings in prop::collection::vec(3i64..90, 2..80)) {
        // 32 + 1.8 n [degF] is n Cel.
        let readings: Vec<i64> = readings.iter().map(|n| 320 + 18 * n).collect();
        let plain = curve(&readings, 60);
        let other = in_celsius(&plain);
        let (a, b) = (coldest(from_ref(&plain)), coldest(from_ref(&other)));
        prop_assert_eq!(table(&a), table(&b));
        prop_assert_eq!(a.peak(), b.peak());
        prop_assert_eq!(equivalent_s(&a, &model()), equivalent_s(&b, &model()));
        prop_assert_eq!(chill_options(&warmest(&[plain])), chill_options(&warmest(&[other])));
    }

    #[test]
    fn a_rise_of_z_makes_ten_times_as_much(readings in cook()) {
        let model = Model { floor_f: None, ..model() };
        let hotter: Vec<i64> = readings.iter().map(|value| value + 100).collect();
        let plain = equivalent_s(&coldest(&[curve(&readings, 60)]), &model);
        let hotter = equivalent_s(&coldest(&[curve(&hotter, 60)]), &model);
        prop_assert!(near(10.0 * plain, hotter, 1e-12), "{plain} {hotter}");
    }

    #[test]
    fn twice_the_time_makes_twice_as_much(readings in cook()) {
        let plain = equivalent_s(&coldest(&[curve(&readings, 60)]), &model());
        let slower = equivalent_s(&coldest(&[curve(&readings, 120)]), &model());
        prop_assert!(near(2.0 * plain, slower, 1e-12));
    }

    #[test]
    fn the_lower_bound_is_one(readings in cook()) {
        let model = Model { floor_f: None, ..model() };
        let found = integrate(&coldest(&[curve(&readings, 60)]), &model, None).expect("one");
        prop_assert!(found.lower_bound_s <= found.equivalent_s * (1.0 + 1e-12));
    }

    #[test]
    fn tolerance_never_helps(readings in cook(), tenths in 0i64..50) {
        let tolerance = Exact::ratio(tenths, 10).expect("a ratio");
        let plain = curve(&readings, 60);
        let worse = Probes::new(from_ref(&plain), Worst::Coldest, &tolerance).expect("probes");
        let plain = coldest(&[plain]);
        for (a, b) in table(&plain).rows.iter().zip(&table(&worse).rows) {
            prop_assert!(a.met || !b.met);
        }
        prop_assert!(equivalent_s(&worse, &model()) <= equivalent_s(&plain, &model()));
    }

    #[test]
    fn stays_agree_with_the_plain_way(
        first in prop::collection::vec(1290i64..1320, 2..40),
        second in prop::collection::vec(1290i64..1320, 2..40),
        level in 1285i64..1325,
    ) {
        let curves = [curve(&first, 60), curve(&second, 70)];
        let level = Exact::ratio(level, 10).expect("a ratio");
        let found = dwell::longest_stay(&coldest(&curves), &level).map(|stay| stay.length_s());
        prop_assert_eq!(found, longest_by_hand(&curves, &level));
    }

    #[test]
    fn the_same_probe_twice_is_one_probe(readings in cook()) {
        let plain = curve(&readings, 60);
        let (one, two) = (coldest(from_ref(&plain)), coldest(&[plain.clone(), plain.clone()]));
        prop_assert_eq!(table(&one), table(&two));
        prop_assert_eq!(equivalent_s(&one, &model()), equivalent_s(&two, &model()));
        let (one, two) = (warmest(from_ref(&plain)), warmest(&[plain.clone(), plain]));
        prop_assert_eq!(chill_options(&one), chill_options(&two));
    }

    #[test]
    fn the_fast_path_agrees_with_the_exact_curve(
        readings in prop::collection::vec(-200i16..2500, 1..120),
        smooth in prop::collection::vec(-9i16..10, 0..400),
    ) {
        let mut all = readings;
        for step in smooth {
            let last = all.last().copied().unwrap_or(1300);
            all.push((last + step).clamp(-220, 3920));
        }
        prop_assume!(all.len() > 1);
        let packed = TenthsCurve::pack(&all).expect("in range");
        prop_assert_eq!(packed.unpack(), Some(all.clone()));
        let wide: Vec<i64> = all.iter().map(|value| i64::from(*value)).collect();
        for floor_f in [None, Some(Exact::whole(130)), Exact::ratio(5333, 41)] {
            let model = Model { floor_f, ..model() };
            let fast = RateTable::new(&model).expect("a table").equivalent_s(&packed, 60.0);
            let exact = equivalent_s(&coldest(&[curve(&wide, 60)]), &model);
            prop_assert!(near(fast.expect("a sum"), exact, 1e-9), "{fast:?} {exact}");
        }
    }

    #[test]
    fn damaged_bytes_never_give_a_number_beyond_reason(
        first in any::<i16>(), bytes in prop::collection::vec(any::<u8>(), 0..200),
    ) {
        let table = RateTable::new(&model()).expect("a table");
        let curve = TenthsCurve::from_parts(first, bytes);
        let sound = curve.unpack().is_some_and(|r| r.iter().all(|v| (-220..=3920).contains(v)));
        let found = table.equivalent_s(&curve, 1.0);
        prop_assert_eq!(found.is_some(), sound);
        prop_assert_eq!(found.map(f64::to_bits), table.equivalent_s(&curve, 1.0).map(f64::to_bits));
    }
}
