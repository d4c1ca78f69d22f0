//! Reviews before shipment: what the reviewer saw, what it does not cover, and who signed.
//! It never covers a case that was not clear.

use std::collections::BTreeSet;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use platform::tickets::Ticket;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::clearance::{Cleared, view};
use crate::store::reviews::ReviewRow;

/// A review about to be signed.
#[derive(Clone)]
pub struct NewReview {
    /// Each lot with the digest of what the reviewer was shown.
    pub lots: Vec<(Uuid, String)>,
    pub note: String,
    pub stamp: Stamp,
}

/// Reads a review.
pub fn review_in(
    call: &Call,
    plant: &Plant,
    request: &v1::SignReviewRequest,
) -> Result<NewReview, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let (mut seen, mut lots) = (BTreeSet::new(), Vec::new());
    for (at, named) in request.lots.iter().enumerate() {
        let field = format!("lots[{at}].lot");
        let Some(lot) = shape::id(&named.lot, &field, &mut faults) else { continue };
        if !seen.insert(lot) {
            faults.add_value(field, lot, "must be named once");
        }
        lots.push((lot, named.digest.to_lowercase()));
    }
    let id = faults.into_result(id)?;
    let stamp = Stamp::of(call, plant, id, format!("review:{id}"), request)?;
    Ok(NewReview { lots, note: request.note.clone(), stamp })
}

/// A lot as a review covers it.
#[derive(Clone, Debug)]
pub struct Covered {
    pub lot: Uuid,
    /// The digest of its closure, 64 hexadecimal digits.
    pub digest: String,
    /// Cases that it does not cover.
    pub excepted: Vec<String>,
    /// What was not met when it was signed, answered or not, by names that stay the same.
    pub seen: Vec<String>,
    /// Whether the reviewer had recorded some of what is reviewed.
    pub reviewer_recorded: bool,
}

/// What a review covers. Refused, with every reason: a closure that is not the one that was seen,
/// what stands in the way of a whole lot, a reviewer who recorded where the plan forbids it.
pub fn covered(
    new: &NewReview,
    cleared: &Cleared,
    recorded: &BTreeSet<Uuid>,
) -> Result<Vec<Covered>, Failure> {
    let (mut covered, mut reasons) = (Vec::new(), Vec::new());
    for (lot, seen) in &new.lots {
        let Some(ship) = cleared.closure.ship_lots.iter().position(|ship| ship == lot) else {
            return Err(Failure::not_found("lot"));
        };
        if view::shown_digest(cleared, ship) != *seen {
            reasons.push(changed(*lot));
        }
        let found = view::in_the_way(&cleared.obstacles, ship);
        reasons.extend(found.whole.iter().map(|obstacle| {
            let said = super::clearance::reason(&cleared.closure, obstacle);
            Reason {
                code: obstacle.code,
                subject: said.subject,
                message: said.message,
                who: said.who,
                way_on: said.way_on,
            }
        }));
        let at = cleared.closure.ships[ship].lot as usize;
        let reviewer_recorded = recorded.contains(lot);
        let must_differ = cleared.asking.bound[at].as_ref().is_some_and(|p| p.reviewer_must_differ);
        if reviewer_recorded && must_differ {
            reasons.push(same_person(*lot));
        }
        let digest = view::closure_digest(&cleared.closure, ship);
        let (excepted, seen) = (found.excepted, cleared.unmet[ship].clone());
        covered.push(Covered { lot: *lot, digest, excepted, seen, reviewer_recorded });
    }
    if reasons.is_empty() { Ok(covered) } else { Err(Failure::refused(reasons)) }
}

fn changed(lot: Uuid) -> Reason {
    Reason {
        code: "CLOSURE_CHANGED",
        subject: format!("lot:{lot}"),
        message: "What the reviewer saw is not what stands now: records were added or changed."
            .into(),
        who: "QA".into(),
        way_on: format!("Read it again and sign for that: GET /v1/lots/{lot}/clearance."),
    }
}

fn same_person(lot: Uuid) -> Reason {
    Reason {
        code: "REVIEWER_RECORDED",
        subject: format!("lot:{lot}"),
        message: "The reviewer recorded some of what is reviewed, which the plan forbids.".into(),
        who: "another person of QA".into(),
        way_on: "Let another person of QA review and sign it.".into(),
    }
}

/// The columns of a review, and its entry.
pub fn record(new: &NewReview, covered: &[Covered], ticket: &Ticket) -> (Value, Value) {
    let columns = json!({ "note": new.note, "ticket": ticket.id.to_string() });
    let lot = |covered: &Covered| {
        json!({
            "lot": covered.lot.to_string(), "digest": covered.digest,
            "excepted": covered.excepted, "seen": covered.seen,
            "reviewer_recorded": covered.reviewer_recorded,
        })
    };
    let entry = json!({
        "lots": covered.iter().map(|covered| covered.lot.to_string()).collect::<Vec<_>>(),
        "reviewed": covered.iter().map(lot).collect::<Vec<_>>(),
        "note": new.note,
        "signature": ticket.entry(),
    });
    (columns, entry)
}

/// A review as a message.
pub fn review_out(row: ReviewRow, covered: Vec<Covered>) -> v1::Review {
    let lot = |covered: Covered| v1::ReviewLot {
        lot: covered.lot.to_string(),
        digest: covered.digest,
        excepted_cases: covered.excepted,
        reviewer_recorded: covered.reviewer_recorded,
    };
    v1::Review {
        review: row.id.to_string(),
        lots: covered.into_iter().map(lot).collect(),
        note: row.note,
        signed_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
