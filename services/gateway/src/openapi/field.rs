//! The JSON Schema of one value of a field, as the codec reads or writes it.
//! It never looks at how often the field stands.

use prost_reflect::{EnumDescriptor, FieldDescriptor, Kind};
use serde_json::{Value, json};
use wire::contract::{FieldRules, comment, field_rules};

use super::message::{Schemas, Way};
use super::{described, reference};

/// The greatest size of a decimal that always fits 28 digits.
const DECIMAL_MAX: f64 = 1e28;
/// The least step of a decimal.
const DECIMAL_STEP: f64 = 1e-28;
/// A JSON number of at most 28 digits, or with an exponent of which the same is true.
const DECIMAL_PATTERN: &str = concat!(
    r"^(?:(?!(?:[^0-9]*[0-9]){29})-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?",
    r"|-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?[eE][+-]?[01]?[0-9])$"
);

/// How a value of a request is judged, beside its rules.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Its default (0, "") counts as not sent and is never judged.
    Plain,
    /// Must be given.
    Required,
    /// Judged as it stands.
    Judged,
}

impl Place {
    /// The place of a field's value; of a list or map, that of each entry.
    pub fn of(field: &FieldDescriptor, rules: &FieldRules) -> Self {
        match () {
            () if field.is_list() || field.is_map() => Place::Judged,
            () if rules.required => Place::Required,
            () if field.supports_presence() => Place::Judged,
            () => Place::Plain,
        }
    }
}

/// The schema of one value.
pub fn value(field: &FieldDescriptor, way: Way, schemas: &mut Schemas) -> Value {
    let rules = field_rules(field);
    let place = Place::of(field, &rules);
    match (field.kind(), way) {
        (Kind::Message(message), way) => schemas.message(&message, way),
        (Kind::Enum(words), Way::Answered) => schemas.words(&words),
        (Kind::Enum(words), _) => asked_words(&words, place),
        (Kind::Bool, _) => json!({ "type": "boolean" }),
        (Kind::String, Way::Answered) if rules.decimal => answered_decimal(),
        (Kind::String, Way::Asked) if rules.decimal => asked_decimal(&rules),
        // In a query a number and a text that holds one are the same.
        (Kind::String, Way::Query) if rules.decimal => decimal_number(&rules),
        (Kind::String, Way::Answered) => json!({ "type": "string" }),
        (Kind::String, _) => text(&rules, place),
        (Kind::Bytes, way) => bytes(&rules, way, place),
        (Kind::Double | Kind::Float, Way::Answered) => json!({
            "anyOf": [
                { "type": "number" },
                { "type": "string", "enum": ["NaN", "Infinity", "-Infinity"] },
            ],
        }),
        (Kind::Double | Kind::Float, _) => json!({ "type": "number" }),
        (kind, way) => whole(&kind, &rules, (way, place)),
    }
}

fn text(rules: &FieldRules, place: Place) -> Value {
    let mut schema = json!({ "type": "string" });
    if place == Place::Required && rules.one_word_of.is_empty() {
        schema["minLength"] = 1.into();
    }
    if let Some(most) = rules.max_len {
        schema["maxLength"] = most.into();
    }
    if let Some(pattern) = &rules.pattern {
        let blank = if place == Place::Plain { "?" } else { "" };
        schema["pattern"] = format!("^(?:{pattern}){blank}$").into();
    }
    if !rules.one_word_of.is_empty() {
        let blank = (place == Place::Plain).then(String::new);
        schema["enum"] = rules.one_word_of.iter().cloned().chain(blank).collect();
    }
    schema
}

fn bytes(rules: &FieldRules, way: Way, place: Place) -> Value {
    let mut schema = json!({ "type": "string", "contentEncoding": "base64" });
    if way != Way::Answered {
        schema["pattern"] = "^[A-Za-z0-9+/_-]*={0,2}$".into();
        if place == Place::Required {
            schema["minLength"] = 2.into();
        }
        if let Some(most) = rules.max_len {
            schema["maxLength"] = (u64::from(most).div_ceil(3) * 4).into();
        }
    }
    schema
}

/// A bound of a rule as a JSON number.
fn bound(limit: Option<impl ToString>) -> Option<Value> {
    limit.and_then(|limit| serde_json::from_str(&limit.to_string()).ok())
}

