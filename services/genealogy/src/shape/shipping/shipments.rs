//! Shipments: what is asked, what is written once nothing stands in the way, what is shown.
//! It never lets a refusal pass for a command; what has left is recorded as it was.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::time::Instant;

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;
use wire::v1::RefusalReason;

use super::judgement::{AWAY, Obstacle, Said, reasons};
use super::picture::Picture;
use crate::shape::lots::{named, place_in_use};
use crate::shape::making::judge::Broken;
use crate::store::partners::PartnerRow;
use crate::store::places::PlaceRow;
use crate::store::shipping::shipments::{LotOnPallet, Shipped, Whole};

/// The word of an open item for what left before it was cleared.
pub const SHIPPED_UNCLEAR: &str = "SHIPPED_UNCLEAR";

/// A shipment, read as far as the message goes.
pub struct Asked {
    pub stamp: Stamp,
    pub customer: Uuid,
    pub place: Uuid,
    pallets: Vec<Uuid>,
    truck: String,
    moments: Option<Moments>,
    faults: Faults,
}

/// What is wanted to leave.
#[derive(Clone)]
pub struct Wanted {
    pub stamp: Stamp,
    pub customer: PartnerRow,
    pub place: PlaceRow,
    /// Each once, in the order of the message.
    pub pallets: Vec<Uuid>,
    pub truck: String,
    pub moments: Moments,
}

/// A shipment about to be written, if what was seen still stands.
#[derive(Clone)]
pub struct Planned {
    pub wanted: Wanted,
    pub picture: Picture,
    /// The id of haccp's answer.
    pub clearance: Option<Uuid>,
    /// The id of the answer of formulas.
    pub label_cover: Option<Uuid>,
    /// When the picture was read, by the monotonic clock.
    pub read_at: Instant,
    /// Why what has left was not clear; empty: it was.
    pub reasons: Vec<RefusalReason>,
}

/// Reads pallets; one named twice is a fault.
pub fn pallets_in(texts: &[String], faults: &mut Faults) -> Vec<Uuid> {
    let mut pallets = Vec::with_capacity(texts.len());
    for (at, text) in texts.iter().enumerate() {
        let field = format!("pallets[{at}]");
        match shape::id(text, &field, faults) {
            Some(pallet) if pallets.contains(&pallet) => {
                faults.add_value(field, pallet, "is named twice");
            }
            Some(pallet) => pallets.push(pallet),
            None => {}
        }
    }
    pallets
}

