//! The protobuf wire format by hand, for walks that know a message only by its shape.
//! It never judges a value and never panics on bytes that are no message.

use std::borrow::Cow;

use prost::encoding::{
    DecodeContext, WireType, decode_key, decode_varint, encode_key, encode_varint, skip_field,
};

use crate::rules::Scalar;
use crate::shape::{Kind, Many, Shape, Table};

/// The bytes are no message of this shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the bytes are no message of this type")]
pub struct Malformed;

/// How deep messages may stand in each other on the wire, as the protobuf library allows.
pub(crate) const WIRE_DEPTH_MAX: usize = 100;

/// One value as it stands on the wire.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Raw<'a> {
    Number(u64),
    Bytes(Cow<'a, [u8]>),
}

/// One occurrence of a field, by the field's index in its shape.
#[derive(Clone, Debug)]
pub(crate) struct Entry<'a> {
    pub field: usize,
    pub value: Raw<'a>,
}

/// The occurrences that count, in order of declaration: of a single value the last, of a single
/// message all joined, of a oneof the last member; packed lists are unpacked. Unknown fields are
/// left out.
pub(crate) fn gather<'a>(shape: &Shape, mut bytes: &'a [u8]) -> Result<Vec<Entry<'a>>, Malformed> {
    let mut entries: Vec<Entry<'a>> = Vec::new();
    let mut chosen = vec![None; shape.choices.len()];
    while !bytes.is_empty() {
        let (number, wire_type) = decode_key(&mut bytes).map_err(|_| Malformed)?;
        let Some(index) = shape.numbered(number) else {
            skip_field(wire_type, number, &mut bytes, DecodeContext::default())
                .map_err(|_| Malformed)?;
            continue;
        };
        let field = &shape.fields[index];
        let value = raw(wire_type, &mut bytes)?;
        if let Some(choice) = field.choice {
            chosen[choice] = Some(index);
        }
        match (field.many, value) {
            (Many::List { .. }, Raw::Bytes(packed)) if fixed_wire(field.kind).is_some() => {
                unpack(index, field.kind, &packed, &mut entries)?;
            }
            (_, value) => {
                if fixed_wire(field.kind).unwrap_or(WireType::LengthDelimited) != wire_type {
                    return Err(Malformed);
                }
                entries.push(Entry { field: index, value });
            }
        }
    }
    if !entries.is_sorted_by_key(|entry| entry.field) {
        entries.sort_by_key(|entry| entry.field);
    }
    entries.retain(|entry| {
        let choice = shape.fields[entry.field].choice;
        choice.is_none_or(|choice| chosen[choice] == Some(entry.field))
    });
    entries.dedup_by(|later, earlier| later.field == earlier.field && join(shape, earlier, later));
    Ok(entries)
}

/// Joins a later occurrence of a single field into the earlier one; false for lists and maps.
fn join<'a>(shape: &Shape, earlier: &mut Entry<'a>, later: &mut Entry<'a>) -> bool {
    let field = &shape.fields[later.field];
    if field.is_many() {
        return false;
    }
    match (field.kind, &mut earlier.value, &mut later.value) {
        // Messages on the wire are merged by putting their bytes one after another.
        (Kind::Message(_), Raw::Bytes(earlier), Raw::Bytes(later)) => {
            earlier.to_mut().extend_from_slice(later);
        }
        (_, earlier, later) => std::mem::swap(earlier, later),
    }
    true
}

fn raw<'a>(wire_type: WireType, bytes: &mut &'a [u8]) -> Result<Raw<'a>, Malformed> {
    match wire_type {
        WireType::Varint => decode_varint(bytes).map(Raw::Number).map_err(|_| Malformed),
        WireType::SixtyFourBit => fixed(bytes).map(|b| Raw::Number(u64::from_le_bytes(b))),
        WireType::ThirtyTwoBit => fixed(bytes).map(|b| Raw::Number(u32::from_le_bytes(b).into())),
        WireType::LengthDelimited => {
            let length = decode_varint(bytes).map_err(|_| Malformed)?;
            let length = usize::try_from(length).map_err(|_| Malformed)?;
            let (content, rest) = bytes.split_at_checked(length).ok_or(Malformed)?;
            *bytes = rest;
            Ok(Raw::Bytes(Cow::Borrowed(content)))
        }
        WireType::StartGroup | WireType::EndGroup => Err(Malformed),
    }
}

fn fixed<const N: usize>(bytes: &mut &[u8]) -> Result<[u8; N], Malformed> {
    let (content, rest) = bytes.split_first_chunk::<N>().ok_or(Malformed)?;
    *bytes = rest;
    Ok(*content)
}

fn unpack(
    field: usize,
    kind: Kind,
    mut packed: &[u8],
    entries: &mut Vec<Entry<'_>>,
) -> Result<(), Malformed> {
    let wire_type = fixed_wire(kind).ok_or(Malformed)?;
    while !packed.is_empty() {
        if let Raw::Number(number) = raw(wire_type, &mut packed)? {
            entries.push(Entry { field, value: Raw::Number(number) });
        }
    }
    Ok(())
}

