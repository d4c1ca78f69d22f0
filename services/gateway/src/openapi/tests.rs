//! Whether the document holds together and leaves nothing out of the contract.
//! The document's own grammar is checked by a validator outside, not here.

mod docs;

use std::collections::BTreeSet;

use serde_json::Value;
use wire::contract::{Access, Operation, Verb, operations, pool};
use wire::v1::Effect;

use super::document;

/// Every value of the document under a name.
fn under<'v>(value: &'v Value, name: &str, found: &mut Vec<&'v Value>) {
    match value {
        Value::Object(object) => {
            found.extend(object.get(name));
            object.values().for_each(|inner| under(inner, name, found));
        }
        Value::Array(list) => list.iter().for_each(|inner| under(inner, name, found)),
        _ => {}
    }
}

fn described<'d>(document: &'d Value, operation: &Operation) -> &'d Value {
    let (path, verb) = super::operation::place(operation);
    &document["paths"][path][verb]
}

fn statuses(described: &Value) -> BTreeSet<String> {
    described["responses"].as_object().into_iter().flatten().map(|(code, _)| code.clone()).collect()
}

#[test]
fn every_reference_leads_somewhere() {
    let document = document();
    let mut references = Vec::new();
    under(&document, "$ref", &mut references);
    assert!(!references.is_empty());
    for reference in references {
        let pointer = reference.as_str().and_then(|text| text.strip_prefix('#')).unwrap();
        let target = document.pointer(pointer);
        assert!(target.is_some_and(Value::is_object), "{reference} leads nowhere");
    }
}

#[test]
fn every_operation_with_an_http_form_is_there_once() {
    let document = document();
    let mut ids = Vec::new();
    under(&document, "operationId", &mut ids);
    let unique: BTreeSet<&str> = ids.iter().filter_map(|id| id.as_str()).collect();
    assert_eq!(unique.len(), ids.len());
    for operation in operations() {
        let service = super::short(&operation.service);
        let id = format!("{service}_{}", operation.method);
        assert_eq!(unique.contains(id.as_str()), operation.http.is_some(), "{id}");
        assert!(operation.http.is_none() || operation.access != Access::Internal, "{id}");
        if operation.http.is_some() {
            assert_eq!(described(&document, operation)["operationId"], id);
        }
    }
    let beside = ["/healthz", "/readyz", "/metrics", "/openapi.json"];
    assert!(beside.iter().all(|path| document["paths"][path]["get"].is_object()));
    let with_form = operations().iter().filter(|operation| operation.http.is_some()).count();
    assert_eq!(ids.len(), with_form + beside.len());
}

#[test]
fn no_internal_message_is_shown() {
    let text = document().to_string();
    let internal = pool().all_messages().filter(|m| m.package_name().contains("internal"));
    for message in internal {
        assert!(!text.contains(&format!("schemas/{}\"", message.name())), "{}", message.name());
    }
    assert!(!text.contains("hankbook.internal"));
}

/// The statuses by the words of the design, apart from how the document finds them.
fn expected(operation: &Operation) -> BTreeSet<String> {
    let mut codes = vec![200, 400, 401, 500, 503, 504];
    let has_body = matches!(operation.http.as_ref().unwrap().verb, Verb::Post | Verb::Put);
    let is_open = operation.access == Access::Open;
    if !is_open {
        codes.push(403);
    }
    if has_body {
        codes.extend([405, 413, 415]);
    }
    // What a path, a query or a body names may not be there.
    if operation.http.as_ref().unwrap().template.contains('{') || !is_open {
        codes.push(404);
    }
    match operation.effect {
        Effect::Unspecified => {}
        Effect::Record | Effect::Keyed => codes.push(409),
        Effect::Draft => codes.extend([409, 412, 428]),
        Effect::Session => codes.extend([409, 429]),
    }
    codes.into_iter().map(|code| code.to_string()).collect()
}

#[test]
fn every_operation_has_all_its_statuses() {
    let document = document();
    for operation in operations().iter().filter(|operation| operation.http.is_some()) {
        let described = described(&document, operation);
        assert_eq!(statuses(described), expected(operation), "{}", operation.grpc_path);
    }
}

