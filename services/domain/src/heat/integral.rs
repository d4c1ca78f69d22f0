//! The lethality integral of a curve, in closed form over each straight piece.
//! It never uses the trapezoid, which overstates on every slope.

use super::model::{Model, Rates};
use super::probes::Probes;
use super::sweep::Piece;
use crate::exact::Exact;
use crate::verdict::{Judgement, Verdict};

/// What a curve did by a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Integral {
    /// Seconds at the reference temperature that would have done the same.
    pub equivalent_s: f64,
    /// The same with each piece counted at its cooler end.
    pub lower_bound_s: f64,
    /// Decimal reductions.
    pub log_reduction: f64,
    /// When the target was reached, in seconds on the curve's clock.
    pub reached_at_s: Option<f64>,
    /// Against the target; nothing without one.
    pub judgement: Option<Judgement>,
}

/// Integrates the coldest probe by `model`; judges when `target_log` (above 0) is given.
/// Nothing when the curves share no time or a number grows beyond what a float can hold.
pub fn integrate(probes: &Probes, model: &Model, target_log: Option<&Exact>) -> Option<Integral> {
    let needed_s = target_log.map(|target| target * &model.d_s);
    let needed_float = match &needed_s {
        Some(needed) => Some(float_not_below(needed)?),
        None => None,
    };
    let mut sum = Summing::new(model, needed_float);
    probes.whole_span()?;
    probes.line().iter().for_each(|piece| sum.take(*piece));
    let equivalent_s = sum.total.value();
    let log_reduction = equivalent_s / model.d_s.to_f64();
    let numbers = [equivalent_s, log_reduction, sum.lower.value()];
    if numbers.iter().any(|number| !number.is_finite()) {
        return None;
    }
    let judgement = needed_float.zip(target_log).map(|(needed, target)| {
        let reason = format!("{log_reduction:.3} log of {target} log needed, by the integral");
        Judgement::because(Verdict::met(equivalent_s >= needed), reason)
    });
    let reached_at_s = sum
        .reached_at_s
        .filter(|_| judgement.as_ref().is_some_and(|judgement| judgement.verdict == Verdict::Pass));
    Some(Integral {
        equivalent_s,
        lower_bound_s: sum.lower.value(),
        log_reduction,
        reached_at_s,
        judgement,
    })
}

/// The least float not below a number above 0, so that comparing with it is comparing exactly.
fn float_not_below(value: &Exact) -> Option<f64> {
    let mut float = value.to_f64();
    while Exact::from_float(float)? < *value {
        float = float.next_up();
    }
    while Exact::from_float(float.next_down())? >= *value {
        float = float.next_down();
    }
    Some(float)
}

/// A sum that keeps what plain addition would lose (Neumaier 1974).
#[derive(Clone, Copy, Default)]
struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    fn add(&mut self, value: f64) {
        let total = self.sum + value;
        let (large, small) =
            if self.sum.abs() >= value.abs() { (self.sum, value) } else { (value, self.sum) };
        self.lost += (large - total) + small;
        self.sum = total;
    }

    fn value(self) -> f64 {
        self.sum + self.lost
    }
}

struct Summing {
    rates: Rates,
    floor_f: f64,
    needed_s: Option<f64>,
    total: Sum,
    lower: Sum,
    reached_at_s: Option<f64>,
    /// The last temperature and its rate: the next piece begins there as a rule.
    last: (f64, f64),
}

impl Summing {
    fn new(model: &Model, needed_s: Option<f64>) -> Self {
        let rates = model.rates();
        let begin_f = model.reference_f.to_f64();
        Self {
            rates,
            floor_f: model.floor_f.as_ref().map_or(f64::NEG_INFINITY, Exact::to_f64),
            needed_s,
            total: Sum::default(),
            lower: Sum::default(),
            reached_at_s: None,
            last: (begin_f, rates.at(begin_f)),
        }
    }

    fn rate(&mut self, temperature_f: f64) -> f64 {
        if self.last.0 != temperature_f {
            self.last = (temperature_f, self.rates.at(temperature_f));
        }
        self.last.1
    }

    fn take(&mut self, piece: Piece) {
        let (low, high) = (piece.from_f.min(piece.to_f), piece.from_f.max(piece.to_f));
        if high < self.floor_f {
            return;
        }
        let counted = if low < self.floor_f { self.above_floor(piece) } else { piece };
        let (from, to) = (self.rate(counted.from_f), self.rate(counted.to_f));
        if low >= self.floor_f {
            self.lower.add(piece.length_s * from.min(to));
        }
        let growth = self.rates.growth(counted.to_f - counted.from_f);
        let part_s = counted.length_s * from.max(to) * mean_of_falling(growth.abs());
        let before = self.total;
        self.total.add(part_s);
        let Some(needed) = self.needed_s else { return };
        if self.reached_at_s.is_none() && self.total.value() >= needed {
            let missing_s = (needed - before.value()).max(0.0);
            let after_s = time_to(missing_s, counted.length_s, (from, growth));
            self.reached_at_s = Some(counted.from_s + after_s);
        }
    }

    /// The part of a piece through the floor that lies at it or above.
    fn above_floor(&self, piece: Piece) -> Piece {
        let part = (self.floor_f - piece.from_f) / (piece.to_f - piece.from_f);
        let before_s = piece.length_s * part;
        if piece.from_f < self.floor_f {
            let length_s = piece.length_s - before_s;
            Piece { from_s: piece.from_s + before_s, length_s, from_f: self.floor_f, ..piece }
        } else {
            let to_s = piece.from_s + before_s;
            Piece { to_s, length_s: before_s, to_f: self.floor_f, ..piece }
        }
    }
}

/// The mean of `e^-s` for s from 0 to `fall`: what a piece does, per rate at its hotter end.
fn mean_of_falling(fall: f64) -> f64 {
    if fall == 0.0 { 1.0 } else { -libm::expm1(-fall) / fall }
}

/// When a piece that begins at rate `from` and grows by `e^growth` has done `missing_s`.
fn time_to(missing_s: f64, length_s: f64, (from, growth): (f64, f64)) -> f64 {
    let at_begin_rate = missing_s / from;
    let after_s = if growth == 0.0 {
        at_begin_rate
    } else {
        length_s / growth * libm::log1p(at_begin_rate * growth / length_s)
    };
    // A falling piece that ends just at the target may miss it by a rounding.
    if after_s.is_finite() { after_s.clamp(0.0, length_s) } else { length_s }
}
