//! The natural temperature shapes of an endless cylinder under a surface film, and how a shape
//! under one film is made up of the shapes under another.
//! It never knows temperatures or times: those belong to the conduction that uses it.
//!
//! Shapes J0(z r/R) with z J1(z) = Bi J0(z): Carslaw and Jaeger, Conduction of Heat in Solids,
//! 2nd edition, chapter 7. The product of two shapes is integrated in closed form.

use std::f64::consts::PI;

/// Two films that differ by less than this part are one film: the temperatures do not show it.
const SAME_FILM: f64 = 1e-9;
/// Two roots that differ by less than this part are treated as one, as their difference would
/// be made of rounding.
const SAME_ROOT: f64 = 1e-6;
/// Steps of root finding; each at least halves the bracket, most double the digits.
const MOST_STEPS: usize = 120;

/// What the surface of the cylinder feels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Surface {
    /// A film: Biot number h R / k with the radius R, above 0.
    Film(f64),
    /// No resistance: the surface follows the medium.
    Held,
}

impl Surface {
    /// The surface under a film coefficient on a link of a diameter and a conductivity.
    pub fn of_film(film_w_m2k: f64, diameter_m: f64, conductivity_w_mk: f64) -> Self {
        Self::Film(film_w_m2k * diameter_m / 2.0 / conductivity_w_mk)
    }

    /// The Biot number, if there is a film.
    pub fn biot(self) -> Option<f64> {
        match self {
            Self::Film(biot) => Some(biot),
            Self::Held => None,
        }
    }

    /// The film made better or worse by a factor.
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Film(biot) => Self::Film(biot * factor),
            Self::Held => Self::Held,
        }
    }

    /// True when the two cannot be told apart by the temperatures.
    pub fn is_like(self, other: Self) -> bool {
        match (self, other) {
            (Self::Film(a), Self::Film(b)) => (a - b).abs() <= SAME_FILM * a.max(b),
            (Self::Held, Self::Held) => true,
            _ => false,
        }
    }
}

/// One shape.
#[derive(Clone, Copy, Debug)]
pub struct Mode {
    /// Its root z; it decays by z squared with the Fourier number.
    pub root: f64,
    /// Its value at the surface, J0(z). At the core it is 1.
    pub at_surface: f64,
    /// J1(z).
    slope: f64,
    /// The integral of its square over the section.
    norm: f64,
    /// How much of it stands in a temperature of 1 all over the section.
    pub in_unity: f64,
    /// Below 1 for the last shapes, so that a series cut short does not ring.
    pub weight: f64,
}

/// The first shapes under one surface.
#[derive(Clone, Debug)]
pub struct Modes {
    /// What the surface feels.
    pub surface: Surface,
    /// The shapes in rising order of their roots.
    pub modes: Vec<Mode>,
}

impl Modes {
    /// The first `count` shapes under a surface.
    pub fn new(surface: Surface, count: usize) -> Self {
        let mode = |at: usize| {
            let root = root(surface, at + 1);
            let (at_surface, slope) = (libm::j0(root), libm::j1(root));
            let norm = (at_surface * at_surface + slope * slope) / 2.0;
            // A root at 0 is the shape that is 1 all over: its mean slope term is the limit 1/2.
            let mean = if root > 0.0 { slope / root } else { 0.5 };
            let share = (at + 1) as f64 / count as f64;
            let weight = (-36.0 * share.powi(16)).exp();
            Mode { root, at_surface, slope, norm, in_unity: mean / norm, weight }
        };
        Self { surface, modes: (0..count).map(mode).collect() }
    }

    /// Amplitudes of these shapes, as amplitudes of the shapes under another surface.
    pub fn carry(&self, amplitudes: &[f64], to: &Modes) -> Vec<f64> {
        let share = |mode: &Mode| {
            let parts = self.modes.iter().zip(amplitudes);
            parts.map(|(from, amplitude)| amplitude * product(from, mode)).sum::<f64>() / mode.norm
        };
        to.modes.iter().map(share).collect()
    }
}

/// The integral of x J0(a x) J0(b x) from 0 to 1.
fn product(a: &Mode, b: &Mode) -> f64 {
    let apart = a.root - b.root;
    if apart.abs() <= SAME_ROOT * a.root.max(b.root) {
        return (a.norm + b.norm) / 2.0;
    }
    let whole = a.root * a.slope * b.at_surface - b.root * a.at_surface * b.slope;
    whole / (apart * (a.root + b.root))
}

