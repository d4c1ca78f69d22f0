//! Corrects the film of a projection by the core readings so far, and says how sure the rest is.
//! It never trusts readings beyond their own scatter, nor properties beyond what is known of food.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::conduction::{Conduction, Place, Step};
use super::cylinder::Surface;

/// One reading of the core.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Seconds from the start of the first step.
    pub t_s: f64,
    /// Cel.
    pub core_c: f64,
}

/// What is cooked, and how.
#[derive(Clone, Copy, Debug)]
pub struct Course<'a> {
    /// Thermal diffusivity over the square of the radius, 1/s.
    pub rate_per_s: f64,
    /// The temperature all through at the start, Cel.
    pub initial_c: f64,
    /// The steps, in order.
    pub steps: &'a [Step],
}

/// The film that fits the readings.
#[derive(Clone, Debug)]
pub struct Correction {
    /// The steps with the corrected film.
    pub steps: Vec<Step>,
    film_log: f64,
    noise: Noise,
    spread: f64,
}

/// Bounds between which the core passes the target, 90 times of 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The early end; nothing when even that lies after the last step.
    pub low_s: Option<f64>,
    /// The late end; nothing when that lies after the last step.
    pub high_s: Option<f64>,
}

/// How the readings scatter about a fit.
#[derive(Clone, Copy, Debug)]
struct Noise {
    deviation_c: f64,
    /// Readings that are worth counting, as neighbours err alike.
    independent: f64,
}

/// Natural log of the factor by which a given film coefficient is off, one standard deviation:
/// position in the house alone can change it fivefold.
const FILM_SPREAD: f64 = 0.7;
/// The same where no film was given and one has to be found.
const UNKNOWN_FILM_SPREAD: f64 = 2.0;
/// Where the search for a film that was not given begins, as a Biot number.
const UNKNOWN_FILM_BIOT: f64 = 5.0;
/// The same for thermal diffusivity over the square of the radius: composition and diameter.
const RATE_SPREAD: f64 = 0.08;
/// No probe is trusted better than this, Cel.
const LEAST_DEVIATION_C: f64 = 0.1;
/// Readings used at most, evenly chosen.
const MOST_READINGS: usize = 400;
/// Shapes used while fitting.
const FIT_MODES: usize = 48;
/// Difference for slopes, in natural logs.
const NUDGE: f64 = 1e-3;

/// Fits the film to readings within the schedule; nothing with fewer than two of them.
pub fn correct(course: Course<'_>, readings: &[Reading]) -> Option<(Correction, Vec<Reading>)> {
    let end_s: f64 = course.steps.iter().map(|step| step.duration_s).sum();
    let usable: Vec<Reading> =
        readings.iter().copied().filter(|reading| (0.0..=end_s).contains(&reading.t_s)).collect();
    if usable.len() < 2 {
        return None;
    }
    let used = evenly(&usable);
    let (steps, spread) = with_a_film(course.steps);
    let base = Course { steps: &steps, ..course };
    let mut noise = Noise { deviation_c: 0.3, independent: used.len() as f64 };
    let mut film_log = 0.0;
    for _ in 0..3 {
        film_log = best_film(base, &used, noise, spread);
        noise = Noise::of(&residuals(base, &used, [film_log, 0.0]));
    }
    let corrected = scaled(&steps, film_log);
    Some((Correction { steps: corrected, film_log, noise, spread }, used))
}

impl Correction {
    /// The interval of the moment when the core first passes the target, given that the corrected
    /// projection says `reached_s`. Film and properties are both taken as uncertain.
    pub fn interval(
        &self,
        course: Course<'_>,
        readings: &[Reading],
        target_c: f64,
        reached_s: Option<f64>,
    ) -> Interval {
        let steps = scaled(&self.steps, -self.film_log);
        let base = Course { steps: &steps, ..course };
        let (centre, covariance, noise) = self.joint_fit(base, readings);
        let end_s: f64 = steps.iter().map(|step| step.duration_s).sum();
        let look_s = reach(base, centre, target_c).or(reached_s).unwrap_or(end_s);
        let look = [Reading { t_s: look_s, core_c: 0.0 }];
        let pull = slopes(base, &look, centre).pop().unwrap_or([0.0, 0.0]);
        let along = times(covariance, pull);
        let length = (pull[0] * along[0] + pull[1] * along[1]).sqrt();
        let width = noise.quantile_95() / if length > 0.0 { length } else { 1.0 };
        let end = |side: f64| {
            let at = [centre[0] + side * width * along[0], centre[1] + side * width * along[1]];
            reach(base, at, target_c)
        };
        let ends = [end(-1.0), end(1.0), reached_s];
        let known = ends.into_iter().flatten();
        let low_s =
            known.clone().fold(None, |low: Option<f64>, t| Some(low.map_or(t, |l| l.min(t))));
        let high_s = known.fold(None, |high: Option<f64>, t| Some(high.map_or(t, |h| h.max(t))));
        let open = ends[0].is_none() || ends[1].is_none();
        Interval { low_s, high_s: high_s.filter(|_| !open) }
    }

