//! One server-sent event: its text, and the id from which its reader goes on.
//! It never leaves out an event that cannot be shown: that is told as a problem.

use bytes::Bytes;
use tonic::Status;
use wire::contract::Operation;
use wire::json::{self, Names};

use crate::problem::Problem;

/// The field of an event by which a listener goes on after it, which is its id.
pub const POSITION: &str = "position";

/// An event as it is sent.
#[derive(Clone, Debug)]
pub struct Event {
    /// From what a listener goes on; nothing for an event that has no place in an order.
    pub id: Option<String>,
    /// Its lines.
    pub text: Bytes,
    /// True when nothing can come after it.
    pub is_last: bool,
}

impl Event {
    /// The event of a message.
    pub fn of(operation: &Operation, message: &[u8]) -> Self {
        let Ok(text) = json::write(message, &operation.output, Names::Camel) else {
            return Self::problem(&Status::internal("an event cannot be shown"));
        };
        let value: serde_json::Value = serde_json::from_str(&text).unwrap_or_default();
        let id = match &value[POSITION] {
            serde_json::Value::Null => None,
            position => Some(position.to_string()),
        };
        let named = id.as_ref().map(|id| format!("id: {id}\n")).unwrap_or_default();
        Self { id, text: format!("{named}data: {text}\n\n").into(), is_last: false }
    }

    /// The event of a failure, after which nothing comes.
    pub fn problem(status: &Status) -> Self {
        let text = format!("event: problem\ndata: {}\n\n", Problem::of_status(status).json(""));
        Self { id: None, text: text.into(), is_last: true }
    }

    /// What a silent stream says so that proxies and readers do not give up.
    pub fn beat() -> Self {
        Self { id: None, text: Bytes::from_static(b":\n\n"), is_last: false }
    }
}
