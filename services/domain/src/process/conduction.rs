//! Heat moving in an endless cylinder while the medium around it changes in steps.
//! It never marches through time: each step is a closed series, so long schedules cost no accuracy.

use super::cylinder::{Modes, Surface};
use super::root;

/// A term smaller than e to the minus this is nothing.
const NOTHING: f64 = 45.0;
/// Shapes kept at least, and at most.
const MODES: (usize, usize) = (64, 20_000);
/// Work allowed for all changes of film together, in products of two shapes.
const CARRY_WORK: f64 = 4e7;
/// Amplitudes kept for all steps together.
const AMPLITUDES: f64 = 1e6;
/// Fourier number between looks at the core while a step is young.
const LOOK_FOURIER: f64 = 0.02;

/// A stretch of time under one medium.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Its length, above 0.
    pub duration_s: f64,
    /// The temperature of the medium, Cel.
    pub medium_c: f64,
    /// What the surface feels of it.
    pub surface: Surface,
}

/// Where in the cylinder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The axis.
    Core,
    /// The surface.
    Surface,
}

/// The cylinder's temperature over a schedule of steps.
#[derive(Clone, Debug)]
pub struct Conduction {
    /// Thermal diffusivity over the square of the radius, 1/s.
    rate_per_s: f64,
    initial_c: f64,
    sets: Vec<Modes>,
    legs: Vec<Leg>,
}

#[derive(Clone, Debug)]
struct Leg {
    start_s: f64,
    end_s: f64,
    medium_c: f64,
    set: usize,
    amplitudes: Vec<f64>,
}

impl Conduction {
    /// Shapes that show every temperature from `shortest_s` after each change on.
    pub fn modes_needed(rate_per_s: f64, shortest_s: f64, steps: &[Step]) -> usize {
        let changes =
            steps.windows(2).filter(|pair| !pair[0].surface.is_like(pair[1].surface)).count();
        let affordable = (CARRY_WORK / changes.max(1) as f64).sqrt();
        let affordable = if changes == 0 { MODES.1 as f64 } else { affordable };
        let affordable = affordable.min(AMPLITUDES / steps.len().max(1) as f64);
        let needed = 1.5 * (30.0 / (rate_per_s * shortest_s)).sqrt() / std::f64::consts::PI;
        (needed.min(affordable) as usize).clamp(MODES.0, MODES.1)
    }

    /// A cylinder that starts at one temperature all through, seen by its first `count` shapes.
    /// `rate_per_s` is the thermal diffusivity over the square of the radius.
    pub fn new(rate_per_s: f64, initial_c: f64, steps: &[Step], count: usize) -> Self {
        let mut made = Self { rate_per_s, initial_c, sets: Vec::new(), legs: Vec::new() };
        for step in steps {
            let set = made.set_for(step.surface, count);
            let amplitudes = made.amplitudes(set, step.medium_c);
            let start_s = made.end_s();
            let end_s = start_s + step.duration_s;
            made.legs.push(Leg { start_s, end_s, medium_c: step.medium_c, set, amplitudes });
        }
        made
    }

    /// The end of the last step.
    pub fn end_s(&self) -> f64 {
        self.legs.last().map_or(0.0, |leg| leg.end_s)
    }

    /// The temperature at a time, Cel: before the start the initial one, after the end the last
    /// step goes on. At a change of medium, the moment before it.
    pub fn at(&self, t_s: f64, place: Place) -> f64 {
        if t_s <= 0.0 {
            return self.initial_c;
        }
        let after = self.legs.partition_point(|leg| leg.end_s < t_s);
        match self.legs.get(after).or(self.legs.last()) {
            Some(leg) => self.within(leg, t_s - leg.start_s, place),
            None => self.initial_c,
        }
    }

