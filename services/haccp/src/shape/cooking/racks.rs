//! Pulls and probes left out: from what is asked to what is stored, and why a pull is refused.
//! It never judges: what stands against a limit was found before.

use domain::fault::Faults;
use domain::verdict::Verdict;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::found::Found;
use crate::store::cooking::whole::{Head, RackRow};

/// A pull about to be recorded.
#[derive(Clone, Debug)]
pub struct NewPull {
    pub load: Uuid,
    /// In the order given.
    pub racks: Vec<Uuid>,
    /// True: whoever pulls knows that a limit is not met.
    pub overrule: bool,
    pub reason: String,
    pub moments: Moments,
    pub stamp: Stamp,
}

/// Reads a pull; every fault is named.
pub fn pull_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PullRacksRequest,
) -> Result<NewPull, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let load = shape::id(&request.load, "load", &mut faults);
    let racks = crate::shape::ids(&request.racks, "racks", &mut faults);
    if request.overrule && request.reason.trim().is_empty() {
        faults.add_value("reason", &request.reason, "must say why the limit is overruled");
    }
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, load?, moments?)))();
    let (id, load, moments) = faults.into_result(all)?;
    let stamp = Stamp::of(call, plant, id, format!("load:{load}"), request)?;
    let (overrule, reason) = (request.overrule, request.reason.clone());
    Ok(NewPull { load, racks, overrule, reason, moments, stamp })
}

impl NewPull {
    /// Checks it against its load. Faults: a rack that is not in it, a time before it began.
    /// Refused: a rack that was pulled before.
    pub fn check(&self, head: &Head) -> Result<(), Failure> {
        let mut faults = Faults::new();
        let mut pulled = Vec::new();
        for (at, rack) in self.racks.iter().enumerate() {
            match head.racks.iter().find(|row| row.lot == *rack) {
                None => {
                    faults.add_value(format!("racks[{at}]"), rack, "must be a rack of the load")
                }
                Some(row) => pulled.extend(row.pulled_at.map(|at| pulled_before(row, at))),
            }
        }
        let begun_at = head.load.observed_at.to_jiff();
        if self.moments.observed_at <= begun_at {
            let text = format!("must be after the load began, {begun_at}");
            faults.add_value("observed_at", self.moments.observed_at, text);
        }
        faults.into_result(Some(()))?;
        if pulled.is_empty() { Ok(()) } else { Err(Failure::refused(pulled)) }
    }

    /// True when it is carried out whatever stands against it.
    pub fn is_told(&self) -> bool {
        self.overrule || self.moments.happened
    }

    /// The load as it stands with the pull.
    pub fn applied(&self, mut head: Head) -> Head {
        use jiff_diesel::ToDiesel as _;
        for rack in head.racks.iter_mut().filter(|rack| self.racks.contains(&rack.lot)) {
            rack.pulled_at = Some(self.moments.observed_at.to_diesel());
        }
        head
    }