#[test]
fn every_operation_says_what_must_come_along() {
    let document = document();
    for operation in operations().iter().filter(|operation| operation.http.is_some()) {
        let described = described(&document, operation);
        let mut references = Vec::new();
        under(&described["parameters"], "$ref", &mut references);
        let named = |name: &str| references.iter().any(|r| r.as_str().unwrap().ends_with(name));
        assert_eq!(named("/IdempotencyKey"), operation.effect == Effect::Keyed);
        assert_eq!(named("/IfMatch"), operation.effect == Effect::Draft);
        assert_eq!(named("/IfNoneMatch"), operation.effect == Effect::Draft);
        assert_eq!(named("/DeviceTime"), operation.effect == Effect::Record);
        assert_eq!(named("/SignatureTicket"), operation.signature);
        let is_optional = operation.may_be_signed && !operation.signature;
        assert_eq!(named("/TicketWhereNeeded"), is_optional);
        let is_open = operation.access == Access::Open;
        assert_eq!(described.get("security").is_some(), is_open, "{}", operation.grpc_path);
        assert!(!described["summary"].as_str().unwrap().is_empty(), "{}", operation.grpc_path);
    }
}

#[test]
fn every_field_of_a_request_has_one_place() {
    let document = document();
    for operation in operations().iter().filter(|operation| operation.http.is_some()) {
        let described = described(&document, operation);
        let mut schema = &described["requestBody"]["content"]["application/json"]["schema"];
        if let Some(reference) = schema["$ref"].as_str() {
            schema = document.pointer(reference.trim_start_matches('#')).unwrap();
        }
        for field in operation.input.fields() {
            let name = field.json_name();
            let below = format!("{name}.");
            let is_it = |parameter: &&Value| {
                let named = parameter["name"].as_str().unwrap_or_default();
                named == name || named.starts_with(&below)
            };
            let outside = described["parameters"].as_array().unwrap().iter().find(is_it);
            let inside = schema["properties"].get(name);
            // A raw field is the body itself, under each of its media types and no other.
            let content = described["requestBody"]["content"].as_object();
            let mut types = wire::contract::field_rules(&field).media_types;
            types.sort();
            let is_body = !types.is_empty() && content.is_some_and(|c| c.keys().eq(&types));
            let known = outside.is_some() as usize + inside.is_some() as usize + is_body as usize;
            let wanted = !wire::contract::field_rules(&field).output_only as usize;
            assert_eq!(known, wanted, "{}", field.full_name());
        }
    }
}

#[test]
fn a_template_names_plain_fields_and_patterns_mean_the_same_everywhere() {
    for operation in operations() {
        for name in super::operation::variables(operation) {
            assert!(operation.input.get_field_by_name(name).is_some(), "{}", operation.grpc_path);
        }
    }
    // What our regular expressions and those of JSON Schema read differently.
    let differs = [r"\d", r"\w", r"\s", r"\b", r"\p", r"\A", r"\z", "(?", "[[", "&&"];
    for field in pool().all_messages().flat_map(|m| m.fields().collect::<Vec<_>>()) {
        let pattern = wire::contract::field_rules(&field).pattern.unwrap_or_default();
        let found = differs.iter().find(|form| pattern.contains(**form));
        assert_eq!(found, None, "{}: write {pattern} without it", field.full_name());
    }
}

#[test]
fn requests_are_closed_and_answers_are_open() {
    let document = document();
    let closed = |name: &str| &document["components"]["schemas"][name]["additionalProperties"];
    assert_eq!(closed("ConvertRequest"), false);
    assert_eq!(closed("QuantityInput"), false);
    assert!(closed("Quantity").is_null());
    let quantity = &document["components"]["schemas"]["Quantity"]["properties"]["value"];
    assert_eq!(quantity["type"], "number");
    let asked = &document["components"]["schemas"]["QuantityInput"];
    assert_eq!(asked["required"], serde_json::json!(["value", "unit"]));
    assert_eq!(asked["properties"]["value"]["oneOf"][0]["type"], "number");
    assert_eq!(asked["properties"]["value"]["oneOf"][1]["type"], "string");
}

#[test]
fn every_form_to_choose_from_is_a_schema() {
    let document = document();
    let mut choices = Vec::new();
    ["anyOf", "oneOf", "allOf"].iter().for_each(|name| under(&document, name, &mut choices));
    for choice in choices {
        let forms = choice.as_array().unwrap();
        assert!(forms.iter().all(Value::is_object), "{choice}");
    }
}

#[test]
fn what_is_left_out_may_be_null() {
    let document = document();
    let convert = &document["components"]["schemas"]["ConvertRequest"];
    assert_eq!(convert["properties"]["difference"]["type"], serde_json::json!(["boolean", "null"]));
    assert_eq!(convert["properties"]["to"]["type"], "string");
    assert_eq!(convert["properties"]["to"]["maxLength"], 16);
    assert_eq!(convert["properties"]["to"]["minLength"], 1);
}

/// For validators outside: writes the document to the file that OPENAPI_OUT names.
#[test]
fn the_document_can_be_written_out() {
    let text = serde_json::to_string_pretty(&document()).unwrap();
    if let Some(path) = std::env::var_os("OPENAPI_OUT") {
        std::fs::write(path, &text).unwrap();
    }
    assert!(text.starts_with('{'));
}
