//! What other services tell after product has left, and messages that cannot be carried out.
//! It never drops a message: one that names nothing known becomes a record that somebody answers.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::{self, Stamp};
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;

use crate::shape::holds::NewHold;
use crate::shape::making::judge::Broken;
use crate::store::shipping::after::{AfterRow, Called};

/// The word of an open item for a message that could not be carried out.
pub const MESSAGE_REFUSED: &str = "MESSAGE_REFUSED";

/// A message that a deviation has opened.
pub struct Told<'m> {
    pub new: &'m NewHold,
    pub deviation: Uuid,
    /// The message's method and its id.
    pub method: &'static str,
    pub message: Uuid,
}

/// A message that something that counted has become less safe.
#[derive(Clone)]
pub struct LessSafe {
    pub stamp: Stamp,
    /// What failed: reading:ID.
    pub about: String,
    pub what: String,
    /// Each once, in id order.
    pub lots: Vec<Uuid>,
    pub method: &'static str,
    pub message: Uuid,
}

/// A failing record after shipment, about to be recorded.
pub struct NewAfter {
    pub stamp: Stamp,
    pub what: String,
    pub about: String,
    /// Shipment and serial of each case that it concerns, by serial.
    pub cases: Vec<(Uuid, String)>,
}

/// A message that no repetition would mend, about to be recorded.
pub struct NewRefused {
    pub stamp: Stamp,
    pub method: &'static str,
    pub reason: String,
    /// Lots of ours that it names.
    pub lots: Vec<Uuid>,
}

/// The id of a message, which came as the key of its call.
pub fn message_id(call: &Call) -> Uuid {
    call.key().and_then(|key| key.parse().ok()).unwrap_or_else(records::new_id)
}

/// Reads a message that something has become less safe.
pub fn less_safe_in(
    call: &Call,
    plant: &Plant,
    request: &internal::TellLessSafeRequest,
) -> Result<LessSafe, Failure> {
    let mut faults = Faults::new();
    let mut lots = shape::ids(&request.lots, "lots", &mut faults);
    lots.sort_unstable();
    lots.dedup();
    let lots = faults.into_result(Some(lots))?;
    let stamp = Stamp::of(call, plant, records::new_id(), request.about.clone(), request)?;
    let (about, what) = (request.about.clone(), request.what.clone());
    Ok(LessSafe { stamp, about, what, lots, method: call.method, message: message_id(call) })
}

impl NewAfter {
    /// Its entry.
    pub fn entry(&self) -> Value {
        let case = |(shipment, serial): &(Uuid, String)| {
            let shipment = shipment.to_string();
            json!({ "shipment": shipment, "serial": serial })
        };
        json!({
            "record": self.stamp.id.to_string(),
            "what": self.what,
            "about": self.about,
            "cases": self.cases.iter().map(case).collect::<Vec<_>>(),
        })
    }
}

impl NewRefused {
    /// The refusal of a message, under its id.
    pub fn of(
        cause: &Stamp,
        (message, method): (Uuid, &'static str),
        reason: String,
        lots: Vec<Uuid>,
    ) -> Self {
        let subject = format!("message:{message}");
        Self { stamp: Stamp { id: message, subject, ..cause.clone() }, method, reason, lots }
    }

    /// The open item that counts it until QA has answered; it holds nothing by itself.
    pub fn broken(&self) -> Broken {
        let reason = Reason {
            code: MESSAGE_REFUSED,
            subject: self.stamp.subject.clone(),
            message: format!("{}: {}", self.method, self.reason),
            who: "QA".into(),
            way_on: "Do by hand what it asked for, then answer the item.".into(),
        };
        Broken { reason, item: MESSAGE_REFUSED, lots: self.lots.clone(), is_held: false }
    }

    /// Its entry.
    pub fn entry(&self) -> Value {
        json!({
            "message": self.stamp.id.to_string(),
            "method": self.method,
            "reason": self.reason,
            "lots": self.lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        })
    }
}

/// Lots that a message names and that do not exist, in words.
pub fn no_such_lots(unknown: &[Uuid]) -> String {
    const SAID_MAX: usize = 20;
    let said = unknown.iter().take(SAID_MAX).map(Uuid::to_string).collect::<Vec<_>>().join(", ");
    match unknown.len().saturating_sub(SAID_MAX) {
        0 => format!("It names lots that do not exist: {said}."),
        more => format!("It names lots that do not exist: {said} and {more} more."),
    }
}

/// A failing record after shipment with whom to call, as a message.
pub fn after_out(row: AfterRow, called: Vec<Called>) -> v1::AfterShipment {
    let customer = |called: Called| v1::CalledCustomer {
        customer: called.customer.to_string(),
        name: called.name,
        address: called.address,
        phone: called.phone,
        shipment: called.shipment.to_string(),
        cases: i32::try_from(called.cases).unwrap_or(i32::MAX),
        mass_g: Some(called.mass_g.to_plain_string()),
    };
    v1::AfterShipment {
        record: row.id.to_string(),
        what: row.what,
        about: row.about,
        recorded_at: row.recorded_at.to_jiff().to_string(),
        customers: called.into_iter().map(customer).collect(),
    }
}
