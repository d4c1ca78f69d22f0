//! The messages of a gRPC answer, one by one as they arrive.
//! It never decodes one.

use bytes::{Buf as _, Bytes, BytesMut};
use http::HeaderMap;
use http_body::Body as _;
use tonic::body::Body;
use tonic::{Code, Status};

/// Bytes of a gRPC frame before its message: a flag and a length.
const FRAME_HEAD: usize = 5;

/// The messages of a gRPC body.
pub struct Parts {
    body: Body,
    buffer: BytesMut,
}

impl Parts {
    /// The headers of an answer and its messages. Errors: what was asked has failed.
    pub fn of(response: http::Response<Body>) -> Result<(HeaderMap, Self), Status> {
        let (head, body) = response.into_parts();
        match Status::from_header_map(&head.headers) {
            Some(status) if status.code() != Code::Ok => Err(status),
            _ => Ok((head.headers, Self { body, buffer: BytesMut::new() })),
        }
    }

    /// The next message; nothing at an orderly end. Whoever drops this future loses nothing.
    pub async fn next(&mut self) -> Result<Option<Bytes>, Status> {
        loop {
            if let Some(message) = self.take()? {
                return Ok(Some(message));
            }
            let frame = std::future::poll_fn(|context| {
                std::pin::Pin::new(&mut self.body).poll_frame(context)
            });
            let Some(frame) = frame.await else {
                return Err(Status::unavailable("the answer broke off"));
            };
            match frame?.into_data() {
                Ok(data) => self.buffer.extend_from_slice(&data),
                Err(frame) => {
                    let trailers = frame.into_trailers().unwrap_or_default();
                    return match Status::from_header_map(&trailers) {
                        Some(status) if status.code() != Code::Ok => Err(status),
                        _ => Ok(None),
                    };
                }
            }
        }
    }

    /// A whole message of what has arrived.
    fn take(&mut self) -> Result<Option<Bytes>, Status> {
        let Some((head, rest)) = self.buffer.split_at_checked(FRAME_HEAD) else { return Ok(None) };
        let length = u32::from_be_bytes([head[1], head[2], head[3], head[4]]) as usize;
        if head[0] != 0 {
            return Err(Status::internal("an answer's frame is broken"));
        }
        if rest.len() < length {
            return Ok(None);
        }
        self.buffer.advance(FRAME_HEAD);
        Ok(Some(self.buffer.split_to(length).freeze()))
    }
}
