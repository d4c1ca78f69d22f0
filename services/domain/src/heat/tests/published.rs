//! Values that others have published or that follow from plain algebra.
//! It never leaves the tests.

use super::samples::{coldest, curve, exact, fahrenheit, warmest};
use crate::curve::Curve;
use crate::exact::Exact;
use crate::heat::bounds::Taken;
use crate::heat::cooling::{self, Chill, ChilledProduct, OptionResult};
use crate::heat::growth::{self, Parameters, SETS};
use crate::heat::integral::{Integral, integrate};
use crate::heat::model::Model;
use crate::heat::product::CookedProduct;
use crate::heat::{Between, dwell, humidity, probes::Stretch};
use crate::rules::Rule;
use crate::units::Unit;
use crate::verdict::Verdict;

fn model(reference_f: i64, z_f: &str, d_s: &str) -> Model {
    let (reference_f, z_f, d_s) = (Exact::whole(reference_f), exact(z_f), exact(d_s));
    Model { reference_f, z_f, d_s, floor_f: None, r_squared: None }
}

fn integral(curve: Curve, model: &Model, target: Option<&str>) -> Integral {
    let target = target.map(exact);
    integrate(&coldest(&[curve]), model, target.as_ref()).expect("an integral")
}

/// D at 140 [degF] of the line through the published 6.5-log table, 112/65 min.
const D140_S: &str = "103.384615384615384615";

fn ramp() -> Curve {
    fahrenheit(&[
        (0, "110"),
        (300, "118"),
        (600, "126"),
        (900, "132"),
        (1200, "136"),
        (1500, "139"),
        (1800, "140.5"),
        (2100, "141"),
        (2400, "138"),
        (2700, "128"),
    ])
}

#[test]
fn the_closed_form_and_its_lower_bound() {
    // Computed by numerical quadrature of 10^((T-140)/10) over the same straight lines.
    let found = integral(ramp(), &model(140, "10", D140_S), Some("6.5"));
    assert!((found.equivalent_s / 60.0 - 21.172).abs() < 0.0005);
    assert!((found.log_reduction - 12.287).abs() < 0.0005);
    assert!((found.lower_bound_s / 60.0 - 16.071).abs() < 0.0005);
    assert_eq!(found.judgement.expect("a judgement").verdict, Verdict::Pass);
}

#[test]
fn the_floor_cuts_a_piece_at_its_crossing() {
    let whole = fahrenheit(&[(0, "120"), (100, "140")]);
    let cut = fahrenheit(&[(50, "130"), (100, "140")]);
    let floored = Model { floor_f: Some(Exact::whole(130)), ..model(140, "10", "60") };
    let (with_floor, above) =
        (integral(whole, &floored, None), integral(cut, &model(140, "10", "60"), None));
    assert!((with_floor.equivalent_s / above.equivalent_s - 1.0).abs() < 1e-14);
    assert_eq!(with_floor.lower_bound_s, 0.0);
    let at_floor = integral(fahrenheit(&[(0, "130"), (100, "130")]), &floored, None);
    assert!((at_floor.equivalent_s - 10.0).abs() < 1e-12);
}

#[test]
fn a_target_met_exactly_passes_and_one_second_less_fails() {
    // 6.5 x 60 s at the reference are 390 s exactly.
    let held = |end: i64| fahrenheit(&[(0, "140"), (end, "140")]);
    let found = integral(held(390), &model(140, "10", "60"), Some("6.5"));
    assert_eq!(found.judgement.expect("a judgement").verdict, Verdict::Pass);
    assert_eq!(found.reached_at_s, Some(390.0));
    let found = integral(held(389), &model(140, "10", "60"), Some("6.5"));
    assert_eq!(found.judgement.expect("a judgement").verdict, Verdict::Fail);
    assert_eq!(found.reached_at_s, None);
}

