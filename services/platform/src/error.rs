//! The one table of what can go wrong: gRPC code, HTTP status, safe to repeat, who acts.
//! What a caller reads and what only the log holds never share a field.

use std::error::Error;

use domain::fault::{Fault, Faults};
use prost::Message;
use prost_types::Any;
use tonic::{Code, Status};
use tonic_types::pb;
use wire::v1;

/// The domain of every `google.rpc.ErrorInfo` that we send.
pub const DOMAIN: &str = "hankbook";

/// What went wrong, as far as a caller can act on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Fields are wrong; each is named.
    BadInput,
    /// No valid token.
    NotSignedIn,
    /// The caller's roles do not allow it.
    NotAllowed,
    /// A signature ticket is missing, used, expired or for something else.
    SignatureNeeded,
    /// Nothing of that id is visible to the caller.
    NotFound,
    /// A rule of the plant refuses it; every reason is listed.
    Refused,
    /// The id belongs to another record.
    IdInUse,
    /// The idempotency key came before with other content.
    KeyReused,
    /// Others changed the same rows meanwhile; nothing was written.
    Contended,
    /// The draft has changed since it was read.
    Stale,
    /// If-Match is missing.
    ConditionMissing,
    /// The body, a list or a frame is over its limit.
    TooLarge,
    /// The media type of the body is not understood.
    MediaType,
    /// Too many tries; wait.
    TooMany,
    /// A part that is needed does not answer.
    Unavailable,
    /// The deadline has passed.
    TooLate,
    /// No such operation.
    NoSuchOperation,
    /// The path exists, the verb does not.
    VerbNotAllowed,
    /// Our fault.
    Internal,
}

/// One row of the table of kinds.
#[derive(Clone, Copy, Debug)]
pub struct KindRow {
    /// The kind.
    pub kind: Kind,
    /// The reason word of `google.rpc.ErrorInfo`; the problem type in lower case with hyphens.
    pub reason: &'static str,
    /// The gRPC code.
    pub code: Code,
    /// The HTTP status.
    pub http: u16,
    /// The problem's title.
    pub title: &'static str,
    /// Whether the same call may be sent again as it is.
    pub repeat: bool,
    /// Who can act on it.
    pub who: &'static str,
}

