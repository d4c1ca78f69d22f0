//! Arbitrary and bad requests for lethality and cooling: an answer or named faults, never a panic.
//! It never checks a formula; those have their tests beside the code.

use calculations::{cooling, lethality};
use domain::fault::Faults;
use proptest::option;
use proptest::prelude::*;
use wire::v1;

/// Numbers as text, sound and unsound.
fn number() -> impl Strategy<Value = Option<String>> {
    let text = prop_oneof![
        4 => (-50i32..400).prop_map(|n| n.to_string()),
        2 => (-5000i32..20_000).prop_map(|n| format!("{}.{}", n / 100, (n % 100).abs())),
        1 => prop::sample::select(vec![
            "0", "-0", "1e-28", "1e27", "79228162514264337593543950335", "x", "", "1e400",
            "0.1234567890123456789012345678",
        ]).prop_map(str::to_owned),
    ];
    option::weighted(0.95, text)
}

fn unit() -> impl Strategy<Value = String> {
    let unit = prop::sample::select(vec!["[degF]", "[degF]", "Cel", "K", "kg", ""]);
    unit.prop_map(str::to_owned)
}

fn quantity() -> impl Strategy<Value = Option<v1::Quantity>> {
    let given = (number(), unit()).prop_map(|(value, unit)| v1::Quantity { value, unit });
    option::of(given)
}

fn word() -> impl Strategy<Value = Option<String>> {
    option::of(
        prop::sample::select(vec![
            "us.cook.meat-6.5-log",
            "us.cook.poultry-point",
            "us.cook.patty",
            "us.cook.humidity-90",
            "us.cook.poultry-7-log.chicken-12-fat",
            "linear",
            "bounds",
            "1999",
            "2021",
            "pork",
            "chicken",
            "patty",
            "cp.chicken-roasted",
            "",
        ])
        .prop_map(str::to_owned),
    )
}

fn samples(most: usize) -> impl Strategy<Value = Vec<v1::Sample>> {
    prop::collection::vec((0u32..200, number()), 0..most).prop_map(|steps| {
        let mut t_s = 0;
        let sample = |(step, value): (u32, Option<String>)| {
            t_s += step;
            v1::Sample { t_s: Some(t_s.to_string()), value }
        };
        steps.into_iter().map(sample).collect()
    })
}

fn curve() -> impl Strategy<Value = v1::Curve> {
    (unit(), samples(12)).prop_map(|(unit, samples)| v1::Curve { unit, samples })
}

/// A curve that is sound, so that the judging is reached.
fn sound_curve() -> impl Strategy<Value = v1::Curve> {
    prop::collection::vec((1u32..300, 0u32..1700), 2..40).prop_map(|steps| {
        let mut t_s = 0;
        let sample = |(step, tenths): (u32, u32)| {
            t_s += step;
            let value = Some(format!("{}.{}", tenths / 10, tenths % 10));
            v1::Sample { t_s: Some(t_s.to_string()), value }
        };
        v1::Curve { unit: "[degF]".into(), samples: steps.into_iter().map(sample).collect() }
    })
}

fn any_curve() -> impl Strategy<Value = v1::Curve> {
    prop_oneof![1 => curve(), 4 => sound_curve()]
}

fn model() -> impl Strategy<Value = Option<v1::LethalityModel>> {
    let point =
        (quantity(), number()).prop_map(|(temperature, d_s)| v1::DeathPoint { temperature, d_s });
    let points = prop::collection::vec(point, 0..3);
    let parts = (quantity(), quantity(), number(), points, quantity());
    option::of(parts.prop_map(|(reference, z, d_s, points, floor)| v1::LethalityModel {
        reference,
        z,
        d_s,
        points,
        floor,
    }))
}

fn heating() -> impl Strategy<Value = Option<v1::HeatingLimit>> {
    let parts = (quantity(), quantity(), number(), word());
    option::of(parts.prop_map(|(from, to, limit_s, between_readings)| v1::HeatingLimit {
        from,
        to,
        limit_s,
        between_readings,
    }))
}

fn is_finite(text: &Option<String>) -> bool {
    text.as_ref().is_none_or(|text| text.parse::<f64>().is_ok_and(f64::is_finite))
}

