//! The layers around every service's routes, the same in memory and over TCP.
//! It never holds a rule of the plant.

use std::convert::Infallible;
use std::panic::AssertUnwindSafe;
use std::task::{Context, Poll};
use std::time::Duration;

use futures_util::FutureExt as _;
use futures_util::future::BoxFuture;
use http::{HeaderMap, Request, Response};
use tonic::Status;
use tonic::body::Body;
use tonic::service::Routes;
use tower::util::BoxCloneSyncService;
use tower::{Layer, Service, ServiceExt};
use tracing::Instrument as _;

use crate::caller::{Gate, Gatekeeper, REQUEST_ID_HEADER};
use crate::clock::monotonic;
use crate::error::{Failure, Kind};
use crate::hop::Hop;
use crate::{telemetry, traces};

/// How long a call may take when its caller names no time.
const DEADLINE: Duration = Duration::from_secs(20);
/// The longest time that a caller may name.
const DEADLINE_MAX: Duration = Duration::from_secs(120);

/// A service's routes behind trace, panic, deadline and gate, as a hop in memory.
pub fn in_memory(routes: Routes, keeper: Gatekeeper) -> Hop {
    let gated = Gate(keeper).layer(routes.prepare());
    BoxCloneSyncService::new(Outer { inner: gated }.map_err(|never: Infallible| match never {}))
}

/// Trace, panic and deadline.
#[derive(Clone)]
struct Outer<S> {
    inner: S,
}

impl<S> Service<Request<Body>> for Outer<S>
where
    S: Service<Request<Body>, Response = Response<Body>, Error = Infallible> + Clone + Send,
    S: 'static,
    S::Future: Send,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Response<Body>, Infallible>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: Request<Body>) -> Self::Future {
        let inner = self.inner.clone();
        let method = request.uri().path().to_owned();
        let id = text(request.headers(), REQUEST_ID_HEADER).unwrap_or("-").to_owned();
        let traced = traces::of_call(&method, request.headers());
        let span = tracing::info_span!("call", method, request_id = id);
        let answered = traced.clone();
        Box::pin(
            async move {
                let begun = monotonic();
                let deadline = deadline(request.headers());
                let work = AssertUnwindSafe(inner.oneshot(request)).catch_unwind();
                let response = match tokio::time::timeout(deadline, work).await {
                    Ok(Ok(Ok(response))) => response,
                    Ok(Err(panic)) => refuse(Failure::internal(panic_text(&*panic))),
                    Err(_) => refuse(Failure::new(
                        Kind::TooLate,
                        "The time given for this call is over; repeat the same call.",
                    )),
                };
                let code = text(response.headers(), "grpc-status").unwrap_or("0");
                traces::answered(&answered, code);
                log(&method, code, begun.elapsed());
                Ok(response)
            }
            .instrument(traced)
            .instrument(span),
        )
    }
}

fn refuse(failure: Failure) -> Response<Body> {
    Status::from(failure).into_http()
}

fn panic_text(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let text = text.or_else(|| panic.downcast_ref::<String>().cloned());
    format!("a handler broke: {}", text.unwrap_or_else(|| "no text".into()))
}

fn log(method: &str, code: &str, took: Duration) {
    telemetry::call(method, code, took);
    tracing::info!(code, took_us = took.as_micros() as u64, "call answered");
}

fn text<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// `grpc-timeout` as gRPC writes it: at most eight digits and a unit.
fn deadline(headers: &HeaderMap) -> Duration {
    let named = text(headers, "grpc-timeout").and_then(|text| {
        let (digits, unit) = text.split_at_checked(text.len().checked_sub(1)?)?;
        let count: u64 = digits.parse().ok().filter(|_| digits.len() <= 8)?;
        match unit {
            "H" => Some(Duration::from_secs(count * 3600)),
            "M" => Some(Duration::from_secs(count * 60)),
            "S" => Some(Duration::from_secs(count)),
            "m" => Some(Duration::from_millis(count)),
            "u" => Some(Duration::from_micros(count)),
            "n" => Some(Duration::from_nanos(count)),
            _ => None,
        }
    });
    named.unwrap_or(DEADLINE).min(DEADLINE_MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use http::HeaderValue;

    fn with(value: &'static str) -> Duration {
        let mut headers = HeaderMap::new();
        headers.insert("grpc-timeout", HeaderValue::from_static(value));
        deadline(&headers)
    }

    #[test]
    fn a_named_time_is_kept_within_its_limit() {
        assert_eq!(with("250m"), Duration::from_millis(250));
        assert_eq!(with("99999999H"), DEADLINE_MAX);
        assert_eq!(with("123456789S"), DEADLINE);
        assert_eq!(with("S"), DEADLINE);
        assert_eq!(with("5x"), DEADLINE);
        assert_eq!(deadline(&HeaderMap::new()), DEADLINE);
    }
}
