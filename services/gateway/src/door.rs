//! The REST door: actix parses and answers, services work on the one runtime behind it.
//! It never runs a write on an actix thread and never decodes what it forwards.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::{io, thread};

use actix_web::dev::ServerHandle;
use actix_web::web::{Bytes, Data, Payload};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer, web};
use http::HeaderMap;
use platform::error::Kind;
use platform::{hop, records, traces};
use tracing::Instrument as _;
use wire::contract::Operation;
use wire::json::{self, BODY_MAX, Given, Names};

use crate::pages::Pages;
use crate::problem::Problem;
use crate::routes::{Found, Routes, has_no_body};
use crate::{Gateway, answer, openapi, page_door, request, stream, upload};

/// Threads that parse and answer.
const WORKERS: usize = 2;
/// The events that tell pages that something was recorded.
const LOG: &str = "/v1/log";
/// How long begun requests may take once a stop is asked for.
const STOP_S: u64 = 20;

/// The open REST door.
pub struct RestDoor {
    /// Where it listens.
    pub address: SocketAddr,
    handle: ServerHandle,
    thread: JoinHandle<io::Result<()>>,
}

impl RestDoor {
    /// Takes no new request and waits for those begun.
    pub async fn close(self) {
        self.handle.stop(true).await;
        // The thread ends with the server; waiting for it must not block the runtime.
        let joined = tokio::task::spawn_blocking(move || self.thread.join()).await;
        if !matches!(joined, Ok(Ok(Ok(())))) {
            tracing::warn!("the REST door did not close cleanly");
        }
    }
}

struct Shared {
    gateway: Gateway,
    routes: Routes,
    openapi: String,
    pages: Arc<Pages>,
    fans: stream::Fans,
}

/// Opens the door on a listener. Errors: routes that cannot stand side by side, no thread.
pub fn open(gateway: Gateway, listener: TcpListener) -> io::Result<RestDoor> {
    let address = listener.local_addr()?;
    let routes = Routes::of_contract().map_err(io::Error::other)?;
    let openapi = openapi::document().to_string();
    let pages = Arc::new(Pages::of(gateway.clone()));
    let fans = stream::Fans::of_contract(&gateway.tasks, |twin| ask(&gateway, twin));
    let shared = Data::from(Arc::new(Shared { gateway, routes, openapi, pages, fans }));
    let (give, take) = std::sync::mpsc::channel();
    let thread = thread::Builder::new().name("rest-door".into()).spawn(move || {
        actix_web::rt::System::new().block_on(async move {
            let server = HttpServer::new(move || {
                App::new()
                    .app_data(shared.clone())
                    .service(own("/healthz", web::get().to(alive)))
                    .service(own("/readyz", web::get().to(ready)))
                    .service(own("/metrics", web::get().to(metrics)))
                    .service(own("/openapi.json", web::get().to(openapi_document)))
                    .default_service(web::to(any))
            });
            let server = server.workers(WORKERS).shutdown_timeout(STOP_S).disable_signals();
            let server = server.listen(listener)?.run();
            // Nobody is left to tell when the opener has gone; the server then runs on its own.
            give.send(server.handle()).ok();
            server.await
        })
    })?;
    let handle = take.recv().map_err(|_| io::Error::other("the REST door did not open"))?;
    Ok(RestDoor { address, handle, thread })
}

/// How the gateway asks an INTERNAL operation for itself.
fn ask(gateway: &Gateway, twin: &'static Operation) -> Arc<stream::Ask> {
    let (hops, signer) = (gateway.hops.clone(), gateway.signer.clone());
    let (clock, path) = (gateway.keeper.clock.clone(), twin.grpc_path.as_str());
    Arc::new(move |message| {
        let hop = hops.for_service(path, (crate::NAME, &signer, &clock));
        Box::pin(async move { hop::send(hop?, path, message, HeaderMap::new()).await })
    })
}

fn new_request_id() -> String {
    records::new_id().to_string()
}

/// A path of the house itself, which is only read.
fn own(path: &str, route: actix_web::Route) -> actix_web::Resource {
    web::resource(path).route(route).default_service(web::to(only_read))
}