#[test]
fn the_target_is_reached_on_the_curves_own_clock() {
    // 6 log of L. monocytogenes in 2.0 min at 70 Cel (benchmark of 1989); z 7.5 Cel, from memory.
    let held = curve(Unit::Celsius, &[("1000", "65"), ("1600", "65")]);
    let found = integral(held, &model(158, "13.5", "20"), Some("6"));
    let reached_at_s = found.reached_at_s.expect("reached");
    assert!((reached_at_s - 1000.0 - 9.283 * 60.0).abs() < 0.03, "{reached_at_s}");
    // On a ramp the sum to the instant found is the target itself.
    let target = integral(ramp(), &model(140, "10", D140_S), Some("6.5"));
    let at = format!("{:.9}", target.reached_at_s.expect("reached"));
    let value = ramp().at(&exact(&at)).expect("within").to_f64();
    let mut samples: Vec<(String, String)> = Vec::new();
    for sample in ramp().samples().iter().filter(|s| Exact::from(s.t_s) < exact(&at)) {
        samples.push((sample.t_s.to_string(), sample.value.to_string()));
    }
    samples.push((at, format!("{value:.12}")));
    let text: Vec<(&str, &str)> = samples.iter().map(|(t, v)| (t.as_str(), v.as_str())).collect();
    let part = integral(curve(Unit::Fahrenheit, &text), &model(140, "10", D140_S), None);
    assert!((part.log_reduction - 6.5).abs() < 1e-9, "{}", part.log_reduction);
}

#[test]
fn the_coldest_of_crossing_probes_counts_at_each_instant() {
    // They cross at half time at 130: the lower of both is 120 to 130 and back.
    let rising = fahrenheit(&[(0, "120"), (100, "140")]);
    let falling = fahrenheit(&[(0, "140"), (100, "120")]);
    let tent = fahrenheit(&[(0, "120"), (50, "130"), (100, "120")]);
    let by = model(130, "10", "60");
    let both = integrate(&coldest(&[rising.clone(), falling.clone()]), &by, None);
    let one = integral(tent, &by, None);
    let both = both.expect("an integral");
    assert!((both.equivalent_s / one.equivalent_s - 1.0).abs() < 1e-14);
    let probes = coldest(&[rising, falling]);
    assert_eq!(probes.peak().expect("a peak").value_f, Exact::whole(130));
    let stay = dwell::longest_stay(&probes, &Exact::whole(125)).expect("a stay");
    assert_eq!((stay.from_s, stay.to_s), (Exact::whole(25), Exact::whole(75)));
    let touch = dwell::longest_stay(&probes, &Exact::whole(130)).expect("a touch");
    assert_eq!(touch.length_s(), Exact::zero());
}

fn table(id: &str, species: &[&str], cured: bool, curve: Curve) -> dwell::TableResult {
    let species = species.iter().map(|s| (*s).to_owned()).collect();
    let product = CookedProduct { species, cured, form: Some("link".into()) };
    dwell::judge(&coldest(&[curve]), Rule::newest(id).expect("a rule"), &product)
}

#[test]
fn no_row_is_met_by_stays_added_together() {
    let found = table("us.cook.meat-6.5-log", &["pork"], false, ramp());
    assert_eq!(found.judgement.verdict, Verdict::Fail);
    assert_eq!(found.met_row, None);
    let longest = found.rows[10].longest.as_ref().map(Stretch::length_s);
    assert_eq!(longest, Some(Exact::whole(500)));
    let dip = |low: &str| {
        fahrenheit(&[
            (0, "145"),
            (150, "145"),
            (151, low),
            (152, "145"),
            (300, "145"),
            (301, "100"),
        ])
    };
    assert!(table("us.cook.meat-7-log", &["beef"], false, dip("145")).rows[15].met);
    assert!(!table("us.cook.meat-7-log", &["beef"], false, dip("144.9")).rows[15].met);
}

#[test]
fn an_instant_at_158_meets_the_last_row() {
    let touch = |peak: &str| fahrenheit(&[(0, "40"), (250, peak), (500, "40")]);
    let found = table("us.cook.meat-6.5-log", &["pork"], false, touch("158"));
    assert_eq!(found.met_row, Some(28));
    assert_eq!(found.judgement.verdict, Verdict::Pass);
    let found = table("us.cook.meat-6.5-log", &["pork"], false, touch("157.99"));
    assert_eq!(found.judgement.verdict, Verdict::Fail);
    assert_eq!(found.rows[28].longest, None);
}

#[test]
fn tables_are_refused_outside_their_scope() {
    let hot = || fahrenheit(&[(0, "165"), (300, "165")]);
    let verdict = |id: &str, species: &[&str], cured: bool| {
        let found = table(id, species, cured, hot());
        (found.applies, found.judgement.verdict)
    };
    let refused = (false, Verdict::Fail);
    assert_eq!(verdict("us.cook.meat-6.5-log", &["pork", "turkey"], true), refused);
    assert_eq!(verdict("us.cook.meat-7-log", &["chicken"], true), refused);
    assert_eq!(verdict("us.cook.poultry-point", &["pork"], true), refused);
    assert_eq!(verdict("us.cook.poultry-7-log.chicken-12-fat", &["turkey"], false), refused);
    assert_eq!(verdict("us.cook.patty", &["beef"], false), refused);
    assert_eq!(verdict("us.cook.poultry-point", &["turkey", "pork"], true), (true, Verdict::Pass));
}

