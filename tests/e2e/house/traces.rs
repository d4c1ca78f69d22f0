//! One trace from a page or a REST call through every hop to Postgres, sent by OTLP to a collector
//! that listens as the standard says; without one nothing is sent.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use harness::{Options, Plant};
use opentelemetry_proto::tonic::collector::trace::v1::trace_service_server::{
    TraceService, TraceServiceServer,
};
use opentelemetry_proto::tonic::collector::trace::v1::{
    ExportTraceServiceRequest, ExportTraceServiceResponse,
};
use opentelemetry_proto::tonic::trace::v1::Span;
use opentelemetry_proto::tonic::trace::v1::span::SpanKind;
use platform::tasks::Tasks;
use serde_json::json;
use tokio::net::TcpListener;
use tokio::runtime::Handle;
use tonic::transport::Server;
use tonic::transport::server::TcpIncoming;
use tonic::{Request, Response, Status};

use crate::pages::visitor::Visitor;

/// The example of W3C Trace Context, https://www.w3.org/TR/trace-context/#examples.
const TRACEPARENT: &str = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";
const TRACE: &str = "4bf92f3577b34da6a3ce929d0e0e4736";

#[derive(Clone, Default)]
struct Collector {
    spans: Arc<Mutex<Vec<Span>>>,
}

#[tonic::async_trait]
impl TraceService for Collector {
    async fn export(
        &self,
        request: Request<ExportTraceServiceRequest>,
    ) -> Result<Response<ExportTraceServiceResponse>, Status> {
        let scopes = request.into_inner().resource_spans.into_iter().flat_map(|r| r.scope_spans);
        let mut spans = self.spans.lock().expect("one thread at a time");
        spans.extend(scopes.flat_map(|scope| scope.spans));
        Ok(Response::new(ExportTraceServiceResponse::default()))
    }
}

impl Collector {
    /// Opens it; gives its address.
    async fn open(&self) -> String {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("its address");
        let server = Server::builder().add_service(TraceServiceServer::new(self.clone()));
        let tasks = Tasks::on(Handle::current());
        tasks.spawn(server.serve_with_incoming(TcpIncoming::from(listener)));
        format!("http://{address}")
    }

    fn spans_of(&self, trace: &str) -> Vec<Span> {
        let spans = self.spans.lock().expect("one thread at a time");
        spans.iter().filter(|span| hex(&span.trace_id) == trace).cloned().collect()
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The names of a span and of all above it, from the door down.
fn line(span: &Span, spans: &[Span]) -> Vec<String> {
    let by_id: HashMap<&[u8], &Span> =
        spans.iter().map(|span| (span.span_id.as_slice(), span)).collect();
    let mut names = vec![span.name.clone()];
    let mut above = span.parent_span_id.as_slice();
    while let Some(parent) = by_id.get(above) {
        names.insert(0, parent.name.clone());
        above = parent.parent_span_id.as_slice();
    }
    names
}

#[tokio::test(flavor = "multi_thread")]
async fn one_trace_reaches_from_a_door_to_the_database() {
    let collector = Collector::default();
    let address = collector.open().await;
    let told = ("OTEL_EXPORTER_OTLP_ENDPOINT".to_owned(), address);
    let options = Options { environment: vec![told], ..Options::default() };
    let plant = Plant::start_with(options).await;
    let manager = plant.with_roles(&["MANAGER"]);
    let body = json!({ "id": platform::records::new_id().to_string(), "name": "Dock",
        "kind": "dock" });
    manager.post_with("/v1/places", &body, &[("traceparent", TRACEPARENT)]).await.ok();
    let fields = [("name", "nobody"), ("password", "a wrong password")];
    Visitor::of(&plant).post("/sign-in", &fields).await.expect(401);
    plant.stop().await;

    let spans = collector.spans_of(TRACE);
    let lines: Vec<_> = spans.iter().map(|span| line(span, &spans)).collect();
    let call = "/hankbook.v1.Genealogy/PutPlace".to_owned();
    let deepest = lines.iter().max_by_key(|line| line.len()).expect("spans");
    assert_eq!(deepest[..2], ["POST /v1/places".to_owned(), call], "{lines:#?}");
    assert_eq!(deepest.len(), 3, "door, call, database: {lines:#?}");
    let door = spans.iter().find(|span| span.name == "POST /v1/places").expect("a door");
    assert_eq!(hex(&door.parent_span_id), "00f067aa0ba902b7", "below the caller's span");

    let all = collector.spans.lock().expect("one thread at a time");
    let work = all.iter().filter(|span| span.kind == SpanKind::Client as i32);
    let lines: Vec<_> = work.map(|span| line(span, &all)).collect();
    let page = ["POST /sign-in", "/hankbook.v1.Identity/SignIn"];
    assert!(lines.iter().any(|line| line.len() == 3 && line[..2] == page), "{lines:#?}");
    assert!(lines.iter().all(|line| line.len() > 1), "jobs of the house have no trace: {lines:#?}");
    let said = format!("{all:?}");
    assert!(
        !said.contains("Dock") && !said.contains("nobody"),
        "a span holds a value of a request"
    );
}
