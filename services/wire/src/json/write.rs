//! Writes the wire bytes of a message as JSON.
//! It never leaves out an answer: 0, false and "" are printed; only what is absent is not.

use std::borrow::Cow;

use super::{Names, scalar, tokens};
use crate::format::{self, Entry, Malformed, Raw, WIRE_DEPTH_MAX};
use crate::rules::Scalar;
use crate::shape::{Field, Kind, Known, Many, Shape, Table};

const EMPTY: Raw<'static> = Raw::Bytes(Cow::Borrowed(&[]));

/// Why a message cannot be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WriteError {
    #[error("the message type is not in the contract")]
    Unknown,
    #[error(transparent)]
    Malformed(#[from] Malformed),
    #[error("the field {0} holds no decimal number")]
    NotADecimal(String),
    #[error("the field {0} holds a time outside the years 1 to 9999")]
    NotATime(String),
    #[error("messages stand in each other more than {WIRE_DEPTH_MAX} deep")]
    Deep,
}

/// Writes a message of this shape.
pub(super) fn write(
    table: &Table,
    shape: &Shape,
    bytes: &[u8],
    names: Names,
) -> Result<String, WriteError> {
    let out = String::with_capacity(bytes.len() * 2);
    let mut writer = Writer { table, names, depth: 0, out };
    writer.message(shape, bytes)?;
    Ok(writer.out)
}

struct Writer<'t> {
    table: &'t Table,
    names: Names,
    depth: usize,
    out: String,
}

impl<'t> Writer<'t> {
    fn message(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), WriteError> {
        self.depth += 1;
        if self.depth > WIRE_DEPTH_MAX {
            return Err(WriteError::Deep);
        }
        match shape.known {
            Known::Ordinary | Known::Timestamp => self.object(shape, bytes)?,
            Known::Struct => self.structure(shape, bytes)?,
            Known::Value => self.value(shape, bytes)?,
            Known::List => self.values(shape, bytes)?,
        }
        self.depth -= 1;
        Ok(())
    }

    fn object(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), WriteError> {
        let entries = format::gather(shape, bytes)?;
        let mut rest = entries.as_slice();
        let mut first = true;
        self.out.push('{');
        for (index, field) in shape.fields.iter().enumerate() {
            let count = rest.iter().take_while(|entry| entry.field == index).count();
            let (own, after) = rest.split_at(count);
            rest = after;
            let message = matches!(field.kind, Kind::Message(_));
            if own.is_empty() && (field.many != Many::Plain || message) {
                continue;
            }
            self.comma(&mut first);
            let name = match self.names {
                Names::Camel => &field.camel_name,
                Names::Proto => &field.proto_name,
            };
            self.text(name);
            self.out.push(':');
            self.field(field, own)?;
        }
        self.out.push('}');
        Ok(())
    }

    fn comma(&mut self, first: &mut bool) {
        if !std::mem::replace(first, false) {
            self.out.push(',');
        }
    }

