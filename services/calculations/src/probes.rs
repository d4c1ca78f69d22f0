//! What lethality and cooling share: curves of probes in, times and temperatures out.
//! It never judges and never shortens a gap.

use std::collections::BTreeMap;

use domain::curve::Curve;
use domain::exact::Exact;
use domain::fault::Faults;
use domain::heat::Between;
use domain::heat::bounds::Taken;
use domain::heat::probes::{Probes, Unusable, Worst};
use domain::units::{Quantity, Unit};
use prost_types::{Struct, Value, value::Kind};
use rust_decimal::Decimal;
use wire::v1;

use crate::shape;

/// Longest time between two readings unless given, in seconds.
const MAX_GAP_S: i64 = 300;

/// Curves as given: one, or several of one product.
pub struct Given<'a> {
    pub curve: Option<&'a v1::Curve>,
    pub curves: &'a [v1::Curve],
    pub tolerance: Option<&'a v1::Quantity>,
    /// Nothing where gaps do not matter.
    pub max_gap_s: Option<Decimal>,
    /// True when the judgement needs a time that all curves cover.
    pub shares_time: bool,
}

/// The longest gap allowed.
pub fn max_gap(given: Option<&str>, faults: &mut Faults) -> Decimal {
    let read = shape::positive(given, "max_gap_s", faults).and_then(|gap| gap.to_decimal());
    read.unwrap_or_else(|| Decimal::from(MAX_GAP_S))
}

/// How the time between readings is understood; straight lines unless given.
pub fn between(given: Option<&str>, field: &str, faults: &mut Faults) -> Between {
    match given {
        None | Some("linear") => Between::Linear,
        Some("bounds") => Between::Bounds,
        Some(word) => {
            faults.add_value(field, word, "must be one of: linear bounds");
            Between::Linear
        }
    }
}

/// Reads the probes and the unit of the first curve.
pub fn read(given: &Given<'_>, worst: Worst, faults: &mut Faults) -> Option<(Probes, Unit)> {
    let tolerance = shape::temperature_difference(given.tolerance, "probe_tolerance", faults);
    let whole = tolerance.is_some() == given.tolerance.is_some();
    let curves = curves(given, faults)?;
    let unit = curves.first()?.unit();
    let tolerance_f = tolerance.map_or_else(Exact::zero, |tolerance| tolerance.base_difference());
    let field = if given.curve.is_some() { "curve" } else { "curves" };
    match Probes::new(&curves, worst, &tolerance_f) {
        Ok(probes) if given.shares_time && probes.span().is_none() => {
            faults.add(field, "must share a span of time");
            None
        }
        Ok(probes) => whole.then_some((probes, unit)),
        Err(Unusable::NoCurve) => {
            shape::missing(field, faults);
            None
        }
        Err(Unusable::TooManyDigits) => {
            faults.add(field, "must not hold numbers both so large and so fine");
            None
        }
    }
}

fn curves(given: &Given<'_>, faults: &mut Faults) -> Option<Vec<Curve>> {
    match (given.curve, given.curves) {
        (None, []) => {
            shape::missing("curve", faults);
            None
        }
        (Some(curve), []) => {
            shape::curve(Some(curve), given.max_gap_s, "curve", faults).map(|curve| vec![curve])
        }
        (None, curves) => {
            let read = curves.iter().enumerate().map(|(at, curve)| {
                shape::curve(Some(curve), given.max_gap_s, &format!("curves[{at}]"), faults)
            });
            let read: Vec<Option<Curve>> = read.collect();
            read.into_iter().collect()
        }
        (Some(_), _) => {
            faults.add("curves", "must not stand beside curve: give one of them");
            None
        }
    }
}

/// A temperature in [degF] as a message, in the unit of the curve.
pub fn temperature_out(value_f: &Exact, unit: Unit) -> Option<v1::Quantity> {
    Some(shape::quantity_out(&Quantity::from_base(value_f, unit)))
}

/// A time that something took: one number, or its bounds; nothing when nothing is known.
pub fn taken_out(taken: Option<&Taken>, between: Between) -> Option<Value> {
    let number = |seconds: &Exact| Value { kind: Some(Kind::NumberValue(seconds.to_f64())) };
    let taken = taken?;
    match between {
        Between::Linear => taken.most_s.as_ref().map(number),
        Between::Bounds => {
            let bounds = [("least", &taken.least_s), ("most", &taken.most_s)];
            let known = bounds.into_iter().filter_map(|(word, seconds)| {
                seconds.as_ref().map(|seconds| (word.to_owned(), number(seconds)))
            });
            let fields: BTreeMap<String, Value> = known.collect();
            (!fields.is_empty())
                .then_some(Value { kind: Some(Kind::StructValue(Struct { fields })) })
        }
    }
}
