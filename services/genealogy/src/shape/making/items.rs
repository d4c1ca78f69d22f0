//! Open items: what facts have broken, as records and as messages.
//! It never closes one: a signed answer stands beside it.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::{self, Stamp};
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::judge::Broken;
use crate::store::items::Item;

/// An open item about to be recorded.
pub struct NewItem {
    pub stamp: Stamp,
    pub code: &'static str,
    /// The record that it is about.
    pub record: Uuid,
    pub what: String,
    /// In id order, each once.
    pub lots: Vec<Uuid>,
}

impl NewItem {
    /// The item of something that a record broke, entered by whoever entered the record.
    pub fn of(broken: &Broken, cause: &Stamp) -> Self {
        let id = records::new_id();
        let mut lots = broken.lots.clone();
        lots.sort_unstable();
        lots.dedup();
        Self {
            stamp: Stamp { id, subject: subject(id), ..cause.clone() },
            code: broken.item,
            record: cause.id,
            what: broken.reason.message.clone(),
            lots,
        }
    }

    /// Its entry.
    pub fn entry(&self) -> Value {
        json!({
            "item": self.stamp.id.to_string(),
            "code": self.code,
            "record": self.record.to_string(),
            "what": self.what,
            "lots": self.lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
        })
    }
}

/// What an item's records are about, and what its answer is signed for.
pub fn subject(item: Uuid) -> String {
    format!("item:{item}")
}

/// The answer to an open item, about to be recorded.
pub struct NewAnswer {
    pub stamp: Stamp,
    pub item: Uuid,
    pub answer: String,
}

/// Reads an answer.
pub fn answer_in(
    call: &Call,
    plant: &Plant,
    request: &v1::AnswerLotItemRequest,
) -> Result<NewAnswer, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let item = shape::id(&request.item, "item", &mut faults);
    let (id, item) = faults.into_result(id.zip(item))?;
    let stamp = Stamp::of(call, plant, id, subject(item), request)?;
    Ok(NewAnswer { stamp, item, answer: request.answer.clone() })
}

/// The entry of an answer.
pub fn answer_entry(new: &NewAnswer, ticket: &Ticket) -> Value {
    json!({
        "item": new.item.to_string(),
        "answer": new.answer,
        "signature": ticket.entry(),
    })
}

/// An item as a message.
pub fn item_out(item: Item) -> v1::LotItem {
    let Item { row, lots, end } = item;
    let mut message = v1::LotItem {
        item: row.id.to_string(),
        code: row.code,
        what: row.what,
        record: row.record.to_string(),
        lots: lots.iter().map(Uuid::to_string).collect(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        ..Default::default()
    };
    if let Some(end) = end {
        message.answered_at = end.recorded_at.to_jiff().to_string();
        message.answered_by_name = end.entered_by_name;
        message.answer = end.answer;
    }
    message
}