    fn field(&mut self, field: &'t Field, entries: &[Entry<'_>]) -> Result<(), WriteError> {
        match (field.many, entries) {
            (Many::List { .. }, entries) => {
                self.out.push('[');
                let mut first = true;
                for entry in entries {
                    self.comma(&mut first);
                    self.one(field, &entry.value)?;
                }
                self.out.push(']');
                Ok(())
            }
            (Many::Map, entries) => self.map(field, entries),
            (Many::Plain | Many::Optional, [.., entry]) => self.one(field, &entry.value),
            // A plain field that is not on the wire has its default.
            (Many::Plain | Many::Optional, []) => self.default(field),
        }
    }

    fn map(&mut self, field: &'t Field, entries: &[Entry<'_>]) -> Result<(), WriteError> {
        let shape = format::shape_of(self.table, field.kind).ok_or(Malformed)?;
        let key = shape.of_number(1).ok_or(Malformed)?;
        let value = shape.of_number(2).ok_or(Malformed)?;
        let mut first = true;
        self.out.push('{');
        for entry in entries {
            let Raw::Bytes(bytes) = &entry.value else { return Err(Malformed.into()) };
            let parts = format::gather(shape, bytes)?;
            let of = |wanted: &Field| {
                let number = wanted.number;
                parts.iter().find(|part| shape.fields[part.field].number == number)
            };
            self.comma(&mut first);
            match of(key) {
                Some(part) => match format::scalar(key.kind, &part.value)? {
                    Scalar::Text(text) => self.text(&text),
                    other => self.text(&super::key_text(&other)),
                },
                None => self.text(default_key(key.kind)),
            }
            self.out.push(':');
            match of(value) {
                Some(part) => self.one(value, &part.value)?,
                None => self.default(value)?,
            }
        }
        self.out.push('}');
        Ok(())
    }

    fn default(&mut self, field: &'t Field) -> Result<(), WriteError> {
        match field.kind {
            Kind::Text | Kind::Bytes | Kind::Message(_) => self.one(field, &EMPTY),
            _ => self.one(field, &Raw::Number(0)),
        }
    }

    fn one(&mut self, field: &'t Field, raw: &Raw<'_>) -> Result<(), WriteError> {
        if let Some(shape) = format::shape_of(self.table, field.kind) {
            let Raw::Bytes(bytes) = raw else { return Err(Malformed.into()) };
            if shape.known != Known::Timestamp {
                return self.message(shape, bytes);
            }
            let (seconds, nanoseconds) = format::time(shape, bytes)?;
            let text = scalar::time_text(seconds, nanoseconds)
                .ok_or_else(|| WriteError::NotATime(field.proto_name.clone()))?;
            self.text(&text);
            return Ok(());
        }
        self.scalar(field, &format::scalar(field.kind, raw)?)
    }

    fn scalar(&mut self, field: &Field, value: &Scalar<'_>) -> Result<(), WriteError> {
        match value {
            Scalar::Text(text) if field.rules.decimal => {
                if !tokens::is_number(text) {
                    return Err(WriteError::NotADecimal(field.proto_name.clone()));
                }
                self.out.push_str(text);
            }
            Scalar::Text(text) => self.text(text),
            Scalar::Bytes(bytes) => self.text(&scalar::base64_text(bytes)),
            Scalar::Truth(truth) => self.out.push_str(if *truth { "true" } else { "false" }),
            Scalar::Whole(number) => self.out.push_str(&number.to_string()),
            Scalar::Float(number) => self.float(field.kind, *number),
            Scalar::Word(number) => {
                let words = match field.kind {
                    Kind::Enum(index) => self.table.words(index),
                    _ => return Err(Malformed.into()),
                };
                match words.word(*number) {
                    Some(word) => self.text(word),
                    // A word that a newer service knows.
                    None => self.out.push_str(&number.to_string()),
                }
            }
        }
        Ok(())
    }

    /// The shortest digits that read back as the same float of its kind.
    fn float(&mut self, kind: Kind, number: f64) {
        let text = match number {
            number if !number.is_finite() => return self.unending(number),
            number if kind == Kind::Float => serde_json::to_string(&(number as f32)),
            number => serde_json::to_string(&number),
        };
        // Writing a finite float into memory cannot fail.
        self.out.push_str(&text.unwrap_or_default());
    }

    /// As the protobuf JSON mapping writes what JSON has no number for.
    fn unending(&mut self, number: f64) {
        let text = match number {
            number if number.is_nan() => "NaN",
            number if number > 0.0 => "Infinity",
            _ => "-Infinity",
        };
        self.text(text);
    }

    fn text(&mut self, text: &str) {
        // Writing a text into memory cannot fail.
        self.out.push_str(&serde_json::to_string(text).unwrap_or_default());
    }

    fn structure(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), WriteError> {
        let entries = format::gather(shape, bytes)?;
        let field = shape.of_number(1).ok_or(Malformed)?;
        self.map(field, &entries)
    }

    fn values(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), WriteError> {
        let entries = format::gather(shape, bytes)?;
        let field = shape.of_number(1).ok_or(Malformed)?;
        self.field(field, &entries)
    }

    fn value(&mut self, shape: &'t Shape, bytes: &[u8]) -> Result<(), WriteError> {
        let entries = format::gather(shape, bytes)?;
        let Some(entry) = entries.first() else {
            self.out.push_str("null");
            return Ok(());
        };
        let field = &shape.fields[entry.field];
        match field.kind {
            Kind::Enum(_) => self.out.push_str("null"),
            _ => self.one(field, &entry.value)?,
        }
        Ok(())
    }
}

fn default_key(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "",
        Kind::Bool => "false",
        _ => "0",
    }
}
