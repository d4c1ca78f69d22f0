//! One operation of the document: where its message comes from and what it may answer.
//! It never describes a field: the schemas do that.

use platform::caller::{
    DEVICE_TIME_HEADER, IF_MATCH_HEADER, IF_NONE_MATCH_HEADER, KEY_HEADER, TICKET_HEADER, role_word,
};
use prost_reflect::{FieldDescriptor, Kind, MessageDescriptor};
use serde_json::{Map, Value, json};
use wire::contract::{Access, Operation, RAW, Verb, field_rules, operations};
use wire::v1::Effect;

use super::message::{Schemas, Way, field_comment, well_known};
use super::problems::{self, Answers};
use super::{described, reference, short};
use crate::routes::has_no_body;

/// The path and the verb, as the document has them.
pub fn place(operation: &Operation) -> (String, &'static str) {
    // Only operations with an HTTP form are described.
    let Some(form) = &operation.http else { return (String::new(), "get") };
    let mut path = form.template.clone();
    for name in variables(operation) {
        path = path.replace(&format!("{{{name}}}"), &format!("{{{}}}", camel(operation, name)));
    }
    let verb = match form.verb {
        Verb::Get => "get",
        Verb::Put => "put",
        Verb::Post => "post",
        Verb::Delete => "delete",
    };
    (path, verb)
}

/// The names in the path, as the contract spells them.
pub fn variables(operation: &Operation) -> Vec<&str> {
    let template = operation.http.as_ref().map_or("", |form| form.template.as_str());
    template.split('{').skip(1).filter_map(|part| part.split('}').next()).collect()
}

fn camel(operation: &Operation, name: &str) -> String {
    let field = operation.input.get_field_by_name(name);
    field.map_or_else(|| name.to_owned(), |field| field.json_name().to_owned())
}

/// True when the message is the body, less what stands in the path.
pub fn has_body(operation: &Operation) -> bool {
    operation.http.as_ref().is_some_and(|form| !has_no_body(form.verb))
}

/// The operation object.
pub fn describe(operation: &Operation, schemas: &mut Schemas, answers: &mut Answers) -> Value {
    let mut responses = problems::responses(operation, answers);
    responses.insert("200".into(), answer(operation, schemas));
    let service = short(&operation.service);
    let mut object = json!({
        "operationId": format!("{service}_{}", operation.method),
        "tags": [service],
        "summary": summary(&operation.comment),
        "description": description(operation),
        "parameters": parameters(operation, schemas),
        "responses": responses,
    });
    if has_body(operation) {
        object["requestBody"] = body(operation, schemas);
    }
    if operation.access == Access::Open {
        object["security"] = json!([]);
    }
    object
}

/// The first sentence of a comment, on one line, without its full stop.
pub fn summary(comment: &str) -> String {
    let line = comment.split_whitespace().collect::<Vec<_>>().join(" ");
    let first = line.split(". ").next().unwrap_or_default();
    first.trim_end_matches('.').to_owned()
}

fn description(operation: &Operation) -> String {
    format!("{}\n\nWho may call: {}.", operation.comment, who(&operation.access))
}

/// Who may call, in words.
pub fn who(access: &Access) -> String {
    match access {
        Access::Roles(roles) => {
            roles.iter().map(|role| role_word(*role)).collect::<Vec<_>>().join(", ")
        }
        Access::Open => "anybody".to_owned(),
        Access::Internal => "services only".to_owned(),
        Access::SignedIn => "everybody who is signed in".to_owned(),
    }
}

fn parameters(operation: &Operation, schemas: &mut Schemas) -> Vec<Value> {
    let in_path = variables(operation);
    let mut found = Vec::new();
    for name in &in_path {
        let Some(field) = operation.input.get_field_by_name(name) else { continue };
        let mut schema = schemas.field(&field, Way::Query);
        // An empty part of a path leads elsewhere.
        if schema["type"] == "string" {
            schema["minLength"] = 1.into();
        }
        let parameter = json!({
            "name": field.json_name(), "in": "path", "required": true, "style": "simple",
            "schema": schema,
        });
        found.push(described(parameter, field_comment(&field)));
    }
    let raw = operation.raw();
    if raw.is_some() || !has_body(operation) {
        let elsewhere: Vec<_> = in_path.into_iter().chain(raw.map(|field| field.name())).collect();
        let mut query = Query { schemas, found: Vec::new(), above: Vec::new() };
        query.add(&operation.input, &elsewhere, true);
        found.append(&mut query.found);
    }
    let headers = needed_headers(operation).into_iter();
    found.extend(headers.map(|name| reference("parameters", name)));
    found
}

/// Query parameters, dotted below messages.
struct Query<'s> {
    schemas: &'s mut Schemas,
    found: Vec<Value>,
    above: Vec<(MessageDescriptor, String)>,
}

