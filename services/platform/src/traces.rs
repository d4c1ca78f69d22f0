//! Traces: spans from a door through the hops to Postgres, sent by OTLP where a process is told to.
//! They never hold a value of a request: names, codes and times only.

use std::env;

use http::{HeaderMap, HeaderName, HeaderValue};
use opentelemetry::propagation::{Extractor, Injector, TextMapPropagator};
use opentelemetry::trace::{TraceContextExt, TracerProvider as _};
use opentelemetry_otlp::{ExporterBuildError, SpanExporter};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::propagation::TraceContextPropagator;
use opentelemetry_sdk::trace::{SdkTracer, SdkTracerProvider};
use tracing::Span;
use tracing_opentelemetry::OpenTelemetrySpanExt;

/// The target of spans that only traces show; logs do not know them.
pub(crate) const TARGET: &str = "hankbook::trace";
/// W3C Trace Context: the caller's trace and span.
pub const HEADER: &str = "traceparent";
/// Variables of the OpenTelemetry specification that say where to send; one of them turns it on.
const ENDPOINTS: [&str; 2] = ["OTEL_EXPORTER_OTLP_ENDPOINT", "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"];

/// The sender of a process' spans; nothing is sent where no variable says where to.
pub struct Traces(SdkTracerProvider);

impl Traces {
    /// A sender where the environment names a collector; it must be made inside the runtime.
    pub(crate) fn of_environment() -> Result<Option<Self>, ExporterBuildError> {
        let named = |name: &str| env::var(name).is_ok_and(|value| !value.is_empty());
        if !ENDPOINTS.iter().any(|name| named(name)) {
            return Ok(None);
        }
        let mut resource = Resource::builder();
        if !named("OTEL_SERVICE_NAME") {
            resource = resource.with_service_name("hankbook");
        }
        let exporter = SpanExporter::builder().with_tonic().build()?;
        let provider = SdkTracerProvider::builder()
            .with_batch_exporter(exporter)
            .with_resource(resource.build())
            .build();
        Ok(Some(Self(provider)))
    }

    pub(crate) fn tracer(&self) -> SdkTracer {
        self.0.tracer("hankbook")
    }

    /// Sends what waits. A collector that is away costs its spans, never the stop.
    pub fn close(self) {
        if let Err(error) = self.0.shutdown() {
            tracing::warn!(%error, "the last spans were not sent");
        }
    }
}

/// The span of a request at a door, below the caller's own where it names one.
pub fn at_door(name: &str, traceparent: Option<&str>) -> Span {
    let span = tracing::debug_span!(
        target: TARGET, parent: None, "request", otel.name = name, otel.kind = "server",
        http.response.status_code = tracing::field::Empty,
    );
    if let Some(parent) = traceparent {
        below(&span, parent);
    }
    span
}

/// Notes the HTTP status with which a door answered.
pub fn answered_at_door(span: &Span, status: u16) {
    span.record("http.response.status_code", status);
}

/// The span of a call that reached a service: below the door's or the asking service's.
pub(crate) fn of_call(method: &str, headers: &HeaderMap) -> Span {
    let span = tracing::debug_span!(
        target: TARGET, "call", otel.name = method, otel.kind = "server",
        rpc.system.name = "grpc", rpc.response.status_code = tracing::field::Empty,
    );
    // In one process the asking span is this task's own; over TCP or from outside it is named.
    if let Some(parent) = headers.get(HEADER).and_then(|value| value.to_str().ok()) {
        below(&span, parent);
    }
    span
}

/// Notes how a call was answered, by its gRPC code.
pub(crate) fn answered(span: &Span, code: &str) {
    span.record("rpc.response.status_code", code);
}

/// The span of one piece of database work; none for jobs that nobody asked for.
pub(crate) fn of_database(service: &str, name: &str) -> Span {
    if Span::current().is_none() {
        return Span::none();
    }
    tracing::debug_span!(
        target: TARGET, "database", otel.name = name, otel.kind = "client",
        db.system.name = "postgresql", db.namespace = service,
    )
}

/// Puts the place of a span below what `traceparent` names.
fn below(span: &Span, traceparent: &str) {
    if span.is_disabled() {
        return;
    }
    let context = TraceContextPropagator::new().extract(&Parent(traceparent));
    // A header that is none of W3C's begins a trace of its own.
    if let Err(error) = span.set_parent(context) {
        tracing::debug!(%error, "a caller's trace was not joined");
    }
}

/// Names the current span to whom a request goes over TCP.
pub(crate) fn tell(headers: &mut HeaderMap) {
    let context = Span::current().context();
    if context.span().span_context().is_valid() {
        TraceContextPropagator::new().inject_context(&context, &mut HeadersMut(headers));
    }
}

struct Parent<'h>(&'h str);

impl Extractor for Parent<'_> {
    fn get(&self, key: &str) -> Option<&str> {
        (key == HEADER).then_some(self.0)
    }

    fn keys(&self) -> Vec<&str> {
        vec![HEADER]
    }
}

struct HeadersMut<'h>(&'h mut HeaderMap);

impl Injector for HeadersMut<'_> {
    fn set(&mut self, key: &str, value: String) {
        let name = HeaderName::try_from(key);
        if let (Ok(name), Ok(value)) = (name, HeaderValue::try_from(value)) {
            self.0.insert(name, value);
        }
    }
}
