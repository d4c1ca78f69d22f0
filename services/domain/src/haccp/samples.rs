//! Blocks of samples of one probe, put together to one line however late or often they came.
//! It never takes one of two values of an instant for the other: both stand, and the worse counts.

use rust_decimal::Decimal;

use super::gate::question::At;
use crate::curve::{Curve, Sample};
use crate::exact::Exact;
use crate::heat::probes::Worst;
use crate::units::Unit;

/// Microseconds in a second, as decimals of it.
const TIME_DECIMALS: u32 = 6;

/// Samples as they came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// The instant of second 0.
    pub begun_at: At,
    /// Seconds, with at most six decimals, and the value shown.
    pub samples: Vec<(Decimal, Decimal)>,
    /// A unit of temperature.
    pub unit: Unit,
    /// What is taken off each value, in its unit: what the instrument shows too much.
    pub correction: Decimal,
}

/// What was shown at one instant, in [degF]: one value, or the two ends of several.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// When.
    pub at: At,
    /// The lowest value shown.
    pub lowest_f: Decimal,
    /// The highest value shown.
    pub highest_f: Decimal,
}

impl Reading {
    /// The value that is worse for what is judged.
    pub fn worst_f(&self, worst: Worst) -> Decimal {
        match worst {
            Worst::Coldest => self.lowest_f,
            Worst::Warmest => self.highest_f,
        }
    }
}

/// The readings of one probe, one an instant, in rising time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line {
    readings: Vec<Reading>,
}

/// An instant of which a value is known and another was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clash {
    /// Its place in the block.
    pub at: usize,
    /// The value that is known, in [degF].
    pub known_f: Decimal,
    /// The value that was sent, in [degF].
    pub sent_f: Decimal,
}

impl Line {
    /// All blocks together; nothing when their digits do not fit.
    pub fn of<'b>(blocks: impl IntoIterator<Item = &'b Block>) -> Option<Self> {
        let mut readings = Vec::new();
        for block in blocks {
            for (t_s, value) in &block.samples {
                let value_f = block.fahrenheit(*value)?;
                let at = block.instant(*t_s)?;
                readings.push(Reading { at, lowest_f: value_f, highest_f: value_f });
            }
        }
        readings.sort_by_key(|reading| reading.at);
        readings.dedup_by(|later, kept| {
            let is_same = later.at == kept.at;
            if is_same {
                kept.lowest_f = kept.lowest_f.min(later.lowest_f);
                kept.highest_f = kept.highest_f.max(later.highest_f);
            }
            is_same
        });
        Some(Self { readings })
    }

    /// Its readings.
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// The last reading.
    pub fn last(&self) -> Option<&Reading> {
        self.readings.last()
    }

    /// The readings up to an instant, itself counted.
    pub fn until(&self, at: At) -> Self {
        let end = self.readings.partition_point(|reading| reading.at <= at);
        Self { readings: self.readings[..end].to_vec() }
    }

    /// The readings from an instant on.
    pub fn from_on(&self, at: At) -> Self {
        let start = self.readings.partition_point(|reading| reading.at < at);
        Self { readings: self.readings[start..].to_vec() }
    }

    /// The readings from the coldest on: what came before shows a probe that was still warm from
    /// elsewhere, as a core only warms in a cook.
    pub fn from_coldest(&self) -> Self {
        let values = self.readings.iter().enumerate();
        let coldest = values.min_by_key(|(at, r)| (r.lowest_f, std::cmp::Reverse(*at)));
        Self { readings: self.readings[coldest.map_or(0, |(at, _)| at)..].to_vec() }
    }

    /// The readings from an instant on, with the last one before it where none is at it.
    pub fn since(&self, at: At) -> Self {
        let after = self.readings.partition_point(|reading| reading.at <= at);
        Self { readings: self.readings[after.saturating_sub(1)..].to_vec() }
    }

    /// The longest time between two readings that follow each other, in microseconds.
    pub fn longest_gap(&self) -> At {
        let gaps = self.readings.windows(2).map(|pair| pair[1].at.saturating_sub(pair[0].at));
        gaps.max().unwrap_or(0)
    }

    /// The worse values as a curve in [degF], in seconds from `zero` on; none below two readings.
    pub fn curve(&self, worst: Worst, zero: At) -> Option<Curve> {
        let samples = self.readings.iter().map(|reading| {
            let t_s = Decimal::try_new(reading.at.checked_sub(zero)?, TIME_DECIMALS).ok()?;
            Some(Sample { t_s: t_s.normalize(), value: reading.worst_f(worst) })
        });
        Curve::new(Unit::Fahrenheit, samples.collect::<Option<_>>()?)
    }

    /// The instants of a block of which another value is known.
    pub fn clashes(&self, block: &Block) -> Vec<Clash> {
        let clash = |(at, (t_s, value)): (usize, &(Decimal, Decimal))| {
            let (instant, sent_f) = (block.instant(*t_s)?, block.fahrenheit(*value)?);
            let known = self.readings.binary_search_by_key(&instant, |reading| reading.at).ok()?;
            let known = self.readings.get(known)?;
            let is_known = known.lowest_f == sent_f && known.highest_f == sent_f;
            let far = |f: &Decimal| *f != sent_f;
            let known_f = [known.lowest_f, known.highest_f].into_iter().find(far)?;
            (!is_known).then_some(Clash { at, known_f, sent_f })
        };
        block.samples.iter().enumerate().filter_map(clash).collect()
    }
}

