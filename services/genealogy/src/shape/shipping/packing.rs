//! Cases as they are packed and as they pass a detector again.
//! It never judges whether a case may leave.

use bigdecimal::BigDecimal;
use domain::fault::Faults;
use jiff::{SignedDuration, Timestamp};
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::{self, Stamp};
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;

use super::of_ours;
use crate::shape::closure::{Closure, MadeOf};
use crate::shape::holds::{self, Covers, NewHold, serials_in};
use crate::shape::lots::{Mass, id_or_empty, mass_in, named, place_in_use};
use crate::shape::making::batch::Told;
use crate::store::places::PlaceRow;
use crate::store::shipping::packings::PackingRow;
use crate::store::shipping::reruns::RerunRow;

/// How far ahead of the plant's clock a packing time may lie.
const AHEAD_MAX: SignedDuration = SignedDuration::from_secs(60);
/// The kinds of lots that are packed into cases.
const PACKED_KINDS: [&str; 2] = ["finished", "opening_stock"];

/// A case about to be packed.
#[derive(Clone, Debug)]
pub struct NewCase {
    pub serial: String,
    pub mass: Mass,
    /// As claimed.
    claimed_at: Timestamp,
    /// The same by the plant's clock: what challenges are compared with.
    pub packed_at: Timestamp,
}

/// Cases to pack, read as far as the message goes.
pub struct AskedPacking {
    pub stamp: Stamp,
    pub lot: Uuid,
    pub place: Uuid,
    cases: Vec<NewCase>,
    label_revision: String,
    moments: Option<Moments>,
    faults: Faults,
}

/// Cases about to be recorded as packed.
#[derive(Clone)]
pub struct NewPacking {
    pub stamp: Stamp,
    pub lot: Uuid,
    pub lot_code: String,
    pub place: PlaceRow,
    pub cases: Vec<NewCase>,
    /// As it was scanned; empty where it was not.
    pub label_revision: String,
    pub moments: Moments,
    /// What formulas has against the label.
    pub told: Vec<Told>,
}

/// Reads cases to pack; the other faults wait for those of what is named.
pub fn packing_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PackCasesRequest,
) -> Result<AskedPacking, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lot = shape::id(&request.lot, "lot", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let serials: Vec<_> = request.cases.iter().map(|case| case.serial.clone()).collect();
    let mut twice = Faults::new();
    serials_in(&serials, "", &mut twice);
    for fault in twice.into_vec() {
        faults.add(format!("cases{}.serial", fault.field), fault.message);
    }
    let given = request.cases.iter().enumerate();
    let cases = given.filter_map(|(at, case)| case_in(at, case, moments.as_ref(), &mut faults));
    let cases: Vec<_> = cases.collect();
    let (Some(id), Some(lot), Some(place)) = (id, lot, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("lot:{lot}"), request)?;
    let label_revision = request.label_revision.clone();
    Ok(AskedPacking { stamp, lot, place, cases, label_revision, moments, faults })
}

fn case_in(
    at: usize,
    case: &v1::NewCase,
    moments: Option<&Moments>,
    faults: &mut Faults,
) -> Option<NewCase> {
    let mass = mass_in(case.mass.as_ref(), &format!("cases[{at}].mass"), faults);
    let field = format!("cases[{at}].packed_at");
    let claimed_at = shape::instant(&case.packed_at, &field, faults)?;
    let moments = moments?;
    let packed_at = moments.by_the_plant(claimed_at);
    if packed_at.duration_since(moments.recorded_at) > AHEAD_MAX {
        let text = format!("must not lie in the future (it is {})", moments.recorded_at);
        faults.add_value(&field, claimed_at, text);
    }
    if claimed_at > moments.observed_at {
        let text = "must not be after observed_at, when the last of them was packed";
        faults.add_value(&field, claimed_at, text);
    }
    Some(NewCase { serial: case.serial.clone(), mass: mass?, claimed_at, packed_at })
}