#[test]
fn poultry_needs_five_degrees_more_without_cure() {
    let at = |value: &str| fahrenheit(&[(0, "100"), (300, value), (600, "100")]);
    let verdict = |cured, value| {
        table("us.cook.poultry-point", &["turkey"], cured, at(value)).judgement.verdict
    };
    assert_eq!(verdict(true, "155"), Verdict::Pass);
    assert_eq!(verdict(true, "154.9"), Verdict::Fail);
    assert_eq!(verdict(false, "159.9"), Verdict::Fail);
    assert_eq!(verdict(false, "160"), Verdict::Pass);
}

#[test]
fn a_partial_table_says_nothing_above_its_last_row() {
    let id = "us.cook.poultry-7-log.chicken-12-fat";
    let held = |value: &str, end| fahrenheit(&[(0, value), (end, value)]);
    assert_eq!(table(id, &["chicken"], false, held("144", 996)).judgement.verdict, Verdict::Pass);
    assert_eq!(table(id, &["chicken"], false, held("144", 995)).judgement.verdict, Verdict::Fail);
    let hotter = table(id, &["chicken"], false, held("144.1", 995));
    assert_eq!(hotter.judgement.verdict, Verdict::Undetermined);
}

#[test]
fn humidity_is_asked_for_a_quarter_and_at_least_an_hour() {
    let rule = Rule::newest(humidity::RULE).expect("a rule");
    let cook = |end| Stretch { from_s: Exact::zero(), to_s: Exact::whole(end) };
    let readings = [(0, "80"), (1000, "90"), (4600, "90"), (4700, "80"), (20_000, "80")];
    let readings: Vec<humidity::Reading> =
        readings.iter().map(|(t, v)| (Exact::whole(*t), exact(v))).collect();
    let judge = |end| humidity::judge(rule, &readings, &cook(end)).expect("a result");
    assert_eq!(judge(10_000).held_s, Exact::whole(3600));
    assert_eq!(judge(14_400).judgement.verdict, Verdict::Pass);
    assert_eq!(judge(14_404).required_s, Exact::whole(3601));
    assert_eq!(judge(14_404).judgement.verdict, Verdict::Fail);
    assert_eq!(judge(4000).held_s, Exact::whole(3000));
    assert_eq!(judge(4000).judgement.verdict, Verdict::Fail);
    // An hour and more without readings might have been humid.
    assert_eq!(judge(24_000).judgement.verdict, Verdict::Undetermined);
}

fn options(curve: Curve, edition: &str, product: &ChilledProduct) -> Vec<OptionResult> {
    let probes = warmest(&[curve]);
    let chill = Chill {
        probes: &probes,
        product,
        cook_ended_s: Exact::zero(),
        chill_started_s: None,
        between: Between::Linear,
    };
    cooling::judge(&chill, edition)
}

#[test]
fn a_reheat_restarts_nothing() {
    // Falls to 130 at 100 s, rises to 131, is below for good at 300 s; falls through 80 twice.
    let curve = fahrenheit(&[
        (0, "140"),
        (100, "130"),
        (200, "131"),
        (300, "130"),
        (5400, "80"),
        (5450, "81"),
        (5500, "80"),
        (9000, "40"),
    ]);
    let found = options(curve, "2021", &ChilledProduct::default());
    assert_eq!(found[0].limbs[0].taken, Some(Taken::known(Exact::whole(5400))));
    assert_eq!(found[0].limbs[0].judgement.verdict, Verdict::Pass);
    assert_eq!(found[0].limbs[1].taken, Some(Taken::known(Exact::whole(3600))));
}

#[test]
fn the_clock_begins_at_the_first_highest_reading() {
    // It comes up through 130 before the chill; only what follows the highest reading counts.
    let curve =
        fahrenheit(&[(0, "100"), (1000, "158"), (1100, "158"), (2000, "130"), (4000, "80")]);
    let found = options(curve, "1999", &ChilledProduct::default());
    assert_eq!(found[0].limbs[0].taken, Some(Taken::known(Exact::whole(2000))));
    assert_eq!(found[0].limbs[1].judgement.verdict, Verdict::Undetermined);
}