fn names_each<T>(result: &Result<T, Faults>) -> bool {
    result.as_ref().err().is_none_or(|faults| {
        let faults = faults.clone().into_vec();
        !faults.is_empty() && faults.iter().all(|f| !f.field.is_empty() && !f.message.is_empty())
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn lethality_answers_or_names_faults(
        one in option::of(any_curve()), several in prop::collection::vec(any_curve(), 0..3),
        numbers in (option::weighted(0.2, number()), number(), number()), model in model(),
        words in (word(), word(), word()), cured in any::<Option<bool>>(),
        tolerance in quantity(), humid in samples(6), heating in heating(),
    ) {
        let product = v1::CookedProduct {
            species: words.0.into_iter().collect(), cured, form: words.1,
        };
        let humidity = (!humid.is_empty()).then(|| v1::HumidityReadings {
            rule_id: "us.cook.humidity-90".into(), samples: humid,
        });
        let request = v1::LethalityRequest {
            curve: one, curves: several, max_gap_s: numbers.0.flatten(), model,
            target_log: numbers.1, rule_id: words.2, product: Some(product),
            probe_tolerance: tolerance, cook_ended_t_s: numbers.2, humidity, heating,
        };
        let result = lethality::calculate(request);
        prop_assert!(names_each(&result));
        if let Some(found) = result.ok().and_then(|answer| answer.integrated) {
            for number in [&found.equivalent_s, &found.lower_bound_s, &found.log_reduction] {
                prop_assert!(number.is_some() && is_finite(number));
            }
            prop_assert!(is_finite(&found.reached_at_s));
        }
    }

    #[test]
    fn cooling_answers_or_names_faults(
        one in option::of(any_curve()), several in prop::collection::vec(any_curve(), 0..3),
        numbers in prop::collection::vec(option::weighted(0.3, number()), 10), edition in word(),
        between in word(), id in word(), cured in any::<Option<bool>>(), tolerance in quantity(),
    ) {
        let number = |at: usize| numbers[at].clone().flatten();
        let product = v1::ChilledProduct {
            cured, ingoing_nitrite_ppm: number(0), erythorbate_ppm: number(1),
            water_phase_salt_pct: number(2), water_activity: number(3),
        };
        let growth_model = v1::GrowthModel {
            id, h0: number(4), y0_log10: number(5), ymax_log10: number(6),
        };
        let request = v1::CoolingRequest {
            curve: one, curves: several, max_gap_s: number(7), product: Some(product), edition,
            cook_ended_t_s: number(8), chill_started_t_s: number(9), probe_tolerance: tolerance,
            between_readings: between, growth_model: Some(growth_model),
        };
        let result = cooling::calculate(request);
        prop_assert!(names_each(&result));
        if let Some(growth) = result.ok().and_then(|answer| answer.growth) {
            for number in [&growth.log10_growth, &growth.upper_log10_growth] {
                prop_assert!(is_finite(number));
            }
            if cured == Some(true) {
                prop_assert_eq!(growth.log10_growth, None);
            }
        }
    }
}

fn temperature(value: &str) -> Option<v1::Quantity> {
    Some(v1::Quantity { value: Some(value.into()), unit: "[degF]".into() })
}

/// Readings that swing from end to end of a table, a second apart.
fn swinging(count: u32) -> v1::Curve {
    let sample = |at: u32| {
        let value = if at.is_multiple_of(2) { "40" } else { "199" };
        v1::Sample { t_s: Some(at.to_string()), value: Some(value.into()) }
    };
    v1::Curve { unit: "[degF]".into(), samples: (0..count).map(sample).collect() }
}

#[test]
fn the_longest_curve_with_the_most_crossings_is_answered() {
    let request = v1::LethalityRequest {
        curve: Some(swinging(100_000)),
        rule_id: Some("us.cook.meat-7-log".into()),
        model: Some(v1::LethalityModel {
            reference: temperature("140"),
            z: temperature("10"),
            d_s: Some("60".into()),
            ..v1::LethalityModel::default()
        }),
        ..v1::LethalityRequest::default()
    };
    let answer = lethality::calculate(request).expect("an answer");
    assert_eq!(answer.table.map(|table| table.rows.len()), Some(29));
    let request =
        v1::CoolingRequest { curve: Some(swinging(100_000)), ..v1::CoolingRequest::default() };
    let answer = cooling::calculate(request).expect("an answer");
    assert_eq!(answer.options.len(), 3);
}

fn fields<T: std::fmt::Debug>(result: Result<T, Faults>) -> Vec<String> {
    result.expect_err("faults").into_vec().into_iter().map(|fault| fault.field).collect()
}

fn short_curve() -> Option<v1::Curve> {
    Some(swinging(2))
}

#[test]
fn every_fault_is_named_by_its_field() {
    let nothing = lethality::calculate(v1::LethalityRequest::default());
    assert_eq!(fields(nothing), ["model", "curve"]);
    let request = v1::LethalityRequest {
        curve: short_curve(),
        curves: vec![swinging(2)],
        model: Some(v1::LethalityModel::default()),
        target_log: Some("0".into()),
        rule_id: Some("us.cook.humidity-90".into()),
        product: Some(v1::CookedProduct {
            species: vec!["pork".into(), "fish".into()],
            cured: None,
            form: Some("ring".into()),
        }),
        heating: Some(v1::HeatingLimit {
            from: temperature("130"),
            to: temperature("130"),
            limit_s: Some("-1".into()),
            between_readings: Some("guess".into()),
        }),
        ..v1::LethalityRequest::default()
    };
    let wanted = [
        "model.reference",
        "model.z",
        "target_log",
        "rule_id",
        "product.species[1]",
        "product.form",
        "heating.limit_s",
        "heating.between_readings",
        "heating.to",
        "curves",
    ];
    assert_eq!(fields(lethality::calculate(request)), wanted);
}

#[test]
fn a_chill_that_starts_before_the_cook_ends_is_refused() {
    let request = v1::CoolingRequest {
        curve: short_curve(),
        cook_ended_t_s: Some("600".into()),
        chill_started_t_s: Some("599".into()),
        edition: Some("2001".into()),
        growth_model: Some(v1::GrowthModel {
            ymax_log10: Some("1".into()),
            ..v1::GrowthModel::default()
        }),
        ..v1::CoolingRequest::default()
    };
    let wanted = ["edition", "growth_model.ymax_log10", "chill_started_t_s"];
    assert_eq!(fields(cooling::calculate(request)), wanted);
}

#[test]
fn probes_that_share_no_time_are_refused_by_lines_and_not_by_hand() {
    let later = v1::Curve { samples: swinging(9).samples.split_off(6), ..swinging(2) };
    let request = |between: &str| v1::CoolingRequest {
        curves: vec![swinging(3), later.clone()],
        between_readings: Some(between.into()),
        ..v1::CoolingRequest::default()
    };
    assert_eq!(fields(cooling::calculate(request("linear"))), ["curves"]);
    assert!(cooling::calculate(request("bounds")).is_ok());
}
