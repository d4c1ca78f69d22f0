//! The OpenAPI document, derived from the contract's descriptors and the table of problems.
//! It never declares an operation, a field or a problem of its own.

mod field;
mod house;
mod message;
mod operation;
mod problems;

#[cfg(test)]
mod tests;

use serde_json::{Map, Value, json};
use wire::contract::{self, Operation, operations};

use message::Schemas;
use problems::Answers;

/// What holds for every operation.
const ABOUT: &str = "\
Records of a plant that makes smoked, fully cooked sausage, and the calculations beside them.

- Field names are lowerCamelCase. The spelling of the contract (snake_case) is read too.
- A field that is left out and one that is null are the same. Unknown fields are refused.
- Decimals keep their digits: send a number or a text that holds one, of at most 28 digits.
- A body has at most 8 MiB and nests at most 32 deep; a file sent as it is has at most 10 MiB.
- Every wrong field is named at once. What is wrong is an RFC 9457 problem; `repeat` says whether
  the same call may be sent again as it is.
- A path asked with a verb that it does not have answers 405 and names the others in Allow.
- A token that is sent must be valid, also where none is needed.";

/// The document: OpenAPI 3.1, for every operation with an HTTP form.
pub fn document() -> Value {
    let mut schemas = Schemas::default();
    let mut answers = Answers::default();
    let mut paths = house::paths(&mut answers);
    for operation in public() {
        let described = operation::describe(operation, &mut schemas, &mut answers);
        let (path, verb) = operation::place(operation);
        let verbs = paths.entry(path).or_insert_with(|| json!({}));
        verbs[verb] = described;
    }
    let problem = problems::schema(&mut schemas);
    schemas.put("Problem", problem);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Hankbook",
            "version": env!("CARGO_PKG_VERSION"),
            "description": ABOUT,
            "license": {
                "name": env!("CARGO_PKG_LICENSE"),
                "identifier": env!("CARGO_PKG_LICENSE"),
            },
        },
        "servers": [{ "url": "/" }],
        "security": [{ "bearer": [] }],
        "tags": tags(),
        "paths": paths,
        "components": {
            "schemas": schemas.into_value(),
            "responses": answers.into_value(),
            "headers": problems::headers(),
            "parameters": operation::header_parameters(),
            "securitySchemes": {
                "bearer": {
                    "type": "http",
                    "scheme": "bearer",
                    "bearerFormat": "JWT",
                    "description": "An access token of this service (RFC 9068).",
                },
            },
        },
    })
}

/// The operations of the document. INTERNAL methods have no HTTP form.
fn public() -> impl Iterator<Item = &'static Operation> {
    operations().iter().filter(|operation| operation.http.is_some())
}

/// The last part of a service's full name: `Haccp`.
fn short(full_name: &str) -> &str {
    full_name.rsplit('.').next().unwrap_or(full_name)
}

fn tags() -> Vec<Value> {
    let mut services: Vec<&str> = public().map(|operation| operation.service.as_str()).collect();
    services.dedup();
    let tags = services
        .into_iter()
        .map(|service| json!({ "name": short(service), "description": service_comment(service) }));
    let house = json!({ "name": house::TAG, "description": "How the service itself is doing." });
    tags.chain([house]).collect()
}

fn service_comment(service: &str) -> String {
    let found = contract::pool().get_service_by_name(service);
    found.map(|s| contract::comment(&s.parent_file(), s.path())).unwrap_or_default()
}

/// Puts a description before the one that is there.
fn described(mut schema: Value, comment: String) -> Value {
    let before = schema["description"].as_str().map(str::to_owned);
    let parts: Vec<String> = [Some(comment), before].into_iter().flatten().collect();
    let text = parts.join("\n\n").trim().to_owned();
    if let (Value::Object(object), false) = (&mut schema, text.is_empty()) {
        object.insert("description".into(), text.into());
    }
    schema
}

/// A reference to a part under `components`.
fn reference(kind: &str, name: &str) -> Value {
    json!({ "$ref": format!("#/components/{kind}/{name}") })
}

/// Parts under `components`, by name.
type Parts = Map<String, Value>;