const fn row(
    (kind, reason): (Kind, &'static str),
    (code, http): (Code, u16),
    title: &'static str,
    repeat: bool,
    who: &'static str,
) -> KindRow {
    KindRow { kind, reason, code, http, title, repeat, who }
}

/// Every kind, in the order in which documentation lists them.
pub static KINDS: &[KindRow] = &[
    row(
        (Kind::BadInput, "BAD_INPUT"),
        (Code::InvalidArgument, 400),
        "Fields are wrong",
        false,
        "caller",
    ),
    row(
        (Kind::NotSignedIn, "NOT_SIGNED_IN"),
        (Code::Unauthenticated, 401),
        "Sign in first",
        false,
        "caller",
    ),
    row(
        (Kind::NotAllowed, "NOT_ALLOWED"),
        (Code::PermissionDenied, 403),
        "Not allowed",
        false,
        "administrator",
    ),
    row(
        (Kind::SignatureNeeded, "SIGNATURE_NEEDED"),
        (Code::PermissionDenied, 403),
        "A signature is needed",
        false,
        "caller",
    ),
    row((Kind::NotFound, "NOT_FOUND"), (Code::NotFound, 404), "Not found", false, "caller"),
    row(
        (Kind::VerbNotAllowed, "VERB_NOT_ALLOWED"),
        (Code::Unimplemented, 405),
        "Verb not allowed",
        false,
        "caller",
    ),
    row(
        (Kind::Refused, "REFUSED"),
        (Code::FailedPrecondition, 409),
        "Refused",
        false,
        "as each reason says",
    ),
    row((Kind::IdInUse, "ID_IN_USE"), (Code::AlreadyExists, 409), "Id in use", false, "caller"),
    row(
        (Kind::KeyReused, "KEY_REUSED"),
        (Code::AlreadyExists, 409),
        "Idempotency key in use",
        false,
        "caller",
    ),
    row((Kind::Contended, "CONTENDED"), (Code::Aborted, 409), "Changed meanwhile", true, "caller"),
    row((Kind::Stale, "STALE"), (Code::Aborted, 412), "Changed since it was read", false, "caller"),
    row(
        (Kind::TooLarge, "TOO_LARGE"),
        (Code::ResourceExhausted, 413),
        "Too large",
        false,
        "caller",
    ),
    row(
        (Kind::MediaType, "MEDIA_TYPE"),
        (Code::InvalidArgument, 415),
        "Media type not understood",
        false,
        "caller",
    ),
    row(
        (Kind::ConditionMissing, "CONDITION_MISSING"),
        (Code::FailedPrecondition, 428),
        "If-Match is needed",
        false,
        "caller",
    ),
    row(
        (Kind::TooMany, "TOO_MANY"),
        (Code::ResourceExhausted, 429),
        "Too many tries",
        true,
        "caller",
    ),
    row(
        (Kind::Internal, "INTERNAL"),
        (Code::Internal, 500),
        "Internal error",
        true,
        "operator of the servers",
    ),
    row(
        (Kind::NoSuchOperation, "NO_SUCH_OPERATION"),
        (Code::Unimplemented, 404),
        "No such operation",
        false,
        "caller",
    ),
    row(
        (Kind::Unavailable, "UNAVAILABLE"),
        (Code::Unavailable, 503),
        "Not available now",
        true,
        "operator of the servers",
    ),
    row(
        (Kind::TooLate, "TOO_LATE"),
        (Code::DeadlineExceeded, 504),
        "Deadline passed",
        true,
        "caller",
    ),
];

impl Kind {
    /// Its row of the table.
    pub fn row(self) -> &'static KindRow {
        let found = KINDS.iter().find(|row| row.kind == self);
        found.unwrap_or(&KINDS[KINDS.len() - 1])
    }

    /// The kind of a reason word.
    pub fn of_reason(reason: &str) -> Option<Self> {
        KINDS.iter().find(|row| row.reason == reason).map(|row| row.kind)
    }

    /// The kind of a status that carries no reason word (made by a library or another program).
    pub fn of_code(code: Code) -> Self {
        match code {
            Code::InvalidArgument | Code::OutOfRange => Self::BadInput,
            Code::Unauthenticated => Self::NotSignedIn,
            Code::PermissionDenied => Self::NotAllowed,
            Code::NotFound => Self::NotFound,
            Code::FailedPrecondition => Self::Refused,
            Code::AlreadyExists => Self::IdInUse,
            Code::Aborted => Self::Contended,
            Code::ResourceExhausted => Self::TooLarge,
            Code::Unimplemented => Self::NoSuchOperation,
            Code::Unavailable => Self::Unavailable,
            Code::DeadlineExceeded | Code::Cancelled => Self::TooLate,
            _ => Self::Internal,
        }
    }
}

/// One reason why a rule of the plant refuses something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reason {
    /// A word for machines: `LOT_ON_HOLD`.
    pub code: &'static str,
    /// What it concerns: `lot R-1042`.
    pub subject: String,
    /// One sentence.
    pub message: String,
    /// Who can mend it: `QA`.
    pub who: String,
    /// The way on, with numbers where there are any.
    pub way_on: String,
}

/// A failure of an operation.
#[derive(Debug)]
pub struct Failure {
    /// What it is.
    pub kind: Kind,
    /// One sentence for the caller.
    pub detail: String,
    /// The wrong fields.
    pub faults: Vec<Fault>,
    /// The reasons of a refusal.
    pub reasons: Vec<Reason>,
    /// Reasons that another service told, passed on as they came.
    pub told: Vec<v1::RefusalReason>,
    /// For the log alone.
    cause: Option<Box<dyn Error + Send + Sync>>,
}