/// Reads a shipment.
pub fn ship_in(call: &Call, plant: &Plant, request: &v1::ShipRequest) -> Result<Asked, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let customer = shape::id(&request.customer, "customer", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let pallets = pallets_in(&request.pallets, &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let (Some(id), Some(customer), Some(place)) = (id, customer, place) else {
        return Err(faults.into());
    };
    let stamp = Stamp::of(call, plant, id, format!("shipment:{id}"), request)?;
    let truck = request.truck.clone();
    Ok(Asked { stamp, customer, place, pallets, truck, moments, faults })
}

impl Asked {
    /// Judges what the message names by its newest versions; gives all faults.
    pub fn content(
        mut self,
        customer: Option<PartnerRow>,
        place: Option<PlaceRow>,
    ) -> Result<Wanted, Failure> {
        let happened = self.moments.is_some_and(|moments| moments.happened);
        let fault = match &customer {
            None => Some("there is no such partner"),
            Some(partner) if !partner.is_customer => Some("this partner is no customer"),
            Some(partner) if !partner.in_use && !happened => Some("this partner is not in use"),
            Some(_) => None,
        };
        if let Some(text) = fault {
            self.faults.add_value("customer", self.customer, text);
        }
        let place = place_in_use(self.place, place, &mut self.faults);
        let named = customer.zip(place).zip(self.moments);
        let ((customer, place), moments) = self.faults.into_result(named)?;
        let Self { stamp, pallets, truck, .. } = self;
        Ok(Wanted { stamp, customer, place, pallets, truck, moments })
    }
}

/// Names each pallet that does not exist by its place in the list.
pub fn unknown_pallets(asked: &[Uuid], picture: &Picture) -> Result<(), Failure> {
    let known: BTreeSet<_> = picture.pallets.iter().map(|pallet| pallet.id).collect();
    let mut faults = Faults::new();
    for (at, pallet) in asked.iter().enumerate().filter(|(_, pallet)| !known.contains(pallet)) {
        faults.add_value(format!("pallets[{at}]"), pallet, "there is no such pallet");
    }
    Ok(faults.into_result(Some(()))?)
}

/// Decides what becomes of a shipment by all that was seen and said. A command with anything in
/// its way is refused with every reason; what has left is planned with them.
pub fn decide(
    wanted: Wanted,
    picture: Picture,
    (said, obstacles): (&Said, &[Obstacle]),
    read_at: Instant,
) -> Result<Planned, Failure> {
    let mut found = reasons(&picture, obstacles);
    if !wanted.customer.in_use {
        found.push(customer_not_in_use(&wanted.customer));
    }
    let is_nothing = !super::judgement::not_to_ship(&picture).is_empty();
    if !found.is_empty() && (is_nothing || !wanted.moments.happened) {
        return Err(refusal(found));
    }
    let (clearance, label_cover) = (said.clear.id(), said.cover.id());
    Ok(Planned { wanted, picture, clearance, label_cover, read_at, reasons: found })
}

/// A refusal with every reason. Where only silence stands in the way the same call may be sent
/// again as it is.
pub fn refusal(found: Vec<RefusalReason>) -> Failure {
    if found.iter().all(|reason| AWAY.contains(&reason.code.as_str())) {
        let text = "Nothing was shipped: a part that is needed does not answer.";
        return Failure::new(Kind::Unavailable, text).with_told(found);
    }
    Failure::refused(Vec::new()).with_told(found)
}

fn customer_not_in_use(customer: &PartnerRow) -> RefusalReason {
    RefusalReason {
        code: "CUSTOMER_NOT_IN_USE".into(),
        subject: format!("partner:{}", customer.id),
        message: format!("{} is not in use as a customer.", customer.name),
        who: "manager".into(),
        way_on: "Put a new version of the partner in use: POST /v1/partners".into(),
    }
}

/// That others changed what ships at each try: only what has left is written all the same.
pub fn changed_meanwhile() -> RefusalReason {
    RefusalReason {
        code: "CHANGED_MEANWHILE".into(),
        subject: "shipment".into(),
        message: "Others changed what was to ship while it was judged, at each of the tries."
            .into(),
        who: "QA".into(),
        way_on: "Look at the lots as they stand now.".into(),
    }
}

impl Planned {
    /// True: it had left before it was cleared.
    pub fn is_unclear(&self) -> bool {
        !self.reasons.is_empty()
    }

    /// The same with one more reason.
    pub fn with_reason(mut self, reason: RefusalReason) -> Self {
        self.reasons.push(reason);
        self
    }

    /// What it broke: what is still here of its lots goes on hold.
    pub fn broken(&self) -> Broken {
        let messages = self.reasons.iter().map(|reason| reason.message.as_str());
        let said = messages.collect::<Vec<_>>().join(" ");
        let reason = Reason {
            code: SHIPPED_UNCLEAR,
            subject: self.wanted.stamp.subject.clone(),
            message: format!("It left for {} unclear: {said}", self.wanted.customer.name),
            who: "QA".into(),
            way_on: format!("GET /v1/shipments/{}", self.wanted.stamp.id),
        };
        let lots = self.picture.ships.clone();
        Broken { reason, item: SHIPPED_UNCLEAR, lots, is_held: true }
    }

    /// Its reasons as they are kept.
    pub fn reasons_kept(&self) -> Value {
        let kept = |reason: &RefusalReason| {
            let RefusalReason { code, subject, message, who, way_on } = reason;
            json!({ "code": code, "subject": subject, "message": message, "who": who,
                "way_on": way_on })
        };
        Value::Array(self.reasons.iter().map(kept).collect())
    }

    /// Its entry; `shipped` is what each lot gave.
    pub fn entry(&self, shipped: &[Shipped]) -> Value {
        let Wanted { stamp, customer, place, truck, moments, .. } = &self.wanted;
        let pallets = self.picture.pallets.iter().map(|pallet| {
            let cases = self.picture.cases.iter().filter(|case| case.pallet == pallet.id);
            let serials: Vec<_> = cases.map(|case| case.serial.as_str()).collect();
            json!({ "pallet": pallet.id.to_string(), "label": pallet.label, "cases": serials })
        });
        let lots = shipped.iter().map(|shipped| self.lot_entry(shipped));
        json!({
            "shipment": stamp.id.to_string(),
            "customer": named(customer.id, customer.version, &customer.name),
            "place": named(place.id, place.version, &place.name),
            "truck": truck,
            "pallets": pallets.collect::<Vec<_>>(),
            "lots": lots.collect::<Vec<_>>(),
            "closure_lots": self.picture.closure.lots.len(),
            "plant_version": self.picture.closure.plant_version,
            "clearance": self.clearance.map(|id| id.to_string()),
            "label_cover": self.label_cover.map(|id| id.to_string()),
            "is_unclear": self.is_unclear(),
            "reasons": self.reasons_kept(),
            "times": Value::from(*moments),
        })
    }

    fn lot_entry(&self, shipped: &Shipped) -> Value {
        let at = self.picture.closure.index(shipped.lot);
        let digest = at.map(|at| hexadecimal(&self.picture.closure.digest(at)));
        json!({
            "lot": shipped.lot.to_string(),
            "code": self.picture.code_of(shipped.lot),
            "cases": self.picture.cases_of(shipped.lot).count(),
            "mass_g": shipped.mass_g.to_plain_string(),
            "taken_g": shipped.taken_g.to_plain_string(),
            "closure": digest,
        })
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing into a text cannot fail.
        write!(text, "{byte:02x}").ok();
        text
    })
}

