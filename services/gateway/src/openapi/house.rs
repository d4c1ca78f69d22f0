//! The paths beside the contract: whether the service is well, its numbers, this document.
//! It never holds an operation of the plant.

use platform::error::Kind;
use serde_json::{Value, json};

use super::problems::Answers;
use super::{Parts, reference};

/// The tag of these paths.
pub const TAG: &str = "House";

/// The paths that every process answers.
pub fn paths(answers: &mut Answers) -> Parts {
    let mut paths = Parts::new();
    let mut add = |path: &str, id: &str, about: &str, responses: Value| {
        let operation = json!({
            "operationId": id, "tags": [TAG], "summary": about, "security": [],
            "responses": responses,
        });
        paths.insert(path.to_owned(), json!({ "get": operation }));
    };
    add("/healthz", "House_Alive", "Whether the process runs", json!({ "200": text("Runs.") }));
    let not_ready = answers.of(&[Kind::Unavailable.row()]);
    add(
        "/readyz",
        "House_Ready",
        "Whether an entry would be accepted now",
        json!({
            "200": text("Would be accepted."),
            "503": not_ready,
        }),
    );
    let broken = answers.of(&[Kind::Internal.row()]);
    add(
        "/metrics",
        "House_Metrics",
        "Numbers in the Prometheus text format",
        json!({
            "200": text("The numbers."),
            "500": broken,
        }),
    );
    add(
        "/openapi.json",
        "House_OpenApi",
        "This document",
        json!({ "200": answer(
        "The document.", "application/json", json!({ "type": "object" }),
    ) }),
    );
    paths
}

fn text(about: &str) -> Value {
    answer(about, "text/plain", json!({ "type": "string" }))
}

fn answer(about: &str, media_type: &str, schema: Value) -> Value {
    json!({
        "description": about,
        "headers": { "request-id": reference("headers", "RequestId") },
        "content": { media_type: { "schema": schema } },
    })
}