#[test]
fn option_3_opens_only_to_what_is_on_record() {
    let curve = || fahrenheit(&[(0, "130"), (18_000, "80"), (54_000, "45")]);
    let product = |nitrite: Option<&str>, erythorbate: Option<&str>| ChilledProduct {
        cured: true,
        ingoing_nitrite_ppm: nitrite.map(exact),
        erythorbate_ppm: erythorbate.map(exact),
    };
    let applies = |edition, product| {
        let found = options(curve(), edition, &product);
        (found[2].applies, found[2].judgement.verdict)
    };
    let (open, shut) = ((true, Verdict::Pass), (false, Verdict::Fail));
    assert_eq!(applies("1999", product(Some("100"), None)), open);
    assert_eq!(applies("1999", product(Some("99.9"), None)), shut);
    assert_eq!(applies("1999", product(None, None)), shut);
    assert_eq!(applies("2021", product(Some("100"), None)), shut);
    assert_eq!(applies("2021", product(Some("100"), Some("250"))), open);
    let uncured = ChilledProduct { cured: false, ..product(Some("156"), Some("547")) };
    assert_eq!(applies("1999", uncured), shut);
}

#[test]
fn growth_rates_of_both_sets() {
    // Computed from the cardinal model of Rosso et al. 1993 with the published parameters.
    let celsius = [12.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0];
    let beef = [0.0271, 0.2028, 0.8295, 1.8082, 3.0274, 4.3088, 5.3463, 5.5682, 3.7683];
    let chicken = [0.0575, 0.2149, 0.6959, 1.4405, 2.4292, 3.6211, 4.9146, 5.9657, 4.4068];
    for (set, rates) in SETS.iter().zip([beef, chicken]) {
        for (celsius, rate) in celsius.iter().zip(rates) {
            assert!((set.rate_per_h(*celsius) - rate).abs() < 6e-5, "{} {celsius}", set.id);
        }
    }
}

fn grown(curve: Curve, set: &Parameters, h0: f64) -> growth::Growth {
    let start = growth::Start { h0, y0_log10: 2.5, ymax_log10: 8.5 };
    growth::predict(&warmest(&[curve]), set, start, 1.0).expect("growth")
}

#[test]
fn growth_in_exponential_chills() {
    // T = 54.4 (7.2/54.4)^(t/tf) Cel; computed by integrating the differential equations.
    let exponential = |hours: f64| {
        let steps = 600;
        let samples: Vec<(String, String)> = (0..=steps)
            .map(|step| {
                let part = f64::from(step) / f64::from(steps);
                let celsius = 54.4 * (7.2f64 / 54.4).powf(part);
                (format!("{:.3}", part * hours * 3600.0), format!("{celsius:.6}"))
            })
            .collect();
        let text: Vec<(&str, &str)> =
            samples.iter().map(|(t, v)| (t.as_str(), v.as_str())).collect();
        curve(Unit::Celsius, &text)
    };
    let hours = [6.5, 9.0, 12.0];
    let potential = [4.754, 6.583, 8.777];
    let no_lag = [4.730, 5.899, 5.999];
    let beef = [0.554, 2.242, 4.422];
    let chicken = [0.551, 2.071, 4.055];
    for at in 0..3 {
        let found = grown(exponential(hours[at]), &SETS[0], 10.0);
        assert!((found.log10_growth - beef[at]).abs() < 0.002, "{}", found.log10_growth);
        assert!((found.potential_log10 - potential[at]).abs() < 0.002);
        let found = grown(exponential(hours[at]), &SETS[0], 0.0);
        assert!((found.log10_growth - no_lag[at]).abs() < 0.002, "{}", found.log10_growth);
        let found = grown(exponential(hours[at]), &SETS[1], 9.0);
        assert!((found.log10_growth - chicken[at]).abs() < 0.002, "{}", found.log10_growth);
    }
}

#[test]
fn growth_in_a_chill_by_the_book() {
    let chill = || fahrenheit(&[(0, "120"), (3600, "80"), (21_600, "55"), (39_600, "40")]);
    for (h0, expected) in [(8.0, 0.567), (9.0, 0.298), (10.0, 0.135), (0.0, 3.90)] {
        let found = grown(chill(), &SETS[0], h0);
        assert!((found.log10_growth - expected).abs() < 0.005, "{h0} {}", found.log10_growth);
        assert!((found.upper_log10_growth - found.log10_growth - 0.82).abs() < 1e-12);
    }
}
