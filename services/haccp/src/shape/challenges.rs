//! Challenges of detectors and checks, from what was tried to what it proves.
//! It never asks the database.

use std::collections::BTreeSet;

use domain::fault::Faults;
use domain::haccp::gate::question::Kind;
use platform::caller::Call;
use platform::error::Failure;
use platform::moments::{Claimed, Moments};
use platform::plant::Plant;
use platform::records::Stamp;
use platform::shape;
use serde_json::{Value, json};
use uuid::Uuid;
use wire::v1;

use super::deviations::{Cause, Opening, Opens, Span, opened};
use super::plans::{Check, PlanVersion};
use super::readings::check_of;
use crate::store::challenges::ChallengeRow;

/// A challenge about to be recorded.
#[derive(Clone)]
pub struct NewChallenge {
    /// The plan, its version and the code of the check.
    pub plan: (Uuid, i32, String),
    /// The line or detector.
    pub place: Uuid,
    /// Its name as it was.
    pub place_name: String,
    /// Each test piece, and whether it was found.
    pub pieces: Vec<v1::TestPiece>,
    pub moments: Moments,
    pub note: String,
    pub stamp: Stamp,
}

/// Reads a challenge; its place's name is asked for afterwards.
pub fn challenge_in(
    call: &Call,
    plant: &Plant,
    request: &v1::RecordChallengeRequest,
) -> Result<NewChallenge, Failure> {
    let mut faults = Faults::new();
    let id = shape::record_id(&request.id, "id", &mut faults);
    let plan = shape::id(&request.plan, "plan", &mut faults);
    let place = shape::id(&request.place, "place", &mut faults);
    let mut names = BTreeSet::new();
    for (at, piece) in request.pieces.iter().enumerate() {
        if !names.insert(piece.name.as_str()) {
            faults.add_value(format!("pieces[{at}].name"), &piece.name, "must stand once");
        }
    }
    let claimed = Claimed {
        observed_at: &request.observed_at,
        entered_at: &request.entered_at,
        happened: request.happened.unwrap_or(false),
    };
    let moments = Moments::of(call, claimed, &mut faults);
    let all = (|| Some((id?, plan?, place?, moments?)))();
    let (id, plan, place, moments) = faults.into_result(all)?;
    Ok(NewChallenge {
        plan: (plan, request.plan_version.unwrap_or_default(), request.check.clone()),
        place,
        place_name: String::new(),
        pieces: request.pieces.clone(),
        moments,
        note: request.note.clone(),
        stamp: Stamp::of(call, plant, id, format!("place:{place}"), request)?,
    })
}

/// The bracket check of a challenge.
pub fn check<'p>(new: &NewChallenge, plan: &'p PlanVersion) -> Result<&'p Check, Failure> {
    let code = &new.plan.2;
    let check = check_of(plan, code)?;
    match check.kind {
        Kind::Bracket => Ok(check),
        _ => Err(Failure::fault("check", code, "only a check of kind bracket is challenged")),
    }
}

impl NewChallenge {
    /// Good when every piece was found.
    pub fn is_good(&self) -> bool {
        self.pieces.iter().all(|piece| piece.found)
    }

    /// The columns of the record, and its entry.
    pub fn record(&self, check: &Check) -> (Value, Value) {
        let piece = |piece: &v1::TestPiece| json!({ "name": piece.name, "found": piece.found });
        let pieces: Vec<_> = self.pieces.iter().map(piece).collect();
        let said = json!({
            "plan": self.plan.0.to_string(), "plan_version": self.plan.1, "device": check.device,
            "place": self.place.to_string(), "place_name": self.place_name, "pieces": pieces,
            "is_good": self.is_good(), "note": self.note,
        });
        let (mut columns, mut entry) = (said.clone(), said);
        columns["check_code"] = json!(check.code);
        entry["check"] = json!(check.code);
        (columns, entry)
    }

    /// The deviation of a failed challenge of a check that gates: over what passed since the last
    /// good one.
    pub fn opens(
        &self,
        check: &Check,
        last_good: Option<jiff::Timestamp>,
    ) -> Result<Option<Opening>, Failure> {
        if self.is_good() || !check.class.gates() {
            return Ok(None);
        }
        let to = self.moments.by_the_plant(self.moments.observed_at);
        let missed: Vec<_> =
            self.pieces.iter().filter(|piece| !piece.found).map(|p| p.name.as_str()).collect();
        let since = match last_good {
            Some(at) => format!("the last good challenge at {at}"),
            None => "the beginning: no challenge before was good".to_owned(),
        };
        let what = format!(
            "{} did not find {}; what passed since {since} is in doubt.",
            self.place_name,
            missed.join(", ")
        );
        let span = Span { place: self.place, from: last_good, to };
        let cause = Cause::Challenge(self.stamp.id, span);
        let plan = (self.plan.0, self.plan.1);
        opened(&self.stamp, Opens { cause, lots: &[], plan, check, what }).map(Some)
    }
}

/// A challenge as a message.
pub fn challenge_out(row: ChallengeRow) -> Result<v1::Challenge, Failure> {
    let pieces: Value = serde_json::from_str(&row.pieces).map_err(Failure::internal)?;
    let piece = |piece: &Value| v1::TestPiece {
        name: piece["name"].as_str().unwrap_or_default().to_owned(),
        found: piece["found"].as_bool().unwrap_or(false),
    };
    Ok(v1::Challenge {
        challenge: row.id.to_string(),
        plan: row.plan.to_string(),
        plan_version: row.plan_version,
        check: row.check_code,
        device: row.device,
        place: row.place.to_string(),
        place_name: row.place_name,
        pieces: pieces.as_array().into_iter().flatten().map(piece).collect(),
        is_good: row.is_good,
        deviation: row.deviation.map(|id| id.to_string()).unwrap_or_default(),
        span_from: row.span_from.map(|at| at.to_jiff().to_string()).unwrap_or_default(),
        observed_at: row.observed_at.to_jiff().to_string(),
        recorded_at: row.recorded_at.to_jiff().to_string(),
        entered_by_name: row.entered_by_name,
        note: row.note,
    })
}
