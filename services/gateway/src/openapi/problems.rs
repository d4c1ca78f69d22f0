//! The problems that an operation can answer, from the one table of kinds.
//! It never invents a status: each is a row of the table.

use std::collections::BTreeMap;

use platform::error::{KINDS, Kind, KindRow};
use serde_json::{Value, json};
use wire::contract::{Access, Operation, pool};
use wire::v1::Effect;

use super::message::{Schemas, Way};
use super::operation::{has_body, variables};
use super::{Parts, reference};
use crate::problem::type_of;

/// The answers found so far, under `components/responses`.
#[derive(Default)]
pub struct Answers {
    found: Parts,
}

impl Answers {
    /// A reference to the answer with these kinds, which share a status.
    pub fn of(&mut self, rows: &[&'static KindRow]) -> Value {
        let names: Vec<String> = rows.iter().map(|row| format!("{:?}", row.kind)).collect();
        let name = names.join(".");
        self.found.entry(&name).or_insert_with(|| answer(rows));
        reference("responses", &name)
    }

    /// All of them, by name.
    pub fn into_value(self) -> Value {
        self.found.into()
    }
}

/// The kinds that an operation can answer, in the order of the table.
pub fn kinds(operation: &Operation) -> Vec<&'static KindRow> {
    KINDS.iter().filter(|row| is_possible(row.kind, operation)).collect()
}

fn is_possible(kind: Kind, operation: &Operation) -> bool {
    let writes = operation.effect != Effect::Unspecified;
    let is_open = operation.access == Access::Open;
    match kind {
        // A token that is sent is checked, also where none is needed.
        Kind::BadInput | Kind::NotSignedIn => true,
        Kind::Internal | Kind::Unavailable | Kind::TooLate => true,
        Kind::NotAllowed => !is_open,
        Kind::SignatureNeeded => operation.signature || operation.may_be_signed,
        // What path, query or body names may not be there.
        Kind::NotFound | Kind::NoSuchOperation => !variables(operation).is_empty() || !is_open,
        Kind::VerbNotAllowed | Kind::TooLarge | Kind::MediaType => has_body(operation),
        Kind::Refused | Kind::Contended => writes,
        Kind::IdInUse => writes && operation.effect != Effect::Session,
        Kind::KeyReused => operation.effect == Effect::Keyed,
        Kind::Stale | Kind::ConditionMissing => operation.effect == Effect::Draft,
        Kind::TooMany => operation.effect == Effect::Session,
    }
}

/// The answers of an operation that are problems, by status.
pub fn responses(operation: &Operation, answers: &mut Answers) -> Parts {
    let mut by_status: BTreeMap<u16, Vec<&'static KindRow>> = BTreeMap::new();
    for row in kinds(operation) {
        by_status.entry(row.http).or_default().push(row);
    }
    let responses = by_status.into_iter();
    responses.map(|(status, rows)| (status.to_string(), answers.of(&rows))).collect()
}

fn answer(rows: &[&'static KindRow]) -> Value {
    let types: Vec<String> = rows.iter().map(|row| type_of(row.reason)).collect();
    let titles: Vec<&str> = rows.iter().map(|row| row.title).collect();
    let lines: Vec<String> = rows.iter().map(|row| about(row)).collect();
    // Kinds are gathered by status, so the first has the status of all.
    let status = rows.first().map(|row| row.http);
    let has = |kind: Kind| rows.iter().any(|row| row.kind == kind);
    let mut headers = json!({ "request-id": reference("headers", "RequestId") });
    if has(Kind::NotSignedIn) {
        headers["www-authenticate"] = reference("headers", "WwwAuthenticate");
    }
    if has(Kind::VerbNotAllowed) {
        headers["allow"] = reference("headers", "Allow");
    }
    if rows.iter().any(|row| row.repeat) {
        headers["retry-after"] = reference("headers", "RetryAfter");
    }
    json!({
        "description": lines.join("\n"),
        "headers": headers,
        "content": { "application/problem+json": { "schema": {
            "$ref": "#/components/schemas/Problem",
            "properties": {
                "type": { "enum": types },
                "title": { "enum": titles },
                "status": { "const": status },
            },
        } } },
    })
}

fn about(row: &KindRow) -> String {
    let repeat =
        if row.repeat { "may be repeated as it is" } else { "not to be repeated as it is" };
    format!("- {}: {repeat}; who can act: {}.", row.title, row.who)
}

/// The headers of answers.
pub fn headers() -> Value {
    let header = |about: &str, schema: Value| json!({ "description": about, "schema": schema });
    let text = || json!({ "type": "string" });
    json!({
        "RequestId": header("Under this id the request is logged.", text()),
        "ETag": header("The version of the draft, for If-Match.", text()),
        "WwwAuthenticate": header("Asks for a bearer token (RFC 6750).", text()),
        "Allow": header("The verbs that the path takes.", text()),
        "RetryAfter": header("After how many seconds to try again.", json!({
            "type": "integer", "minimum": 0,
        })),
    })
}

/// The schema of a problem (RFC 9457).
pub fn schema(schemas: &mut Schemas) -> Value {
    let refusal = pool().get_message_by_name("hankbook.v1.RefusalReason");
    // The reason of a refusal is a message of the contract, so it is always found.
    let reason = refusal.map_or(json!({}), |m| schemas.message(&m, Way::Answered));
    let types: Vec<String> = KINDS.iter().map(|row| type_of(row.reason)).collect();
    json!({
        "type": "object",
        "description": "What went wrong, as an RFC 9457 problem.",
        "required": ["type", "title", "status", "detail", "instance", "repeat"],
        "properties": {
            "type": { "type": "string", "enum": types },
            "title": { "type": "string" },
            "status": { "type": "integer", "minimum": 400, "maximum": 599 },
            "detail": { "type": "string", "description": "One sentence." },
            "instance": {
                "type": "string", "pattern": "^urn:uuid:",
                "description": "The id under which the request is logged.",
            },
            "repeat": {
                "type": "boolean",
                "description": "Whether the same call may be sent again as it is.",
            },
            "violations": {
                "type": "array", "minItems": 1, "items": violation(),
                "description": "Every wrong field.",
            },
            "reasons": {
                "type": "array", "minItems": 1, "items": reason,
                "description": "Every reason of a refusal.",
            },
        },
    })
}

fn violation() -> Value {
    json!({
        "type": "object",
        "required": ["field", "value", "message"],
        "properties": {
            "field": {
                "type": "string",
                "description": "Its path, as the caller spelled it; empty for the whole body.",
            },
            "value": {
                "type": ["string", "null"],
                "description": "What was sent, cut to 100 characters; null where there is nothing \
                                to show or it is a secret.",
            },
            "message": { "type": "string", "description": "What it must be." },
        },
    })
}
