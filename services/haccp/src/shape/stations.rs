//! Stations: which place each watches, when it was heard, who looked at it while it was silent.
//! It never takes a span that has not ended.

use domain::fault::Faults;
use jiff::Timestamp;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use crate::store::stations::{BindingRow, HeardRow, LookRow};

/// A binding about to be recorded.
#[derive(Clone)]
pub struct NewBinding {
    pub station: Uuid,
    pub station_name: String,
    pub place: Uuid,
    pub place_name: String,
    pub is_bound: bool,
    pub stamp: Stamp,
}

/// Reads a binding; the place's name is asked for afterwards.
pub fn binding_in(
    call: &Call,
    plant: &Plant,
    request: &v1::BindStationRequest,
) -> Result<NewBinding, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let station = shape::id(&request.station, "station", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let all = (|| Some((id?, station?, place?)))();
    let (id, station, place) = faults.into_result(all)?;
    Ok(NewBinding {
        station,
        station_name: request.station_name.clone(),
        place,
        place_name: String::new(),
        is_bound: request.is_bound.unwrap_or(true),
        stamp: Stamp::of(call, plant, id, format!("station:{station}"), request)?,
    })
}

impl NewBinding {
    /// The columns of the record, and its entry: the entry calls its own station `watches`, as
    /// `station` there is where it was entered.
    pub fn record(&self) -> (Value, Value) {
        let place = json!({ "id": self.place.to_string(), "name": self.place_name });
        let watch = json!({ "id": self.station.to_string(), "name": self.station_name });
        let entry = json!({ "watch": watch, "place": place, "is_bound": self.is_bound });
        let columns = json!({
            "station_id": self.station.to_string(), "station_name": self.station_name,
            "place": self.place.to_string(), "place_name": self.place_name,
            "is_bound": self.is_bound,
        });
        (columns, entry)
    }
}

/// A binding as a message.
pub fn binding_out(row: BindingRow) -> v1::StationPlace {
    v1::StationPlace {
        station: row.station.to_string(),
        station_name: row.station_name,
        place: row.place.to_string(),
        place_name: row.place_name,
        is_bound: row.is_bound,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

/// What a station tells of itself, about to be recorded.
#[derive(Clone)]
pub struct NewHeard {
    pub station: Uuid,
    pub queued: i32,
    pub stamp: Stamp,
}

/// Reads what a station tells.
pub fn heard_in(
    call: &Call,
    plant: &Plant,
    request: &v1::HearStationRequest,
) -> Result<NewHeard, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let station = shape::id(&request.station, "station", &mut faults);
    let (id, station) = faults.into_result(id.zip(station))?;
    Ok(NewHeard {
        station,
        queued: request.queued.unwrap_or_default(),
        stamp: Stamp::of(call, plant, id, format!("station:{station}"), request)?,
    })
}

impl NewHeard {
    /// The columns of the record, and its entry.
    pub fn record(&self) -> (Value, Value) {
        let said = json!({
            "station_id": self.station.to_string(), "queued": self.queued,
            "heard_at": self.stamp.recorded_at.to_string(),
        });
        (said.clone(), said)
    }
}

/// What was heard as a message.
pub fn heard_out(row: HeardRow) -> v1::StationHeard {
    v1::StationHeard {
        station: row.station.to_string(),
        heard_at: row.heard_at.to_jiff().to_string(),
        queued: row.queued,
    }
}

/// A look at a silent station, about to be recorded.
#[derive(Clone)]
pub struct NewLook {
    pub station: Uuid,
    pub from: Timestamp,
    pub to: Timestamp,
    pub note: String,
    pub stamp: Stamp,
}

/// Reads a look.
pub fn look_in(
    call: &Call,
    plant: &Plant,
    request: &v1::LookAtStationRequest,
) -> Result<NewLook, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let station = shape::id(&request.station, "station", &mut faults);
    let from = shape::instant(&request.look_from, "look_from", &mut faults);
    let to = shape::instant(&request.look_to, "look_to", &mut faults);
    span(("look_from", "look_to"), from.zip(to), call, &mut faults);
    if request.note.trim().is_empty() {
        faults.add_value("note", &request.note, "must say something");
    }
    let all = (|| Some((id?, station?, from?, to?)))();
    let (id, station, from, to) = faults.into_result(all)?;
    let stamp = Stamp::of(call, plant, id, format!("station:{station}"), request)?;
    Ok(NewLook { station, from, to, note: request.note.clone(), stamp })
}

/// A span ends after it began, and not in the future.
pub fn span(
    (from_field, to_field): (&str, &str),
    span: Option<(Timestamp, Timestamp)>,
    call: &Call,
    faults: &mut Faults,
) {
    let Some((from, to)) = span else { return };
    if to <= from {
        faults.add_value(to_field, to, format!("must be after {from_field}"));
    }
    if to > call.received_at {
        let text = format!("must not lie in the future (it is {})", call.received_at);
        faults.add_value(to_field, to, text);
    }
}

impl NewLook {
    /// The columns of the record, and its entry.
    pub fn record(&self, ticket: &Ticket) -> (Value, Value) {
        let said = json!({
            "station_id": self.station.to_string(), "look_from": self.from.to_string(),
            "look_to": self.to.to_string(), "note": self.note,
        });
        let (mut columns, mut entry) = (said.clone(), said);
        columns["ticket"] = json!(ticket.id.to_string());
        entry["signature"] = ticket.entry();
        (columns, entry)
    }
}

/// A look as a message.
pub fn look_out(row: LookRow) -> v1::StationLook {
    v1::StationLook {
        look: row.id.to_string(),
        station: row.station.to_string(),
        look_from: row.look_from.to_jiff().to_string(),
        look_to: row.look_to.to_jiff().to_string(),
        note: row.note,
        signed_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