fn whole(kind: &Kind, rules: &FieldRules, (way, place): (Way, Place)) -> Value {
    let (format, least, greatest) = match kind {
        Kind::Uint32 | Kind::Fixed32 => ("uint32", json!(0), json!(u32::MAX)),
        // Public messages hold no 64-bit numbers.
        _ => ("int32", json!(i32::MIN), json!(i32::MAX)),
    };
    let plain = json!({ "type": "integer", "format": format });
    if way == Way::Answered {
        return plain;
    }
    let mut schema = plain;
    schema["minimum"] = bound(rules.min).unwrap_or(least);
    schema["maximum"] = bound(rules.max).unwrap_or(greatest);
    let (low, high) = (schema["minimum"].as_f64(), schema["maximum"].as_f64());
    let holds_zero = low <= Some(0.0) && high >= Some(0.0);
    match place {
        Place::Plain if !holds_zero => json!({ "anyOf": [schema, { "const": 0 }] }),
        _ => schema,
    }
}

fn answered_decimal() -> Value {
    json!({ "type": "number", "description": "An exact decimal, with all its digits." })
}

fn decimal_number(rules: &FieldRules) -> Value {
    json!({
        "type": "number",
        "minimum": bound(rules.min).unwrap_or_else(|| json!(-DECIMAL_MAX)),
        "maximum": bound(rules.max).unwrap_or_else(|| json!(DECIMAL_MAX)),
        "multipleOf": DECIMAL_STEP,
    })
}

fn asked_decimal(rules: &FieldRules) -> Value {
    let mut about = "An exact decimal as JSON writes numbers, of at most 28 digits when written \
                     without an exponent; as a number or as a text."
        .to_owned();
    if let Some(min) = rules.min {
        about.push_str(&format!(" At least {min}, as a text too."));
    }
    if let Some(max) = rules.max {
        about.push_str(&format!(" At most {max}, as a text too."));
    }
    json!({
        "description": about,
        "oneOf": [decimal_number(rules), { "type": "string", "pattern": DECIMAL_PATTERN }],
    })
}

fn asked_words(words: &EnumDescriptor, place: Place) -> Value {
    let all = short_words(words);
    // The word of number 0 answers nothing, so a required field refuses it.
    let sent = all.into_iter().filter(|(number, _)| place != Place::Required || *number != 0);
    let sent: Vec<String> = sent.map(|(_, word)| word).collect();
    described(json!({ "type": "string", "enum": sent }), about_words(words))
}

/// The schema of an enumeration in answers.
pub fn answered_words(words: &EnumDescriptor) -> Value {
    let all: Vec<String> = short_words(words).into_iter().map(|(_, word)| word).collect();
    described(json!({ "type": "string", "enum": all }), about_words(words))
}

/// A reference to it.
pub fn words_reference(words: &EnumDescriptor) -> (String, Value) {
    let name = super::short(words.full_name()).to_owned();
    let reference = reference("schemas", &name);
    (name, reference)
}

/// Numbers and words of an enumeration, without the prefix of its type, as the codec has them.
fn short_words(words: &EnumDescriptor) -> Vec<(i32, String)> {
    let prefix = format!("{}_", upper_snake(words.name()));
    let all_have_it = words.values().all(|word| word.name().starts_with(&prefix));
    let cut = if all_have_it { prefix.len() } else { 0 };
    words.values().map(|word| (word.number(), word.name()[cut..].to_owned())).collect()
}

/// `CookStage` as `COOK_STAGE`.
pub fn upper_snake(name: &str) -> String {
    let mut snake = String::new();
    for (index, letter) in name.char_indices() {
        if index > 0 && letter.is_ascii_uppercase() {
            snake.push('_');
        }
        snake.push(letter.to_ascii_uppercase());
    }
    snake
}

/// The comment of an enumeration, then what each word says of itself.
fn about_words(words: &EnumDescriptor) -> String {
    let file = words.parent_file();
    let mut lines = vec![comment(&file, words.path())];
    for (word, (_, short)) in words.values().zip(short_words(words)) {
        let about = comment(&file, word.path());
        if !about.is_empty() {
            lines.push(format!("- {short}: {about}"));
        }
    }
    lines.retain(|line| !line.is_empty());
    lines.join("\n")
}