impl Failure {
    /// A failure with one sentence for the caller.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        let (detail, faults, reasons, told) = (detail.into(), vec![], vec![], vec![]);
        Self { kind, detail, faults, reasons, told, cause: None }
    }

    /// An internal failure: the caller learns nothing of its cause.
    pub fn internal(cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self::new(Kind::Internal, "Something failed on our side; it has been logged.")
            .with_cause(cause)
    }

    /// Nothing of that id.
    pub fn not_found(what: &str) -> Self {
        Self::new(Kind::NotFound, format!("There is no such {what}."))
    }

    /// Wrong fields.
    pub fn faults(faults: Faults) -> Self {
        Self {
            faults: faults.into_vec(),
            ..Self::new(Kind::BadInput, "Nothing was stored; each wrong field is listed.")
        }
    }

    /// One wrong field.
    pub fn fault(field: &str, value: impl ToString, message: impl Into<String>) -> Self {
        let mut faults = Faults::new();
        faults.add_value(field, value, message);
        Self::faults(faults)
    }

    /// A refusal by a rule of the plant, with every reason.
    pub fn refused(reasons: Vec<Reason>) -> Self {
        Self { reasons, ..Self::new(Kind::Refused, "Nothing was stored; each reason is listed.") }
    }

    /// Adds reasons as they are sent: those that another service told among them.
    pub fn with_told(mut self, told: Vec<v1::RefusalReason>) -> Self {
        self.told.extend(told);
        self
    }

    /// Adds a cause for the log.
    pub fn with_cause(mut self, cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        self.cause = Some(cause.into());
        self
    }

    /// True when the database refused a row by the constraint of this name.
    pub fn names_constraint(&self, name: &str) -> bool {
        let cause = self.cause.as_deref();
        match cause.and_then(|cause| cause.downcast_ref::<diesel::result::Error>()) {
            Some(diesel::result::Error::DatabaseError(_, about)) => {
                about.constraint_name() == Some(name)
            }
            _ => false,
        }
    }

    /// The chain of causes as one line for the log.
    fn chain(&self) -> Option<String> {
        let first = self.cause.as_deref()?;
        let mut line = first.to_string();
        let mut next = first.source();
        while let Some(error) = next {
            line.push_str(": ");
            line.push_str(&error.to_string());
            next = error.source();
        }
        Some(line)
    }
}

impl From<Faults> for Failure {
    fn from(faults: Faults) -> Self {
        Self::faults(faults)
    }
}

fn any_as(name: &str, message: &impl Message) -> Any {
    Any { type_url: format!("type.googleapis.com/{name}"), value: message.encode_to_vec() }
}

impl From<Failure> for Status {
    /// The status with standard details; the cause is logged here, once.
    fn from(failure: Failure) -> Self {
        let row = failure.kind.row();
        if let Some(cause) = failure.chain() {
            tracing::error!(kind = row.reason, cause, "operation failed");
        }
        let mut details = vec![any_as(
            "google.rpc.ErrorInfo",
            &pb::ErrorInfo {
                reason: row.reason.into(),
                domain: DOMAIN.into(),
                metadata: Default::default(),
            },
        )];
        if !failure.faults.is_empty() {
            let field_violations = failure.faults.into_iter().map(field_violation).collect();
            details.push(any_as("google.rpc.BadRequest", &pb::BadRequest { field_violations }));
        }
        let own = failure.reasons.into_iter().map(v1::RefusalReason::from);
        let reasons: Vec<_> = own.chain(failure.told).collect();
        if !reasons.is_empty() {
            details.push(any_as("hankbook.v1.Refusal", &v1::Refusal { reasons }));
        }
        let status = pb::Status { code: row.code as i32, message: failure.detail.clone(), details };
        Status::with_details(row.code, failure.detail, status.encode_to_vec().into())
    }
}

fn field_violation(fault: Fault) -> pb::bad_request::FieldViolation {
    pb::bad_request::FieldViolation {
        field: fault.field,
        description: fault.message,
        ..Default::default()
    }
}

impl From<Reason> for v1::RefusalReason {
    fn from(reason: Reason) -> Self {
        Self {
            code: reason.code.into(),
            subject: reason.subject,
            message: reason.message,
            who: reason.who,
            way_on: reason.way_on,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_kind_has_one_row_and_one_reason() {
        let reasons: BTreeSet<_> = KINDS.iter().map(|row| row.reason).collect();
        assert_eq!(reasons.len(), KINDS.len());
        for row in KINDS {
            assert_eq!(Kind::of_reason(row.reason), Some(row.kind));
            assert_eq!(row.kind.row().reason, row.reason);
        }
    }

    #[test]
    fn a_cause_stays_inside() {
        let status = Status::from(Failure::internal("the password is hunter2"));
        assert!(!format!("{status:?}").contains("hunter2"));
    }
}