/// The `nth` root (from 1) of z J1(z) = Bi J0(z): between the zero before of J1 and the nth of J0.
fn root(surface: Surface, nth: usize) -> f64 {
    let upper = zero_of_j0(nth);
    let Surface::Film(biot) = surface else {
        return upper;
    };
    let lower = if nth == 1 { 0.0 } else { zero_of_j1(nth - 1) };
    let sign = if nth % 2 == 1 { 1.0 } else { -1.0 };
    let scale = sign / (1.0 + biot);
    let (mut low, mut high) = (lower, upper);
    let mut z = if nth == 1 { (2.0 * biot).sqrt().min(upper / 2.0) } else { (low + high) / 2.0 };
    for _ in 0..MOST_STEPS {
        let (j0, j1) = (libm::j0(z), libm::j1(z));
        let value = scale * (z * j1 - biot * j0);
        if value < 0.0 {
            low = z;
        } else {
            high = z;
        }
        let next = z - value / (scale * (z * j0 + biot * j1));
        let next = if next > low && next < high { next } else { (low + high) / 2.0 };
        if (next - z).abs() <= f64::EPSILON * z {
            return next;
        }
        z = next;
    }
    z
}

/// The `nth` zero of J0, by the asymptotic series and three corrections.
fn zero_of_j0(nth: usize) -> f64 {
    let beta = (nth as f64 - 0.25) * PI;
    let mut z = beta + 1.0 / (8.0 * beta) - 124.0 / (3.0 * (8.0 * beta).powi(3));
    for _ in 0..3 {
        z += libm::j0(z) / libm::j1(z);
    }
    z
}

/// The `nth` zero of J1 above 0, likewise; its slope there is J0.
fn zero_of_j1(nth: usize) -> f64 {
    let beta = (nth as f64 + 0.25) * PI;
    let mut z = beta - 3.0 / (8.0 * beta) + 36.0 / (3.0 * (8.0 * beta).powi(3));
    for _ in 0..3 {
        z -= libm::j1(z) / libm::j0(z);
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn roots_and_shares_stand_as_published() {
        // Carslaw and Jaeger, Conduction of Heat in Solids, appendix IV (roots, 4 decimals);
        // shares from the same equation, worked out to 4 decimals.
        for (biot, first, second, share_1, share_2) in [
            (0.1, 0.4417, 3.8577, 1.0246, -0.0334),
            (0.5, 0.9408, 3.9594, 1.1143, -0.1572),
            (1.0, 1.2558, 4.0795, 1.2071, -0.2901),
            (2.0, 1.5994, 4.2910, 1.3384, -0.4923),
            (5.0, 1.9898, 4.7131, 1.5029, -0.7973),
            (10.0, 2.1795, 5.0332, 1.5677, -0.9575),
            (f64::INFINITY, 2.4048, 5.5201, 1.6020, -1.0648),
        ] {
            let surface = if biot < 1e9 { Surface::Film(biot) } else { Surface::Held };
            let modes = Modes::new(surface, 2).modes;
            let got = [modes[0].root, modes[1].root, modes[0].in_unity, modes[1].in_unity];
            for (got, want) in got.into_iter().zip([first, second, share_1, share_2]) {
                assert!((got - want).abs() < 6e-5, "Bi {biot}: {got} is not {want}");
            }
        }
    }

    #[test]
    fn a_change_of_film_keeps_the_temperature() {
        let (from, to) = (Modes::new(Surface::Film(1.0), 200), Modes::new(Surface::Film(9.0), 200));
        let fourier = 0.05;
        let decayed: Vec<f64> =
            from.modes.iter().map(|m| m.in_unity * (-m.root * m.root * fourier).exp()).collect();
        let carried = from.carry(&decayed, &to);
        for x in [0.0, 0.3, 0.6, 0.9] {
            let sum = |modes: &Modes, amplitudes: &[f64]| -> f64 {
                let terms = modes.modes.iter().zip(amplitudes);
                terms.map(|(m, a)| m.weight * a * libm::j0(m.root * x)).sum()
            };
            let (before, after) = (sum(&from, &decayed), sum(&to, &carried));
            assert!((before - after).abs() < 2e-5, "{x}: {before} {after}");
        }
    }

    proptest! {
        #[test]
        fn roots_rise_and_solve_their_equation(exponent in -30.0..30.0_f64) {
            let biot = 10.0_f64.powf(exponent);
            let modes = Modes::new(Surface::Film(biot), 40).modes;
            for (at, mode) in modes.iter().enumerate() {
                let off = (mode.root * mode.slope - biot * mode.at_surface) / (1.0 + biot);
                prop_assert!(off.abs() < 1e-12, "Bi {biot}, root {at}: off by {off}");
                prop_assert!(mode.in_unity.is_finite());
                prop_assert!(at == 0 || modes[at - 1].root < mode.root);
            }
        }
    }
}
