//! Between the contract's lots and this service's rows.
//! It never asks the database or haccp: what they know is handed in.

use std::str::FromStr as _;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use domain::lot_code::{self, Pattern};
use domain::units::Dimension;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1::PlanInForceResponse;
use wire::v1;

use crate::shape::holds;
use crate::store::lots::{LotRow, Standing};
use crate::store::partners::PartnerRow;
use crate::store::places::PlaceRow;

/// The kind of a lot that came from a supplier, and what a plan for such lots binds.
pub const RECEIVED: &str = "received";

/// A mass with its grams, all exact.
#[derive(Clone, Debug)]
pub struct Mass {
    /// The number as entered.
    pub value: BigDecimal,
    /// Its unit.
    pub unit: String,
    /// The same mass in grams.
    pub grams: BigDecimal,
}

/// What the message alone says of a lot.
#[derive(Clone)]
pub struct Content {
    pub material: String,
    pub supplier_lot: String,
    pub mass: Mass,
    pub moments: Moments,
}

/// A version of a plan in force, as haccp tells it.
#[derive(Clone)]
pub struct PlanVersion {
    pub id: Uuid,
    pub version: i32,
    pub name: String,
}

/// A message to receive a lot, read as far as it goes: what it names is still to be looked up.
pub struct Asked {
    pub stamp: Stamp,
    pub supplier: Uuid,
    pub place: Uuid,
    pub plan: Uuid,
    content: Option<Content>,
    faults: Faults,
}

/// A lot about to be recorded.
#[derive(Clone)]
pub struct NewLot {
    pub stamp: Stamp,
    pub content: Content,
    pub supplier: PartnerRow,
    pub place: PlaceRow,
    pub plan: PlanVersion,
    pub pattern: Pattern,
}

