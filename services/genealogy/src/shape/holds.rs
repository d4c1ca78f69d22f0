//! Between the contract's holds and this service's rows, with what refuses the end of one.
//! It never asks the database.

use std::collections::BTreeSet;

use domain::fault::Faults;
use jiff::Timestamp;
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

use super::{ids_in, texts};
use crate::store::holds::{HoldRow, Standing};

/// What of its lots a hold covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Covers {
    /// The lots with all that was or will be made of them.
    Whole,
    /// Only what is left of the lots.
    WhatIsLeft,
    /// Named cases of the lots, each once.
    Cases(Vec<String>),
    /// What of the lots passed a place in a span of time; of a deviation, whatever its lots.
    Span(Span),
}

/// A span of time at a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    pub place: Uuid,
    /// After it; none: from the beginning.
    pub from: Option<Timestamp>,
    /// Up to it.
    pub to: Timestamp,
}

impl Covers {
    /// Its word in records.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::WhatIsLeft => "what_is_left",
            Self::Cases(_) => "cases",
            Self::Span(_) => "span",
        }
    }

    /// The cases that it names.
    pub fn cases(&self) -> &[String] {
        if let Self::Cases(cases) = self { cases } else { &[] }
    }

    /// The span that it names.
    pub fn span(&self) -> Option<Span> {
        if let Self::Span(span) = self { Some(*span) } else { None }
    }
}

/// A hold about to be placed.
#[derive(Clone)]
pub struct NewHold {
    pub stamp: Stamp,
    /// Each once, in the order of the message; of a deviation's span those of which something
    /// passed there, which the store finds.
    pub lots: Vec<Uuid>,
    pub reason: String,
    /// The deviation that places it, if one does.
    pub deviation: Option<Uuid>,
    pub covers: Covers,
}