impl Query<'_> {
    fn add(&mut self, message: &MessageDescriptor, without: &[&str], needed: bool) {
        for field in message.fields().filter(|field| !without.contains(&field.name())) {
            let rules = field_rules(&field);
            if rules.output_only || field.is_map() {
                continue;
            }
            let needed = needed && rules.required;
            if let Kind::Message(inner) = field.kind()
                && well_known(inner.full_name()).is_none()
            {
                // A message within itself has no end, and lists of messages have no names.
                let held = self.above.iter().any(|(above, _)| *above == inner);
                if !held && !field.is_list() {
                    self.above.push((inner.clone(), format!("{}.", field.json_name())));
                    self.add(&inner, &[], needed);
                    self.above.pop();
                }
                continue;
            }
            let before: String = self.above.iter().map(|(_, name)| name.as_str()).collect();
            let parameter = json!({
                "name": format!("{before}{}", field.json_name()),
                "in": "query", "required": needed, "style": "form", "explode": true,
                "schema": self.schemas.field(&field, Way::Query),
            });
            self.found.push(described(parameter, field_comment(&field)));
        }
    }
}

/// The names under `components/parameters` of the headers that an operation reads.
pub fn needed_headers(operation: &Operation) -> Vec<&'static str> {
    let mut names = match operation.effect {
        Effect::Record => vec!["DeviceTime"],
        Effect::Keyed => vec!["IdempotencyKey"],
        Effect::Draft => vec!["IfMatch", "IfNoneMatch"],
        Effect::Unspecified | Effect::Session => Vec::new(),
    };
    if operation.signature {
        names.push("SignatureTicket");
    } else if operation.may_be_signed {
        names.push("TicketWhereNeeded");
    }
    names
}

/// The headers that operations read.
pub fn header_parameters() -> Value {
    let header = |name: &str, required: bool, schema: Value, about: &str| {
        json!({
            "name": name, "in": "header", "required": required, "schema": schema,
            "description": about,
        })
    };
    let key = json!({
        "type": "string", "minLength": 1, "maxLength": 128,
        "pattern": r"^[!#-~](?:[ -~]*[!#-~])?$",
    });
    let ticket = json!({ "type": "string", "minLength": 1, "pattern": "^[!-~]+$" });
    let tag = json!({ "type": "string", "pattern": "^\"[0-9]{1,9}\"$" });
    let star = json!({ "type": "string", "enum": ["*"] });
    let time = json!({ "type": "string", "format": "date-time" });
    json!({
        "IdempotencyKey": header(KEY_HEADER, true, key, "Names this write, best a UUID: the same \
            key with the same content gets the same answer, with other content it is refused."),
        "TicketWhereNeeded": header(TICKET_HEADER, false, ticket.clone(), "A signature ticket, \
            where the operation says that this call is signed."),
        "SignatureTicket": header(TICKET_HEADER, true, ticket, "A signature ticket, good for one \
            use on what was signed."),
        "IfMatch": header(IF_MATCH_HEADER, false, tag, "The ETag that was read. This or \
            If-None-Match is needed."),
        "IfNoneMatch": header(IF_NONE_MATCH_HEADER, false, star, "For the first version: nothing \
            is there yet. This or If-Match is needed."),
        "DeviceTime": header(DEVICE_TIME_HEADER, false, time, "What the caller's clock shows as \
            the call is sent, by which the times that it claims are corrected."),
    })
}

fn body(operation: &Operation, schemas: &mut Schemas) -> Value {
    if let Some(field) = operation.raw() {
        return raw_body(field);
    }
    let in_path = variables(operation);
    let schema = match in_path.is_empty() {
        true => schemas.message(&operation.input, Way::Asked),
        false => {
            let mut schema = schemas.object(&operation.input, Way::Asked, &in_path);
            schema["title"] = format!("{}Body", operation.method).into();
            schema
        }
    };
    let mut left = operation.input.fields().filter(|field| !in_path.contains(&field.name()));
    // An empty body is read as an empty object.
    let required = left.any(|field| field_rules(&field).required);
    json!({ "required": required, "content": { "application/json": { "schema": schema } } })
}

/// A body that is taken as it is.
fn raw_body(field: &FieldDescriptor) -> Value {
    let schema = json!({ "schema": { "type": "string", "format": "binary" } });
    let media_types = field_rules(field).media_types.into_iter();
    let content: Map<_, _> = media_types.map(|name| (name, schema.clone())).collect();
    described(json!({ "required": true, "content": content }), field_comment(field))
}

fn answer(operation: &Operation, schemas: &mut Schemas) -> Value {
    let content = if operation.output.full_name() == RAW {
        json!({ "*/*": {} })
    } else {
        let schema = schemas.message(&operation.output, Way::Answered);
        match operation.server_streaming {
            true => json!({ "text/event-stream": { "schema": event(schema) } }),
            false => json!({ "application/json": { "schema": schema } }),
        }
    };
    let mut headers = json!({ "request-id": reference("headers", "RequestId") });
    if is_draft(&operation.output) {
        headers["etag"] = reference("headers", "ETag");
    }
    json!({ "description": "Done.", "content": content, "headers": headers })
}

/// One server-sent event: its data is one object as text.
fn event(data: Value) -> Value {
    json!({
        "type": "object",
        "description": "Server-sent events, one after another; the data of each is one object.",
        "properties": {
            "id": { "type": "string" },
            "event": { "type": "string" },
            "data": {
                "type": "string", "contentMediaType": "application/json", "contentSchema": data,
            },
        },
        "required": ["data"],
    })
}

/// True for what draft operations answer, which has an ETag however it is read.
fn is_draft(output: &MessageDescriptor) -> bool {
    operations().iter().any(|other| other.effect == Effect::Draft && other.output == *output)
}
