//! Whether the picture shows what it was given, and says in words what does not count.
//! How it looks, a person says.

use super::super::words::Language;
use super::*;

fn sample(t_s: u32, value: f64) -> v1::Sample {
    v1::Sample { t_s: Some(t_s.to_string()), value: Some(format!("{value:.1}")) }
}

/// A come-up with a stall, as cooks have one; invented.
fn curve(probe: &str, offset: f64) -> v1::LoadCurve {
    let degree = |minute: u32| {
        let part = f64::from(minute) / 240.0;
        40.0 + 120.0 * part.sqrt() + offset
    };
    v1::LoadCurve {
        probe: probe.into(),
        source: "probe".into(),
        unit: "[degF]".into(),
        begun_at: "2026-11-25T12:00:00Z".into(),
        samples: (0..240).step_by(5).map(|minute| sample(minute * 60, degree(minute))).collect(),
        ..Default::default()
    }
}

fn load() -> v1::Load {
    let probe = |probe: &str, left_out_from: &str| v1::LoadProbe {
        probe: probe.into(),
        left_out_from: left_out_from.into(),
        ..Default::default()
    };
    v1::Load {
        products: vec![v1::LoadProduct {
            check: "CCP-2".into(),
            met_at: "2026-11-25T15:30:00Z".into(),
            ..Default::default()
        }],
        racks: vec![v1::LoadRack {
            pulled_at: "2026-11-25T15:45:00Z".into(),
            ..Default::default()
        }],
        probes: vec![probe("P1", ""), probe("P2", "2026-11-25T14:00:00Z")],
        ..Default::default()
    }
}

fn drawn(language: Language) -> String {
    let load = load();
    let curves =
        v1::LoadCurves { curves: vec![curve("P1", 0.0), curve("P2", -9.0)], ..Default::default() };
    let limits = vec![Limit {
        value: "158".into(),
        unit: "[degF]".into(),
        label: "CCP-2: at least 158 °F".into(),
    }];
    let zone = TimeZone::get("America/New_York").expect("a zone");
    let words = Words::of(language);
    draw(&Picture { load: &load, curves: &curves, limits, zone, words }).expect("a picture")
}

#[test]
fn a_picture_names_curves_limits_and_moments() {
    let svg = drawn(Language::English);
    for said in ["P1", "P2 (left out)", "CCP-2: at least 158 °F", "CCP-2 met", "pulled", "°F"] {
        assert!(svg.contains(said), "{said} is not there");
    }
    assert!(svg.contains("07:00") || svg.contains("08:00"), "the plant's own time");
    assert!(drawn(Language::Spanish).contains("P2 (excluida)"));
}

#[test]
fn a_picture_carries_no_style_that_the_policy_refuses() {
    let svg = drawn(Language::English);
    assert!(!svg.contains("style="), "{svg}");
    assert!(!svg.contains("<script") && !svg.contains("<style"));
}

#[test]
fn names_are_told_apart_from_markup() {
    let load = load();
    let mut hostile = curve("<script>", 0.0);
    hostile.unit = "Cel".into();
    let curves = v1::LoadCurves { curves: vec![hostile], ..Default::default() };
    let words = Words::of(Language::English);
    let picture =
        Picture { load: &load, curves: &curves, limits: Vec::new(), zone: TimeZone::UTC, words };
    let svg = draw(&picture).expect("a picture");
    assert!(!svg.contains("<script>"), "{svg}");
}

#[test]
fn without_a_sample_there_is_no_picture() {
    let (load, curves) = (load(), v1::LoadCurves::default());
    let words = Words::of(Language::English);
    let picture =
        Picture { load: &load, curves: &curves, limits: Vec::new(), zone: TimeZone::UTC, words };
    assert_eq!(draw(&picture), None);
}

#[test]
fn words_of_a_limit_stand_at_the_side_where_no_curve_is() {
    let anchor = |offset: f64| {
        let curves = v1::LoadCurves { curves: vec![curve("P1", offset)], ..Default::default() };
        let label = "at least 158 °F".to_owned();
        let limits = vec![Limit { value: "158".into(), unit: "[degF]".into(), label }];
        let (load, zone, words) =
            (v1::Load::default(), TimeZone::UTC, Words::of(Language::English));
        let svg = draw(&Picture { load: &load, curves: &curves, limits, zone, words });
        let svg = svg.expect("a picture");
        let (before, _) = svg.split_once("at least 158").expect("the words");
        let (_, anchored) = before.rsplit_once("text-anchor=\"").expect("an anchor");
        anchored.split('"').next().expect("its name").to_owned()
    };
    assert_eq!(anchor(2.0), "start", "it ends at the limit");
    assert_eq!(anchor(-60.0), "end", "it ends far below");
}

#[test]
fn moments_at_one_place_share_their_words() {
    let moment = |x: i32, label: &str| (x, f64::from(x), label.to_owned());
    let found = together(vec![
        moment(300, "CCP-1 met"),
        moment(310, "pulled"),
        moment(312, "CCP-1 met"),
        moment(420, "pulled"),
    ]);
    let said: Vec<_> = found.iter().map(|(at, label)| (*at, label.as_str())).collect();
    assert_eq!(said, [(300.0, "CCP-1 met, pulled"), (420.0, "pulled")]);
}

#[test]
fn names_stand_in_the_order_of_their_curves() {
    let load = v1::Load::default();
    // The cold one is first in the list, and both end so near that one name makes room.
    let curves = vec![curve("cold", -4.0), curve("warm", 0.0)];
    let curves = v1::LoadCurves { curves, ..Default::default() };
    let words = Words::of(Language::English);
    let zone = TimeZone::UTC;
    let picture = Picture { load: &load, curves: &curves, limits: Vec::new(), zone, words };
    let svg = draw(&picture).expect("a picture");
    let height = |name: &str| -> f64 {
        let text = svg.split("<text ").find(|text| text.contains(&format!("\n{name}\n")));
        let y = text.and_then(|text| text.split(" y=\"").nth(1)).expect("a name");
        y.split('"').next().and_then(|y| y.parse().ok()).expect("a number")
    };
    assert!(height("warm") < height("cold"), "the warmer name stands above");
}
