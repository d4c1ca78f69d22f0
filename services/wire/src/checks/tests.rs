//! What the checks find in messages that came by gRPC, and what fingerprints keep of them.
//! It never goes through JSON but to build its messages.

use prost::Message;
use prost_reflect::{DynamicMessage, Value};

use super::check_in;
use crate::clear::cleared;
use crate::sample::{TABLE, descriptor, shape};

fn sample(t_s: Option<&str>, temp_c: Option<&str>) -> DynamicMessage {
    let mut sample = DynamicMessage::new(descriptor("Sample"));
    for (name, value) in [("t_s", t_s), ("temp_c", temp_c)] {
        if let Some(value) = value {
            sample.set_field_by_name(name, Value::String(value.to_owned()));
        }
    }
    sample
}

/// An `Everything` with the fields that it needs and those given.
fn everything(fields: Vec<(&str, Value)>) -> Vec<u8> {
    let mut message = DynamicMessage::new(descriptor("Everything"));
    message.set_field_by_name("lot_code", Value::String("QL7".to_owned()));
    message.set_field_by_name("next_stage", Value::EnumNumber(1));
    for (name, value) in fields {
        message.set_field_by_name(name, value);
    }
    message.encode_to_vec()
}

fn faults(bytes: &[u8]) -> Vec<String> {
    let faults = check_in(&TABLE, "sample.Everything", bytes).unwrap().into_vec();
    let line = |f: domain::fault::Fault| match f.value {
        Some(value) => format!("{}: {} ({value})", f.field, f.message),
        None => format!("{}: {}", f.field, f.message),
    };
    faults.into_iter().map(line).collect()
}

#[test]
fn every_fault_is_named_in_proto_names() {
    let text = |text: &str| Value::String(text.to_owned());
    let mut curve = DynamicMessage::new(descriptor("Curve"));
    let samples = [
        sample(Some("1"), Some("150.5")),
        sample(None, Some("150.50000001")),
        sample(Some(""), Some("-40")),
    ];
    let samples = samples.into_iter().map(Value::Message).collect();
    curve.set_field_by_name("samples", Value::List(samples));
    let places = [(prost_reflect::MapKey::I32(-3), Value::Message(sample(None, None)))];
    let mut time = DynamicMessage::new(
        descriptor("Everything")
            .get_field_by_name("at")
            .unwrap()
            .kind()
            .as_message()
            .unwrap()
            .clone(),
    );
    time.set_field_by_name("nanos", Value::I32(-1));
    let bytes = everything(vec![
        ("curve", Value::Message(curve)),
        ("lot_code", text("QL7x")),
        ("casing", text("")),
        ("stage", Value::EnumNumber(9)),
        ("next_stage", Value::EnumNumber(0)),
        ("rack_count", Value::I32(0)),
        ("page_size", Value::U32(1001)),
        ("made_by", text("me")),
        ("pass_word", text("much too long")),
        ("photo", Value::Bytes(vec![0; 5].into())),
        ("at", Value::Message(time)),
        ("counts", Value::List(vec![Value::I32(0), Value::I32(-1)])),
        ("places", Value::Map(places.into_iter().collect())),
        ("ratio", Value::F64(f64::NAN)),
        ("hidden", Value::Message(sample(Some("pin"), None))),
    ]);
    assert_eq!(
        faults(&bytes),
        [
            "curve.samples[1].temp_c: must be at most 150.5 (150.50000001)",
            "curve.samples[1].t_s: must be given",
            "curve.samples[2].t_s: must be a decimal number of at most 28 digits ()",
            "lot_code: must match [A-Z]{2}[0-9]+ (QL7x)",
            "casing: must be one of hog, sheep ()",
            "stage: must be one of DRYING, SMOKING (9)",
            "rack_count: must be at least 1 (0)",
            "page_size: must be at most 1000 (1001)",
            "made_by: is set by the service and must be left out",
            "pass_word: must have at most 8 characters",
            "photo: must have at most 4 bytes (5 bytes)",
            "at: must be a time in the years 1 to 9999",
            "counts[1]: must be at least 0 (-1)",
            "places.-3.t_s: must be given",
            "ratio: must be a finite number (NaN)",
            "hidden.t_s: must be a decimal number of at most 28 digits",
            "next_stage: must be given",
        ]
    );
    assert_eq!(faults(&everything(vec![])), Vec::<String>::new());
}

#[test]
fn a_list_in_parts_is_counted_as_one() {
    let counts = |count| ("counts", Value::List(vec![Value::I32(7); count]));
    let mut bytes = everything(vec![counts(2)]);
    bytes.extend(everything(vec![counts(2)]));
    assert_eq!(faults(&bytes), ["counts: must have at most 3 entries"]);
}

#[test]
fn a_message_in_parts_is_checked_as_one() {
    let part = |sample| everything(vec![("square", Value::Message(sample))]);
    let mut bytes = part(sample(Some("1"), None));
    bytes.extend(part(sample(None, Some("2"))));
    assert_eq!(faults(&bytes), Vec::<String>::new());
}

#[test]
fn nesting_beyond_what_decodes_is_refused() {
    let mut bytes = Vec::new();
    for _ in 0..200_000 {
        // Field 26, `inner`, of everything so far would be quadratic: only its head is written.
        bytes.extend_from_slice(&[0xd2, 0x01, 0xff, 0xff, 0x7f]);
    }
    assert!(check_in(&TABLE, "sample.Everything", &bytes).is_err());
    let mut nested = Vec::new();
    for _ in 0..5_000 {
        let start_of = nested.len();
        let mut outer = vec![0xd2, 0x01];
        prost::encoding::encode_varint(start_of as u64, &mut outer);
        outer.extend_from_slice(&nested);
        nested = outer;
    }
    assert!(check_in(&TABLE, "sample.Everything", &nested).is_err());
    assert!(cleared(&TABLE, shape("Everything"), &nested).is_err());
}

#[test]
fn fingerprints_leave_out_secrets_and_order() {
    let secret = |word: &str| ("pass_word", Value::String(word.to_owned()));
    let held = || ("held", Value::Bool(false));
    let of = |fields| cleared(&TABLE, shape("Everything"), &everything(fields)).unwrap();
    assert_eq!(of(vec![secret("a"), held()]), of(vec![secret("b"), held()]));
    assert_ne!(of(vec![held()]), of(vec![]));
    // Fields 8 and 2 in either order, and an unknown field 99.
    let one = cleared(&TABLE, shape("Everything"), b"\x40\x01\x12\x01A\x98\x06\x01").unwrap();
    assert_eq!(one, cleared(&TABLE, shape("Everything"), b"\x12\x01A\x40\x01").unwrap());
}