    /// When the core first stands at the target, from below or from above; nothing when it does
    /// not before the last step ends.
    pub fn first_pass_s(&self, target_c: f64) -> Option<f64> {
        if self.initial_c == target_c {
            return Some(0.0);
        }
        let sign = if self.initial_c < target_c { 1.0 } else { -1.0 };
        self.legs.iter().find_map(|leg| {
            let past = |local_s: f64| sign * (self.within(leg, local_s, Place::Core) - target_c);
            let nearing = |local_s: f64| sign * self.slope(leg, local_s);
            let mut from_s = 0.0;
            for to_s in self.looks(leg.end_s - leg.start_s) {
                let mut high_s = to_s;
                if past(to_s) < 0.0 && nearing(from_s) > 0.0 && nearing(to_s) < 0.0 {
                    // Between the two looks the core turns round, and may have been there.
                    high_s = root::rising(from_s, to_s, |local_s| -nearing(local_s));
                }
                if past(high_s) >= 0.0 {
                    return Some(leg.start_s + root::rising(from_s, high_s, past));
                }
                from_s = to_s;
            }
            None
        })
    }

    fn set_for(&mut self, surface: Surface, count: usize) -> usize {
        if let Some(known) = self.sets.iter().position(|set| set.surface.is_like(surface)) {
            return known;
        }
        self.sets.push(Modes::new(surface, count));
        self.sets.len() - 1
    }

    /// Amplitudes over a new medium of the temperature that the last leg leaves behind.
    fn amplitudes(&self, set: usize, medium_c: f64) -> Vec<f64> {
        let modes = &self.sets[set];
        let (mut amplitudes, lift_c) = match self.legs.last() {
            None => (vec![0.0; modes.modes.len()], self.initial_c - medium_c),
            Some(last) => {
                let left = self.left_behind(last);
                let same = last.set == set;
                let carried = if same { left } else { self.sets[last.set].carry(&left, modes) };
                (carried, last.medium_c - medium_c)
            }
        };
        for (amplitude, mode) in amplitudes.iter_mut().zip(&modes.modes) {
            *amplitude += lift_c * mode.in_unity;
        }
        amplitudes
    }

    fn left_behind(&self, leg: &Leg) -> Vec<f64> {
        let fourier = self.rate_per_s * (leg.end_s - leg.start_s);
        let modes = &self.sets[leg.set].modes;
        let each = modes.iter().zip(&leg.amplitudes);
        each.map(|(mode, amplitude)| amplitude * (-mode.root * mode.root * fourier).exp()).collect()
    }

    fn within(&self, leg: &Leg, local_s: f64, place: Place) -> f64 {
        let fourier = self.rate_per_s * local_s;
        let mut above_c = 0.0;
        for (mode, amplitude) in self.sets[leg.set].modes.iter().zip(&leg.amplitudes) {
            let exponent = mode.root * mode.root * fourier;
            if exponent > NOTHING && mode.root > 3.0 {
                break;
            }
            let shape = if place == Place::Core { 1.0 } else { mode.at_surface };
            above_c += mode.weight * amplitude * shape * (-exponent).exp();
        }
        leg.medium_c + above_c
    }

    /// How fast the core warms, up to a factor above 0.
    fn slope(&self, leg: &Leg, local_s: f64) -> f64 {
        let fourier = self.rate_per_s * local_s;
        let mut falling = 0.0;
        for (mode, amplitude) in self.sets[leg.set].modes.iter().zip(&leg.amplitudes) {
            let decay = mode.root * mode.root;
            if decay * fourier > NOTHING && mode.root > 3.0 {
                break;
            }
            falling += mode.weight * amplitude * decay * (-decay * fourier).exp();
        }
        -falling
    }