async fn only_read() -> HttpResponse {
    answer::other_verbs("GET", &new_request_id())
}

async fn alive() -> HttpResponse {
    answer::text("alive\n".into(), "text/plain; charset=utf-8", &new_request_id())
}

async fn ready(shared: Data<Shared>) -> HttpResponse {
    let id = new_request_id();
    let asked = shared.gateway.runtime.spawn((shared.gateway.readiness)()).await;
    let reasons = asked.unwrap_or_else(|_| vec!["The readiness check broke.".into()]);
    match reasons.is_empty() {
        true => answer::text("ready\n".into(), "text/plain; charset=utf-8", &id),
        false => answer::not_ready(&reasons, &id),
    }
}

async fn metrics() -> HttpResponse {
    let id = new_request_id();
    match platform::telemetry::metrics() {
        Ok(text) => answer::text(text, "text/plain; version=0.0.4", &id),
        Err(_) => answer::problem(&Problem::new(Kind::Internal, "No numbers."), false, &id),
    }
}

async fn openapi_document(shared: Data<Shared>) -> HttpResponse {
    answer::text(shared.openapi.clone(), "application/json", &new_request_id())
}

async fn any(request: HttpRequest, payload: Payload, shared: Data<Shared>) -> HttpResponse {
    let id = new_request_id();
    let found = shared.routes.find(request.method().as_str(), request.path());
    let (operation, path_values) = match found {
        Found::Operation(operation, values) => (operation, values),
        Found::OtherVerbs(allowed) => return answer::other_verbs(&allowed, &id),
        Found::Nothing if request.path() == page_door::LIVE => {
            let live = live(&shared, (request, payload), &id).await;
            return live.unwrap_or_else(|problem| answer::problem(&problem, false, &id));
        }
        Found::Nothing => {
            let (runtime, pages) = (&shared.gateway.runtime, &shared.pages);
            let span = traces::at_door(&page_door::name(&request), request::trace(&request));
            let asked = page_door::answer(runtime, pages, (&request, payload), &id);
            if let Some(page) = asked.instrument(span.clone()).await {
                traces::answered_at_door(&span, page.status().as_u16());
                return page;
            }
            let problem = Problem::new(Kind::NoSuchOperation, "There is no such path.");
            return answer::problem(&problem, false, &id);
        }
    };
    let headers = request::headers(&request, &id);
    let has_token = headers.contains_key("authorization");
    let span = traces::at_door(&name(operation), request::trace(&request));
    let asked = (request, payload);
    let done = async {
        match operation.server_streaming {
            true => streamed(&shared, operation, asked, (path_values, headers, &id)).await,
            false => through(&shared, operation, asked, (path_values, headers))
                .await
                .map(|(text, metadata)| answer::json(text, &metadata, &id)),
        }
    };
    let done = done.instrument(span.clone()).await;
    let answer = done.unwrap_or_else(|problem| answer::problem(&problem, has_token, &id));
    traces::answered_at_door(&span, answer.status().as_u16());
    answer
}

/// What a trace calls a request: verb and template, never the values of a path.
fn name(operation: &Operation) -> String {
    let form = operation.http.as_ref();
    form.map_or_else(String::new, |form| format!("{} {}", form.verb.as_str(), form.template))
}

/// The events of the log for a page, as the person of its cookie.
async fn live(
    shared: &Shared,
    (request, payload): (HttpRequest, Payload),
    id: &str,
) -> Result<HttpResponse, Problem> {
    let headers = shared.pages.listener(&page_door::headers(&request), id);
    let headers = headers.ok_or_else(|| Problem::new(Kind::NotSignedIn, ""))?;
    let Found::Operation(operation, values) = shared.routes.find("GET", LOG) else {
        return Err(Problem::new(Kind::Unavailable, "This part is not running."));
    };
    if request.method() != "GET" {
        return Err(Problem::new(Kind::VerbNotAllowed, "This path takes GET."));
    }
    streamed(shared, operation, (request, payload), (values, headers, id)).await
}

