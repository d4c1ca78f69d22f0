//! The codec of every generated client and server: a request is checked right after decoding.
//! It never refuses a reply: only messages that some method takes as its input are checked.

use std::collections::HashSet;
use std::marker::PhantomData;
use std::sync::LazyLock;

use bytes::Buf;
use domain::fault::Fault;
use prost::{Message, Name};
use tonic::codec::{Codec, DecodeBuf, Decoder};
use tonic::{Code, Status};
use tonic_prost::ProstEncoder;
use tonic_types::{ErrorDetails, FieldViolation, StatusExt};

use crate::{checks, contract};

/// The most bytes of fault texts in one status: it travels in a header, and readers commonly
/// refuse headers over 16 KiB.
pub const STATUS_TEXT_MAX: usize = 6_000;

/// The full names of the messages that methods take. The build refuses a contract in which one
/// of them is also a reply.
static REQUESTS: LazyLock<HashSet<String>> = LazyLock::new(|| {
    contract::pool()
        .services()
        .flat_map(|service| service.methods().collect::<Vec<_>>())
        .map(|method| method.input().full_name().to_owned())
        .collect()
});

/// Encodes `T`, decodes `U`, and checks `U` where it is a request.
#[derive(Clone, Copy, Debug)]
pub struct CheckedCodec<T, U> {
    types: PhantomData<(T, U)>,
}

impl<T, U> Default for CheckedCodec<T, U> {
    fn default() -> Self {
        Self { types: PhantomData }
    }
}

impl<T, U> Codec for CheckedCodec<T, U>
where
    T: Message + Send + 'static,
    U: Message + Name + Default + Send + 'static,
{
    type Encode = T;
    type Decode = U;
    type Encoder = ProstEncoder<T>;
    type Decoder = CheckedDecoder<U>;

    fn encoder(&mut self) -> Self::Encoder {
        ProstEncoder::default()
    }

    fn decoder(&mut self) -> Self::Decoder {
        let full_name = U::full_name();
        let request = REQUESTS.contains(&full_name);
        CheckedDecoder { full_name, request, types: PhantomData }
    }
}

/// Decodes `U` and checks it where it is a request.
#[derive(Clone, Debug)]
pub struct CheckedDecoder<U> {
    full_name: String,
    request: bool,
    types: PhantomData<U>,
}

impl<U: Message + Default> Decoder for CheckedDecoder<U> {
    type Item = U;
    type Error = Status;

    fn decode(&mut self, buf: &mut DecodeBuf<'_>) -> Result<Option<U>, Status> {
        let bytes = buf.copy_to_bytes(buf.remaining());
        // Whose fault unreadable bytes are depends on who sent them.
        let unreadable = |error: String| match self.request {
            true => Status::invalid_argument(format!("the request cannot be decoded: {error}")),
            false => Status::internal(format!("the reply cannot be decoded: {error}")),
        };
        let message = U::decode(bytes.clone()).map_err(|error| unreadable(error.to_string()))?;
        if self.request {
            let faults = checks::check_bytes(&self.full_name, &bytes)
                .map_err(|error| unreadable(error.to_string()))?
                .into_vec();
            if !faults.is_empty() {
                return Err(bad_request(faults));
            }
        }
        Ok(Some(message))
    }
}

/// INVALID_ARGUMENT with google.rpc.BadRequest details: each fault's field and message, in the
/// order given, as many as [`STATUS_TEXT_MAX`] holds; a last entry counts the others.
pub fn bad_request(faults: Vec<Fault>) -> Status {
    let mut violations = Vec::new();
    let mut room = STATUS_TEXT_MAX;
    let count = faults.len();
    for fault in faults {
        let size = fault.field.len() + fault.message.len();
        if size > room {
            let message = format!("has {} more faults", count - violations.len());
            violations.push(FieldViolation::new("", message));
            break;
        }
        room -= size;
        violations.push(FieldViolation::new(fault.field, fault.message));
    }
    let details = ErrorDetails::with_bad_request(violations);
    Status::with_error_details(Code::InvalidArgument, "the request has bad fields", details)
}

#[cfg(test)]
mod tests;