impl AskedPacking {
    /// Judges what the message names; `lot` is its kind and code. Gives all faults.
    pub fn content(
        mut self,
        lot: Option<(String, String)>,
        place: Option<PlaceRow>,
    ) -> Result<NewPacking, Failure> {
        let fault = match &lot {
            None => Some("there is no such lot".to_owned()),
            Some((kind, _)) if !PACKED_KINDS.contains(&kind.as_str()) => Some(format!(
                "only finished lots and opening stock are packed into cases, no {kind} lots"
            )),
            Some(_) => None,
        };
        if let Some(text) = fault {
            self.faults.add_value("lot", self.lot, text);
        }
        let place = place_in_use(self.place, place, &mut self.faults);
        let named = lot.zip(place).zip(self.moments);
        let (((_, lot_code), place), moments) = self.faults.into_result(named)?;
        let Self { stamp, lot, cases, label_revision, .. } = self;
        let told = Vec::new();
        Ok(NewPacking { stamp, lot, lot_code, place, cases, label_revision, moments, told })
    }
}

impl NewPacking {
    /// What the cases weigh together, in grams.
    pub fn mass_g(&self) -> BigDecimal {
        self.cases.iter().map(|case| &case.mass.grams).sum()
    }

    /// What formulas is asked: whether each label in force while they were packed covers the lot.
    pub fn label_question(&self, graph: &Closure, made_of: &MadeOf) -> internal::LabelCoverRequest {
        let at = self.cases.iter().map(|case| case.packed_at.as_microsecond());
        let (from, to) = (at.clone().min().unwrap_or_default(), at.max().unwrap_or_default());
        let lots = graph.origins_out(made_of);
        let labelled = graph.index(self.lot).map(|at| internal::LabelledLot {
            lot: at as u32,
            product: graph.lots[at].material.clone(),
            revision: self.label_revision.clone(),
            from_us: from,
            to_us: to,
            ..Default::default()
        });
        internal::LabelCoverRequest { lots, labelled: labelled.into_iter().collect(), at_us: to }
    }

    /// Its entry.
    pub fn entry(&self) -> Value {
        let case = |case: &NewCase| {
            json!({
                "serial": case.serial,
                "mass": case.mass.entry(),
                "packed_at": case.claimed_at.to_string(),
            })
        };
        json!({
            "packing": self.stamp.id.to_string(),
            "lot": { "id": self.lot.to_string(), "code": self.lot_code },
            "place": named(self.place.id, self.place.version, &self.place.name),
            "cases": self.cases.iter().map(case).collect::<Vec<_>>(),
            "label_revision": self.label_revision,
            "times": Value::from(self.moments),
        })
    }

    /// Why the cases cannot be: more than is in no case yet. Both masses in grams.
    pub fn too_much(&self, not_packed_g: &BigDecimal) -> Reason {
        Reason {
            code: "MORE_THAN_NOT_PACKED",
            subject: format!("lot:{}", self.lot),
            message: format!(
                "The cases weigh {} g; {} g of lot {} are in no case yet.",
                self.mass_g().to_plain_string(),
                not_packed_g.to_plain_string(),
                self.lot_code
            ),
            who: "supervisor".into(),
            way_on: format!(
                "Pack no more than is left, or look what used the rest: GET /v1/lots/{}",
                self.lot
            ),
        }
    }
}

/// Why serials cannot be packed: there is a case of each.
pub fn serials_in_use(serials: &[String]) -> Vec<Reason> {
    let reason = |serial: &String| Reason {
        code: "SERIAL_IN_USE",
        subject: format!("case:{serial}"),
        message: format!("Case {serial} was packed before."),
        who: "operator".into(),
        way_on: "Read the label again; a serial is used once in the plant.".into(),
    };
    serials.iter().map(reason).collect()
}

/// A packing with what of the lot is in no case yet, as a message.
pub fn packing_out(row: PackingRow, cases: i64, masses: (BigDecimal, BigDecimal)) -> v1::Packing {
    let (mass_g, not_packed_g) = masses;
    v1::Packing {
        packing: row.id.to_string(),
        lot: row.lot.to_string(),
        place: row.place.to_string(),
        place_name: row.place_name,
        cases: i32::try_from(cases).unwrap_or(i32::MAX),
        mass_g: Some(mass_g.to_plain_string()),
        not_packed_g: Some(not_packed_g.to_plain_string()),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        label_revision: row.label_revision,
    }
}

