//! One probe's curve in whole ticks, so that two thousand samples are searched in microseconds.
//! It never converts with a float: every unit of temperature is a whole number of ticks of [degF].

use rust_decimal::Decimal;

use super::fraction::{Fraction, product};
use crate::curve::Curve;
use crate::exact::Exact;
use crate::units::Unit;

/// Segments that one block summarises.
const BLOCK: usize = 64;

/// An unbroken stretch of time, both ends belonging to it; a touch has no length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Run {
    /// First instant, in ticks.
    pub from: Fraction,
    /// Last instant, in ticks.
    pub to: Fraction,
}

/// A level in ticks of temperature: its whole part, and whether that is all of it.
#[derive(Clone, Debug)]
pub(super) struct Level {
    /// The level, in ticks.
    exact: Exact,
    /// The least whole tick not below it: a reading reaches the level when it reaches this.
    least: i128,
    /// True when `least` is the level itself.
    whole: bool,
}

impl Level {
    /// A level of `value` [degF] where a degree has `10^decimals` ticks.
    pub(super) fn new(value: &Exact, decimals: u32) -> Self {
        let beyond = if value.is_negative() { i128::MIN } else { i128::MAX };
        let (floor, whole) = value.floor_at(decimals).unwrap_or((beyond, true));
        let ticks_a_degree = power_of_ten(decimals).and_then(|ticks| Exact::ratio_wide(ticks, 1));
        let exact = ticks_a_degree.map_or_else(Exact::zero, |ticks| value * &ticks);
        Self { exact, least: if whole { floor } else { floor.saturating_add(1) }, whole }
    }

    /// True when a reading in ticks is at the level or above.
    pub(super) fn is_reached(&self, ticks: i128) -> bool {
        ticks >= self.least
    }
}

/// Samples in ticks of time and temperature; a degree and a second have a power of ten of them.
#[derive(Clone, Debug)]
pub(super) struct Track {
    /// Times, strictly rising.
    pub times: Vec<i128>,
    /// Temperatures.
    pub values: Vec<i128>,
    /// The temperatures in degrees, for numerical integration only.
    pub degrees: Vec<f64>,
    /// Lowest and highest value of each block of segments, both ends of each counted.
    blocks: Vec<(i128, i128)>,
}

impl Track {
    /// The curve in ticks; nothing when its digits do not fit.
    pub(super) fn new(curve: &Curve, time_decimals: u32, decimals: u32) -> Option<Self> {
        let samples = curve.samples();
        let mut times = Vec::with_capacity(samples.len());
        let mut values = Vec::with_capacity(samples.len());
        for sample in samples {
            times.push(scaled(sample.t_s, time_decimals)?);
            values.push(fahrenheit(sample.value, curve.unit(), decimals)?);
        }
        Some(Self { times, values, degrees: Vec::new(), blocks: Vec::new() })
    }

    /// Moves every value by `offset` ticks, turns the sign if asked, and makes ready to search.
    pub(super) fn prepare(&mut self, offset: i128, upside_down: bool, decimals: u32) -> Option<()> {
        let ticks_a_degree = float(power_of_ten(decimals)?);
        for value in &mut self.values {
            *value = value.checked_add(offset)?;
            if upside_down {
                *value = value.checked_neg()?;
            }
        }
        self.degrees = self.values.iter().map(|value| float(*value) / ticks_a_degree).collect();
        let last = self.values.len() - 1;
        self.blocks = (0..last)
            .step_by(BLOCK)
            .map(|start| {
                let block = &self.values[start..=last.min(start + BLOCK)];
                block
                    .iter()
                    .fold((i128::MAX, i128::MIN), |(low, high), v| (low.min(*v), high.max(*v)))
            })
            .collect();
        Some(())
    }

    /// The first time, in ticks.
    pub(super) fn start(&self) -> i128 {
        self.times[0]
    }

    /// The last time, in ticks.
    pub(super) fn end(&self) -> i128 {
        self.times[self.times.len() - 1]
    }

