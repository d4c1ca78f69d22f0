//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod costs;
pub mod graph;
pub mod report;
pub mod scales;
pub mod weighings;

use std::collections::BTreeSet;

use bigdecimal::BigDecimal;
use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::{Dimension, Unit};
use platform::error::Failure;
use platform::shape::{self, Entered};
use uuid::Uuid;
use wire::v1;

/// How the numbers of an answer are rounded.
pub const ROUNDING: &str =
    "Exact; a number without an end is written with 30 significant digits, to the nearest.";

/// Reads ids of a list; each stands once.
fn ids(given: &[String], list: &str, faults: &mut Faults) -> Vec<Uuid> {
    let mut read = BTreeSet::new();
    for (at, text) in given.iter().enumerate() {
        let field = format!("{list}[{at}]");
        let Some(id) = shape::id(text, &field, faults) else { continue };
        if !read.insert(id) {
            faults.add_value(field, id, "must be named once");
        }
    }
    read.into_iter().collect()
}

/// Reads one id of a request.
pub fn one_id(text: &str, field: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let id = shape::id(text, field, &mut faults);
    Ok(faults.into_result(id)?)
}

/// Reads a unit of mass.
fn mass_unit(code: &str, faults: &mut Faults) -> Option<Unit> {
    let unit = Unit::from_code(code).filter(|unit| unit.dimension() == Dimension::Mass);
    if unit.is_none() {
        let allowed = format!("must be one of: {}", Unit::codes(Dimension::Mass));
        faults.add_value("unit", code, allowed);
    }
    unit
}

/// Reads a mass above 0, as a number of the database with its unit.
fn mass_above_0(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<(BigDecimal, Unit)> {
    let Entered { value, unit } = shape::quantity(given, Dimension::Mass, field, faults)?;
    if value.is_zero() {
        faults.add_value(format!("{field}.value"), value, "must be above 0");
        return None;
    }
    Some((stored(&value.to_string())?, unit))
}

/// A decimal text as a number of the database, digit by digit.
fn stored(text: &str) -> Option<BigDecimal> {
    text.parse().ok()
}

/// A number of the database as it was entered.
fn number_out(value: &BigDecimal) -> Option<String> {
    Some(value.to_plain_string())
}

/// A number of the database to compute with. Errors: more digits than can be entered.
fn exact(value: &BigDecimal) -> Result<Exact, Failure> {
    read_exact(&value.to_plain_string())
}

/// A decimal text of another service to compute with, however long it is.
fn read_exact(text: &str) -> Result<Exact, Failure> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let read = |digits: &str| -> Option<Exact> {
        let mut sum = Exact::zero();
        for digit in digits.chars() {
            let digit = i64::from(digit.to_digit(10)?);
            sum = &(&sum * &Exact::whole(10)) + &Exact::whole(digit);
        }
        Some(sum)
    };
    let (digits, sign) = match whole.strip_prefix('-') {
        Some(digits) => (digits, -1),
        None => (whole, 1),
    };
    let mut scale = Exact::whole(sign);
    part.chars().for_each(|_| scale = &scale * &Exact::whole(10));
    let value = read(&format!("{digits}{part}")).and_then(|value| value.checked_div(&scale));
    value.ok_or_else(|| Failure::internal(format!("{text} is no decimal number")))
}

fn exact_out(value: &Exact) -> Option<String> {
    Some(value.to_string())
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_long_number_of_the_lot_graph_is_read_whole() {
        let long = "-1234567890123456789012345678901234567890.125";
        assert_eq!(super::read_exact(long).expect("a number").to_string(), long);
        assert_eq!(super::read_exact("0.50").expect("a number").to_string(), "0.5");
        assert!(super::read_exact("1e3").is_err());
    }
}
