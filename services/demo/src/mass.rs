//! Masses in thousandths of a pound, as scales show them: nothing is lost between two records.
//! It never holds a fraction of a thousandth.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Sub, SubAssign};

use serde_json::{Value, json};

/// A mass in thousandths of a pound.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Mass(pub i64);

impl Mass {
    /// Whole pounds.
    pub const fn lb(pounds: i64) -> Self {
        Self(pounds * 1000)
    }

    /// So many thousandths of a pound on each 100 lb, to the nearest division of a scale that reads
    /// in so many thousandths.
    pub fn per_100_lb(self, thousandths: i64, division: i64) -> Self {
        let (exact, unit) = (self.0 * thousandths, 100_000 * division);
        Self((exact + unit / 2) / unit * division)
    }

    /// The part that a factor leaves, down to a division of the scale, in thousandths.
    pub fn times(self, factor: f64, division: i64) -> Self {
        Self((self.0 as f64 * factor) as i64 / division * division)
    }

    /// As the API takes it.
    pub fn json(self) -> Value {
        json!({ "value": self.text(), "unit": "[lb_av]" })
    }

    /// Pounds as a decimal.
    pub fn text(self) -> String {
        let (whole, rest) = (self.0 / 1000, self.0 % 1000);
        let text = format!("{whole}.{rest:03}");
        let text = text.trim_end_matches('0');
        if text.ends_with('.') { format!("{text}0") } else { text.to_owned() }
    }
}

impl Add for Mass {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Mass {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Mul<i64> for Mass {
    type Output = Self;

    fn mul(self, times: i64) -> Self {
        Self(self.0 * times)
    }
}

impl AddAssign for Mass {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl SubAssign for Mass {
    fn sub_assign(&mut self, other: Self) {
        self.0 -= other.0;
    }
}

impl Sum for Mass {
    fn sum<I: Iterator<Item = Self>>(each: I) -> Self {
        Self(each.map(|mass| mass.0).sum())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn masses_are_written_as_scales_show_them() {
        assert_eq!(Mass::lb(400).text(), "400.0");
        assert_eq!(Mass(980).text(), "0.98");
        assert_eq!(Mass(14_015).text(), "14.015");
        // A quarter of a percent of 400 lb, on a scale that reads to 0.005 lb.
        assert_eq!(Mass::lb(400).per_100_lb(250, 5), Mass(1000));
        assert_eq!(Mass::lb(400).per_100_lb(70_000, 500), Mass::lb(280));
        assert_eq!(Mass::lb(150).times(0.9, 500), Mass::lb(135));
    }
}