    /// Every unbroken stretch at or above a level, in order of time.
    pub(super) fn runs(&self, level: &Level) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut since = level.is_reached(self.values[0]).then(|| Fraction::whole(self.times[0]));
        for (block, (low, high)) in self.blocks.iter().enumerate() {
            let unchanged = match since {
                Some(_) => level.is_reached(*low),
                None => !level.is_reached(*high),
            };
            if !unchanged {
                let start = block * BLOCK;
                let end = (start + BLOCK).min(self.values.len() - 1);
                self.runs_within(start..end, level, &mut since, &mut runs);
            }
        }
        if let Some(from) = since {
            runs.push(Run { from, to: Fraction::whole(self.end()) });
        }
        runs
    }

    fn runs_within(
        &self,
        segments: std::ops::Range<usize>,
        level: &Level,
        since: &mut Option<Fraction>,
        runs: &mut Vec<Run>,
    ) {
        for segment in segments {
            let above = level.is_reached(self.values[segment + 1]);
            match (since.take(), above) {
                (None, true) => *since = Some(self.crossing(segment, level)),
                (Some(from), false) => {
                    runs.push(Run { from, to: self.crossing(segment, level) });
                }
                (unchanged, _) => *since = unchanged,
            }
        }
    }

    /// When the straight line of a segment that is not level passes a level, in ticks.
    fn crossing(&self, segment: usize, level: &Level) -> Fraction {
        let (t0, t1) = (self.times[segment], self.times[segment + 1]);
        let (v0, v1) = (self.values[segment], self.values[segment + 1]);
        let small = || {
            if !level.whole {
                return None;
            }
            let rise = v1.checked_sub(v0)?;
            let part = product(t1.checked_sub(t0)?, level.least.checked_sub(v0)?)?;
            Fraction::new(product(t0, rise)?.checked_add(part)?, rise)
        };
        small().unwrap_or_else(|| {
            let [t0, t1, v0, v1] = [t0, t1, v0, v1].map(|ticks| Fraction::whole(ticks).exact());
            // A crossed segment is never level, so the divisor is not 0.
            let part = (&level.exact - &v0).checked_div(&(v1 - v0)).unwrap_or_else(Exact::zero);
            Fraction::big(&t0 + &((&t1 - &t0) * part))
        })
    }

    /// The value at a time within the span, in ticks.
    pub(super) fn value_at(&self, time: &Fraction) -> Exact {
        let later = self.times.partition_point(|t| Fraction::whole(*t) < *time);
        let later = later.clamp(1, self.times.len() - 1);
        let time = &time.exact();
        let at = |ticks: i128| Fraction::whole(ticks).exact();
        let (t0, t1) = (at(self.times[later - 1]), at(self.times[later]));
        let (v0, v1) = (at(self.values[later - 1]), at(self.values[later]));
        // Times rise strictly, so the divisor is not 0.
        let part = (time - &t0).checked_div(&(t1 - t0)).unwrap_or_else(Exact::zero);
        &v0 + &((&v1 - &v0) * part)
    }
}

/// What two sets of stretches share.
pub(super) fn shared(left: &[Run], right: &[Run]) -> Vec<Run> {
    let mut out = Vec::new();
    let (mut l, mut r) = (0, 0);
    while let (Some(a), Some(b)) = (left.get(l), right.get(r)) {
        let from = std::cmp::max(&a.from, &b.from);
        let to = std::cmp::min(&a.to, &b.to);
        if from <= to {
            out.push(Run { from: from.clone(), to: to.clone() });
        }
        if a.to <= b.to {
            l += 1;
        } else {
            r += 1;
        }
    }
    out
}

/// The nearest float of ticks. Nearly all fit 64 bits, where this is much faster.
pub(super) fn float(ticks: i128) -> f64 {
    match i64::try_from(ticks) {
        Ok(small) => small as f64,
        Err(_) => Fraction::whole(ticks).exact().to_f64(),
    }
}

/// Powers of ten as far as they fit.
static POWERS_OF_TEN: [i128; 39] = {
    let mut powers = [1; 39];
    let mut at = 1;
    while at < powers.len() {
        powers[at] = powers[at - 1] * 10;
        at += 1;
    }
    powers
};

/// `10^exponent`; nothing when it does not fit.
fn power_of_ten(exponent: u32) -> Option<i128> {
    POWERS_OF_TEN.get(usize::try_from(exponent).ok()?).copied()
}

/// A decimal in units of `10^-decimals`; nothing when it does not fit.
pub(super) fn scaled(value: Decimal, decimals: u32) -> Option<i128> {
    product(value.mantissa(), power_of_ten(decimals.checked_sub(value.scale())?)?)
}

/// How many decimals of [degF] a value of a unit needs.
pub(super) fn decimals_needed(value: Decimal, unit: Unit) -> u32 {
    match unit {
        Unit::Celsius => value.scale() + 1,
        Unit::Kelvin => (value.scale() + 1).max(2),
        _ => value.scale(),
    }
}

/// A temperature in ticks of [degF]: a degree Celsius is 18 tenths of one.
fn fahrenheit(value: Decimal, unit: Unit, decimals: u32) -> Option<i128> {
    let zero_point = match unit {
        Unit::Celsius => product(32, power_of_ten(decimals)?)?,
        Unit::Kelvin => product(-45_967, power_of_ten(decimals.checked_sub(2)?)?)?,
        _ => return scaled(value, decimals),
    };
    product(scaled(value, decimals.checked_sub(1)?)?, 18)?.checked_add(zero_point)
}
