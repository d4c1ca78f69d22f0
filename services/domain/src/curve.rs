//! A temperature curve as a probe or a hand took it: samples, linear between them.
//! It never invents a value before its first sample or after its last.

use rust_decimal::Decimal;

use crate::exact::Exact;
use crate::units::Unit;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// Seconds on the curve's own clock.
    pub t_s: Decimal,
    /// The temperature, in the unit of its curve.
    pub value: Decimal,
}

/// Samples in rising time, at least two, all in one unit of temperature.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Curve {
    unit: Unit,
    samples: Vec<Sample>,
}

impl Curve {
    /// A curve of samples in strictly rising time; nothing when there are fewer than two or a time
    /// does not rise.
    pub fn new(unit: Unit, samples: Vec<Sample>) -> Option<Self> {
        let rises = samples.windows(2).all(|pair| pair[0].t_s < pair[1].t_s);
        (samples.len() >= 2 && rises).then_some(Self { unit, samples })
    }

    /// The unit of its values.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// Its samples in rising time, at least two.
    pub fn samples(&self) -> &[Sample] {
        &self.samples
    }

    /// The first and the last time, in seconds.
    pub fn span(&self) -> (Decimal, Decimal) {
        (self.samples[0].t_s, self.samples[self.samples.len() - 1].t_s)
    }

    /// The value at a time, by the straight line between its neighbours; nothing outside the span.
    pub fn at(&self, t_s: &Exact) -> Option<Exact> {
        let after = self.samples.iter().position(|sample| Exact::from(sample.t_s) >= *t_s)?;
        let later = self.samples[after];
        if Exact::from(later.t_s) == *t_s {
            return Some(later.value.into());
        }
        let earlier = self.samples[after.checked_sub(1)?];
        let (t0, t1) = (Exact::from(earlier.t_s), Exact::from(later.t_s));
        let (v0, v1) = (Exact::from(earlier.value), Exact::from(later.value));
        let part = (t_s - &t0) / (&t1 - &t0);
        Some(&v0 + &((&v1 - &v0) * part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(samples: &[(i64, i64)]) -> Option<Curve> {
        let samples = samples
            .iter()
            .map(|(t, v)| Sample { t_s: Decimal::from(*t), value: Decimal::from(*v) })
            .collect();
        Curve::new(Unit::Fahrenheit, samples)
    }

    #[test]
    fn time_must_rise() {
        assert!(curve(&[(0, 40), (60, 41)]).is_some());
        assert!(curve(&[(0, 40)]).is_none());
        assert!(curve(&[(0, 40), (0, 41)]).is_none());
    }

    #[test]
    fn values_between_samples_lie_on_the_line() {
        let curve = curve(&[(0, 40), (30, 50), (60, 41)]).expect("a curve");
        assert_eq!(curve.at(&Exact::whole(10)), Exact::ratio(130, 3));
        assert_eq!(curve.at(&Exact::whole(60)), Some(Exact::whole(41)));
        assert_eq!(curve.at(&Exact::whole(61)), None);
        assert_eq!(curve.at(&Exact::whole(-1)), None);
    }
}