impl Block {
    /// The instant of a time; nothing when it does not fit or has more than six decimals.
    pub fn instant(&self, t_s: Decimal) -> Option<At> {
        let t_s = t_s.normalize();
        let missing = TIME_DECIMALS.checked_sub(t_s.scale())?;
        let us = t_s.mantissa().checked_mul(10i128.pow(missing))?;
        At::try_from(us).ok().and_then(|us| self.begun_at.checked_add(us))
    }

    /// A value without what the instrument shows too much, in [degF]; nothing when it does not fit.
    pub fn fahrenheit(&self, value: Decimal) -> Option<Decimal> {
        if self.unit == Unit::Fahrenheit {
            return less(value, self.correction);
        }
        let shown = Exact::from(value) - Exact::from(self.correction);
        crate::units::Quantity::new(shown, self.unit).base().to_decimal()
    }
}

/// A value less what is taken off it, exactly, by whole numbers of the finer of their last places:
/// every sample of every curve goes through here. Nothing when the difference does not fit.
fn less(value: Decimal, taken_off: Decimal) -> Option<Decimal> {
    if taken_off.is_zero() {
        return Some(value);
    }
    let (value, taken_off) = (value.normalize(), taken_off.normalize());
    let scale = value.scale().max(taken_off.scale());
    let whole = |number: Decimal| {
        number.mantissa().checked_mul(10i128.checked_pow(scale - number.scale())?)
    };
    let difference = whole(value)?.checked_sub(whole(taken_off)?)?;
    Some(Decimal::try_from_i128_with_scale(difference, scale).ok()?.normalize())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn decimal(text: &str) -> Decimal {
        crate::exact::decimal(text).expect("a decimal")
    }

    fn block(begun_s: i64, samples: &[(&str, &str)], unit: Unit) -> Block {
        let samples = samples.iter().map(|(t, v)| (decimal(t), decimal(v))).collect();
        Block { begun_at: begun_s * 1_000_000, samples, unit, correction: Decimal::ZERO }
    }

    #[test]
    fn of_two_values_of_an_instant_the_worse_counts() {
        let first = block(0, &[("0", "150.0"), ("60", "151.0")], Unit::Fahrenheit);
        let again = block(60, &[("0", "151.0"), ("60", "152.0")], Unit::Fahrenheit);
        let other = block(0, &[("60", "149.5"), ("60.5", "150")], Unit::Fahrenheit);
        let known = Line::of([&first]).expect("a line");
        assert_eq!(known.clashes(&again), []);
        let clash = Clash { at: 0, known_f: decimal("151.0"), sent_f: decimal("149.5") };
        assert_eq!(known.clashes(&other), [clash]);
        let line = Line::of([&other, &again, &first]).expect("a line");
        let reading = line.readings()[1];
        assert_eq!(reading.worst_f(Worst::Coldest), decimal("149.5"));
        assert_eq!(reading.worst_f(Worst::Warmest), decimal("151.0"));
        assert_eq!(line.readings().len(), 4);
        assert_eq!(line.longest_gap(), 60_000_000);
        assert_eq!(line.clashes(&again).len(), 1, "one of the two values known differs");
    }

    #[test]
    fn values_are_corrected_and_turned_into_fahrenheit_exactly() {
        let mut celsius = block(0, &[("0", "68.4"), ("1", "68.4")], Unit::Celsius);
        celsius.correction = decimal("0.1");
        // 68.3 Cel is 154.94 [degF] (plain arithmetic: 68.3 x 1.8 + 32).
        let line = Line::of([&celsius]).expect("a line");
        assert_eq!(line.readings()[0].lowest_f, decimal("154.94"));
    }

    #[test]
    fn a_line_is_cut_at_readings_and_never_between_them() {
        let line = Line::of([&block(0, &[("0", "1"), ("10", "2"), ("20", "3")], Unit::Kelvin)]);
        let line = line.expect("a line");
        assert_eq!(line.until(15_000_000).readings().len(), 2);
        assert_eq!(line.since(15_000_000).readings().len(), 2);
        assert_eq!(line.since(-1).readings().len(), 3);
        assert_eq!(line.from_on(15_000_000).readings().len(), 1);
        assert!(line.until(0).curve(Worst::Coldest, 0).is_none());
    }

    proptest! {
        /// What is taken off is taken off exactly.
        #[test]
        fn a_correction_is_the_exact_difference(
            (value, value_scale) in (any::<i64>(), 0u32..12),
            (taken_off, scale) in (-100_000i64..100_000, 0u32..9),
        ) {
            let value = Decimal::new(value, value_scale);
            let taken_off = Decimal::new(taken_off, scale);
            let exact = Exact::from(value) - Exact::from(taken_off);
            let less = less(value, taken_off);
            prop_assert_eq!(less.map(Exact::from), Some(exact.clone()));
            prop_assert_eq!(less, exact.to_decimal());
        }

        /// Late, out of order and repeated blocks make the same line.
        #[test]
        fn the_order_of_blocks_does_not_matter(
            values in proptest::collection::vec((0i64..50, 1000i64..2000), 1..40),
            cut in 0usize..40,
        ) {
            let sample = |(t, v): &(i64, i64)| (Decimal::from(*t), Decimal::new(*v, 1));
            let of = |some: &[(i64, i64)]| Block {
                begun_at: 0,
                samples: some.iter().map(sample).collect(),
                unit: Unit::Fahrenheit,
                correction: Decimal::ZERO,
            };
            let (early, late) = values.split_at(cut.min(values.len()));
            let (early, late) = (of(early), of(late));
            let forth = Line::of([&early, &late]).expect("a line");
            prop_assert_eq!(&forth, &Line::of([&late, &early, &late]).expect("a line"));
            prop_assert!(forth.readings().windows(2).all(|pair| pair[0].at < pair[1].at));
        }
    }
}
