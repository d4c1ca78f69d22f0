//! The course of a link's core and surface through a schedule of house, bath and cooler.
//! It never stands in for a probe: a projection supports a decision and judges nothing.

use super::conduction::{Conduction, Place, Step};
use super::correction::{self, Course, Interval, Reading};
use super::cylinder::Surface;
use crate::exact::Exact;

/// The rule that carries the citation of the cylinder's series.
pub const RULE_ID: &str = "science.heat.endless-cylinder";
/// The longest schedule that is projected, in minutes: a week.
pub const MOST_MINUTES: i64 = 7 * 24 * 60;
/// The most steps of a schedule.
pub const MOST_STEPS: usize = 100;
/// Seconds between two points of a projected curve, at most.
const SPACING_S: i64 = 60;

/// A stretch of the schedule.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// Its length, above 0; all together at most [`MOST_MINUTES`].
    pub minutes: Exact,
    /// What the surface tends to, Cel: the wet bulb while it is wet, else the dry bulb.
    pub medium_c: f64,
    /// What the surface feels of it.
    pub surface: Surface,
}

/// A link and what is done to it.
#[derive(Clone, Debug)]
pub struct Cook {
    /// Above 0.
    pub diameter_m: f64,
    /// Above 0.
    pub alpha_m2_s: f64,
    /// All through at the start, Cel.
    pub initial_c: f64,
    /// At least one, in order.
    pub schedule: Vec<Stretch>,
    /// What the core is to pass, Cel.
    pub target_c: Option<f64>,
    /// Readings of the core so far, in rising time from the start of the schedule.
    pub readings: Vec<Reading>,
}

/// One point of the projection.
#[derive(Clone, Debug)]
pub struct Point {
    /// Seconds from the start.
    pub t_s: Exact,
    /// Cel.
    pub core_c: f64,
    /// Cel.
    pub surface_c: f64,
}

/// The projection.
#[derive(Clone, Debug)]
pub struct Projection {
    /// When the core first passes the target, if it does before the schedule ends.
    pub reached_at_s: Option<f64>,
    /// From 0 to the end of the last step, at most 60 s apart, with the end of every step.
    pub points: Vec<Point>,
    /// Biot number in the first step, corrected by the readings; nothing without a film.
    pub biot: Option<f64>,
    /// Bounds of `reached_at_s`, when there are readings and a target that the schedule may reach.
    pub interval: Option<Interval>,
    /// What a person should know before relying on it.
    pub cautions: Vec<String>,
}

/// Projects a cook.
pub fn project(cook: &Cook) -> Projection {
    let given: Vec<Step> = cook.schedule.iter().map(Stretch::step).collect();
    let radius_m = cook.diameter_m / 2.0;
    let rate_per_s = cook.alpha_m2_s / (radius_m * radius_m);
    let course = Course { rate_per_s, initial_c: cook.initial_c, steps: &given };
    let corrected = correction::correct(course, &cook.readings);
    let steps = corrected.as_ref().map_or(&given, |(correction, _)| &correction.steps);
    let heat = conduction(rate_per_s, cook.initial_c, steps);
    let reached_at_s = cook.target_c.and_then(|target_c| heat.first_pass_s(target_c));
    let fitted = corrected.as_ref();
    let bounds = cook.target_c.zip(fitted).map(|(target_c, (correction, used))| {
        correction.interval(course, used, target_c, reached_at_s)
    });
    Projection {
        reached_at_s,
        points: points(&cook.schedule, &heat),
        biot: steps.first().and_then(|step| step.surface.biot()),
        interval: bounds.filter(|bounds| bounds.low_s.is_some()),
        cautions: cautions(cook, fitted.is_some(), bounds),
    }
}

impl Stretch {
    fn step(&self) -> Step {
        let duration_s = 60.0 * self.minutes.to_f64();
        Step { duration_s, medium_c: self.medium_c, surface: self.surface }
    }
}

fn conduction(rate_per_s: f64, initial_c: f64, steps: &[Step]) -> Conduction {
    let first_look = |step: &Step| step.duration_s.min(SPACING_S as f64);
    let shortest_s = steps.iter().map(first_look).fold(f64::INFINITY, f64::min);
    let count = Conduction::modes_needed(rate_per_s, shortest_s, steps);
    Conduction::new(rate_per_s, initial_c, steps, count)
}

