//! Problems as RFC 9457 objects, made from the one table of kinds.
//! It never shows a cause, only what a service meant for the caller.

use domain::fault::Fault;
use platform::error::{Failure, Kind, Reason};
use prost::Message;
use serde_json::{Value, json};
use tonic::Status;
use tonic_types::pb;
use wire::v1;

/// What every problem type begins with.
pub const TYPE_PREFIX: &str = "tag:hankbook.example,2026:problem/";

/// A problem on its way out.
#[derive(Clone, Debug)]
pub struct Problem {
    /// What went wrong.
    pub kind: Kind,
    /// One sentence.
    pub detail: String,
    /// The wrong fields.
    pub faults: Vec<Fault>,
    /// The reasons of a refusal.
    pub reasons: Vec<v1::RefusalReason>,
}

impl Problem {
    /// A problem with one sentence.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Self { kind, detail: detail.into(), faults: Vec::new(), reasons: Vec::new() }
    }

    /// Wrong fields, found before any service was asked.
    pub fn faults(faults: Vec<Fault>) -> Self {
        let detail = "Nothing was stored; each wrong field is listed.";
        Self { faults, ..Self::new(Kind::BadInput, detail) }
    }

    /// What a service answered. Text of an unknown origin is not shown.
    pub fn of_status(status: &Status) -> Self {
        let details = pb::Status::decode(status.details()).unwrap_or_default().details;
        let mut reason = None;
        let mut problem = Self::new(Kind::of_code(status.code()), "");
        for detail in details {
            match detail.type_url.rsplit('/').next().unwrap_or_default() {
                "google.rpc.ErrorInfo" => {
                    let info = pb::ErrorInfo::decode(detail.value.as_slice()).unwrap_or_default();
                    reason = Kind::of_reason(&info.reason);
                }
                "google.rpc.BadRequest" => {
                    let bad = pb::BadRequest::decode(detail.value.as_slice()).unwrap_or_default();
                    problem.faults = bad.field_violations.into_iter().map(fault).collect();
                }
                "hankbook.v1.Refusal" => {
                    let refusal = v1::Refusal::decode(detail.value.as_slice()).unwrap_or_default();
                    problem.reasons = refusal.reasons;
                }
                _ => {}
            }
        }
        problem.kind = reason.unwrap_or(problem.kind);
        problem.detail = match reason.is_some() || !problem.faults.is_empty() {
            true => status.message().to_owned(),
            false => problem.kind.row().title.to_owned(),
        };
        problem
    }

    /// The object as it is sent.
    pub fn json(&self, request_id: &str) -> Value {
        let row = self.kind.row();
        let mut object = json!({
            "type": type_of(row.reason),
            "title": row.title,
            "status": row.http,
            "detail": self.detail,
            "instance": format!("urn:uuid:{request_id}"),
            "repeat": row.repeat,
        });
        if !self.faults.is_empty() {
            object["violations"] = self.faults.iter().map(violation).collect();
        }
        if !self.reasons.is_empty() {
            object["reasons"] = self.reasons.iter().map(reason).collect();
        }
        object
    }
}

impl From<Failure> for Problem {
    fn from(failure: Failure) -> Self {
        let reasons = failure.reasons.into_iter().map(reason_of).collect();
        let (kind, detail, faults) = (failure.kind, failure.detail, failure.faults);
        Self { kind, detail, faults, reasons }
    }
}

/// The problem type of a reason word: `BAD_INPUT` is `…problem/bad-input`.
pub fn type_of(reason: &str) -> String {
    format!("{TYPE_PREFIX}{}", reason.to_ascii_lowercase().replace('_', "-"))
}

fn fault(violation: pb::bad_request::FieldViolation) -> Fault {
    Fault { field: violation.field, value: None, message: violation.description }
}

fn violation(fault: &Fault) -> Value {
    json!({ "field": fault.field, "value": fault.value, "message": fault.message })
}

fn reason(reason: &v1::RefusalReason) -> Value {
    json!({
        "code": reason.code, "subject": reason.subject, "message": reason.message,
        "who": reason.who, "wayOn": reason.way_on,
    })
}

fn reason_of(reason: Reason) -> v1::RefusalReason {
    v1::RefusalReason {
        code: reason.code.to_owned(),
        subject: reason.subject,
        message: reason.message,
        who: reason.who,
        way_on: reason.way_on,
    }
}
