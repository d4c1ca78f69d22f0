//! Answers that come in parts: server-sent events, or a raw download of `google.api.HttpBody`.
//! It never decodes an event but to write it as JSON, and never keeps more than a few parts.

mod event;
mod fan;
mod listener;
mod parts;

use std::time::Duration;

use actix_web::HttpResponse;
use bytes::{Bytes, BytesMut};
use http::HeaderMap;
use platform::error::Kind;
use platform::tokens::LIFE_S;
use prost::Message as _;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;
use tonic::body::Body;
use wire::contract::{Operation, RAW};
use wire::google::api::HttpBody;
use wire::json::Given;

use crate::problem::Problem;
use crate::{Gateway, answer};
pub use fan::{Ask, Fans};
use listener::{Listener, Part};
use parts::Parts;

/// The request's field that takes the id of the last event.
const AFTER: &str = "after";
/// The header in which a listener says the id of the last event.
const LAST_EVENT: &str = "last-event-id";
/// Parts on their way to a slow reader.
const AHEAD: usize = 4;
/// How long a listener is told before it must come again: as long as its token lives.
const LISTENS: Duration = Duration::from_secs(LIFE_S as u64);

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

/// The answer of a call that streams, once its first part is there or it has failed. `asked` are
/// the headers of the call; events that all hear alike come from `fans` in the end.
pub async fn answer(
    (gateway, fans): (&Gateway, &Fans),
    operation: &'static Operation,
    (asked, response): (HeaderMap, http::Response<Body>),
    request_id: &str,
) -> Result<HttpResponse, Problem> {
    let told = |status: Status| Problem::of_status(&status);
    let (head, mut parts) = Parts::of(response).map_err(told)?;
    let (give, take) = mpsc::channel::<Part>(AHEAD);
    let takes = ReceiverStream::new(take);
    if operation.output.full_name() != RAW {
        let keeper = gateway.keeper.clone();
        let may_listen = Box::new(move || keeper.admit(&operation.grpc_path, &asked).is_ok());
        let listener = Listener { operation, give, may_listen };
        let (seat, tasks) = (fans.seat(operation), gateway.tasks.clone());
        gateway.runtime.spawn(async move {
            tokio::select! {
                () = listener.listen(parts, seat) => {}
                () = tokio::time::sleep(LISTENS) => {}
                () = tasks.closing() => {}
            }
        });
        return Ok(answer::stream(takes, "text/event-stream", &head, request_id));
    }
    // The first part names the media type, and a failure before it is a problem like any other.
    let first = gateway.runtime.spawn(async move {
        let first = parts.next().await;
        (first, parts)
    });
    let broken = |_| Problem::new(Kind::Internal, "Something failed on our side.");
    let (first, parts) = first.await.map_err(broken)?;
    let first = raw(first.map_err(told)?.unwrap_or_default()).map_err(told)?;
    let media_type = first.content_type.clone();
    gateway.runtime.spawn(download(first, parts, give));
    Ok(answer::stream(takes, &media_type, &head, request_id))
}

/// A download as a whole, with the headers that came before it.
pub async fn whole(response: http::Response<Body>) -> Result<(HeaderMap, HttpBody), Problem> {
    let told = |status: Status| Problem::of_status(&status);
    let (head, mut parts) = Parts::of(response).map_err(told)?;
    let (mut content_type, mut data) = (String::new(), BytesMut::new());
    while let Some(message) = parts.next().await.map_err(told)? {
        let part = raw(message).map_err(told)?;
        content_type = part.content_type;
        data.extend_from_slice(&part.data);
    }
    Ok((head, HttpBody { content_type, data: data.freeze() }))
}

fn raw(message: Bytes) -> Result<HttpBody, Status> {
    HttpBody::decode(message).map_err(|error| Status::internal(error.to_string()))
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
