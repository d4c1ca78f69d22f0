//! Random input for the JSON codec: what is written reads back, and nothing panics.
//! It never checks wording: the case-by-case tests do.

use proptest::prelude::*;
use prost::Message;
use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MapKey, MessageDescriptor, Value};

use crate::json::{Names, place, read, write};
use crate::sample::{TABLE, descriptor, shape};
use crate::{checks, clear};

/// A stream of random numbers that ends in ones.
struct Chance<'a>(std::slice::Iter<'a, u32>);

impl Chance<'_> {
    fn below(&mut self, bound: u32) -> u32 {
        self.0.next().copied().unwrap_or(1) % bound
    }

    fn text(&mut self) -> String {
        let letters = ['a', 'Z', '"', '\\', '\n', 'é', '🌭', '\u{1}', '.', '['];
        (0..self.below(6)).map(|_| letters[self.below(10) as usize]).collect()
    }
}

/// A message whose decimals are numbers and times in range, of random content otherwise.
fn message(chance: &mut Chance<'_>, descriptor: &MessageDescriptor, depth: u32) -> DynamicMessage {
    let mut message = DynamicMessage::new(descriptor.clone());
    if descriptor.full_name() == "google.protobuf.Timestamp" {
        let seconds = i64::from(chance.below(u32::MAX)) - 2_000_000_000;
        message.set_field_by_name("seconds", Value::I64(seconds));
        message.set_field_by_name("nanos", Value::I32(chance.below(1_000_000_000) as i32));
        return message;
    }
    for field in descriptor.fields() {
        if chance.below(3) > 0 || (depth > 3 && matches!(field.kind(), Kind::Message(_))) {
            continue;
        }
        let value = if field.is_map() {
            pairs(chance, &field, depth)
        } else if field.is_list() {
            let count = chance.below(4);
            Value::List((0..count).map(|_| value(chance, &field, depth)).collect())
        } else {
            value(chance, &field, depth)
        };
        message.set_field(&field, value);
    }
    // A field whose free value is null reads back as absent.
    message.clear_field_by_name("null_value");
    if descriptor.full_name() == "google.protobuf.Value" && message.fields().count() == 0 {
        message.set_field_by_name("bool_value", Value::Bool(true));
    }
    message
}

fn pairs(chance: &mut Chance<'_>, field: &FieldDescriptor, depth: u32) -> Value {
    let Kind::Message(pair) = field.kind() else { unreachable!("a map has pairs") };
    let mut pairs = std::collections::HashMap::new();
    for _ in 0..chance.below(3) {
        let key = match pair.map_entry_key_field().kind() {
            Kind::String => MapKey::String(chance.text()),
            _ => MapKey::I32(chance.below(100) as i32 - 50),
        };
        pairs.insert(key, value(chance, &pair.map_entry_value_field(), depth));
    }
    Value::Map(pairs)
}

fn value(chance: &mut Chance<'_>, field: &FieldDescriptor, depth: u32) -> Value {
    let number = chance.below(u32::MAX);
    let decimal = crate::contract::field_rules(field).decimal;
    match field.kind() {
        Kind::Message(inner) => Value::Message(message(chance, &inner, depth + 1)),
        Kind::Enum(words) if words.full_name() == "sample.CookStage" => {
            Value::EnumNumber((number % 3) as i32)
        }
        Kind::Enum(_) => Value::EnumNumber(0),
        Kind::String if decimal => Value::String(format!("-{}.{:03}e-2", number, number % 777)),
        Kind::String => Value::String(chance.text()),
        Kind::Bytes => Value::Bytes(chance.text().into_bytes().into()),
        Kind::Bool => Value::Bool(number % 2 == 1),
        Kind::Float => Value::F32(number as f32 / 7.0),
        Kind::Double => Value::F64(f64::from(number) / 7.0 - 1e8),
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => {
            Value::I64((i64::from(number) << 31) - i64::MAX / 3)
        }
        Kind::Uint64 | Kind::Fixed64 => Value::U64(u64::from(number) << 32),
        Kind::Uint32 | Kind::Fixed32 => Value::U32(number),
        _ => Value::I32(number as i32),
    }
}

