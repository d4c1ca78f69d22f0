//! How fast stored cooks are recomputed and one cook is judged, beside plain loops over the same
//! readings. It never asserts a time: it prints what was measured.

use std::sync::LazyLock;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use domain::curve::{Curve, Sample};
use domain::exact::Exact;
use domain::heat::Between;
use domain::heat::cooling::{self, Chill, ChilledProduct};
use domain::heat::dwell;
use domain::heat::growth::{self, SETS, Start};
use domain::heat::heating::{self, HeatingLimit};
use domain::heat::integral::integrate;
use domain::heat::model::Model;
use domain::heat::probes::{Probes, Worst};
use domain::heat::product::CookedProduct;
use domain::heat::tenths::{RateTable, TenthsCurve};
use domain::rules::Rule;
use domain::units::Unit;
use rust_decimal::Decimal;

const READINGS: usize = 2000;
const PROBES: usize = 6;
const COOKS: usize = 10_000;

fn main() {
    divan::main();
}

fn model() -> Model {
    Model {
        reference_f: Exact::whole(140),
        z_f: Exact::whole(10),
        d_s: Exact::whole(103),
        floor_f: Some(Exact::whole(130)),
        r_squared: None,
    }
}

/// A core that warms from 40 to about 160 [degF] with a tenth or two of noise, in tenths.
fn readings(seed: usize) -> Vec<i16> {
    let mut state = seed as u64 * 2 + 1;
    let reading = |at: usize| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let noise = ((state >> 33) % 5) as f64 - 2.0;
        let warmed = 1600.0 - 1200.0 * (-(at as f64) / 500.0).exp();
        (warmed + noise + (seed % 7) as f64) as i16
    };
    (0..READINGS).map(reading).collect()
}

static CURVES: LazyLock<Vec<TenthsCurve>> =
    LazyLock::new(|| (0..600).filter_map(|seed| TenthsCurve::pack(&readings(seed))).collect());

/// One core: 600 curves of 2,000 readings, packed in bytes.
#[divan::bench]
fn packed_curves(bencher: Bencher) {
    let table = RateTable::new(&model());
    let curves = &*CURVES;
    bencher.counter(ItemsCount::new(curves.len() * READINGS)).bench_local(|| {
        let table = table.as_ref()?;
        let done = curves.iter().filter_map(|curve| table.equivalent_s(black_box(curve), 10.0));
        Some(done.sum::<f64>())
    });
}

/// The peer: exp2 in double of every reading, without decoding and without closed form.
#[divan::bench]
fn peer_exp2(bencher: Bencher) {
    let plain: Vec<Vec<i16>> = (0..60).map(readings).collect();
    bencher.counter(ItemsCount::new(plain.len() * READINGS)).bench_local(|| {
        let rate =
            |tenths: &i16| ((f64::from(*tenths) / 10.0 - 140.0) * 0.332_192_809_488_736_2).exp2();
        black_box(&plain).iter().flatten().map(rate).sum::<f64>()
    });
}

/// 10,000 cooks of six probes and 2,000 readings on one core; 600 curves stand for the 60,000.
#[divan::bench(sample_count = 10)]
fn ten_thousand_cooks(bencher: Bencher) {
    let curves = &*CURVES;
    let rounds = COOKS * PROBES / curves.len();
    bencher.counter(ItemsCount::new(COOKS * PROBES * READINGS)).bench_local(|| {
        let table = RateTable::new(&model())?;
        let once =
            || curves.iter().filter_map(|c| table.equivalent_s(black_box(c), 10.0)).sum::<f64>();
        Some((0..rounds).map(|_| once()).sum::<f64>())
    });
}

fn curves(chilling: bool) -> Vec<Curve> {
    let curve = |seed| {
        let mut values = readings(seed);
        if chilling {
            values.reverse();
        }
        let sample = |(at, value): (usize, &i16)| Sample {
            t_s: Decimal::from(at * 10),
            value: Decimal::new((*value).into(), 1),
        };
        Curve::new(Unit::Fahrenheit, values.iter().enumerate().map(sample).collect())
    };
    (0..PROBES).filter_map(curve).collect()
}

/// Every result of one cook of six curves: integral, table, come-up, peak.
#[divan::bench]
fn one_cook(bencher: Bencher) {
    let curves = curves(false);
    let rule = Rule::newest("us.cook.meat-6.5-log");
    let limit = HeatingLimit {
        from_f: Exact::whole(50),
        to_f: Exact::whole(130),
        limit_s: Exact::whole(21_600),
        between: Between::Linear,
    };
    let target = Exact::ratio(13, 2);
    bencher.bench_local(|| {
        let probes = Probes::new(black_box(&curves), Worst::Coldest, &Exact::zero()).ok()?;
        let integral = integrate(&probes, &model(), target.as_ref());
        let table = rule.map(|rule| dwell::judge(&probes, rule, &CookedProduct::default()));
        Some((integral, table, heating::judge(&probes, &limit), probes.peak()))
    });
}

/// Every result of one chill of six curves: three options and growth.
#[divan::bench]
fn one_chill(bencher: Bencher) {
    let curves = curves(true);
    let product = ChilledProduct::default();
    bencher.bench_local(|| {
        let probes = Probes::new(black_box(&curves), Worst::Warmest, &Exact::zero()).ok()?;
        let chill = Chill {
            probes: &probes,
            product: &product,
            cook_ended_s: Exact::zero(),
            chill_started_s: Some(Exact::zero()),
            between: Between::Linear,
        };
        let start = Start { h0: 10.0, y0_log10: 2.5, ymax_log10: 8.5 };
        let grown = growth::predict(&probes, &SETS[0], start, 1.0);
        Some((cooling::judge(&chill, "2021"), grown))
    });
}
