//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod closure;
pub mod holds;
pub mod lots;
pub mod making;
pub mod masses;
pub mod on_hand;
pub mod shipping;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::NewVersion;
use platform::shape;
use serde_json::json;
use uuid::Uuid;
use wire::v1;

use crate::store::partners::PartnerRow;
use crate::store::places::PlaceRow;

/// Reads ids of a list, each once, in the order given.
fn ids_in(texts: &[String], list: &str, twice_is_a_fault: bool, faults: &mut Faults) -> Vec<Uuid> {
    let mut ids = Vec::with_capacity(texts.len());
    for (at, text) in texts.iter().enumerate() {
        let field = format!("{list}[{at}]");
        match shape::id(text, &field, faults) {
            Some(id) if !ids.contains(&id) => ids.push(id),
            Some(id) if twice_is_a_fault => faults.add_value(field, id, "is named twice"),
            _ => {}
        }
    }
    ids
}

fn texts(ids: &[Uuid]) -> Vec<String> {
    ids.iter().map(Uuid::to_string).collect()
}

/// What a version of a place says.
#[derive(Clone)]
pub struct PlaceContent {
    pub name: String,
    pub kind: String,
    pub in_use: bool,
}

/// What a version of a partner says.
#[derive(Clone)]
pub struct PartnerContent {
    pub name: String,
    pub is_supplier: bool,
    pub is_customer: bool,
    pub address: String,
    pub phone: String,
    pub in_use: bool,
}

/// Reads a place to add.
pub fn place_in(
    call: &Call,
    plant: &Plant,
    request: v1::PutPlaceRequest,
) -> Result<NewVersion<PlaceContent>, Failure> {
    let content = PlaceContent {
        name: request.name.clone(),
        kind: request.kind.clone(),
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("place", request.place.as_str()));
    NewVersion::read((call, plant), names, (&request, Faults::new()), content)
}

/// Reads a partner to add; it must be a supplier, a customer, or both.
pub fn partner_in(
    call: &Call,
    plant: &Plant,
    request: v1::PutPartnerRequest,
) -> Result<NewVersion<PartnerContent>, Failure> {
    let mut faults = Faults::new();
    if !request.is_supplier && !request.is_customer {
        faults.add("is_supplier", "a partner is a supplier, a customer, or both");
    }
    let content = PartnerContent {
        name: request.name.clone(),
        is_supplier: request.is_supplier,
        is_customer: request.is_customer,
        address: request.address.clone(),
        phone: request.phone.clone(),
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("partner", request.partner.as_str()));
    NewVersion::read((call, plant), names, (&request, faults), content)
}

/// The entry of a place's version.
pub fn place_entry(place: &NewVersion<PlaceContent>, version: i32) -> serde_json::Value {
    let PlaceContent { name, kind, in_use } = &place.content;
    json!({
        "place": place.of.to_string(), "version": version,
        "name": name, "kind": kind, "in_use": in_use,
    })
}

/// The entry of a partner's version.
pub fn partner_entry(partner: &NewVersion<PartnerContent>, version: i32) -> serde_json::Value {
    let PartnerContent { name, is_supplier, is_customer, address, phone, in_use } =
        &partner.content;
    json!({
        "partner": partner.of.to_string(), "version": version,
        "name": name, "is_supplier": is_supplier, "is_customer": is_customer,
        "address": address, "phone": phone, "in_use": in_use,
    })
}

/// A place as a message.
pub fn place_out(row: PlaceRow) -> v1::Place {
    v1::Place {
        place: row.id.to_string(),
        version: row.version,
        name: row.name,
        kind: row.kind,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}

/// A partner as a message.
pub fn partner_out(row: PartnerRow) -> v1::Partner {
    v1::Partner {
        partner: row.id.to_string(),
        version: row.version,
        name: row.name,
        is_supplier: row.is_supplier,
        is_customer: row.is_customer,
        address: row.address,
        phone: row.phone,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