/// A body with members of every kind, for mutation.
const BODY: &str = r#"{"curve":{"samples":[{"tS":1.50,"tempC":"-3e1"},{"t_s":0}],"probeName":"P"},
"lotCode":"QL7","nextStage":"SMOKING","rackCount":12,"held":false,"passWord":"\u00e9\n",
"photo":"AAE=","at":"2026-05-04T13:30:00Z","free":[1,{"a":null}],"notes":{"b":true},
"counts":[1,2],"places":{"3":{"tS":2}},"square":{"tS":4},"ratio":0.5,"masses":[1,"2"]}"#;

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back(numbers in prop::collection::vec(any::<u32>(), 0..600)) {
        // The sample without rules: random content breaks most of them.
        let message = message(&mut Chance(numbers.iter()), &descriptor("Free"), 0);
        let bytes = message.encode_to_vec();
        let message = DynamicMessage::decode(descriptor("Free"), bytes.as_slice()).unwrap();
        for names in [Names::Camel, Names::Proto] {
            let text = write::write(&TABLE, shape("Free"), &bytes, names).unwrap();
            serde_json::from_str::<serde_json::Value>(&text).unwrap();
            let back = read::read(&TABLE, shape("Free"), text.as_bytes(), &[]);
            let back = back.map_err(|faults| TestCaseError::fail(format!("{faults:?} {text}")))?;
            let back = DynamicMessage::decode(descriptor("Free"), back.bytes.as_slice()).unwrap();
            prop_assert!(back == message, "{}", text);
        }
        let cleared = clear::cleared(&TABLE, shape("Free"), &bytes).unwrap();
        let again = clear::cleared(&TABLE, shape("Free"), &cleared).unwrap();
        prop_assert_eq!(cleared, again);
    }

    #[test]
    fn what_reads_keeps_every_rule(start in 0..BODY.len(), end in 0..BODY.len(), put in ".{0,3}") {
        let mut body = BODY.as_bytes().to_vec();
        body.splice(start.min(end)..start.max(end).min(start.min(end) + 5), put.bytes());
        let shape = shape("Everything");
        if let Ok(read) = read::read(&TABLE, shape, &body, &[]) {
            DynamicMessage::decode(descriptor("Everything"), read.bytes.as_slice()).unwrap();
            let faults = checks::check_in(&TABLE, "sample.Everything", &read.bytes).unwrap();
            prop_assert!(faults.is_empty(), "{:?}", faults);
            let text = write::write(&TABLE, shape, &read.bytes, Names::Proto);
            prop_assert!(text.is_ok());
        }
    }

    #[test]
    fn no_body_panics(body in prop::collection::vec(any::<u8>(), 0..200), path in ".{0,20}") {
        let shape = shape("Everything");
        let faults = read::read(&TABLE, shape, &body, &[]).unwrap_err();
        let later = domain::fault::Fault { field: path, value: None, message: String::new() };
        let named = place::as_typed(&TABLE, shape, (&body, &[]), vec![later]);
        prop_assert!(!faults.is_empty() && named.len() == 1);
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let decodes = DynamicMessage::decode(descriptor("Everything"), bytes.as_slice()).is_ok();
        let checked = checks::check_in(&TABLE, "sample.Everything", &bytes);
        let cleared = clear::cleared(&TABLE, shape("Everything"), &bytes);
        let written = write::write(&TABLE, shape("Everything"), &bytes, Names::Camel);
        if decodes {
            prop_assert!(checked.is_ok() && cleared.is_ok());
        }
        prop_assert!(checked.is_ok() || written.is_err());
    }
}

#[test]
fn a_long_curve_reads_in_linear_time_and_memory() {
    let sample = r#"{"tS":123.25,"tempC":71.1}"#;
    let body = format!(r#"{{"samples":[{}{sample}]}}"#, format!("{sample},").repeat(19_999));
    let read = read::read(&TABLE, shape("Curve"), body.as_bytes(), &[]).unwrap();
    assert!(read.bytes.len() < body.len());
    let faults = checks::check_in(&TABLE, "sample.Curve", &read.bytes).unwrap();
    assert!(faults.is_empty());
    let written = write::write(&TABLE, shape("Curve"), &read.bytes, Names::Camel).unwrap();
    assert_eq!(written, format!(r#"{},"probeName":""}}"#, &body[..body.len() - 1]));
}