impl NewHold {
    /// The signature that narrowing needs; none on a whole hold. Refused: narrowing by anybody
    /// but QA, or without a signature for it.
    pub fn signature(&self, call: &Call, tickets: &Tickets) -> Result<Option<Ticket>, Failure> {
        if self.covers == Covers::Whole {
            return Ok(None);
        }
        if !call.person()?.roles.contains(&v1::Role::Qa) {
            let text = "Only QA may sign that a hold covers less than its lots with all that was \
                        or will be made of them.";
            return Err(Failure::new(Kind::NotAllowed, text));
        }
        tickets.redeem(call, &self.stamp.subject).map(Some)
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

/// Reads a hold to place; a lot or case named twice is a fault.
pub fn hold_in(
    call: &Call,
    plant: &Plant,
    request: &v1::PlaceHoldRequest,
) -> Result<NewHold, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let lots = ids_in(&request.lots, "lots", true, &mut faults);
    let covers = covers_in(request, &mut faults);
    let (id, covers) = faults.into_result(id.zip(covers))?;
    let stamp = Stamp::of(call, plant, id, subject(id), request)?;
    Ok(NewHold { stamp, lots, reason: request.reason.clone(), deviation: None, covers })
}

fn covers_in(request: &v1::PlaceHoldRequest, faults: &mut Faults) -> Option<Covers> {
    let scope = request.scope.as_str();
    if scope != "cases" && !request.cases.is_empty() {
        faults.add("cases", "is only for the scope cases");
    }
    let span = [
        ("place", &request.place),
        ("span_from", &request.span_from),
        ("span_to", &request.span_to),
    ];
    for (field, text) in span.into_iter().filter(|(_, text)| scope != "span" && !text.is_empty()) {
        faults.add_value(field, text, "is only for the scope span");
    }
    match scope {
        "what_is_left" => Some(Covers::WhatIsLeft),
        "cases" => {
            if request.cases.is_empty() {
                faults.add("cases", "is needed for the scope cases");
            }
            Some(Covers::Cases(serials_in(&request.cases, "cases", faults)))
        }
        "span" => span_in(request, faults).map(Covers::Span),
        _ => Some(Covers::Whole),
    }
}

fn span_in(request: &v1::PlaceHoldRequest, faults: &mut Faults) -> Option<Span> {
    let place = shape::id(&request.place, "place", faults);
    let to = shape::instant(&request.span_to, "span_to", faults);
    let from = match request.span_from.as_str() {
        "" => Some(None),
        text => shape::instant(text, "span_from", faults).map(Some),
    };
    let (place, from, to) = (place?, from?, to?);
    if from.is_some_and(|from| from >= to) {
        faults.add_value("span_to", to, "must be after span_from");
    }
    Some(Span { place, from, to })
}

/// Reads serials of cases; one named twice, or an empty one, is a fault.
pub fn serials_in(texts: &[String], field: &str, faults: &mut Faults) -> Vec<String> {
    let mut seen = BTreeSet::new();
    for (at, text) in texts.iter().enumerate() {
        if text.is_empty() {
            faults.add(format!("{field}[{at}]"), "must not be empty");
        }
        if !seen.insert(text.as_str()) {
            faults.add_value(format!("{field}[{at}]"), text, "is named twice");
        }
    }
    texts.to_vec()
}

/// Reads the hold of a deviation under a new id; a lot named twice counts once.
pub fn hold_for_deviation_in(
    call: &Call,
    plant: &Plant,
    request: &internal::HoldForDeviationRequest,
) -> Result<(NewHold, Uuid), Failure> {
    let mut faults = Faults::new();
    let deviation = shape::id(&request.deviation, "deviation", &mut faults);
    let lots = ids_in(&request.lots, "lots", false, &mut faults);
    let deviation = faults.into_result(deviation)?;
    let id = records::new_id();
    let stamp = Stamp::of(call, plant, id, subject(id), request)?;
    let covers = deviation_covers(call, request);
    let reason = request.reason.clone();
    Ok((NewHold { stamp, lots, reason, deviation: Some(deviation), covers }, deviation))
}

/// A place is the bracket rule: what passed it in the span, which ends now where no end is named.
fn deviation_covers(call: &Call, request: &internal::HoldForDeviationRequest) -> Covers {
    let Ok(place) = request.place.parse::<Uuid>() else { return Covers::Whole };
    let instant = |us: i64| Timestamp::from_microsecond(us).ok().filter(|_| us != 0);
    let to = instant(request.span_to_us).unwrap_or(call.received_at);
    // A beginning after its end says nothing: everything from the beginning is the safe reading.
    let from = instant(request.span_from_us).filter(|from| *from < to);
    Covers::Span(Span { place, from, to })
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

/// The lots of another message of a deviation that its hold does not have: a span covers what
/// passed, whatever its lots.
pub fn others(standing: &Standing, new: &NewHold) -> Vec<Uuid> {
    let is_other = |lot: &&Uuid| standing.row.place.is_none() && !standing.lots.contains(lot);
    new.lots.iter().filter(is_other).copied().collect()
}

/// The form of a hold's entry: the second also says cases and span.
pub fn hold_form(new: &NewHold) -> &'static str {
    match new.covers {
        Covers::Whole | Covers::WhatIsLeft => "genealogy.hold/1",
        Covers::Cases(_) | Covers::Span(_) => "genealogy.hold/2",
    }
}

/// The entry of a hold on these lots, in id order; null stands for what there is not.
pub fn hold_entry(new: &NewHold, lots: &[Uuid], signature: Option<&Ticket>) -> Value {
    let mut entry = json!({
        "hold": new.stamp.id.to_string(),
        "lots": texts(lots),
        "reason": new.reason,
        "deviation": new.deviation.map(|deviation| deviation.to_string()),
        "scope": new.covers.word(),
        "signature": signature.map(Ticket::entry),
    });
    if hold_form(new) == "genealogy.hold/2" {
        entry["cases"] = json!(new.covers.cases());
        entry["span"] = new.covers.span().map_or(Value::Null, |span| {
            json!({
                "place": span.place.to_string(),
                "from": span.from.map(|from| from.to_string()),
                "to": span.to.to_string(),
            })
        });
    }
    entry
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

/// A hold as a message.
pub fn hold_out(standing: Standing) -> v1::Hold {
    let Standing { row, lots, cases, end } = standing;
    let mut message = placed(row, &lots);
    message.cases = cases;
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
        place: row.place.map(|place| place.to_string()).unwrap_or_default(),
        span_from: row.span_from.map(|from| from.to_jiff().to_string()).unwrap_or_default(),
        span_to: row.span_to.map(|to| to.to_jiff().to_string()).unwrap_or_default(),
        ..Default::default()
    }
}

#[cfg(test)]
mod tests;
