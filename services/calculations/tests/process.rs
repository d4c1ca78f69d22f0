//! Throws arbitrary requests at the kinds of air, cook and instruments.
//! It never asks for a certain answer: only that there is one, of finite numbers, in bounded time.

use calculations::{cook_projection, instrument_check, psychrometrics};
use proptest::option;
use proptest::prelude::*;
use wire::v1;

fn number() -> impl Strategy<Value = String> {
    prop_oneof![
        20 => (-500i32..2500).prop_map(|tenths| format!("{}", f64::from(tenths) / 10.0)),
        5 => (0i64..1_000_000_000).prop_map(|parts| format!("{parts}e-9")),
        1 => Just("1e-28".to_owned()),
        1 => Just("7.9e28".to_owned()),
        1 => Just("-1".to_owned()),
        1 => Just("0".to_owned()),
        1 => Just("NaN".to_owned()),
    ]
}

fn quantity(units: &'static [&'static str]) -> impl Strategy<Value = v1::Quantity> {
    (option::weighted(0.95, number()), prop::sample::select(units))
        .prop_map(|(value, unit)| v1::Quantity { value, unit: unit.to_owned() })
}

fn temperature() -> impl Strategy<Value = v1::Quantity> {
    quantity(&["[degF]", "Cel", "Cel", "Cel", "K", "kg"])
}

fn length() -> impl Strategy<Value = v1::Quantity> {
    quantity(&["mm", "mm", "cm", "[in_i]", "m", "Cel"])
}

fn mass() -> impl Strategy<Value = v1::Quantity> {
    quantity(&["kg", "[lb_av]", "g", "mm"])
}

fn curve() -> impl Strategy<Value = v1::Curve> {
    let sample = (option::weighted(0.98, number()), option::weighted(0.98, 0i32..900)).prop_map(
        |(t_s, tenths)| v1::Sample {
            t_s,
            value: tenths.map(|tenths| f64::from(tenths) / 10.0).map(|value| value.to_string()),
        },
    );
    let rising = proptest::collection::vec(0i32..900, 0..40).prop_map(|values| {
        let sample = |(at, tenths): (usize, i32)| v1::Sample {
            t_s: Some((60 * at).to_string()),
            value: Some((f64::from(tenths) / 10.0).to_string()),
        };
        values.into_iter().enumerate().map(sample).collect::<Vec<_>>()
    });
    prop_oneof![rising, proptest::collection::vec(sample, 0..5)]
        .prop_map(|samples| v1::Curve { unit: "Cel".to_owned(), samples })
}

fn step() -> impl Strategy<Value = v1::CookStep> {
    let minutes = option::weighted(0.98, number());
    let bulbs = (option::weighted(0.9, temperature()), option::weighted(0.3, temperature()));
    (minutes, bulbs, option::weighted(0.3, number())).prop_map(|(minutes, bulbs, film_w_m2k)| {
        v1::CookStep { minutes, dry_bulb: bulbs.0, wet_bulb: bulbs.1, film_w_m2k }
    })
}

fn properties() -> impl Strategy<Value = v1::ThermalProperties> {
    let alpha = prop_oneof![3 => Just("1.35e-7".to_owned()), 1 => number()];
    (option::weighted(0.98, alpha), option::weighted(0.9, number())).prop_map(
        |(alpha_m2_s, conductivity_w_mk)| v1::ThermalProperties { alpha_m2_s, conductivity_w_mk },
    )
}

fn composition() -> impl Strategy<Value = v1::FoodComposition> {
    (0u32..=101, option::of(number())).prop_map(|(moisture, ash_pct)| v1::FoodComposition {
        moisture_pct: Some(moisture.to_string()),
        fat_pct: Some((101 - moisture).to_string()),
        ash_pct,
        ..Default::default()
    })
}

fn projection() -> impl Strategy<Value = v1::CookProjectionRequest> {
    let link = (option::weighted(0.98, length()), option::weighted(0.98, temperature()));
    let food = prop_oneof![
        4 => properties().prop_map(|given| (Some(given), None)),
        4 => composition().prop_map(|given| (None, Some(given))),
        1 => (option::of(properties()), option::of(composition())),
    ];
    let course = (
        proptest::collection::vec(step(), 0..6),
        option::of(number()),
        option::of(temperature()),
        option::of(curve()),
    );
    let at = option::weighted(0.2, temperature());
    (link, food, course, at).prop_map(|(link, food, course, properties_at)| {
        let (steps, film_w_m2k, target, curve) = course;
        v1::CookProjectionRequest {
            diameter: link.0,
            initial: link.1,
            properties: food.0,
            composition: food.1,
            properties_at,
            film_w_m2k,
            steps,
            target,
            curve,
            max_gap_s: None,
        }
    })
}

fn air() -> impl Strategy<Value = v1::PsychrometricsRequest> {
    let bulbs = (option::weighted(0.98, temperature()), option::of(temperature()));
    let numbers = proptest::collection::vec(option::weighted(0.4, number()), 5);
    (bulbs, numbers, option::of(length())).prop_map(|(bulbs, mut numbers, diameter)| {
        let mut next = || numbers.pop().flatten();
        v1::PsychrometricsRequest {
            dry_bulb: bulbs.0,
            wet_bulb: bulbs.1,
            relative_humidity_pct: next(),
            pressure_pa: next(),
            altitude_m: next(),
            film_w_m2k: next(),
            diameter,
            density_kg_m3: next(),
        }
    })
}