/// Reads a lot to receive; its other faults wait for those of what it names.
pub fn received_in(
    call: &Call,
    plant: &Plant,
    request: &v1::ReceiveLotRequest,
) -> Result<Asked, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let supplier = shape::id(&request.supplier, "supplier", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let mass = mass_in(request.mass.as_ref(), &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let content = mass.zip(moments).map(|(mass, moments)| Content {
        material: request.material.clone(),
        supplier_lot: request.supplier_lot.clone(),
        mass,
        moments,
    });
    let (Some(id), Some(supplier), Some(place), Some(plan)) = (id, supplier, place, plan) else {
        return Err(faults.into());
    };
    let stamp = Stamp::of(call, plant, id, format!("lot:{id}"), request)?;
    Ok(Asked { stamp, supplier, place, plan, content, faults })
}

fn mass_in(given: Option<&v1::Quantity>, faults: &mut Faults) -> Option<Mass> {
    let entered = shape::quantity(given, Dimension::Mass, "mass", faults)?;
    if entered.value.is_zero() {
        faults.add_value("mass.value", entered.value, "must be above 0");
        return None;
    }
    let exactly = |text: String| BigDecimal::from_str(&text).ok();
    let value = exactly(entered.value.to_string());
    let grams = exactly(entered.quantity().base().to_string());
    if value.is_none() || grams.is_none() {
        faults.add_value("mass.value", entered.value, "must be a decimal number");
    }
    Some(Mass { value: value?, unit: entered.unit.code().to_owned(), grams: grams? })
}

impl Asked {
    /// Judges what the message names by its newest versions; gives all faults of the message.
    pub fn content(
        mut self,
        supplier: Option<PartnerRow>,
        place: Option<PlaceRow>,
    ) -> Result<(Content, PartnerRow, PlaceRow), Failure> {
        let fault = match &supplier {
            None => Some("there is no such partner"),
            Some(partner) if !partner.in_use => Some("this partner is not in use"),
            Some(partner) if !partner.is_supplier => Some("this partner is no supplier"),
            Some(_) => None,
        };
        if let Some(text) = fault {
            self.faults.add_value("supplier", self.supplier, text);
        }
        let fault = match &place {
            None => Some("there is no such place"),
            Some(place) if !place.in_use => Some("this place is not in use"),
            Some(_) => None,
        };
        if let Some(text) = fault {
            self.faults.add_value("place", self.place, text);
        }
        let named = supplier.zip(place);
        let content = self.content.zip(named).map(|(content, (s, p))| (content, s, p));
        Ok(self.faults.into_result(content)?)
    }
}

/// Judges what haccp says of the plan: a version in force that binds received lots, else refused.
pub fn plan_in(plan: Uuid, answer: PlanInForceResponse) -> Result<PlanVersion, Failure> {
    if answer.version >= 1 && answer.binds == RECEIVED {
        return Ok(PlanVersion { id: plan, version: answer.version, name: answer.name });
    }
    let message = if answer.version < 1 {
        "No version of this plan is in force.".to_owned()
    } else {
        format!("The plan {} binds {} lots, not received ones.", answer.name, answer.binds)
    };
    Err(Failure::refused(vec![Reason {
        code: "PLAN_NOT_IN_FORCE",
        subject: format!("plan:{plan}"),
        message,
        who: "QA".into(),
        way_on: "Approve a version of the plan, or name one in force for received lots.".into(),
    }]))
}

/// The plant's pattern of lot codes in force.
pub fn pattern(plant: &Plant) -> Result<Pattern, Failure> {
    let text = plant.settings().lot_code_pattern;
    let text = if text.is_empty() { lot_code::DEFAULT } else { &text };
    Pattern::parse(text).map_err(Failure::internal)
}

impl NewLot {
    /// The series from which its code takes its number.
    pub fn series(&self) -> String {
        if self.pattern.is_daily() { self.stamp.day.to_string() } else { "for ever".to_owned() }
    }

    /// Its code with a number of the series.
    pub fn code(&self, number: u32) -> String {
        self.pattern.code(self.stamp.day, number)
    }
}

/// The entry of a lot.
pub fn lot_entry(new: &NewLot, code: &str) -> Value {
    let NewLot { stamp, content, supplier, place, plan, .. } = new;
    let mass = &content.mass;
    json!({
        "lot": stamp.id.to_string(), "code": code, "kind": RECEIVED,
        "material": content.material,
        "supplier": named(supplier.id, supplier.version, &supplier.name),
        "supplier_lot": content.supplier_lot,
        "mass": {
            "value": mass.value.to_plain_string(),
            "unit": mass.unit,
            "g": mass.grams.to_plain_string(),
        },
        "place": named(place.id, place.version, &place.name),
        "plan": named(plan.id, plan.version, &plan.name),
        "times": Value::from(content.moments),
    })
}

/// A thing as it was named, with the version that was in force.
fn named(id: Uuid, version: i32, name: &str) -> Value {
    json!({ "id": id.to_string(), "version": version, "name": name })
}

/// A lot as a message.
pub fn lot_out(lot: Standing) -> v1::Lot {
    let Standing { row, on_hand_g, holds } = lot;
    let holds = holds.into_iter().map(|hold| holds::hold_on(row.id, hold)).collect();
    let LotRow { mass_value, mass_unit, .. } = row;
    let mass = v1::Quantity { value: Some(mass_value.to_plain_string()), unit: mass_unit };
    v1::Lot {
        lot: row.id.to_string(),
        code: row.code,
        kind: row.kind,
        material: row.material,
        supplier: row.supplier.to_string(),
        supplier_name: row.supplier_name,
        supplier_lot: row.supplier_lot,
        mass: Some(mass),
        on_hand_g: Some(on_hand_g.to_plain_string()),
        place: row.place.to_string(),
        place_name: row.place_name,
        plan: row.plan.to_string(),
        plan_version: row.plan_version,
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        day: row.day.to_jiff().to_string(),
        holds,
    }
}

#[cfg(test)]
mod tests;
