//! Curves for tests, so that each test states only its readings.
//! It never leaves the tests.

use crate::curve::{Curve, Sample};
use crate::exact::{self, Exact};
use crate::heat::probes::{Probes, Worst};
use crate::units::Unit;

/// A number of a test.
pub(super) fn exact(text: &str) -> Exact {
    text.parse().expect("a decimal")
}

/// A curve of `(t_s, value)`.
pub(super) fn curve(unit: Unit, samples: &[(&str, &str)]) -> Curve {
    let decimal = |text: &str| exact::decimal(text).expect("a decimal");
    let samples =
        samples.iter().map(|(t, v)| Sample { t_s: decimal(t), value: decimal(v) }).collect();
    Curve::new(unit, samples).expect("a curve")
}

/// A curve in [degF] of whole seconds.
pub(super) fn fahrenheit(samples: &[(i64, &str)]) -> Curve {
    let text: Vec<(String, &str)> = samples.iter().map(|(t, v)| (t.to_string(), *v)).collect();
    let text: Vec<(&str, &str)> = text.iter().map(|(t, v)| (t.as_str(), *v)).collect();
    curve(Unit::Fahrenheit, &text)
}

/// Probes of which the coldest counts, without tolerance.
pub(super) fn coldest(curves: &[Curve]) -> Probes {
    Probes::new(curves, Worst::Coldest, &Exact::zero()).expect("probes")
}

/// Probes of which the warmest counts, without tolerance.
pub(super) fn warmest(curves: &[Curve]) -> Probes {
    Probes::new(curves, Worst::Warmest, &Exact::zero()).expect("probes")
}

/// Seconds of a time of day.
pub(super) fn clock(hours: i64, minutes: i64, seconds: i64) -> i64 {
    hours * 3600 + minutes * 60 + seconds
}
