//! Formulas and masses: what a batch holds, what it may hold, and what it becomes.
//! It never rounds a number that is judged, and never fills in one that was not given.

use crate::exact::Exact;
use crate::units::Quantity;

pub mod agents;
pub mod blend;
pub mod brine;
pub mod composition;
pub mod declaration;
pub mod scaling;
pub mod shrink;
mod simplex;
pub mod ways_out;

/// Decimals that a sentence shows of a number.
const DECIMALS_IN_TEXT: u32 = 6;

/// 100.
fn hundred() -> Exact {
    Exact::whole(100)
}

/// `part` as a percentage of `whole`; nothing when the whole is 0.
fn percent_of(part: &Exact, whole: &Exact) -> Option<Exact> {
    (part * &hundred()).checked_div(whole)
}

/// The greatest multiple of `division` not above `mass`, in the unit of `mass`; the mass itself
/// without a division above 0 of the same dimension.
fn rounded_down(mass: &Quantity, division: Option<&Quantity>) -> Quantity {
    to_division(mass, division, Exact::floor)
}

/// The least multiple of `division` not below `mass` (as [`rounded_down`] otherwise).
fn rounded_up(mass: &Quantity, division: Option<&Quantity>) -> Quantity {
    to_division(mass, division, Exact::ceil)
}

/// The multiple of `division` nearest to `mass`, halves up (as [`rounded_down`] otherwise).
fn rounded(mass: &Quantity, division: Option<&Quantity>) -> Quantity {
    to_division(mass, division, Exact::round)
}

fn to_division(
    mass: &Quantity,
    division: Option<&Quantity>,
    whole: fn(&Exact) -> Exact,
) -> Quantity {
    let step = division.and_then(|division| division.to(mass.unit)).map(|step| step.value);
    match step.filter(Exact::is_positive) {
        Some(step) => Quantity::new(&whole(&(&mass.value / &step)) * &step, mass.unit),
        None => mass.clone(),
    }
}

/// A number in a sentence: whole where it is short, else with "about" before it.
fn in_text(value: &Exact) -> String {
    let scale = Exact::whole(10_i64.pow(DECIMALS_IN_TEXT));
    let cut = (value * &scale).round() / scale;
    if cut == *value { value.to_string() } else { format!("about {cut}") }
}
