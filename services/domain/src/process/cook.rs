//! The course of a link's core and surface through a schedule of house, bath and cooler.
//! It never stands in for a probe: a projection supports a decision and judges nothing.

use super::conduction::{Conduction, Place, Step};
use super::correction::{self, Correction, Course, Interval, Reading};
use super::cylinder::Surface;
use crate::exact::Exact;

/// The rule that carries the citation of the cylinder's series.
pub const RULE_ID: &str = "science.heat.endless-cylinder";
/// The longest schedule that is projected, in minutes: a week.
pub const MOST_MINUTES: i64 = 7 * 24 * 60;
/// The most steps of a schedule.
pub const MOST_STEPS: usize = 200;
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
    /// Bounds of `reached_at_s`, when there are readings and a target.
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
    let interval = cook.target_c.zip(corrected.as_ref()).map(|(target_c, (correction, used))| {
        correction.interval(course, used, target_c, reached_at_s)
    });
    Projection {
        reached_at_s,
        points: points(&cook.schedule, &heat),
        biot: steps.first().and_then(|step| step.surface.biot()),
        interval,
        cautions: cautions(cook, corrected.as_ref().map(|(correction, _)| correction), interval),
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

fn cautions(
    cook: &Cook,
    correction: Option<&Correction>,
    interval: Option<Interval>,
) -> Vec<String> {
    let mut said = vec![
        "A projection, not a measurement: a limit is met by a probe in the product.".to_owned(),
    ];
    if !cook.readings.is_empty() && correction.is_none() {
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
