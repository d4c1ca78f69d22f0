//! Between the contract's holds and this service's rows, with what refuses the end of one.
//! It never asks the database.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Kind, Reason};
use platform::plant::Plant;
use platform::records::{self, Stamp};
use platform::shape;
use platform::tickets::{Ticket, Tickets};
use serde_json::{Value, json};
use uuid::Uuid;
use wire::internal::v1 as internal;
use wire::v1;

use crate::store::holds::{HoldRow, Standing};

/// The word of a hold that covers only what is left of its lots.
const NARROWED: &str = "what_is_left";

/// A hold about to be placed.
#[derive(Clone)]
pub struct NewHold {
    pub stamp: Stamp,
    /// Each once, in the order of the message.
    pub lots: Vec<Uuid>,
    pub reason: String,
    /// The deviation that places it, if one does.
    pub deviation: Option<Uuid>,
    /// True: it is to cover only what is left of its lots, if QA signs for that.
    pub is_narrowed: bool,
}

/// What of its lots a hold covers.
pub enum Scope {
    /// The lots with all that was or will be made of them.
    Whole,
    /// Only what is left of the lots, as QA signed.
    WhatIsLeft(Ticket),
}

impl Scope {
    /// Its word in records.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::WhatIsLeft(_) => NARROWED,
        }
    }

    /// The ticket that narrowing used up.
    pub fn ticket(&self) -> Option<Uuid> {
        match self {
            Self::Whole => None,
            Self::WhatIsLeft(ticket) => Some(ticket.id),
        }
    }
}

impl NewHold {
    /// What it covers. Refused: narrowing by anybody but QA, or without a signature for it.
    pub fn scope(&self, call: &Call, tickets: &Tickets) -> Result<Scope, Failure> {
        if !self.is_narrowed {
            return Ok(Scope::Whole);
        }
        if !call.person()?.roles.contains(&v1::Role::Qa) {
            let text = "Only QA may sign that a hold covers no more than what is left of its lots.";
            return Err(Failure::new(Kind::NotAllowed, text));
        }
        tickets.redeem(call, &self.stamp.subject).map(Scope::WhatIsLeft)
    }
}

/// The end of a hold, about to be recorded.
#[derive(Clone)]
pub struct End {
    pub stamp: Stamp,
    pub hold: Uuid,
    pub reason: String,
}

/// The end of a deviation's hold, which is still to be found.
#[derive(Clone)]
pub struct DeviationEnd {
    pub deviation: Uuid,
    stamp: Stamp,
    reason: String,
    signed_by_name: String,
}

/// By whose signature a hold ends.
#[derive(Clone)]
pub enum Signed {
    /// One given for this end.
    Here(Ticket),
    /// One given at the closing of the hold's deviation.
    AtDeviation { deviation: Uuid, name: String },
}

impl Signed {
    /// The signer's name as it was.
    pub fn name(&self) -> &str {
        match self {
            Self::Here(ticket) => &ticket.name,
            Self::AtDeviation { name, .. } => name,
        }
    }

    /// The ticket that this end uses up.
    pub fn ticket(&self) -> Option<Uuid> {
        match self {
            Self::Here(ticket) => Some(ticket.id),
            Self::AtDeviation { .. } => None,
        }
    }
}

/// What a hold's records are about, and what its end is signed for.
pub fn subject(hold: Uuid) -> String {
    format!("hold:{hold}")
}

/// Reads a hold to place; a lot named twice is a fault.
pub fn hold_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PlaceHoldRequest,
) -> Result<NewHold, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lots = lots_in(&request.lots, true, &mut faults);
    let id = faults.into_result(id)?;
    let stamp = Stamp::of(call, plant, id, subject(id), request)?;
    let (reason, is_narrowed) = (request.reason.clone(), request.scope == NARROWED);
    Ok(NewHold { stamp, lots, reason, deviation: None, is_narrowed })
}

/// Reads the hold of a deviation under a new id; a lot named twice counts once.
pub fn hold_for_deviation_in(
    call: &Call,
    plant: &Plant,
    request: &internal::HoldForDeviationRequest,
) -> Result<(NewHold, Uuid), Failure> {
    let mut faults = Faults::new();
    let deviation = shape::id(&request.deviation, "deviation", &mut faults);
    let lots = lots_in(&request.lots, false, &mut faults);
    let deviation = faults.into_result(deviation)?;
    let id = records::new_id();
    let stamp = Stamp::of(call, plant, id, subject(id), request)?;
    let reason = request.reason.clone();
    let new = NewHold { stamp, lots, reason, deviation: Some(deviation), is_narrowed: false };
    Ok((new, deviation))
}

fn lots_in(texts: &[String], twice_is_a_fault: bool, faults: &mut Faults) -> Vec<Uuid> {
    let mut lots = Vec::with_capacity(texts.len());
    for (at, text) in texts.iter().enumerate() {
        let field = format!("lots[{at}]");
        match shape::id(text, &field, faults) {
            Some(lot) if !lots.contains(&lot) => lots.push(lot),
            Some(lot) if twice_is_a_fault => faults.add_value(field, lot, "is named twice"),
            _ => {}
        }
    }
    lots
}

/// Reads the end of a hold.
pub fn end_in(call: &Call, plant: &Plant, request: &v1::EndHoldRequest) -> Result<End, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let hold = shape::id(&request.hold, "hold", &mut faults);
    let (id, hold) = faults.into_result(id.zip(hold))?;
    let stamp = Stamp::of(call, plant, id, subject(hold), request)?;
    Ok(End { stamp, hold, reason: request.reason.clone() })
}