fn instrument() -> impl Strategy<Value = v1::InstrumentCheckRequest> {
    let bath = prop::sample::select(&["ice", "boiling", "oil", ""][..]);
    let thermometer = (option::of(temperature()), bath, option::of(number())).prop_map(
        |(reading, bath, altitude_m)| v1::ThermometerCheck {
            reading,
            bath: bath.to_owned(),
            altitude_m,
        },
    );
    let masses = (option::weighted(0.9, mass()), option::weighted(0.9, mass()), option::of(mass()));
    let scale = (masses, any::<Option<bool>>()).prop_map(|(masses, acceptance)| v1::ScaleCheck {
        class: "III".to_owned(),
        division: masses.0,
        load: masses.1,
        reading: masses.2,
        acceptance,
    });
    let tolerance = option::of(prop_oneof![temperature(), mass()]);
    (option::of(thermometer), option::of(scale), tolerance).prop_map(
        |(thermometer, scale, tolerance)| v1::InstrumentCheckRequest {
            thermometer,
            scale,
            tolerance,
        },
    )
}

/// No text of an answer is a number that is none.
fn finite(answer: &impl std::fmt::Debug) -> bool {
    let text = format!("{answer:?}");
    !["\"NaN\"", "\"inf\"", "\"-inf\""].iter().any(|word| text.contains(word))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_air_has_an_answer_or_faults(request in air()) {
        match psychrometrics::calculate(request) {
            Ok(answer) => prop_assert!(finite(&answer), "{answer:?}"),
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn any_instrument_has_a_verdict_or_faults(request in instrument()) {
        match instrument_check::calculate(request) {
            Ok(answer) => {
                prop_assert!(finite(&answer), "{answer:?}");
                prop_assert!(answer.verdict.is_some() && !answer.reasons.is_empty());
                prop_assert!(!answer.rules.is_empty() && !answer.cautions.is_empty());
            }
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }

    #[test]
    fn any_cook_has_curves_or_faults(request in projection()) {
        match cook_projection::calculate(request) {
            Ok(answer) => {
                prop_assert!(finite(&answer), "{answer:?}");
                prop_assert!(answer.core.is_some() && answer.surface.is_some());
            }
            Err(faults) => prop_assert!(!faults.is_empty()),
        }
    }
}

/// A link in steps of one medium, as it stands in most requests.
fn in_house(readings: usize) -> v1::CookProjectionRequest {
    let quantity = |value: &str, unit: &str| {
        Some(v1::Quantity { value: Some(value.to_owned()), unit: unit.to_owned() })
    };
    let samples = (0..readings).map(|at| v1::Sample {
        t_s: Some(at.to_string()),
        value: Some(format!("{:.1}", 170.0 - 130.0 * (-(at as f64) / 2000.0).exp())),
    });
    let curve = v1::Curve { unit: "[degF]".to_owned(), samples: samples.collect() };
    v1::CookProjectionRequest {
        diameter: quantity("36", "mm"),
        initial: quantity("4", "Cel"),
        properties: Some(v1::ThermalProperties {
            alpha_m2_s: Some("1.35e-7".to_owned()),
            conductivity_w_mk: Some("0.45".to_owned()),
        }),
        film_w_m2k: Some("25".to_owned()),
        steps: vec![v1::CookStep {
            minutes: Some("2000".to_owned()),
            dry_bulb: quantity("170", "[degF]"),
            ..Default::default()
        }],
        target: quantity("155", "[degF]"),
        curve: (readings > 0).then_some(curve),
        ..Default::default()
    }
}

#[test]
fn a_hundred_thousand_readings_are_answered_in_the_unit_of_the_curve() {
    let answer = cook_projection::calculate(in_house(100_000)).expect("an answer");
    assert_eq!(answer.core.map(|core| core.unit).as_deref(), Some("[degF]"));
    let interval = answer.interval_s.expect("an interval");
    let reached: f64 = answer.reached_at_s.expect("reached").parse().expect("a number");
    let [low, high] =
        [interval.low, interval.high].map(|end| end.expect("an end").parse::<f64>().expect("one"));
    assert!(low <= reached && reached <= high, "{low} {reached} {high}");
}

#[test]
fn a_schedule_of_more_than_a_week_is_refused() {
    let mut request = in_house(0);
    request.steps[0].minutes = Some("10080".to_owned());
    let answer = cook_projection::calculate(request.clone()).expect("a week");
    assert_eq!(answer.core.map(|core| core.samples.len()), Some(10_081));
    request.steps[0].minutes = Some("10080.0001".to_owned());
    let faults = cook_projection::calculate(request).expect_err("too long").into_vec();
    assert_eq!(faults[0].field, "steps");
}

#[test]
fn every_fault_of_a_request_is_named() {
    let mut request = in_house(0);
    request.diameter = None;
    request.film_w_m2k = Some("-1".to_owned());
    request.steps[0].minutes = None;
    request.target = Some(v1::Quantity { value: Some("1".to_owned()), unit: "kg".to_owned() });
    let faults = cook_projection::calculate(request).expect_err("faults").into_vec();
    let fields: Vec<_> = faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["diameter", "target.unit", "film_w_m2k", "steps[0].minutes"]);
}