/// Cases that passed again, read as far as the message goes.
pub struct AskedRerun {
    pub stamp: Stamp,
    pub place: Uuid,
    passed: Vec<String>,
    rejected: Vec<String>,
    note: String,
    moments: Option<Moments>,
    faults: Faults,
}

/// Cases about to be recorded as passed again.
#[derive(Clone)]
pub struct NewRerun {
    pub stamp: Stamp,
    pub place: PlaceRow,
    pub passed: Vec<String>,
    pub rejected: Vec<String>,
    pub note: String,
    pub moments: Moments,
    /// The id of the hold on those rejected, if there are any.
    pub hold: Option<Uuid>,
}

/// Reads cases that passed again; a serial stands in one list once.
pub fn rerun_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RunAgainRequest,
) -> Result<AskedRerun, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let passed = serials_in(&request.passed, "passed", &mut faults);
    let rejected = serials_in(&request.rejected, "rejected", &mut faults);
    for (at, serial) in rejected.iter().enumerate().filter(|(_, serial)| passed.contains(serial)) {
        faults.add_value(format!("rejected[{at}]"), serial, "stands among those passed too");
    }
    if passed.is_empty() && rejected.is_empty() {
        faults.add("passed", "name at least one case that passed or was rejected");
    }
    if !rejected.is_empty() && request.note.trim().is_empty() {
        faults.add("note", "say what was found in those rejected");
    }
    let (Some(id), Some(place)) = (id, place) else { return Err(faults.into()) };
    let stamp = Stamp::of(call, plant, id, format!("place:{place}"), request)?;
    let note = request.note.clone();
    Ok(AskedRerun { stamp, place, passed, rejected, note, moments, faults })
}

impl AskedRerun {
    /// Judges the place; gives all faults.
    pub fn content(mut self, place: Option<PlaceRow>) -> Result<NewRerun, Failure> {
        let place = place_in_use(self.place, place, &mut self.faults);
        let (place, moments) = self.faults.into_result(place.zip(self.moments))?;
        let hold = (!self.rejected.is_empty()).then(records::new_id);
        let Self { stamp, passed, rejected, note, .. } = self;
        Ok(NewRerun { stamp, place, passed, rejected, note, moments, hold })
    }
}

impl NewRerun {
    /// Every case, those passed first.
    pub fn serials(&self) -> Vec<String> {
        self.passed.iter().chain(&self.rejected).cloned().collect()
    }

    /// The hold on those rejected, of these lots.
    pub fn rejection(&self, lots: Vec<Uuid>) -> Option<NewHold> {
        let reason = format!("Rejected at {}: {}", self.place.name, self.note);
        self.hold.map(|id| NewHold {
            stamp: of_ours(&self.stamp, id, holds::subject(id)),
            lots,
            reason: shape::shortened(&reason, 300),
            deviation: None,
            covers: Covers::Cases(self.rejected.clone()),
        })
    }

    /// Its entry.
    pub fn entry(&self) -> Value {
        json!({
            "rerun": self.stamp.id.to_string(),
            "place": named(self.place.id, self.place.version, &self.place.name),
            "passed": self.passed,
            "rejected": self.rejected,
            "note": self.note,
            "hold": self.hold.map(|hold| hold.to_string()),
            "times": Value::from(self.moments),
        })
    }
}

/// A rerun as a message; the flag of a case says that it was rejected.
pub fn rerun_out(row: RerunRow, cases: Vec<(String, bool)>) -> v1::Rerun {
    let (rejected, passed): (Vec<_>, Vec<_>) = cases.into_iter().partition(|(_, is)| *is);
    let serials = |cases: Vec<(String, bool)>| cases.into_iter().map(|(serial, _)| serial);
    v1::Rerun {
        rerun: row.id.to_string(),
        place: row.place.to_string(),
        place_name: row.place_name,
        passed: serials(passed).collect(),
        rejected: serials(rejected).collect(),
        note: row.note,
        hold: id_or_empty(row.hold),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
    }
}
