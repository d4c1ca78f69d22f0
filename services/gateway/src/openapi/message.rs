//! The JSON Schemas of messages, gathered under `components/schemas` as operations name them.
//! It never knows by which operation a message travels.

use prost_reflect::{EnumDescriptor, FieldDescriptor, MessageDescriptor};
use serde_json::{Value, json};
use wire::contract::{comment, field_rules};

use super::{Parts, described, field, reference, short};

/// Which way a value goes: what is taken is judged, what is answered is only described.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// In the body of a request.
    Asked,
    /// In the path or the query.
    Query,
    /// In an answer.
    Answered,
}

/// The schemas found so far.
#[derive(Default)]
pub struct Schemas {
    found: Parts,
}

impl Schemas {
    /// The schema of a message: a reference, except for the well-known ones.
    pub fn message(&mut self, message: &MessageDescriptor, way: Way) -> Value {
        if let Some(known) = well_known(message.full_name()) {
            return known;
        }
        let name = name_of(message, way);
        if !self.found.contains_key(&name) {
            // Stands in for itself while its fields are read, as it may hold itself.
            self.put(&name, Value::Null);
            let schema = self.object(message, way, &[]);
            self.put(&name, schema);
        }
        reference("schemas", &name)
    }

    /// The schema of an enumeration in answers.
    pub fn words(&mut self, words: &EnumDescriptor) -> Value {
        let (name, reference) = field::words_reference(words);
        self.put(&name, field::answered_words(words));
        reference
    }

    /// The object of a message, without the fields that stand elsewhere (by their proto names).
    pub fn object(&mut self, message: &MessageDescriptor, way: Way, without: &[&str]) -> Value {
        let mut properties = Parts::new();
        let mut required = Vec::new();
        for field in message.fields().filter(|field| !without.contains(&field.name())) {
            let rules = field_rules(&field);
            if way == Way::Asked && rules.output_only {
                continue;
            }
            let always = match way {
                Way::Answered => is_always_answered(&field),
                _ => rules.required,
            };
            let mut schema = self.field(&field, way);
            if way == Way::Asked && !always {
                schema = or_null(schema);
            }
            let mut schema = described(schema, field_comment(&field));
            if way == Way::Answered && rules.output_only {
                schema["readOnly"] = true.into();
            }
            if way == Way::Asked && rules.secret {
                schema["writeOnly"] = true.into();
            }
            if always {
                required.push(field.json_name().to_owned());
            }
            properties.insert(field.json_name().to_owned(), schema);
        }
        let mut object = json!({ "type": "object", "properties": properties });
        if !required.is_empty() {
            object["required"] = required.into();
        }
        if way == Way::Asked {
            object["additionalProperties"] = false.into();
            let choices = choices(message);
            if !choices.is_empty() {
                object["allOf"] = choices.into();
            }
        }
        described(object, comment(&message.parent_file(), message.path()))
    }

    /// The schema of a field, however often it stands.
    pub fn field(&mut self, field: &FieldDescriptor, way: Way) -> Value {
        let entry = match map_value(field) {
            Some(value) => field::value(&value, way, self),
            None => field::value(field, way, self),
        };
        let (mut many, least, most) = if field.is_map() {
            let map = json!({ "type": "object", "additionalProperties": entry });
            (map, "minProperties", "maxProperties")
        } else if field.is_list() {
            (json!({ "type": "array", "items": entry }), "minItems", "maxItems")
        } else {
            return entry;
        };
        let rules = field_rules(field);
        if way != Way::Answered && rules.required {
            many[least] = 1.into();
        }
        if let Some(count) = rules.max_items.filter(|_| way != Way::Answered) {
            many[most] = count.into();
        }
        many
    }

    /// Adds or replaces a schema.
    pub fn put(&mut self, name: &str, schema: Value) {
        self.found.insert(name.to_owned(), schema);
    }

    /// All of them, by name.
    pub fn into_value(self) -> Value {
        self.found.into()
    }
}

/// What the contract says of a field.
pub fn field_comment(field: &FieldDescriptor) -> String {
    comment(&field.parent_message().parent_file(), field.path())
}

/// Requests and what they hold keep apart from answers, as answers are not judged.
fn name_of(message: &MessageDescriptor, way: Way) -> String {
    let package = format!("{}.", message.package_name());
    let name = message.full_name().strip_prefix(&package).unwrap_or(short(message.full_name()));
    let is_request = name.ends_with("Request");
    match way {
        Way::Answered if is_request || name.ends_with("Input") => format!("{name}Output"),
        Way::Asked | Way::Query if !is_request => format!("{name}Input"),
        _ => name.to_owned(),
    }
}

/// The codec prints a plain value always and leaves out what can be absent.
fn is_always_answered(field: &FieldDescriptor) -> bool {
    !field.is_list() && !field.is_map() && !field.supports_presence()
}

fn map_value(field: &FieldDescriptor) -> Option<FieldDescriptor> {
    let kind = field.kind();
    let pair = kind.as_message().filter(|_| field.is_map())?;
    Some(pair.map_entry_value_field())
}

/// Messages with a JSON form of their own.
pub fn well_known(full_name: &str) -> Option<Value> {
    match full_name {
        "google.protobuf.Timestamp" => Some(json!({
            "type": "string",
            "format": "date-time",
            "description": "RFC 3339, in the years 1 to 9999.",
        })),
        "google.protobuf.Struct" => Some(json!({ "type": "object" })),
        "google.protobuf.ListValue" => Some(json!({ "type": "array" })),
        "google.protobuf.Value" => Some(json!({})),
        _ => None,
    }
}

/// The same, or null, which counts as left out.
fn or_null(mut schema: Value) -> Value {
    // `null` within json! would be the literal.
    let nothing = json!({ "type": "null" });
    for choice in ["oneOf", "anyOf"] {
        if let Some(Value::Array(forms)) = schema.get_mut(choice) {
            forms.push(nothing);
            return schema;
        }
    }
    let Some(kind) = schema.get("type").cloned() else {
        let free = schema.as_object().is_some_and(|object| object.is_empty());
        return if free { schema } else { json!({ "anyOf": [schema, nothing] }) };
    };
    schema["type"] = json!([kind, "null"]);
    if let Some(Value::Array(words)) = schema.get_mut("enum") {
        words.push(Value::Null);
    }
    schema
}

/// Of the members of a oneof at most one has a value.
fn choices(message: &MessageDescriptor) -> Vec<Value> {
    let mut refused = Vec::new();
    for oneof in message.oneofs().filter(|oneof| !oneof.is_synthetic()) {
        let names: Vec<String> = oneof.fields().map(|field| field.json_name().into()).collect();
        for (index, name) in names.iter().enumerate() {
            for other in &names[index + 1..] {
                refused.push(json!({ "not": {
                    "required": [name, other],
                    "properties": {
                        name: { "not": { "type": "null" } },
                        other: { "not": { "type": "null" } },
                    },
                } }));
            }
        }
    }
    refused
}