    /// The best film and rate together, how they vary, and the scatter that is left.
    fn joint_fit(
        &self,
        base: Course<'_>,
        readings: &[Reading],
    ) -> ([f64; 2], [[f64; 2]; 2], Noise) {
        let mut at = [self.film_log, 0.0];
        let mut noise = self.noise;
        let mut covariance = [[0.0; 2]; 2];
        for _ in 0..6 {
            let off = residuals(base, readings, at);
            noise = Noise::of(&off);
            let weight = noise.weight(readings.len());
            let prior = [self.spread, RATE_SPREAD].map(|spread| 1.0 / (spread * spread));
            let mut curvature = [[prior[0], 0.0], [0.0, prior[1]]];
            let mut push = [-at[0] * prior[0], -at[1] * prior[1]];
            for (off, slope) in off.iter().zip(slopes(base, readings, at)) {
                for row in 0..2 {
                    push[row] += weight * slope[row] * off;
                    for column in 0..2 {
                        curvature[row][column] += weight * slope[row] * slope[column];
                    }
                }
            }
            covariance = inverse(curvature);
            let step = times(covariance, push);
            // A long step leaves the region where the slopes hold.
            at = [at[0] + step[0].clamp(-0.5, 0.5), at[1] + step[1].clamp(-0.1, 0.1)];
        }
        (at, covariance, noise)
    }
}

impl Noise {
    fn of(off: &[f64]) -> Self {
        let count = off.len() as f64;
        let squares: f64 = off.iter().map(|r| r * r).sum();
        let neighbours: f64 = off.windows(2).map(|pair| pair[0] * pair[1]).sum();
        let alike = if squares > 0.0 { (neighbours / squares).clamp(0.0, 0.98) } else { 0.0 };
        let independent = (count * (1.0 - alike) / (1.0 + alike)).max(2.0);
        let deviation_c = (squares / (count - 1.0).max(1.0)).sqrt().max(LEAST_DEVIATION_C);
        Self { deviation_c, independent }
    }

    /// The weight of one squared residual.
    fn weight(self, count: usize) -> f64 {
        self.independent / count as f64 / (self.deviation_c * self.deviation_c)
    }

    /// The factor of a two-sided 90 % interval for so many readings.
    fn quantile_95(self) -> f64 {
        let freedom = (self.independent - 1.0).max(1.0);
        StudentsT::new(0.0, 1.0, freedom).map_or(6.314, |student| student.inverse_cdf(0.95))
    }
}

/// Where no step has a film, one for all, to be found.
fn with_a_film(steps: &[Step]) -> (Vec<Step>, f64) {
    if steps.iter().any(|step| step.surface.biot().is_some()) {
        return (steps.to_vec(), FILM_SPREAD);
    }
    let surface = Surface::Film(UNKNOWN_FILM_BIOT);
    (steps.iter().map(|step| Step { surface, ..*step }).collect(), UNKNOWN_FILM_SPREAD)
}

fn scaled(steps: &[Step], film_log: f64) -> Vec<Step> {
    let factor = film_log.exp();
    steps.iter().map(|step| Step { surface: step.surface.times(factor), ..*step }).collect()
}

fn evenly(readings: &[Reading]) -> Vec<Reading> {
    let count = readings.len().min(MOST_READINGS);
    (0..count).map(|at| readings[at * (readings.len() - 1) / (count - 1)]).collect()
}

fn conduct(base: Course<'_>, at: [f64; 2]) -> Conduction {
    let steps = scaled(base.steps, at[0]);
    Conduction::new(base.rate_per_s * at[1].exp(), base.initial_c, &steps, FIT_MODES)
}

fn reach(base: Course<'_>, at: [f64; 2], target_c: f64) -> Option<f64> {
    conduct(base, at).first_pass_s(target_c)
}

/// Reading minus projection.
fn residuals(base: Course<'_>, readings: &[Reading], at: [f64; 2]) -> Vec<f64> {
    let heat = conduct(base, at);
    readings.iter().map(|reading| reading.core_c - heat.at(reading.t_s, Place::Core)).collect()
}

/// How the projection at each reading changes with the logs of film and rate.
fn slopes(base: Course<'_>, readings: &[Reading], at: [f64; 2]) -> Vec<[f64; 2]> {
    let along = |which: usize| {
        let nudged = |side: f64| {
            let mut near = at;
            near[which] += side * NUDGE;
            residuals(base, readings, near)
        };
        let pairs = nudged(-1.0).into_iter().zip(nudged(1.0));
        pairs.map(|(less, more)| (less - more) / (2.0 * NUDGE)).collect::<Vec<f64>>()
    };
    along(0).into_iter().zip(along(1)).map(|(film, rate)| [film, rate]).collect()
}

/// The film alone, by looking widely and then narrowing by the golden section.
fn best_film(base: Course<'_>, readings: &[Reading], noise: Noise, spread: f64) -> f64 {
    let weight = noise.weight(readings.len());
    let cost = |film_log: f64| {
        let off = residuals(base, readings, [film_log, 0.0]);
        let misfit: f64 = off.iter().map(|r| r * r).sum();
        weight * misfit + (film_log / spread).powi(2)
    };
    let width = spread / 3.0;
    let places = (-12..=12).map(|at| f64::from(at) * width);
    let best = places.map(|at| (cost(at), at)).min_by(|a, b| a.0.total_cmp(&b.0));
    let centre = best.map_or(0.0, |(_, at)| at);
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (centre - width, centre + width);
    while high - low > 1e-5 {
        let (left, right) = (high - golden * (high - low), low + golden * (high - low));
        if cost(left) < cost(right) {
            high = right;
        } else {
            low = left;
        }
    }
    (low + high) / 2.0
}

fn inverse(m: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    let scaled = |value: f64| value / determinant;
    [[scaled(m[1][1]), scaled(-m[0][1])], [scaled(-m[1][0]), scaled(m[0][0])]]
}

fn times(m: [[f64; 2]; 2], v: [f64; 2]) -> [f64; 2] {
    m.map(|row| row[0] * v[0] + row[1] * v[1])
}
