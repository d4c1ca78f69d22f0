//! Readings through one door from many clients at once, each waiting for its answer.
//! It never counts what was not acknowledged: the first refusal ends the measurement.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use harness::stock::CHECK;
use http_body_util::{BodyExt as _, Full};
use hyper::Request;
use hyper::body::Bytes;
use hyper::client::conn::http1::{self, SendRequest};
use hyper_util::rt::TokioIo;
use platform::clock::{Clock, monotonic};
use platform::hop::{self, Hop};
use platform::records::new_id;
use prost::Message as _;
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tonic::codegen::http::{HeaderMap, HeaderValue};
use uuid::Uuid;
use wire::v1::RecordReadingRequest;

/// Clients that share one gRPC connection.
const PER_CONNECTION: usize = 4;
/// What is sent before the clock starts, so that connections, plans and statements are warm.
const WARM_UP: Duration = Duration::from_millis(500);
/// The method of a reading.
const RECORD: &str = "/hankbook.v1.Haccp/RecordReading";

/// Which door.
#[derive(Clone, Copy)]
pub enum Door {
    Rest,
    Grpc,
}

/// Where readings go and of what they are.
pub struct Target {
    pub door: Door,
    /// `http://127.0.0.1:PORT`.
    pub address: String,
    pub token: String,
    pub plan: Uuid,
    pub lots: Vec<Uuid>,
}

/// What was measured, printed as `RATE P50 P99`: a second, milliseconds, milliseconds.
pub struct Measured {
    rate: f64,
    p50_ms: f64,
    p99_ms: f64,
}

impl fmt::Display for Measured {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{:.0} {:.2} {:.2}", self.rate, self.p50_ms, self.p99_ms)
    }
}

/// Sends readings from `clients` at once for `seconds`.
pub async fn run(target: Target, clients: usize, seconds: u64) -> Measured {
    let target = Arc::new(target);
    let hops: Vec<_> = match target.door {
        Door::Rest => Vec::new(),
        Door::Grpc => {
            let address = || target.address.parse().expect("an address");
            (0..clients.div_ceil(PER_CONNECTION)).map(|_| hop::over_tcp(address())).collect()
        }
    };
    let length = Duration::from_secs(seconds);
    let mut running = JoinSet::new();
    for number in 0..clients {
        let target = target.clone();
        let hop = hops.get(number / PER_CONNECTION).cloned();
        running.spawn(async move {
            let mut sender = match hop {
                Some(hop) => Sender::Grpc(hop),
                None => Sender::Rest(connect(&target.address).await),
            };
            one(&target, &mut sender, number, length).await
        });
    }
    let mut took: Vec<Duration> = running.join_all().await.into_iter().flatten().collect();
    took.sort_unstable();
    let at = |share: usize| took[(took.len() - 1) * share / 100].as_secs_f64() * 1000.0;
    let rate = took.len() as f64 / length.as_secs_f64();
    Measured { rate, p50_ms: at(50), p99_ms: at(99) }
}

/// One client: how long each acknowledged reading took.
async fn one(
    target: &Target,
    sender: &mut Sender,
    number: usize,
    length: Duration,
) -> Vec<Duration> {
    let mut took = Vec::with_capacity(10_000);
    let first = monotonic();
    let mut lot = number;
    loop {
        lot = (lot + 7) % target.lots.len();
        let begun = monotonic();
        sender.send(target, target.lots[lot]).await;
        if first.elapsed() > WARM_UP + length {
            return took;
        }
        if begun.duration_since(first) > WARM_UP {
            took.push(begun.elapsed());
        }
    }
}

/// One client's way to the door.
enum Sender {
    Rest(SendRequest<Full<Bytes>>),
    Grpc(Hop),
}

async fn connect(address: &str) -> SendRequest<Full<Bytes>> {
    let host = address.strip_prefix("http://").unwrap_or(address);
    let stream = TcpStream::connect(host).await.expect("a connection");
    stream.set_nodelay(true).expect("no delay");
    let (sender, connection) = http1::handshake(TokioIo::new(stream)).await.expect("HTTP/1.1");
    tokio::runtime::Handle::current().spawn(connection);
    sender
}

impl Sender {
    /// Sends one reading and waits for its acknowledgement.
    async fn send(&mut self, target: &Target, lot: Uuid) {
        let (id, now) = (new_id(), Clock::of_the_machine().now());
        match self {
            Self::Rest(sender) => {
                let body = format!(
                    r#"{{"id":"{id}","lots":["{lot}"],"plan":"{}","planVersion":1,"check":"{CHECK}","readings":["38.5"],"unit":"[degF]","observedAt":"{now}","enteredAt":"{now}"}}"#,
                    target.plan
                );
                let request = Request::post("/v1/readings")
                    .header("host", "127.0.0.1")
                    .header("authorization", format!("Bearer {}", target.token))
                    .header("content-type", "application/json")
                    .body(Full::new(Bytes::from(body)))
                    .expect("a request");
                let answer = sender.send_request(request).await.expect("an answer");
                let status = answer.status();
                let body = answer.into_body().collect().await.expect("a body").to_bytes();
                assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
            }
            Self::Grpc(hop) => {
                let message = RecordReadingRequest {
                    id: id.to_string(),
                    lots: vec![lot.to_string()],
                    plan: target.plan.to_string(),
                    plan_version: Some(1),
                    check: CHECK.to_owned(),
                    readings: vec!["38.5".to_owned()],
                    unit: "[degF]".to_owned(),
                    observed_at: now.to_string(),
                    entered_at: now.to_string(),
                    ..Default::default()
                };
                let mut headers = HeaderMap::new();
                let bearer = HeaderValue::try_from(format!("Bearer {}", target.token));
                headers.insert("authorization", bearer.expect("a header"));
                let message = message.encode_to_vec().into();
                hop::unary(hop.clone(), RECORD, message, headers).await.expect("an answer");
            }
        }
    }
}