/// The wire type of a kind that has no length before it.
fn fixed_wire(kind: Kind) -> Option<WireType> {
    match kind {
        Kind::Text | Kind::Bytes | Kind::Message(_) => None,
        Kind::Fixed32 | Kind::Sfixed32 | Kind::Float => Some(WireType::ThirtyTwoBit),
        Kind::Fixed64 | Kind::Sfixed64 | Kind::Double => Some(WireType::SixtyFourBit),
        _ => Some(WireType::Varint),
    }
}

/// The value that stands on the wire for a kind that is no message.
pub(crate) fn scalar<'a>(kind: Kind, raw: &'a Raw<'_>) -> Result<Scalar<'a>, Malformed> {
    match raw {
        Raw::Bytes(bytes) if kind == Kind::Text => {
            let text = std::str::from_utf8(bytes).map_err(|_| Malformed)?;
            Ok(Scalar::Text(Cow::Borrowed(text)))
        }
        Raw::Bytes(bytes) => Ok(Scalar::Bytes(Cow::Borrowed(bytes))),
        Raw::Number(number) => number_of(kind, *number),
    }
}

/// Narrower kinds keep the low bits, as every reader of the format does.
fn number_of(kind: Kind, bits: u64) -> Result<Scalar<'static>, Malformed> {
    let low = bits as u32;
    Ok(match kind {
        Kind::Bool => Scalar::Truth(bits != 0),
        Kind::Int32 | Kind::Sfixed32 => Scalar::Whole(i128::from(low as i32)),
        Kind::Int64 | Kind::Sfixed64 => Scalar::Whole(i128::from(bits as i64)),
        Kind::Uint32 | Kind::Fixed32 => Scalar::Whole(low.into()),
        Kind::Uint64 | Kind::Fixed64 => Scalar::Whole(bits.into()),
        Kind::Sint32 => Scalar::Whole(i128::from((low >> 1) as i32 ^ -((low & 1) as i32))),
        Kind::Sint64 => Scalar::Whole(i128::from((bits >> 1) as i64 ^ -((bits & 1) as i64))),
        Kind::Float => Scalar::Float(f32::from_bits(low).into()),
        Kind::Double => Scalar::Float(f64::from_bits(bits)),
        Kind::Enum(_) => Scalar::Word(low as i32),
        Kind::Text | Kind::Bytes | Kind::Message(_) => return Err(Malformed),
    })
}

/// Writes a value with the key of its field before it.
pub(crate) fn put(out: &mut Vec<u8>, number: u32, kind: Kind, value: &Scalar<'_>) {
    encode_key(number, fixed_wire(kind).unwrap_or(WireType::LengthDelimited), out);
    put_value(out, kind, value);
}

/// Writes a value without a key, as in a packed list.
pub(crate) fn put_value(out: &mut Vec<u8>, kind: Kind, value: &Scalar<'_>) {
    match value {
        Scalar::Truth(truth) => encode_varint((*truth).into(), out),
        Scalar::Word(number) => encode_varint(i64::from(*number) as u64, out),
        Scalar::Text(text) => put_bytes(out, text.as_bytes()),
        Scalar::Bytes(bytes) => put_bytes(out, bytes),
        Scalar::Float(number) if kind == Kind::Float => {
            out.extend_from_slice(&(*number as f32).to_le_bytes());
        }
        Scalar::Float(number) => out.extend_from_slice(&number.to_le_bytes()),
        Scalar::Whole(number) => put_whole(out, kind, *number),
    }
}

/// The number is in the range of its kind, so only its low 64 bits matter.
fn put_whole(out: &mut Vec<u8>, kind: Kind, number: i128) {
    let bits = number as i64;
    match kind {
        Kind::Fixed32 | Kind::Sfixed32 => out.extend_from_slice(&(bits as u32).to_le_bytes()),
        Kind::Fixed64 | Kind::Sfixed64 => out.extend_from_slice(&bits.to_le_bytes()),
        Kind::Sint32 | Kind::Sint64 => encode_varint(((bits << 1) ^ (bits >> 63)) as u64, out),
        _ => encode_varint(bits as u64, out),
    }
}

fn put_bytes(out: &mut Vec<u8>, bytes: &[u8]) {
    encode_varint(bytes.len() as u64, out);
    out.extend_from_slice(bytes);
}

/// Begins a part with a length; its content follows, then [`close`].
pub(crate) fn open(out: &mut Vec<u8>, number: u32) -> usize {
    encode_key(number, WireType::LengthDelimited, out);
    out.len()
}

/// Ends a part: its length is put before its content.
pub(crate) fn close(out: &mut Vec<u8>, start: usize) {
    let end = out.len();
    encode_varint((end - start) as u64, out);
    out[start..].rotate_left(end - start);
}

/// The shape of a message field.
pub(crate) fn shape_of(table: &Table, kind: Kind) -> Option<&Shape> {
    match kind {
        Kind::Message(index) => Some(table.shape(index)),
        _ => None,
    }
}

/// Seconds and nanoseconds of a `google.protobuf.Timestamp`.
pub(crate) fn time(shape: &Shape, bytes: &[u8]) -> Result<(i64, i32), Malformed> {
    let (mut seconds, mut nanoseconds) = (0, 0);
    for entry in gather(shape, bytes)? {
        let field = &shape.fields[entry.field];
        if let Scalar::Whole(number) = scalar(field.kind, &entry.value)? {
            match field.number {
                1 => seconds = number as i64,
                _ => nanoseconds = number as i32,
            }
        }
    }
    Ok((seconds, nanoseconds))
}
