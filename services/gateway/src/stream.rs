//! Answers that come in parts: server-sent events, or a raw download of `google.api.HttpBody`.
//! It never decodes an event but to write it as JSON, and never keeps more than a few parts.

use std::time::Duration;

use actix_web::HttpResponse;
use bytes::{Buf as _, Bytes, BytesMut};
use http::HeaderMap;
use http_body::Body as _;
use platform::error::Kind;
use prost::Message as _;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::body::Body;
use tonic::{Code, Status};
use wire::contract::{Operation, RAW};
use wire::google::api::HttpBody;
use wire::json::{self, Given, Names};

use crate::problem::Problem;
use crate::{Gateway, answer};

/// The field of an event by which a listener goes on after it, which is its id.
const POSITION: &str = "position";
/// The request's field that takes the id of the last event.
const AFTER: &str = "after";
/// The header in which a listener says the id of the last event.
const LAST_EVENT: &str = "last-event-id";
/// How often a silent stream says that it lives, so that proxies and readers do not give up.
const BEAT: Duration = Duration::from_secs(15);
/// Parts on their way to a slow reader.
const AHEAD: usize = 4;
/// Bytes of a gRPC frame before its message: a flag and a length.
const FRAME_HEAD: usize = 5;

type Part = Result<Bytes, std::io::Error>;

/// The id of the last event, as the request's own field takes it. What is asked in the path or
/// the query goes first.
pub fn last_event(
    operation: &Operation,
    headers: &actix_web::http::header::HeaderMap,
    given: &[Given<'_>],
) -> Option<Given<'static>> {
    let field = operation.input.get_field_by_name(AFTER).filter(|_| operation.server_streaming)?;
    let value = headers.get(LAST_EVENT)?.to_str().ok()?.to_owned();
    let is_given = given.iter().any(|given| given.name == field.name());
    (!is_given).then(|| Given { name: AFTER.into(), text: value.into() })
}

/// The answer of a call that streams, once its first part is there or it has failed.
pub async fn answer(
    gateway: &Gateway,
    operation: &'static Operation,
    response: http::Response<Body>,
    request_id: &str,
) -> Result<HttpResponse, Problem> {
    let (head, body) = response.into_parts();
    failed(&head.headers)?;
    let mut parts = Parts { body, buffer: BytesMut::new() };
    let (give, take) = mpsc::channel::<Part>(AHEAD);
    let takes = ReceiverStream::new(take);
    if operation.output.full_name() != RAW {
        gateway.runtime.spawn(events(parts, operation, give));
        return Ok(answer::stream(takes, "text/event-stream", &head.headers, request_id));
    }
    // The first part names the media type, and a failure before it is a problem like any other.
    let first = gateway.runtime.spawn(async move {
        let first = parts.next().await;
        (first, parts)
    });
    let broken = |_| Problem::new(Kind::Internal, "Something failed on our side.");
    let (first, parts) = first.await.map_err(broken)?;
    let first = first.map_err(|status| Problem::of_status(&status))?.unwrap_or_default();
    let first = raw(first).map_err(|status| Problem::of_status(&status))?;
    let media_type = first.content_type.clone();
    gateway.runtime.spawn(download(first, parts, give));
    Ok(answer::stream(takes, &media_type, &head.headers, request_id))
}

/// A download as a whole, with the headers that came before it.
pub async fn whole(response: http::Response<Body>) -> Result<(HeaderMap, HttpBody), Problem> {
    let (head, body) = response.into_parts();
    failed(&head.headers)?;
    let mut parts = Parts { body, buffer: BytesMut::new() };
    let (mut content_type, mut data) = (String::new(), BytesMut::new());
    let told = |status: Status| Problem::of_status(&status);
    while let Some(message) = parts.next().await.map_err(told)? {
        let part = raw(message).map_err(told)?;
        content_type = part.content_type;
        data.extend_from_slice(&part.data);
    }
    Ok((head.headers, HttpBody { content_type, data: data.freeze() }))
}

fn failed(headers: &HeaderMap) -> Result<(), Problem> {
    match Status::from_header_map(headers) {
        Some(status) if status.code() != Code::Ok => Err(Problem::of_status(&status)),
        _ => Ok(()),
    }
}

fn raw(message: Bytes) -> Result<HttpBody, Status> {
    HttpBody::decode(message).map_err(|error| Status::internal(error.to_string()))
}

/// The messages of a gRPC body.
struct Parts {
    body: Body,
    buffer: BytesMut,
}

impl Parts {
    /// The next message; nothing at an orderly end.
    async fn next(&mut self) -> Result<Option<Bytes>, Status> {
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

/// Sends the bytes of a download; one that breaks off breaks the connection too, so that its
/// reader never takes a part for the whole.
async fn download(first: HttpBody, mut parts: Parts, give: mpsc::Sender<Part>) {
    let mut part: Result<_, Status> = Ok(Some(first.data));
    loop {
        let sent = match part {
            Ok(Some(data)) => give.send(Ok(data)).await,
            Ok(None) => return,
            Err(status) => {
                // The reader may have gone; then nobody is left to tell.
                give.send(Err(std::io::Error::other(status.message().to_owned()))).await.ok();
                return;
            }
        };
        if sent.is_err() {
            return;
        }
        part = match parts.next().await {
            Ok(Some(message)) => raw(message).map(|body| Some(body.data)),
            Ok(None) => Ok(None),
            Err(status) => Err(status),
        };
    }
}

/// Sends each message as an event until the stream ends or the listener goes.
async fn events(mut parts: Parts, operation: &'static Operation, give: mpsc::Sender<Part>) {
    loop {
        let next = tokio::select! {
            next = parts.next() => next,
            () = tokio::time::sleep(BEAT) => {
                if give.send(Ok(Bytes::from_static(b":\n\n"))).await.is_err() {
                    return;
                }
                continue;
            }
            () = give.closed() => return,
        };
        let (text, is_over) = match next {
            Ok(Some(message)) => event(operation, &message),
            Ok(None) => return,
            Err(status) => (problem(&status), true),
        };
        if give.send(Ok(text.into())).await.is_err() || is_over {
            return;
        }
    }
}

/// One event, and whether it is the last because it cannot be shown.
fn event(operation: &Operation, message: &[u8]) -> (String, bool) {
    match json::write(message, &operation.output, Names::Camel) {
        Ok(text) => (format!("{}data: {text}\n\n", id(&text)), false),
        Err(_) => (problem(&Status::internal("an event cannot be shown")), true),
    }
}

/// The line that names an event, where it has a position.
fn id(text: &str) -> String {
    let value: serde_json::Value = serde_json::from_str(text).unwrap_or_default();
    match &value[POSITION] {
        serde_json::Value::Null => String::new(),
        position => format!("id: {position}\n"),
    }
}

fn problem(status: &Status) -> String {
    let kind = Problem::of_status(status);
    format!("event: problem\ndata: {}\n\n", kind.json(""))
}