fn points(schedule: &[Stretch], heat: &Conduction) -> Vec<Point> {
    let point = |t_s: Exact| {
        let at = |place| heat.at(t_s.to_f64(), place);
        let (core_c, surface_c) = (at(Place::Core), at(Place::Surface));
        Point { t_s, core_c, surface_c }
    };
    let spacing_s = Exact::whole(SPACING_S);
    let mut points = vec![point(Exact::zero())];
    let mut start_s = Exact::zero();
    for stretch in schedule {
        let end_s = &start_s + &(&stretch.minutes * &Exact::whole(60));
        let mut t_s = &start_s + &spacing_s;
        while t_s < end_s {
            let next = &t_s + &spacing_s;
            points.push(point(t_s));
            t_s = next;
        }
        points.push(point(end_s.clone()));
        start_s = end_s;
    }
    points
}

fn cautions(cook: &Cook, is_corrected: bool, interval: Option<Interval>) -> Vec<String> {
    let mut said = vec![
        "A projection, not a measurement: a limit is met by a probe in the product.".to_owned(),
    ];
    if !cook.readings.is_empty() && !is_corrected {
        said.push(
            "Fewer than two readings lie within the schedule: the film is not corrected."
                .to_owned(),
        );
    }
    let freezes = |c: f64| c < 0.0;
    if freezes(cook.initial_c) || cook.schedule.iter().any(|stretch| freezes(stretch.medium_c)) {
        said.push("Below 0 Cel the heat of freezing is left out.".to_owned());
    }
    if interval.is_some_and(|interval| interval.high_s.is_none()) {
        said.push(
            "At the late end of the interval the core does not pass the target before the \
             schedule ends."
                .to_owned(),
        );
    }
    let has_passed = |target_c: f64| {
        let rises = cook.initial_c < target_c;
        cook.readings
            .iter()
            .any(|r| if rises { r.core_c >= target_c } else { r.core_c <= target_c })
    };
    if cook.target_c.is_some_and(has_passed) {
        said.push("A reading so far already stands at or past the target.".to_owned());
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::process::food::Composition;
    use crate::verdict::Verdict;
    use proptest::prelude::*;

    const AT_155_F: f64 = (155.0 - 32.0) / 1.8;

    fn celsius(fahrenheit: f64) -> f64 {
        (fahrenheit - 32.0) / 1.8
    }

    /// A link of pork and beef batter (58 % moisture, 24 % fat) in a medium or several.
    fn link(diameter_m: f64, initial_c: f64, media: &[(&str, f64, f64)]) -> Cook {
        let parts = [58, 14, 24, 1, 3].map(Exact::whole);
        let food = Composition::new(&parts).and_then(|c| c.properties(40.0)).expect("properties");
        let stretch = |(minutes, medium_c, film): &(&str, f64, f64)| Stretch {
            minutes: minutes.parse().expect("minutes"),
            medium_c: *medium_c,
            surface: Surface::of_film(*film, diameter_m, food.conductivity_w_mk),
        };
        Cook {
            diameter_m,
            alpha_m2_s: food.alpha_m2_s,
            initial_c,
            schedule: media.iter().map(stretch).collect(),
            target_c: Some(AT_155_F),
            readings: Vec::new(),
        }
    }

    fn minutes_to(target_c: f64, cook: Cook) -> f64 {
        project(&Cook { target_c: Some(target_c), ..cook }).reached_at_s.expect("reached") / 60.0
    }

    #[test]
    fn time_to_target_is_that_of_the_full_series() {
        // Carslaw and Jaeger, Conduction of Heat in Solids, chapter 7: the series worked out for
        // a 36 mm link from 4 Cel in air of 80 Cel.
        for (film, want_min) in [(25.0, 51.73), (15.0, 76.4), (40.0, 38.0)] {
            let got = minutes_to(AT_155_F, link(0.036, 4.0, &[("200", 80.0, film)]));
            assert!((got - want_min).abs() < 0.06, "{film}: {got}");
        }
        for (to_c, in_air, in_water) in
            [(54.44, 11.47, 5.19), (26.67, 32.96, 11.36), (7.22, 72.17, 22.73)]
        {
            let hot = |medium_c, film| link(0.036, AT_155_F, &[("200", medium_c, film)]);
            let (air, water) = (hot(0.0, 20.0), hot(1.0, 300.0));
            let got = (minutes_to(to_c, air), minutes_to(to_c, water));
            assert!((got.0 - in_air).abs() < 0.006, "{to_c}: {got:?}");
            assert!((got.1 - in_water).abs() < 0.006, "{to_c}: {got:?}");
        }
    }

    #[test]
    fn a_hog_casing_link_cooks_and_chills_as_houses_do() {
        // Common practice, no source: hog casing of 32 to 35 mm, house from 150 to 200 F, finish
        // at 155 F inside, then an ice bath. The surface sits at wet bulb until the last step.
        let media = |cook: &'static str| {
            [
                ("45", celsius(112.0), 22.0),
                ("75", celsius(128.0), 22.0),
                (cook, celsius(170.0), 22.0),
                ("30", celsius(33.0), 300.0),
            ]
        };
        for diameter_m in [0.032, 0.035] {
            let reached_s = project(&link(diameter_m, 4.0, &media("90"))).reached_at_s;
            let hours = reached_s.expect("reached") / 3600.0;
            assert!((2.2..4.0).contains(&hours), "{diameter_m} m: {hours} h");
            // Pulled at the very moment of 155 F: the limit is met exactly, and the bath takes
            // the core through the first limb of any cooling option within a quarter of an hour.
            let pulled = minutes_to(AT_155_F, link(diameter_m, 4.0, &media("90")));
            let cook = link(diameter_m, 4.0, &media("90"));
            let steps: Vec<Step> = cook.schedule.iter().map(Stretch::step).collect();
            let radius_m = diameter_m / 2.0;
            let heat = conduction(cook.alpha_m2_s / (radius_m * radius_m), 4.0, &steps);
            let at_pull_c = heat.at(60.0 * pulled, Place::Core);
            assert!((at_pull_c - AT_155_F).abs() < 1e-9, "{at_pull_c}");
            let (reading_f, limit_f) = (Exact::whole(155), Exact::whole(155));
            assert_eq!(Verdict::met(reading_f >= limit_f), Verdict::Pass);
            let chill = |to_f| {
                let bath = link(diameter_m, AT_155_F, &[("120", celsius(33.0), 300.0)]);
                minutes_to(celsius(to_f), bath)
            };
            assert!(chill(80.0) < 15.0 && chill(40.0) < 35.0, "{} {}", chill(80.0), chill(40.0));
        }
    }

    #[test]
    fn a_wet_surface_never_lets_the_core_past_wet_bulb() {
        let projection = project(&link(0.036, 4.0, &[("600", celsius(130.0), 25.0)]));
        assert_eq!(projection.reached_at_s, None);
        let last = projection.points.last().expect("a point");
        assert!((last.core_c - celsius(130.0)).abs() < 0.001);
    }

    #[test]
    fn the_longest_schedule_is_answered() {
        let media: Vec<_> = (0..MOST_STEPS)
            .map(|at| ("100.8", 20.0 + at as f64 % 50.0, 10.0 + at as f64))
            .collect();
        let mut cook = link(0.06, 4.0, &media);
        cook.readings =
            (0..1000).map(|at| Reading { t_s: f64::from(at) * 60.0, core_c: 30.0 }).collect();
        let projection = project(&cook);
        assert_eq!(projection.points.last().map(|p| p.t_s.clone()), Some(Exact::whole(604_800)));
        assert!(projection.points.iter().all(|p| p.core_c.is_finite() && p.surface_c.is_finite()));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        #[test]
        fn curves_hold_every_end_and_no_long_gap(
            minutes in proptest::collection::vec(1u32..5000, 1..6),
        ) {
            let texts: Vec<String> =
                minutes.iter().map(|hundredths| format!("{}e-2", hundredths)).collect();
            let media: Vec<_> = texts.iter().map(|text| (text.as_str(), 70.0, 25.0)).collect();
            let points = project(&link(0.036, 4.0, &media)).points;
            let mut end_s = Exact::zero();
            for hundredths in minutes {
                end_s = end_s + Exact::ratio(i64::from(hundredths) * 60, 100).expect("a number");
                prop_assert!(points.iter().any(|point| point.t_s == end_s));
            }
            for pair in points.windows(2) {
                let gap = &pair[1].t_s - &pair[0].t_s;
                prop_assert!(gap.is_positive() && gap <= Exact::whole(60));
            }
        }

        #[test]
        fn a_thicker_link_is_never_sooner(millimetres in 15u32..60, more in 1u32..20) {
            let at = |mm: u32| {
                let link = link(f64::from(mm) / 1000.0, 4.0, &[("2000", 80.0, 25.0)]);
                minutes_to(AT_155_F, link)
            };
            prop_assert!(at(millimetres) < at(millimetres + more));
        }
    }
}