    /// Why it is not carried out when it is only asked for: each rack that may not go.
    pub fn refusal(&self, head: &Head, found: &[Found<'_>]) -> Result<(), Failure> {
        let of_pull = |row: &&RackRow| self.racks.contains(&row.lot);
        let racks: Vec<&RackRow> = head.racks.iter().filter(of_pull).collect();
        let against = |row: &RackRow| {
            let concerns = |found: &&Found<'_>| found.is_cook && found.lots.contains(&row.lot);
            let judged = found.iter().filter(concerns);
            let missed = judged.clone().find(|found| found.verdict != Verdict::Pass);
            match row.bound() {
                None => Some(not_bound(row)),
                Some(_) => missed.map(|found| self.not_met(row, found)),
            }
        };
        let mut reasons: Vec<Reason> = Vec::new();
        let mut free = Vec::new();
        for row in racks {
            match against(row) {
                Some(reason) => reasons.push(reason),
                None => free.push(row.lot_code.clone()),
            }
        }
        if self.is_told() || reasons.is_empty() {
            return Ok(());
        }
        if !free.is_empty() {
            let may_go = format!(" These may go without it: {}.", free.join(", "));
            reasons.iter_mut().for_each(|reason| reason.way_on.push_str(&may_go));
        }
        Err(Failure::refused(reasons))
    }

    fn not_met(&self, row: &RackRow, found: &Found<'_>) -> Reason {
        let stands_at = found.stands_at.clone().map(|text| format!("{text}. "));
        let way_on = match found.verdict {
            Verdict::Undetermined => "Read links of this rack by hand: POST /v1/readings",
            _ => "Cook on until the limit is reached",
        };
        Reason {
            code: "COOK_NOT_MET",
            subject: format!("lot:{}", row.lot),
            message: format!(
                "Rack {}, {}: {}{}",
                row.lot_code,
                found.check.code,
                stands_at.unwrap_or_default(),
                found.reasons.join(" ")
            ),
            who: "operator; a supervisor to overrule".into(),
            way_on: format!(
                "{way_on}; or pull it with overrule and a reason, which opens a deviation: \
                 POST /v1/loads/{}/pulls.",
                self.load
            ),
        }
    }

    /// The columns of its row, and its entry.
    pub fn record(&self) -> (Value, Value) {
        let columns = json!({
            "load": self.load.to_string(), "is_overruled": self.overrule, "reason": self.reason,
        });
        let mut entry = columns.clone();
        entry["lots"] = self.racks.iter().map(|rack| json!(rack.to_string())).collect();
        (columns, entry)
    }
}

fn pulled_before(row: &RackRow, at: jiff_diesel::Timestamp) -> Reason {
    Reason {
        code: "RACK_WAS_PULLED",
        subject: format!("lot:{}", row.lot),
        message: format!("Rack {} was pulled at {}.", row.lot_code, at.to_jiff()),
        who: "operator".into(),
        way_on: format!("Read the load: GET /v1/loads/{}.", row.load),
    }
}

fn not_bound(row: &RackRow) -> Reason {
    Reason {
        code: "LOT_NOT_BOUND",
        subject: format!("lot:{}", row.lot),
        message: format!("Rack {} is bound to no plan that is known here.", row.lot_code),
        who: "QA".into(),
        way_on: "The message that binds it is under way: ask again in a moment.".into(),
    }
}

/// A probe about to be left out.
#[derive(Clone, Debug)]
pub struct LeavesOut {
    pub load: Uuid,
    pub probe: String,
    pub left_out_from: jiff::Timestamp,
    pub reason: String,
    pub stamp: Stamp,
}

/// Reads that a probe is left out; every fault is named.
pub fn leaves_out_in(
    call: &Call,
    plant: &Plant,
    request: &v1::LeaveProbeOutRequest,
) -> Result<LeavesOut, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let load = shape::id(&request.load, "load", &mut faults);
    let from = shape::instant(&request.left_out_from, "left_out_from", &mut faults);
    if request.reason.trim().is_empty() {
        faults.add_value("reason", &request.reason, "must say why");
    }
    let (id, load, left_out_from) = faults.into_result((|| Some((id?, load?, from?)))())?;
    let stamp = Stamp::of(call, plant, id, format!("load:{load}"), request)?;
    let (probe, reason) = (request.probe.clone(), request.reason.clone());
    Ok(LeavesOut { load, probe, left_out_from, reason, stamp })
}

impl LeavesOut {
    /// Checks it against its load. Faults: nothing of this name is there.
    pub fn check(&self, head: &Head, has_samples: bool) -> Result<(), Failure> {
        let is_seated = head.probes.iter().any(|row| row.probe == self.probe);
        if is_seated || has_samples {
            return Ok(());
        }
        Err(Failure::fault("probe", &self.probe, "has no seat and no samples in this load"))
    }

    /// The columns of its row, and its entry.
    pub fn record(&self, ticket: &Ticket) -> (Value, Value) {
        let mut columns = json!({
            "load": self.load.to_string(), "probe": self.probe,
            "left_out_from": self.left_out_from.to_string(), "reason": self.reason,
        });
        let mut entry = columns.clone();
        columns["ticket"] = json!(ticket.id.to_string());
        entry["signature"] = ticket.entry();
        (columns, entry)
    }
}
