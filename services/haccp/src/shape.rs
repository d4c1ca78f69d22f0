//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod challenges;
pub mod clearance;
pub mod closings;
pub mod cooking;
pub mod deviations;
pub mod drafts;
pub mod files;
pub mod follows;
pub mod foreign_material;
pub mod instruments;
pub mod missed_checks;
pub mod open_items;
pub mod plans;
pub mod readings;
pub mod reviews;
pub mod stations;

use std::collections::BTreeSet;

use domain::fault::Faults;
use platform::shape;
use uuid::Uuid;

/// Reads ids of a list, in the order given; each stands once.
fn ids(given: &[String], list: &str, faults: &mut Faults) -> Vec<Uuid> {
    let mut seen = BTreeSet::new();
    let mut read = Vec::new();
    for (at, text) in given.iter().enumerate() {
        let field = format!("{list}[{at}]");
        let Some(id) = shape::id(text, &field, faults) else { continue };
        match seen.insert(id) {
            true => read.push(id),
            false => faults.add_value(field, id, "must be named once"),
        }
    }
    read
}
