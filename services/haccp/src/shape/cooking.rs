//! Loads, samples, probes left out and pulls: from what is sent to what is stored and judged.
//! It never asks the database.

pub mod changes;
pub mod evidence;
pub mod found;
pub mod judged;
pub mod lines;
pub mod out;
pub mod racks;
pub mod samples;

use std::collections::BTreeSet;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1::{ClosureOfResponse, FindPlaceResponse};
use wire::v1;

use super::ids;

/// A probe and its seat.
#[derive(Clone, Debug)]
pub struct Seat {
    /// As it is called.
    pub probe: String,
    /// rack or air.
    pub seat: String,
    /// The rack, of a seat in one.
    pub lot: Option<Uuid>,
}

/// A load about to be recorded.
#[derive(Clone, Debug)]
pub struct NewLoad {
    pub house: Uuid,
    /// The house's name as it was; empty until genealogy has said it.
    pub house_name: String,
    /// The racks with their codes; empty until genealogy has said them.
    pub racks: Vec<(Uuid, String)>,
    pub probes: Vec<Seat>,
    pub note: String,
    pub moments: Moments,
    pub stamp: Stamp,
}

/// Reads a load; every fault is named.
pub fn load_in(
    call: &Call,
    plant: &Plant,
    request: &v1::StartLoadRequest,
) -> Result<NewLoad, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let house = shape::id(&request.house, "house", &mut faults);
    let racks = ids(&request.racks, "racks", &mut faults);
    let probes = seats(&request.probes, &racks, &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, house?, moments?)))();
    let (id, house, moments) = faults.into_result(all)?;
    let stamp = Stamp::of(call, plant, id, format!("load:{id}"), request)?;
    let (note, house_name) = (request.note.clone(), String::new());
    let racks = racks.into_iter().map(|rack| (rack, String::new())).collect();
    Ok(NewLoad { house, house_name, racks, probes, note, moments, stamp })
}

fn seats(given: &[v1::ProbeSeat], racks: &[Uuid], faults: &mut Faults) -> Vec<Seat> {
    let mut names = BTreeSet::new();
    let mut seats = Vec::new();
    for (at, seat) in given.iter().enumerate() {
        if !names.insert(seat.probe.as_str()) {
            let field = format!("probes[{at}].probe");
            faults.add_value(field, &seat.probe, "has a seat already; it sits in one place");
        }
        let field = format!("probes[{at}].lot");
        let lot = shape::optional_id(&seat.lot, &field, faults);
        match (seat.seat.as_str(), lot) {
            ("rack", Some(lot)) if !racks.contains(&lot) => {
                faults.add_value(field, lot, "must be a rack of the load");
            }
            ("rack", None) if seat.lot.is_empty() => {
                faults.add(field, "is needed: the rack in which the probe sits");
            }
            ("air", Some(lot)) => {
                faults.add_value(field, lot, "must be left out for a probe in the air");
            }
            _ => {}
        }
        seats.push(Seat { probe: seat.probe.clone(), seat: seat.seat.clone(), lot });
    }
    seats
}

impl NewLoad {
    /// Puts in what genealogy says of the house. Faults: none of this id, no house, not in use.
    pub fn with_house(mut self, place: FindPlaceResponse) -> Result<Self, Failure> {
        let fault = match (place.name.is_empty(), place.kind.as_str(), place.in_use) {
            (true, ..) => "there is no such place",
            (_, "house", true) => {
                self.house_name = place.name;
                return Ok(self);
            }
            (_, "house", _) => "this house is not in use",
            _ => "must be a house",
        };
        Err(Failure::fault("house", self.house, fault))
    }

    /// Puts in what genealogy says of the racks. Faults: an id that is no rack.
    pub fn with_racks(mut self, closure: ClosureOfResponse) -> Result<Self, Failure> {
        let mut faults = Faults::new();
        for (at, (rack, code)) in self.racks.iter_mut().enumerate() {
            let id = rack.to_string();
            let found = closure.lots.iter().find(|lot| lot.lot == id);
            match found.filter(|lot| lot.kind == "rack") {
                Some(lot) => *code = lot.code.clone(),
                None => {
                    let text = found.map_or("there is no such lot", |_| "must be a rack");
                    faults.add_value(format!("racks[{at}]"), id, text);
                }
            }
        }
        Ok(faults.into_result(Some(self))?)
    }

    /// The columns of its row, and its entry.
    pub fn record(&self) -> (Value, Value) {
        let columns = json!({
            "house": self.house.to_string(), "house_name": self.house_name, "note": self.note,
        });
        let mut entry = columns.clone();
        let probes = self.probes.iter().map(|seat| {
            let lot = seat.lot.map(|lot| lot.to_string());
            json!({ "probe": seat.probe, "seat": seat.seat, "lot": lot })
        });
        entry["lots"] = self.racks.iter().map(|(rack, _)| json!(rack.to_string())).collect();
        entry["lot_codes"] = self.racks.iter().map(|(_, code)| json!(code)).collect();
        entry["probes"] = probes.collect();
        (columns, entry)
    }
}

/// The refusal of a rack that is still in another load.
pub fn still_loaded((lot, code): (Uuid, &str), load: Uuid) -> Reason {
    Reason {
        code: "RACK_IN_A_LOAD",
        subject: format!("lot:{lot}"),
        message: format!("Rack {code} is in load {load} and was not pulled."),
        who: "operator".into(),
        way_on: format!("Pull it first: POST /v1/loads/{load}/pulls."),
    }
}