/// As [`through`], for an answer that comes in parts.
async fn streamed(
    shared: &Shared,
    operation: &'static Operation,
    (request, payload): (HttpRequest, Payload),
    (path_values, headers, id): (Vec<(String, String)>, HeaderMap, &str),
) -> Result<HttpResponse, Problem> {
    shared.gateway.keeper.admit(&operation.grpc_path, &headers)?;
    let mut given = request::given(path_values, request.query_string())?;
    given.extend(stream::last_event(operation, request.headers(), &given));
    let (body, message) = message(operation, (&request, payload), &given).await?;
    let path = operation.grpc_path.as_str();
    let hop = shared.gateway.hops.to(path);
    let hop = hop.ok_or_else(|| Problem::new(Kind::Unavailable, "This part is not running."))?;
    let sent = hop::send(hop, path, message.into(), headers.clone());
    let done = shared.gateway.runtime.spawn(sent.in_current_span()).await;
    let done = done.map_err(|_| Problem::new(Kind::Internal, "Something failed on our side."))?;
    let typed = |status: tonic::Status| {
        let mut problem = Problem::of_status(&status);
        problem.faults = typed(&body, operation, &given, problem.faults);
        problem
    };
    let answered = (headers, done.map_err(typed)?);
    stream::answer((&shared.gateway, &shared.fans), operation, answered, id).await
}

/// Refuses early, reads, forwards, writes.
async fn through(
    shared: &Shared,
    operation: &'static Operation,
    (request, payload): (HttpRequest, Payload),
    (path_values, headers): (Vec<(String, String)>, HeaderMap),
) -> Result<(String, HeaderMap), Problem> {
    shared.gateway.keeper.admit(&operation.grpc_path, &headers)?;
    let given = request::given(path_values, request.query_string())?;
    let (body, message) = message(operation, (&request, payload), &given).await?;
    let path = operation.grpc_path.as_str();
    let hop = shared.gateway.hops.to(path);
    let hop = hop.ok_or_else(|| Problem::new(Kind::Unavailable, "This part is not running."))?;
    let work = hop::unary(hop, path, message.into(), headers);
    let done = shared.gateway.runtime.spawn(work.in_current_span()).await;
    let done = done.map_err(|_| Problem::new(Kind::Internal, "Something failed on our side."))?;
    let (metadata, bytes) = done.map_err(|status| {
        let mut problem = Problem::of_status(&status);
        problem.faults = typed(&body, operation, &given, problem.faults);
        problem
    })?;
    let text = json::write(&bytes, &operation.output, Names::Camel);
    let text = text.map_err(|_| Problem::new(Kind::Internal, "The answer cannot be shown."))?;
    Ok((text, metadata))
}

/// The message of a request, and the JSON in which its faults are named.
async fn message(
    operation: &Operation,
    (request, payload): (&HttpRequest, Payload),
    given: &[Given<'_>],
) -> Result<(Bytes, Vec<u8>), Problem> {
    if let Some(field) = operation.raw() {
        let message = upload::message(operation, field, (request, payload), given).await?;
        return Ok((Bytes::new(), message));
    }
    let body = body(operation, request, payload).await?;
    let read = json::read(&body, &operation.input, given).map_err(Problem::faults)?;
    Ok((body, read.bytes))
}

async fn body(
    operation: &Operation,
    request: &HttpRequest,
    payload: Payload,
) -> Result<Bytes, Problem> {
    if operation.http.as_ref().is_some_and(|form| has_no_body(form.verb)) {
        return Ok(Bytes::new());
    }
    let too_large = || {
        let text = format!("The body is over {} MiB.", BODY_MAX / 1024 / 1024);
        Problem::new(Kind::TooLarge, text)
    };
    let body = payload.to_bytes_limited(BODY_MAX).await.map_err(|_| too_large())?;
    let body = body.map_err(|_| Problem::new(Kind::BadInput, "The body broke off."))?;
    request::check_media_type(request, &body)?;
    Ok(body)
}

/// Faults that a service found, in the spelling and with the values of the caller.
fn typed(
    body: &[u8],
    operation: &Operation,
    given: &[Given<'_>],
    faults: Vec<domain::fault::Fault>,
) -> Vec<domain::fault::Fault> {
    if faults.is_empty() { faults } else { json::as_typed(body, &operation.input, given, faults) }
}