/// Reads the end of a deviation's hold under a new id.
pub fn deviation_end_in(
    call: &Call,
    plant: &Plant,
    request: &internal::EndHoldForDeviationRequest,
) -> Result<DeviationEnd, Failure> {
    let mut faults = Faults::new();
    let deviation = shape::id(&request.deviation, "deviation", &mut faults);
    let deviation = faults.into_result(deviation)?;
    let about = format!("deviation:{deviation}");
    Ok(DeviationEnd {
        deviation,
        stamp: Stamp::of(call, plant, records::new_id(), about, request)?,
        reason: request.reason.clone(),
        signed_by_name: request.signed_by_name.clone(),
    })
}

impl DeviationEnd {
    /// The end of the hold that was found.
    pub fn of_hold(&self, hold: Uuid) -> (End, Signed) {
        let stamp = Stamp { subject: subject(hold), ..self.stamp.clone() };
        let (deviation, name) = (self.deviation, self.signed_by_name.clone());
        let end = End { stamp, hold, reason: self.reason.clone() };
        (end, Signed::AtDeviation { deviation, name })
    }
}

/// Refuses the end of a hold that has ended or that ends only with its deviation.
pub fn refuse_end(standing: &Standing) -> Result<(), Failure> {
    let hold = standing.row.id;
    let reason = match (&standing.end, standing.row.deviation) {
        (Some(end), _) => Reason {
            code: "HOLD_ENDED",
            subject: subject(hold),
            message: format!("{} ended this hold before.", end.signed_by_name),
            who: "QA".into(),
            way_on: "Read the hold; nothing is left to end.".into(),
        },
        (None, Some(deviation)) => Reason {
            code: "HOLD_OF_DEVIATION",
            subject: subject(hold),
            message: "A deviation placed this hold, and it ends only with it.".into(),
            who: "QA".into(),
            way_on: format!(
                "Close the deviation {deviation} with a disposition that frees the lot; after any \
                 other one the hold stands."
            ),
        },
        (None, None) => return Ok(()),
    };
    Err(Failure::refused(vec![reason]))
}

/// Refuses another message of a deviation that names a lot which its hold does not have: it
/// stays owed, and so counted, rather than being taken for done.
pub fn refuse_other_lots(standing: &Standing, new: &NewHold) -> Result<(), Failure> {
    let others = new.lots.iter().filter(|lot| !standing.lots.contains(lot));
    let reasons: Vec<_> = others
        .map(|lot| Reason {
            code: "LOT_NOT_IN_HOLD",
            subject: format!("lot:{lot}"),
            message: format!("The hold {} of this deviation lacks the lot.", standing.row.id),
            who: "QA".into(),
            way_on: "Place a hold on the lot.".into(),
        })
        .collect();
    if reasons.is_empty() { Ok(()) } else { Err(Failure::refused(reasons)) }
}

/// The entry of a hold, its lots in id order; null stands for what there is not.
pub fn hold_entry(new: &NewHold, scope: &Scope) -> Value {
    let signature = match scope {
        Scope::Whole => None,
        Scope::WhatIsLeft(ticket) => Some(ticket.entry()),
    };
    let mut lots = new.lots.clone();
    lots.sort_unstable();
    json!({
        "hold": new.stamp.id.to_string(),
        "lots": texts(&lots),
        "reason": new.reason,
        "deviation": new.deviation.map(|deviation| deviation.to_string()),
        "scope": scope.word(),
        "signature": signature,
    })
}

/// The entry of a hold's end with its signature; null stands for what lies elsewhere.
pub fn end_entry(end: &End, signed: &Signed) -> Value {
    let (deviation, signature) = match signed {
        Signed::Here(ticket) => (None, Some(ticket.entry())),
        Signed::AtDeviation { deviation, .. } => (Some(deviation.to_string()), None),
    };
    json!({
        "hold": end.hold.to_string(),
        "reason": end.reason,
        "deviation": deviation,
        "signed_by_name": signed.name(),
        "signature": signature,
    })
}

fn texts(ids: &[Uuid]) -> Vec<String> {
    ids.iter().map(Uuid::to_string).collect()
}

/// A hold as a message.
pub fn hold_out(standing: Standing) -> v1::Hold {
    let Standing { row, lots, end } = standing;
    let mut message = placed(row, &lots);
    if let Some(end) = end {
        message.ended_at = end.recorded_at.to_jiff().to_string();
        message.ended_by_name = end.signed_by_name;
        message.end_reason = end.reason;
    }
    message
}

/// A hold that stands on a lot, as the lot shows it.
pub fn hold_on(lot: Uuid, row: HoldRow) -> v1::Hold {
    placed(row, &[lot])
}

fn placed(row: HoldRow, lots: &[Uuid]) -> v1::Hold {
    v1::Hold {
        hold: row.id.to_string(),
        lots: texts(lots),
        reason: row.reason,
        deviation: row.deviation.map(|deviation| deviation.to_string()).unwrap_or_default(),
        placed_by_name: row.entered_by_name,
        placed_at: row.recorded_at.to_jiff().to_string(),
        scope: row.scope,
        ..Default::default()
    }
}

#[cfg(test)]
mod tests;
