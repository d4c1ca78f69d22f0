//! Between the contract's messages and this service's rows and judgements.
//! It never asks the database.

pub mod batches;
pub mod book;
pub mod checks;
pub mod covers;
pub mod drafts;
pub mod formulas;
pub mod kits;
pub mod labels;
pub mod materials;
pub mod on_hand;
pub mod products;
pub mod sheets;

use domain::exact::Exact;
use domain::fault::Faults;
use domain::rules::Rule;
use domain::units::{Dimension, Quantity};
use domain::verdict::Verdict;
use platform::error::Failure;
use prost::Message;
use uuid::Uuid;
use wire::v1;

/// A quantity as a message.
pub fn quantity_out(quantity: &Quantity) -> v1::Quantity {
    v1::Quantity { value: Some(quantity.value.to_string()), unit: quantity.unit.code().to_owned() }
}

/// A number as a message field.
pub fn number_out(value: &Exact) -> Option<String> {
    Some(value.to_string())
}

/// A verdict as a message field.
pub fn verdict_out(verdict: Verdict) -> i32 {
    let verdict = match verdict {
        Verdict::Pass => v1::Verdict::Pass,
        Verdict::Fail => v1::Verdict::Fail,
        Verdict::Undetermined => v1::Verdict::Undetermined,
    };
    verdict.into()
}

/// A rule as a message.
pub fn rule_out(rule: &Rule) -> v1::RuleReference {
    v1::RuleReference {
        id: rule.id.to_owned(),
        title: rule.title.to_owned(),
        citation: rule.citation.to_owned(),
        edition: rule.edition.to_owned(),
    }
}

/// A number of the contract, which has checked its form.
pub fn number(text: Option<&str>) -> Option<Exact> {
    text?.parse().ok()
}

/// Reads a mass above 0.
pub fn mass(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Quantity> {
    let entered = platform::shape::quantity(given, Dimension::Mass, field, faults)?;
    let mass = entered.quantity();
    if !mass.value.is_positive() {
        faults.add_value(format!("{field}.value"), &mass.value, "must be above 0");
        return None;
    }
    Some(mass)
}

/// Reads a mass above 0 that may be left out.
pub fn optional_mass(
    given: Option<&v1::Quantity>,
    field: &str,
    faults: &mut Faults,
) -> Option<Quantity> {
    given.and_then(|given| mass(Some(given), field, faults))
}

/// Reads one id of a request.
pub fn one_id(text: &str, field: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let id = platform::shape::id(text, field, &mut faults);
    Ok(faults.into_result(id)?)
}

/// A message that was kept in a row.
pub fn kept<M: Message + Default>(bytes: &[u8]) -> Result<M, Failure> {
    M::decode(bytes).map_err(Failure::internal)
}

/// An id as text; empty where there is none.
pub fn id_out(id: Option<Uuid>) -> String {
    id.map(|id| id.to_string()).unwrap_or_default()
}

/// A mass as it stands in an entry.
pub fn entry_of(given: Option<&v1::Quantity>) -> serde_json::Value {
    match given {
        Some(given) => serde_json::json!({ "value": given.value, "unit": given.unit }),
        None => serde_json::Value::Null,
    }
}
