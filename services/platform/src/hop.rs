//! One step from a caller to a service: in memory or over TCP, the same request either way.
//! It never decodes a message and never decides who may call.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use bytes::{BufMut, Bytes, BytesMut};
use http::header::{CONTENT_TYPE, TE};
use http::{HeaderMap, HeaderValue, Method, Request, Response, Uri};
use http_body_util::{BodyExt, Full};
use tonic::body::Body;
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Status};
use tower::util::BoxCloneSyncService;
use tower::{BoxError, ServiceExt};

use crate::caller::{Call, REQUEST_ID_HEADER};
use crate::clock::Clock;
use crate::error::{Failure, Kind};
use crate::tokens::Signer;
use crate::traces;

/// The largest message in either direction.
pub const MESSAGE_MAX: usize = 16 * 1024 * 1024;
/// The largest message of an INTERNAL method.
pub const INTERNAL_MESSAGE_MAX: usize = 64 * 1024 * 1024;
/// Bytes of a gRPC frame before its message: a flag and a length.
const FRAME_HEAD: usize = 5;

/// A step to a service.
pub type Hop = BoxCloneSyncService<Request<Body>, Response<Body>, BoxError>;

/// A hop over TCP to a service in another process; it connects when first used.
pub fn over_tcp(address: Uri) -> Hop {
    let endpoint = Endpoint::from(address)
        .tcp_nodelay(true)
        .connect_timeout(Duration::from_secs(2))
        .http2_keep_alive_interval(Duration::from_secs(10));
    let channel: Channel = endpoint.connect_lazy();
    let told = channel.map_request(|mut request: Request<Body>| {
        traces::tell(request.headers_mut());
        request
    });
    BoxCloneSyncService::new(told.map_err(BoxError::from))
}

/// The hops of a process by service name (`hankbook.v1.Haccp`), filled once all are built.
#[derive(Clone, Default)]
pub struct Hops {
    by_service: Arc<OnceLock<HashMap<&'static str, Hop>>>,
}

impl Hops {
    /// Fills the table; a second filling changes nothing.
    pub fn fill(&self, hops: HashMap<&'static str, Hop>) {
        // A second filling would come from a second start in one process: the first stands.
        self.by_service.set(hops).ok();
    }

    /// The hop to the service of a gRPC path.
    pub fn to(&self, path: &str) -> Option<Hop> {
        let service = path.trim_start_matches('/').split('/').next()?;
        self.by_service.get()?.get(service).cloned()
    }

    /// A hop on which the caller's own token and request id travel on.
    pub fn for_call(&self, service: &str, call: &Call) -> Result<Hop, Failure> {
        self.with(service, call.token.clone(), call.request_id.clone())
    }

    /// A hop on which a service calls for itself.
    pub fn for_service(&self, service: &str, who: (&str, &Signer, &Clock)) -> Result<Hop, Failure> {
        let (name, signer, clock) = who;
        let token = signer.service_token(name, clock).map_err(Failure::internal)?;
        self.with(service, Some(token), crate::records::new_id().to_string())
    }

    fn with(&self, service: &str, token: Option<String>, id: String) -> Result<Hop, Failure> {
        let hop = self.to(service).ok_or_else(|| unavailable(service))?;
        let token = token.map(|token| HeaderValue::try_from(format!("Bearer {token}")));
        let token = token.transpose().map_err(Failure::internal)?;
        let id = HeaderValue::try_from(id).map_err(Failure::internal)?;
        Ok(BoxCloneSyncService::new(hop.map_request(move |mut request: Request<Body>| {
            let headers = request.headers_mut();
            if let Some(token) = &token {
                headers.insert(http::header::AUTHORIZATION, token.clone());
            }
            headers.insert(REQUEST_ID_HEADER, id.clone());
            request
        })))
    }
}

fn unavailable(service: &str) -> Failure {
    Failure::new(Kind::Unavailable, format!("{service} is not running here."))
}

/// Sends one encoded message and gives the answer's headers and its encoded message, or the status
/// with its details.
pub async fn unary(
    hop: Hop,
    path: &'static str,
    message: Bytes,
    headers: HeaderMap,
) -> Result<(HeaderMap, Bytes), Status> {
    let response = send(hop, path, message, headers).await?;
    let (head, body) = response.into_parts();
    failed(&head.headers)?;
    let collected = body.collect().await?;
    if let Some(trailers) = collected.trailers() {
        failed(trailers)?;
    }
    Ok((head.headers, unframe(collected.to_bytes())?))
}

/// Sends one encoded message and gives the response as it streams.
pub async fn send(
    hop: Hop,
    path: &'static str,
    message: Bytes,
    headers: HeaderMap,
) -> Result<Response<Body>, Status> {
    let mut request = Request::new(Body::new(Full::new(frame(&message)?)));
    *request.method_mut() = Method::POST;
    *request.uri_mut() = Uri::from_static(path);
    *request.headers_mut() = headers;
    request.headers_mut().insert(CONTENT_TYPE, HeaderValue::from_static("application/grpc"));
    request.headers_mut().insert(TE, HeaderValue::from_static("trailers"));
    hop.oneshot(request).await.map_err(|error| {
        let detail = "A part that is needed does not answer; repeat the same call.";
        Status::from(Failure::new(Kind::Unavailable, detail).with_cause(error))
    })
}

fn failed(headers: &HeaderMap) -> Result<(), Status> {
    match Status::from_header_map(headers) {
        Some(status) if status.code() != Code::Ok => Err(status),
        _ => Ok(()),
    }
}

fn frame(message: &[u8]) -> Result<Bytes, Status> {
    let length = u32::try_from(message.len()).map_err(|_| too_large())?;
    let mut framed = BytesMut::with_capacity(FRAME_HEAD + message.len());
    framed.put_u8(0);
    framed.put_u32(length);
    framed.put_slice(message);
    Ok(framed.freeze())
}

fn unframe(mut framed: Bytes) -> Result<Bytes, Status> {
    let broken = || Status::from(Failure::internal("an answer's frame is broken"));
    if framed.len() < FRAME_HEAD || framed[0] != 0 {
        return Err(broken());
    }
    let head = framed.split_to(FRAME_HEAD);
    let length = u32::from_be_bytes([head[1], head[2], head[3], head[4]]) as usize;
    if framed.len() == length { Ok(framed) } else { Err(broken()) }
}

fn too_large() -> Status {
    Failure::new(Kind::TooLarge, "The message is too large.").into()
}