/// What each lot gives of what is on hand of it: never more than there is.
pub fn shipped(picture: &Picture, on_hand: &BTreeMap<Uuid, BigDecimal>) -> Vec<Shipped> {
    let of = |(lot, mass_g): (Uuid, BigDecimal)| {
        let on_hand = on_hand.get(&lot).cloned().unwrap_or_default();
        let taken_g = if on_hand < mass_g { on_hand } else { mass_g.clone() };
        Shipped { lot, mass_g, taken_g }
    };
    picture.masses().into_iter().map(of).collect()
}

/// What of a lot is on a pallet, as a message.
pub fn lot_out(lot: LotOnPallet) -> v1::ShippedLot {
    v1::ShippedLot {
        lot: lot.lot.to_string(),
        code: lot.code,
        material: lot.material,
        cases: i32::try_from(lot.cases).unwrap_or(i32::MAX),
        mass_g: Some(lot.mass_g.to_plain_string()),
    }
}

/// A shipment as a message.
pub fn shipment_out(whole: Whole) -> v1::Shipment {
    let Whole { row, lots } = whole;
    let mut pallets: Vec<v1::ShippedPallet> = Vec::new();
    let mut mass_g = BigDecimal::from(0);
    let mut cases: i64 = 0;
    for lot in lots {
        cases += lot.cases;
        mass_g += &lot.mass_g;
        let id = lot.pallet.to_string();
        if pallets.last().is_none_or(|last| last.pallet != id) {
            let label = lot.label.clone();
            pallets.push(v1::ShippedPallet { pallet: id, label, lots: Vec::new() });
        }
        // A pallet was pushed just above where there was none.
        if let Some(last) = pallets.last_mut() {
            last.lots.push(lot_out(lot));
        }
    }
    v1::Shipment {
        shipment: row.id.to_string(),
        customer: row.customer.to_string(),
        customer_name: row.customer_name,
        pallets,
        place_name: row.place_name,
        truck: row.truck,
        mass_g: Some(mass_g.to_plain_string()),
        cases: i32::try_from(cases).unwrap_or(i32::MAX),
        is_unclear: row.is_unclear,
        reasons: reasons_out(&row.reasons),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        day: row.day.to_jiff().to_string(),
        closure_lots: row.closure_lots,
    }
}

fn reasons_out(kept: &Value) -> Vec<RefusalReason> {
    let text = |reason: &Value, name: &str| reason[name].as_str().unwrap_or_default().to_owned();
    let reason = |reason: &Value| RefusalReason {
        code: text(reason, "code"),
        subject: text(reason, "subject"),
        message: text(reason, "message"),
        who: text(reason, "who"),
        way_on: text(reason, "way_on"),
    };
    kept.as_array().map(|kept| kept.iter().map(reason).collect()).unwrap_or_default()
}