    /// Times within a leg to look at the core: close while several shapes move, then ever wider,
    /// as from Fo 1 on a single shape is left and the core moves one way.
    fn looks(&self, duration_s: f64) -> impl Iterator<Item = f64> {
        let rate_per_s = self.rate_per_s;
        let next = move |fourier: &f64| {
            let wider = if *fourier < 1.0 { fourier + LOOK_FOURIER } else { fourier * 1.5 };
            (fourier / rate_per_s < duration_s && wider.is_finite()).then_some(wider)
        };
        std::iter::successors(Some(LOOK_FOURIER), next)
            .map(move |fourier| (fourier / rate_per_s).min(duration_s))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const RATE_PER_S: f64 = 1.35e-7 / (0.018 * 0.018);

    fn step(duration_s: f64, medium_c: f64, surface: Surface) -> Step {
        Step { duration_s, medium_c, surface }
    }

    /// An independent march in time: finite volumes, half implicit, first steps fully implicit.
    fn marched(initial_c: f64, steps: &[Step], cells: usize, dt_s: f64) -> (f64, f64) {
        let width = 1.0 / cells as f64;
        let mut now = vec![initial_c; cells];
        let mut surface_c = initial_c;
        for step in steps {
            let Surface::Film(biot) = step.surface else { panic!("the march needs a film") };
            let count = (step.duration_s / dt_s).round() as usize;
            for at in 0..count {
                let implicit = if at < 4 { 1.0 } else { 0.5 };
                now = marched_once(&now, step.medium_c, biot, implicit, RATE_PER_S * dt_s);
            }
            let inner = 2.0 / width;
            surface_c = (inner * now[cells - 1] + biot * step.medium_c) / (inner + biot);
        }
        // The first cell's mean is that of a parabola at the middle; its axis from two cells.
        (now[0] + (now[0] - now[1]) / 4.0 * 0.5, surface_c)
    }

    fn marched_once(
        now: &[f64],
        medium_c: f64,
        biot: f64,
        implicit: f64,
        fourier: f64,
    ) -> Vec<f64> {
        let cells = now.len();
        let width = 1.0 / cells as f64;
        let film = 1.0 / (1.0 / biot + width / 2.0);
        let (mut low, mut mid, mut high) = (vec![0.0; cells], vec![0.0; cells], vec![0.0; cells]);
        let mut right = vec![0.0; cells];
        for at in 0..cells {
            let (inner, outer) = (at as f64 * width, (at + 1) as f64 * width);
            let volume = (outer * outer - inner * inner) / 2.0;
            let west = if at == 0 { 0.0 } else { fourier * inner / width / volume };
            let east = fourier * if at + 1 == cells { film } else { outer / width } / volume;
            let west_c = if at == 0 { 0.0 } else { now[at - 1] };
            let east_c = if at + 1 == cells { medium_c } else { now[at + 1] };
            let flow = west * (west_c - now[at]) + east * (east_c - now[at]);
            low[at] = -implicit * west;
            mid[at] = 1.0 + implicit * (west + east);
            right[at] = now[at] + (1.0 - implicit) * flow;
            if at + 1 == cells {
                right[at] += implicit * east * medium_c;
            } else {
                high[at] = -implicit * east;
            }
        }
        for at in 1..cells {
            let factor = low[at] / mid[at - 1];
            mid[at] -= factor * high[at - 1];
            right[at] -= factor * right[at - 1];
        }
        for at in (0..cells).rev() {
            let after = if at + 1 == cells { 0.0 } else { high[at] * right[at + 1] };
            right[at] = (right[at] - after) / mid[at];
        }
        right
    }

    #[test]
    fn one_step_is_the_published_series() {
        // Carslaw and Jaeger, Conduction of Heat in Solids, chapter 7: the series at Bi 1.
        for (fourier, core, surface) in [
            (0.05, 0.99890, 0.76964),
            (0.1, 0.97682, 0.68456),
            (0.2, 0.87017, 0.57023),
            (0.4, 0.64200, 0.41316),
            (0.8, 0.34185, 0.21979),
            (1.5, 0.11335, 0.07288),
        ] {
            let steps = [step(fourier / RATE_PER_S, 0.0, Surface::Film(1.0))];
            let heat = Conduction::new(RATE_PER_S, 1.0, &steps, 64);
            let at = |place| heat.at(heat.end_s(), place);
            assert!((at(Place::Core) - core).abs() < 6e-6, "{fourier} {}", at(Place::Core));
            assert!((at(Place::Surface) - surface).abs() < 6e-6, "{fourier}");
        }
    }

    #[test]
    fn several_films_agree_with_an_independent_march() {
        let steps = [
            step(1800.0, 54.4, Surface::Film(1.0)),
            step(60.0, 75.0, Surface::Film(0.4)),
            step(900.0, 80.0, Surface::Film(2.5)),
            step(120.0, 1.0, Surface::Film(12.0)),
            step(600.0, 4.0, Surface::Film(0.6)),
        ];
        for upto in 1..=steps.len() {
            let (core_c, surface_c) = marched(4.0, &steps[..upto], 200, 0.5);
            let heat = Conduction::new(RATE_PER_S, 4.0, &steps, 64);
            let end_s = steps[..upto].iter().map(|s| s.duration_s).sum();
            let (core, surface) = (heat.at(end_s, Place::Core), heat.at(end_s, Place::Surface));
            assert!((core - core_c).abs() < 0.01, "step {upto}: core {core} {core_c}");
            assert!((surface - surface_c).abs() < 0.03, "step {upto}: {surface} {surface_c}");
        }
    }

    #[test]
    fn steps_of_one_film_and_medium_are_one_step() {
        let whole = [step(3000.0, 80.0, Surface::Film(1.0))];
        let parts = [17.0, 983.0, 0.001, 1999.999].map(|s| step(s, 80.0, Surface::Film(1.0)));
        let at =
            |steps: &[Step]| Conduction::new(RATE_PER_S, 4.0, steps, 64).at(3000.0, Place::Surface);
        assert!((at(&whole) - at(&parts)).abs() < 1e-9);
    }

    #[test]
    fn a_peak_after_the_heat_is_off_is_seen() {
        // The core of a thick log still warms when the bath begins, and turns within the look.
        let steps =
            [step(2400.0, 80.0, Surface::Film(3.0)), step(3600.0, 0.0, Surface::Film(12.0))];
        let heat = Conduction::new(RATE_PER_S / 4.0, 4.0, &steps, 200);
        let peak = (0..3600).map(|s| heat.at(2400.0 + f64::from(s), Place::Core));
        let peak_c = peak.fold(f64::MIN, f64::max);
        assert!(peak_c > heat.at(2400.0, Place::Core) + 1.0);
        let passed_s = heat.first_pass_s(peak_c - 1e-4).expect("passed");
        assert!(passed_s > 2400.0 && (heat.at(passed_s, Place::Core) - peak_c).abs() < 2e-4);
        assert_eq!(heat.first_pass_s(peak_c + 1e-2), None);
    }

    #[test]
    fn the_shapes_needed_show_the_first_look() {
        for duration_s in [0.01, 1.0, 60.0] {
            let steps = [step(duration_s, 100.0, Surface::Film(1.0))];
            let of = |count| {
                let heat = Conduction::new(RATE_PER_S, 0.0, &steps, count);
                heat.at(duration_s, Place::Surface)
            };
            let count = Conduction::modes_needed(RATE_PER_S, duration_s, &steps);
            assert!((of(count) - of(2 * count)).abs() < 1e-3, "{duration_s}: {count} shapes");
        }
    }

    proptest! {
        #[test]
        fn no_place_is_hotter_or_colder_than_what_it_was_given(
            media in proptest::collection::vec(
                (0.0..120.0_f64, -1.5..1.5_f64, 1.0..9000.0_f64),
                1..6,
            ),
            initial_c in 0.0..80.0_f64,
        ) {
            let steps: Vec<Step> = media
                .iter()
                .map(|(c, exponent, s)| step(*s, *c, Surface::Film(10.0_f64.powf(*exponent))))
                .collect();
            let count = Conduction::modes_needed(RATE_PER_S, 1.0, &steps);
            let heat = Conduction::new(RATE_PER_S, initial_c, &steps, count);
            let all = media.iter().map(|m| m.0).chain([initial_c]);
            let (least, most) =
                all.fold((f64::MAX, f64::MIN), |(l, m), c| (l.min(c), m.max(c)));
            let mut end_s = 0.0;
            for step in &steps {
                end_s += step.duration_s;
                for place in [Place::Core, Place::Surface] {
                    let c = heat.at(end_s, place);
                    prop_assert!(c > least - 0.02 && c < most + 0.02, "{c} at {end_s}");
                }
            }
        }
    }
}
