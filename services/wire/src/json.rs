//! The one JSON codec: JSON text to and from the wire bytes of any message of the contract.
//! It never stops at the first fault, rounds no decimal and panics on no input.
//!
//! Fields without an answer are left out, and so are empty lists and maps; an answer of 0, false
//! or "" is printed. Decimals are JSON numbers with the digits as they were given.

mod given;
mod place;
mod read;
mod scalar;
#[cfg(test)]
mod tests;
mod tokens;
mod value;
mod write;

use std::borrow::Cow;

use domain::fault::Fault;
use prost_reflect::MessageDescriptor;

use crate::rules::Scalar;
use crate::shape;

pub use write::WriteError;

/// The most bytes of a body; whoever receives bodies refuses longer ones.
pub const BODY_MAX: usize = 8 * 1024 * 1024;
/// How deep objects and lists may stand in each other.
pub const DEPTH_MAX: usize = 32;

/// A value from the path or the query.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given<'a> {
    /// The field's name as typed, in either spelling, dotted below messages: `filter.since`.
    pub name: Cow<'a, str>,
    /// The decoded text.
    pub text: Cow<'a, str>,
}

/// A message that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Read {
    /// The message on the wire; it keeps every rule of the contract.
    pub bytes: Vec<u8>,
}

/// In which spelling field names are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Names {
    /// `lowerCamelCase`
    Camel,
    /// `snake_case`, as in the contract.
    Proto,
}

/// Reads a JSON body and the values of path and query as one message.
///
/// An empty body is read as `{}`. A value of path or query must not stand in the body too.
/// Errors: every fault, by the path as it was typed, with the value that was given except for
/// secret fields; text that is no JSON is one fault of the field "".
pub fn read(
    body: &[u8],
    message: &MessageDescriptor,
    extra: &[Given<'_>],
) -> Result<Read, Vec<Fault>> {
    match shape::CONTRACT.find(message.full_name()) {
        Some(shape) => read::read(&shape::CONTRACT, shape, body, extra),
        None => Err(vec![unknown(message)]),
    }
}

/// Renames faults, found later by a service in proto names, to the spelling of the caller and
/// adds the values that the caller gave (never of a secret field). The body and the values are
/// those of [`read`]. A place that the caller did not send is named in the spelling of the names
/// that were sent.
pub fn as_typed(
    body: &[u8],
    message: &MessageDescriptor,
    extra: &[Given<'_>],
    faults: Vec<Fault>,
) -> Vec<Fault> {
    match shape::CONTRACT.find(message.full_name()) {
        Some(shape) => place::as_typed(&shape::CONTRACT, shape, (body, extra), faults),
        None => faults,
    }
}

/// Writes the bytes of a message as JSON, fields in order of declaration.
pub fn write(
    bytes: &[u8],
    message: &MessageDescriptor,
    names: Names,
) -> Result<String, WriteError> {
    let shape = shape::CONTRACT.find(message.full_name()).ok_or(WriteError::Unknown)?;
    write::write(&shape::CONTRACT, shape, bytes, names)
}

fn unknown(message: &MessageDescriptor) -> Fault {
    let message = format!("{} is not in the contract", message.full_name());
    Fault { field: String::new(), value: None, message }
}

/// A value as the key of a map, and as it is shown in a fault.
pub(crate) fn key_text(value: &Scalar<'_>) -> String {
    match value {
        Scalar::Truth(truth) => truth.to_string(),
        Scalar::Whole(number) => number.to_string(),
        Scalar::Float(number) => number.to_string(),
        Scalar::Text(text) => crate::checks::shown(text),
        Scalar::Bytes(bytes) => format!("{} bytes", bytes.len()),
        Scalar::Word(number) => number.to_string(),
    }
}
