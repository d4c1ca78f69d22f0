//! Log-linear kinetics of killing: how fast each temperature counts against a reference.
//! It never extrapolates in silence and never counts what lies below its floor.

use std::f64::consts::LN_10;

use crate::exact::Exact;

/// A thermal death model after Bigelow (1921): `D(T) = D_reference x 10^((T_reference - T)/z)`.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The reference temperature, in [degF].
    pub reference_f: Exact,
    /// The rise that makes killing ten times faster, in [degF], above 0.
    pub z_f: Exact,
    /// Time for one decimal reduction at the reference, in seconds, above 0.
    pub d_s: Exact,
    /// Nothing below it counts, in [degF]; at it counts.
    pub floor_f: Option<Exact>,
    /// Of a fit of points: the share of the spread of log10 D that the line explains.
    pub r_squared: Option<f64>,
}

/// One measured point: time for one decimal reduction at a temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// In [degF].
    pub temperature_f: Exact,
    /// In seconds, above 0.
    pub d_s: Exact,
}

/// Points that give no model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoFit {
    /// Fewer than two different temperatures.
    OneTemperature,
    /// D does not fall as the temperature rises, or the line lies beyond what a float can hold.
    NotFalling,
}

impl Model {
    /// A model whose z is the least-squares line of log10 D on temperature through `points`.
    /// Errors: fewer than two temperatures; D that does not fall.
    pub fn fitted(reference_f: Exact, points: &[Point]) -> Result<Self, NoFit> {
        let reference = reference_f.to_f64();
        let xs: Vec<f64> = points.iter().map(|p| p.temperature_f.to_f64() - reference).collect();
        let ys: Vec<f64> = points.iter().map(|p| libm::log10(p.d_s.to_f64())).collect();
        let different = points.iter().any(|p| p.temperature_f != points[0].temperature_f);
        if !different {
            return Err(NoFit::OneTemperature);
        }
        let count = points.len() as f64;
        let (x_mean, y_mean) = (xs.iter().sum::<f64>() / count, ys.iter().sum::<f64>() / count);
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for (x, y) in xs.iter().zip(&ys) {
            let (dx, dy) = (x - x_mean, y - y_mean);
            (xx, xy, yy) = (xx + dx * dx, xy + dx * dy, yy + dy * dy);
        }
        let slope = xy / xx;
        let d_s = libm::exp10(y_mean - slope * x_mean);
        let z_f = -1.0 / slope;
        let usable = z_f.is_finite() && z_f > 0.0 && d_s.is_finite() && d_s > 0.0;
        let exact = |value| Exact::from_float(value).filter(|_| usable).ok_or(NoFit::NotFalling);
        let (z_f, d_s) = (exact(z_f)?, exact(d_s)?);
        let r_squared = Some(((xy * xy) / (xx * yy)).min(1.0)).filter(|r| r.is_finite());
        Ok(Self { reference_f, z_f, d_s, floor_f: None, r_squared })
    }

    /// The model in floats.
    pub(super) fn rates(&self) -> Rates {
        Rates { reference_f: self.reference_f.to_f64(), z_f: self.z_f.to_f64() }
    }
}

/// A model in floats, for numerical integration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rates {
    reference_f: f64,
    z_f: f64,
}

impl Rates {
    /// How much faster than the reference a temperature in [degF] kills.
    pub(super) fn at(self, temperature_f: f64) -> f64 {
        libm::exp10((temperature_f - self.reference_f) / self.z_f)
    }

    /// The natural logarithm by which the rate grows over a rise in [degF].
    pub(super) fn growth(self, rise_f: f64) -> f64 {
        LN_10 * rise_f / self.z_f
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(celsius: &str, minutes: &str) -> Point {
        let celsius: Exact = celsius.parse().expect("a decimal");
        let minutes: Exact = minutes.parse().expect("a decimal");
        let temperature_f = celsius * Exact::whole(9) / Exact::whole(5) + Exact::whole(32);
        Point { temperature_f, d_s: minutes * Exact::whole(60) }
    }

    #[test]
    fn points_of_pork_franks_give_the_published_z() {
        // D values of Salmonella in pork franks: Murphy et al. 2004; z 5.72 Cel by their line.
        let points = [
            ("55", "45.87"),
            ("57", "26.67"),
            ("60", "5.07"),
            ("62.5", "2.56"),
            ("65", "1.91"),
            ("67.5", "0.36"),
            ("70", "0.083"),
        ];
        let points: Vec<Point> = points.iter().map(|(c, d)| point(c, d)).collect();
        let model = Model::fitted(Exact::whole(140), &points).expect("a line");
        assert!((model.z_f.to_f64() / 1.8 - 5.72).abs() < 0.005, "{}", model.z_f);
        assert!(model.r_squared.is_some_and(|r| r > 0.95 && r < 1.0));
    }

    #[test]
    fn points_on_a_line_are_fitted_exactly() {
        let points = [point("55", "10"), point("60", "1"), point("65", "0.1")];
        let model = Model::fitted(Exact::whole(140), &points).expect("a line");
        assert!((model.z_f.to_f64() - 9.0).abs() < 1e-12);
        assert!((model.d_s.to_f64() - 60.0).abs() < 1e-9);
        assert!(model.r_squared.is_some_and(|r| r > 1.0 - 1e-12));
    }

    #[test]
    fn points_that_give_no_line_are_refused() {
        let one = [point("60", "1"), point("60", "2")];
        assert_eq!(Model::fitted(Exact::whole(140), &one), Err(NoFit::OneTemperature));
        let rising = [point("60", "1"), point("65", "2")];
        assert_eq!(Model::fitted(Exact::whole(140), &rising), Err(NoFit::NotFalling));
        let level = [point("60", "1"), point("65", "1")];
        assert_eq!(Model::fitted(Exact::whole(140), &level), Err(NoFit::NotFalling));
    }
}
