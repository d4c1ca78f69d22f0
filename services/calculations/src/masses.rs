//! Readers that the kinds about masses share, on top of `shape`.
//! It never judges and never fills in a value that was not given.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::units::{Dimension, Quantity};
use wire::v1;

use crate::shape;

/// Reads a mass; absent is nothing without a fault.
pub fn mass(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    shape::quantity(given, Dimension::Mass, field, faults)
}

/// Reads a mass that must be given.
pub fn needed(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    if given.is_none() {
        shape::missing(field, faults);
    }
    mass(given, field, faults)
}

/// Reads a mass above 0; absent is nothing without a fault.
pub fn positive(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    let mass = mass(given, field, faults)?;
    if !mass.value.is_positive() {
        faults.add_value(format!("{field}.value"), &mass.value, "must be above 0");
        return None;
    }
    Some(mass)
}

/// Says that a list has no entry where one is needed.
pub fn not_empty<T>(list: &[T], field: &str, faults: &mut Faults) {
    if list.is_empty() {
        faults.add(field, "must hold at least one entry");
    }
}

/// Reads parts of one thing in per cent: each within 0 to 100, all together 100 at most. The outer
/// nothing means a fault.
pub fn parts<const N: usize>(
    given: [(&str, Option<&str>); N],
    whole: &str,
    faults: &mut Faults,
) -> Option<[Option<Exact>; N]> {
    let mut is_sound = true;
    let read = given.map(|(name, text)| {
        let value = shape::percentage(text, &format!("{whole}.{name}"), faults);
        is_sound &= value.is_some() == text.is_some();
        value
    });
    let sum: Exact = read.iter().flatten().sum();
    if sum > Exact::whole(100) {
        let names = given.map(|(name, _)| name).join(", ");
        faults.add_value(whole, sum, format!("{names} must not be above 100 % together"));
        return None;
    }
    is_sound.then_some(read)
}

/// A name as a person wrote it, else its place counted from 1.
pub fn name_or_place(name: &str, word: &str, at: usize) -> String {
    if name.is_empty() { format!("{word} {}", at + 1) } else { name.to_owned() }
}
