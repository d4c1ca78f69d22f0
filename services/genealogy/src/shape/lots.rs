//! Between the contract's lots and this service's rows; shapes that all makings of lots share.
//! It never asks the database or haccp: what they know is handed in.

use std::str::FromStr as _;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use domain::lot_code::{self, Pattern};
use domain::units::Dimension;
use jiff::civil::Date;
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
/// What a plan binds that binds all kinds of lots of one product, and those kinds.
const PRODUCT: &str = "product";
const PRODUCT_KINDS: [&str; 4] = ["batch", "rack", "finished", "rework"];

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
    pub mass: Mass,
    /// The last day on which it may be used.
    pub use_by: Option<Date>,
    /// Of a batch: the run that it belongs to.
    pub run: Option<String>,
    pub moments: Moments,
}

/// Where a lot came from.
#[derive(Clone)]
pub enum Origin {
    /// A supplier, under the supplier's own lot.
    Received { supplier: Box<PartnerRow>, supplier_lot: String },
    /// A transformation or an opening statement.
    Made(Uuid),
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
    supplier_lot: String,
    content: Option<Content>,
    faults: Faults,
}

/// A lot about to be recorded.
#[derive(Clone)]
pub struct NewLot {
    pub stamp: Stamp,
    pub kind: String,
    pub content: Content,
    pub origin: Origin,
    pub place: PlaceRow,
    /// None only of a lot that was recorded as it happened: it is bound to nothing.
    pub plan: Option<PlanVersion>,
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
    let mass = mass_in(request.mass.as_ref(), "mass", &mut faults);
    let use_by = use_by_in(&request.use_by, "use_by", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let content = mass.zip(moments).map(|(mass, moments)| Content {
        material: request.material.clone(),
        mass,
        use_by,
        run: None,
        moments,
    });
    let (Some(id), Some(supplier), Some(place), Some(plan)) = (id, supplier, place, plan) else {
        return Err(faults.into());
    };
    let stamp = Stamp::of(call, plant, id, format!("lot:{id}"), request)?;
    let supplier_lot = request.supplier_lot.clone();
    Ok(Asked { stamp, supplier, place, plan, supplier_lot, content, faults })
}

/// Reads the last day on which a lot may be used; empty text is none.
pub fn use_by_in(text: &str, field: &str, faults: &mut Faults) -> Option<Date> {
    if text.is_empty() { None } else { shape::date(text, field, faults) }
}

/// Reads a mass above 0.
pub fn mass_in(given: Option<&v1::Quantity>, field: &str, faults: &mut Faults) -> Option<Mass> {
    let entered = shape::quantity(given, Dimension::Mass, field, faults)?;
    let field = format!("{field}.value");
    if entered.value.is_zero() {
        faults.add_value(field, entered.value, "must be above 0");
        return None;
    }
    let exactly = |text: String| BigDecimal::from_str(&text).ok();
    let value = exactly(entered.value.to_string());
    let grams = exactly(entered.quantity().base().to_string());
    if value.is_none() || grams.is_none() {
        faults.add_value(field, entered.value, "must be a decimal number");
    }
    Some(Mass { value: value?, unit: entered.unit.code().to_owned(), grams: grams? })
}

impl Asked {
    /// Judges what the message names by its newest versions; gives all faults of the message.
    pub fn content(
        mut self,
        supplier: Option<PartnerRow>,
        place: Option<PlaceRow>,
    ) -> Result<(Content, Origin, PlaceRow), Failure> {
        let fault = match &supplier {
            None => Some("there is no such partner"),
            Some(partner) if !partner.in_use => Some("this partner is not in use"),
            Some(partner) if !partner.is_supplier => Some("this partner is no supplier"),
            Some(_) => None,
        };
        if let Some(text) = fault {
            self.faults.add_value("supplier", self.supplier, text);
        }
        let place = place_in_use(self.place, place, &mut self.faults);
        let (content, supplier_lot) = (self.content, self.supplier_lot);
        let named = content.zip(supplier).zip(place).map(|((content, supplier), place)| {
            (content, Origin::Received { supplier: supplier.into(), supplier_lot }, place)
        });
        Ok(self.faults.into_result(named)?)
    }
}

/// The place that a message names, which must be in use.
pub fn place_in_use(id: Uuid, place: Option<PlaceRow>, faults: &mut Faults) -> Option<PlaceRow> {
    let fault = match &place {
        None => "there is no such place",
        Some(place) if !place.in_use => "this place is not in use",
        Some(_) => return place,
    };
    faults.add_value("place", id, fault);
    None
}

/// Judges what haccp says of a plan: a version in force that binds lots of the kind.
pub fn plan_in(
    plan: Uuid,
    kind: &str,
    answer: &PlanInForceResponse,
) -> Result<PlanVersion, Reason> {
    let PlanInForceResponse { version, name, binds } = answer;
    let is_of_product = binds == PRODUCT && PRODUCT_KINDS.contains(&kind);
    if *version >= 1 && (binds == kind || is_of_product) {
        return Ok(PlanVersion { id: plan, version: *version, name: name.clone() });
    }
    let message = if *version < 1 {
        "No version of this plan is in force.".to_owned()
    } else {
        format!("The plan {name} binds {binds} lots, not {kind} ones.")
    };
    Err(Reason {
        code: "PLAN_NOT_IN_FORCE",
        subject: format!("plan:{plan}"),
        message,
        who: "QA".into(),
        way_on: format!("Approve a version of the plan, or name one in force for {kind} lots."),
    })
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

impl NewLot {
    /// The form of its entry: a received lot that its plan binds says no more than it always did,
    /// and only a batch of a run names one.
    pub fn form(&self) -> &'static str {
        let is_plain = self.plan.is_some() && self.content.use_by.is_none();
        match &self.origin {
            _ if self.content.run.is_some() => "genealogy.lot/3",
            Origin::Received { .. } if is_plain => "genealogy.lot/1",
            _ => "genealogy.lot/2",
        }
    }

    /// Its entry; null stands for what there is not.
    pub fn entry(&self, code: &str) -> Value {
        let Self { stamp, kind, content, place, plan, .. } = self;
        let plan = plan.as_ref().map(|plan| named(plan.id, plan.version, &plan.name));
        let mut entry = json!({
            "lot": stamp.id.to_string(), "code": code, "kind": kind,
            "material": content.material,
            "supplier": Value::Null,
            "supplier_lot": Value::Null,
            "mass": content.mass.entry(),
            "place": named(place.id, place.version, &place.name),
            "plan": plan,
            "times": Value::from(content.moments),
        });
        if let Origin::Received { supplier, supplier_lot } = &self.origin {
            entry["supplier"] = named(supplier.id, supplier.version, &supplier.name);
            entry["supplier_lot"] = json!(supplier_lot);
        }
        if self.form() != "genealogy.lot/1" {
            entry["made_by"] = json!(self.made_by().map(|by| by.to_string()));
            entry["use_by"] = json!(content.use_by.map(|day| day.to_string()));
        }
        if let Some(run) = &content.run {
            entry["run"] = json!(run);
        }
        entry
    }

    /// The transformation or opening statement that made it.
    pub fn made_by(&self) -> Option<Uuid> {
        match &self.origin {
            Origin::Received { .. } => None,
            Origin::Made(by) => Some(*by),
        }
    }
}

impl Mass {
    /// As it stands in an entry.
    pub fn entry(&self) -> Value {
        json!({
            "value": self.value.to_plain_string(),
            "unit": self.unit,
            "g": self.grams.to_plain_string(),
        })
    }
}

/// A thing as it was named, with the version that was in force.
pub fn named(id: Uuid, version: i32, name: &str) -> Value {
    json!({ "id": id.to_string(), "version": version, "name": name })
}

/// An id as text; empty where there is none.
pub fn id_or_empty(id: Option<Uuid>) -> String {
    id.map(|id| id.to_string()).unwrap_or_default()
}

/// A lot as a message.
pub fn lot_out(lot: Standing) -> v1::Lot {
    let Standing { row, on_hand_g, holds, moved_to } = lot;
    let (stands_at, stands_at_name) =
        moved_to.unwrap_or_else(|| (row.place, row.place_name.clone()));
    let holds = holds.into_iter().map(|hold| holds::hold_on(row.id, hold)).collect();
    let LotRow { mass_value, mass_unit, .. } = row;
    let mass = v1::Quantity { value: Some(mass_value.to_plain_string()), unit: mass_unit };
    v1::Lot {
        lot: row.id.to_string(),
        code: row.code,
        kind: row.kind,
        material: row.material,
        supplier: id_or_empty(row.supplier),
        supplier_name: row.supplier_name.unwrap_or_default(),
        supplier_lot: row.supplier_lot.unwrap_or_default(),
        mass: Some(mass),
        on_hand_g: Some(on_hand_g.to_plain_string()),
        place: row.place.to_string(),
        place_name: row.place_name,
        plan: id_or_empty(row.plan),
        plan_version: row.plan_version.unwrap_or_default(),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        day: row.day.to_jiff().to_string(),
        holds,
        made_by: id_or_empty(row.made_by),
        use_by: row.use_by.map(|day| day.to_jiff().to_string()).unwrap_or_default(),
        run: row.run.unwrap_or_default(),
        stands_at: stands_at.to_string(),
        stands_at_name,
    }
}

#[cfg(test)]
mod tests;
