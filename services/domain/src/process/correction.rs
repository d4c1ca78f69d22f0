//! Corrects the film of a projection by the core readings so far, and says how sure the rest is.
//! It never trusts readings beyond their own scatter, nor properties beyond what is known of food.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::conduction::{Conduction, Place, Step};
use super::cylinder::Surface;
use super::root;

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
/// How far house and probe may be off from what they say, Cel; the ends of an interval allow it.
const ALLOWANCE_C: f64 = 0.25;
/// Readings used at most, evenly chosen.
const MOST_READINGS: usize = 400;
/// Shapes used while fitting.
const FIT_MODES: usize = 32;
/// Steps of the joint fit, which starts at the best film.
const JOINT_STEPS: usize = 5;
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
    let mut film_log = likely_film(base, &used, noise, spread);
    for _ in 0..2 {
        let cost = |at: f64| film_cost(base, &used, (noise, spread), at);
        film_log = root::lowest(film_log - spread / 3.0, film_log + spread / 3.0, cost);
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
        let off = residuals(base, &look, centre);
        let pull = slopes(base, &look, centre, &off).pop().unwrap_or([0.0, 0.0]);
        let along = times(covariance, pull);
        let length = (pull[0] * along[0] + pull[1] * along[1]).sqrt();
        let width = noise.quantile_95() / if length > 0.0 { length } else { 1.0 };
        let end = |side: f64| {
            let at = [centre[0] + side * width * along[0], centre[1] + side * width * along[1]];
            // The side that heats (or cools) faster meets a nearer target, the other a farther one.
            let nearer = if target_c > base.initial_c { -ALLOWANCE_C } else { ALLOWANCE_C };
            let faster = if target_c > base.initial_c { side } else { -side };
            reach(base, at, target_c + faster * nearer)
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
        for _ in 0..JOINT_STEPS {
            let off = residuals(base, readings, at);
            noise = Noise::of(&off);
            let weight = noise.weight(readings.len());
            let prior = [self.spread, RATE_SPREAD].map(|spread| 1.0 / (spread * spread));
            let mut curvature = [[prior[0], 0.0], [0.0, prior[1]]];
            let mut push = [-at[0] * prior[0], -at[1] * prior[1]];
            for (off, slope) in off.iter().zip(slopes(base, readings, at, &off)) {
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

/// How the projection at each reading changes with the logs of film and rate, given the residuals.
fn slopes(base: Course<'_>, readings: &[Reading], at: [f64; 2], off: &[f64]) -> Vec<[f64; 2]> {
    let along = |which: usize| {
        let mut near = at;
        near[which] += NUDGE;
        let pairs = off.iter().zip(residuals(base, readings, near));
        pairs.map(|(here, there)| (here - there) / NUDGE).collect::<Vec<f64>>()
    };
    along(0).into_iter().zip(along(1)).map(|(film, rate)| [film, rate]).collect()
}

/// The film alone, by looking widely.
fn likely_film(base: Course<'_>, readings: &[Reading], noise: Noise, spread: f64) -> f64 {
    let places = (-12..=12).map(|at| f64::from(at) * spread / 3.0);
    let costs = places.map(|at| (film_cost(base, readings, (noise, spread), at), at));
    costs.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |(_, at)| at)
}

/// How badly a film fits the readings and what was given before them.
fn film_cost(
    base: Course<'_>,
    readings: &[Reading],
    (noise, spread): (Noise, f64),
    film_log: f64,
) -> f64 {
    let misfit: f64 = residuals(base, readings, [film_log, 0.0]).iter().map(|r| r * r).sum();
    noise.weight(readings.len()) * misfit + (film_log / spread).powi(2)
}

fn inverse(m: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
    let determinant = m[0][0] * m[1][1] - m[0][1] * m[1][0];
    let scaled = |value: f64| value / determinant;
    [[scaled(m[1][1]), scaled(-m[0][1])], [scaled(-m[1][0]), scaled(m[0][0])]]
}

fn times(m: [[f64; 2]; 2], v: [f64; 2]) -> [f64; 2] {
    m.map(|row| row[0] * v[0] + row[1] * v[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small seeded source of scatter, so that the test is the same on every machine.
    struct Scatter(u64);

    impl Scatter {
        fn unit(&mut self) -> f64 {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            (self.0 >> 11) as f64 / (1_u64 << 53) as f64
        }

        /// Standard normal, by Box and Muller.
        fn normal(&mut self) -> f64 {
            let (a, b) = (1.0 - self.unit(), self.unit());
            (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
        }
    }

    const RATE_PER_S: f64 = 1.3766e-7 / (0.018 * 0.018);
    const TARGET_C: f64 = 68.333_333;

    fn schedule() -> Vec<Step> {
        let step = |minutes: f64, medium_c, biot| Step {
            duration_s: 60.0 * minutes,
            medium_c,
            surface: Surface::Film(biot),
        };
        vec![step(30.0, 46.0, 0.8), step(40.0, 58.0, 0.8), step(300.0, 80.0, 1.0)]
    }

    fn course(steps: &[Step]) -> Course<'_> {
        Course { rate_per_s: RATE_PER_S, initial_c: 4.0, steps }
    }

    /// A true cook by other film and properties, its true moment, and its readings by minute.
    fn simulated(scatter: &mut Scatter, noise_c: f64, part: f64) -> (f64, Vec<Reading>) {
        let steps = schedule();
        let truth = [0.4 * scatter.normal(), 0.04 * scatter.normal()];
        let heat = conduct(course(&steps), truth);
        let reached_s = heat.first_pass_s(TARGET_C).expect("a long schedule");
        let count = (part * reached_s / 60.0) as usize;
        let readings = (0..=count).map(|minute| {
            let t_s = 60.0 * minute as f64;
            Reading { t_s, core_c: heat.at(t_s, Place::Core) + noise_c * scatter.normal() }
        });
        (reached_s, readings.collect())
    }

    fn predicted(readings: &[Reading]) -> (Option<f64>, Interval) {
        let steps = schedule();
        let (correction, used) = correct(course(&steps), readings).expect("enough readings");
        let heat = Conduction::new(RATE_PER_S, 4.0, &correction.steps, FIT_MODES);
        let reached_s = heat.first_pass_s(TARGET_C);
        (reached_s, correction.interval(course(&steps), &used, TARGET_C, reached_s))
    }

    #[test]
    fn the_film_is_found_from_clean_readings() {
        let steps = schedule();
        let heat = conduct(course(&steps), [-0.5, 0.0]);
        let readings: Vec<Reading> = (0..40)
            .map(|at| 60.0 * f64::from(at))
            .map(|t_s| Reading { t_s, core_c: heat.at(t_s, Place::Core) })
            .collect();
        let (reached_s, interval) = predicted(&readings);
        let true_s = heat.first_pass_s(TARGET_C).expect("reached");
        let reached_s = reached_s.expect("reached");
        assert!((reached_s / true_s - 1.0).abs() < 0.01, "{reached_s} {true_s}");
        let (low_s, high_s) = interval.low_s.zip(interval.high_s).expect("both ends");
        assert!(low_s <= true_s && true_s <= high_s, "{interval:?} {true_s}");
    }

    #[test]
    fn the_interval_holds_the_true_moment_as_often_as_it_says() {
        for (noise_c, part) in [(0.3, 0.5), (0.6, 0.3), (0.1, 0.8)] {
            let mut scatter = Scatter(0x9E37_79B9_7F4A_7C15);
            let (mut held, mut width) = (0, 0.0);
            let count = 30;
            for _ in 0..count {
                let (true_s, readings) = simulated(&mut scatter, noise_c, part);
                let (_, interval) = predicted(&readings);
                let low_s = interval.low_s.expect("a low end");
                let high_s = interval.high_s.unwrap_or(f64::INFINITY);
                held += usize::from(low_s <= true_s && true_s <= high_s);
                width += (high_s.min(3.0 * true_s) - low_s) / true_s / f64::from(count);
            }
            assert!(held * 100 >= count as usize * 85, "{held} of {count} at {noise_c}, {part}");
            assert!(width < 0.5, "an interval of {width} of the time says nothing");
        }
    }
}
