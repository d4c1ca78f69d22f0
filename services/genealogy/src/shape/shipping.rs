//! Cases, pallets and shipments: between messages and rows, and what lets a shipment go.
//! It never asks the database or haccp: what they know is handed in.

pub mod after;
pub mod judgement;
pub mod listed;
pub mod packing;
pub mod pallets;
pub mod picture;
pub mod shipments;

use platform::records::{self, Stamp};
use uuid::Uuid;

use crate::NAME;

/// The stamp of a record that this service makes because of another: its own id and name, the
/// cause's time and day.
pub fn of_ours(cause: &Stamp, id: Uuid, subject: String) -> Stamp {
    let name = format!("system/{NAME}");
    Stamp { id, subject, entered_by: name.clone(), entered_by_name: name, ..cause.clone() }
}

/// The stamp of a record that a call makes beside the one that it names.
pub fn beside(cause: &Stamp, subject: impl FnOnce(Uuid) -> String) -> Stamp {
    let id = records::new_id();
    Stamp { id, subject: subject(id), ..cause.clone() }
}

/// Serials in words; a long list says how many more there are.
pub fn serials_said(serials: &[String]) -> String {
    const SAID_MAX: usize = 100;
    let said = serials.iter().take(SAID_MAX).map(String::as_str).collect::<Vec<_>>().join(", ");
    match serials.len().saturating_sub(SAID_MAX) {
        0 => said,
        more => format!("{said} and {more} more"),
    }
}

/// So many cases in words.
pub fn cases_said(number: usize) -> String {
    if number == 1 { "1 case".to_owned() } else { format!("{number} cases") }
}
