//! Logs as JSON lines with the request's id, and the numbers at /metrics; set up once a process.
//! It never sees a token, a PIN, a password or a secret field.

use std::sync::LazyLock;
use std::time::Duration;

use prometheus::{
    Encoder, HistogramVec, IntCounterVec, TextEncoder, register_histogram_vec,
    register_int_counter_vec,
};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::filter::{FilterExt as _, filter_fn};
use tracing_subscriber::layer::{Layer as _, SubscriberExt as _};
use tracing_subscriber::util::SubscriberInitExt as _;

use crate::traces::{self, Traces};

/// Upper ends of the time buckets, in seconds.
const BUCKETS: [f64; 11] = [0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 2.0, 10.0];

type Metric<T> = LazyLock<Result<T, prometheus::Error>>;

static CALLS: Metric<HistogramVec> = LazyLock::new(|| {
    register_histogram_vec!(
        "hankbook_call_seconds",
        "Time of each call by method and gRPC code.",
        &["method", "code"],
        BUCKETS.to_vec()
    )
});

static DATABASE: Metric<HistogramVec> = LazyLock::new(|| {
    register_histogram_vec!(
        "hankbook_database_seconds",
        "Time of each piece of database work by service and name, pool wait included.",
        &["service", "name", "done"],
        BUCKETS.to_vec()
    )
});

static RETRIES: Metric<IntCounterVec> = LazyLock::new(|| {
    register_int_counter_vec!(
        "hankbook_database_retries_total",
        "Writes tried again after a deadlock or a serialization failure.",
        &["service", "name"]
    )
});

/// Sends log lines to standard error, filtered by RUST_LOG (`info` without it), and spans to the
/// collector that the environment names; called inside the runtime.
pub fn start() -> Option<Traces> {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    let is_log = filter_fn(|about| about.target() != traces::TARGET);
    let lines = tracing_subscriber::fmt::layer()
        .json()
        .flatten_event(true)
        .with_current_span(true)
        .with_span_list(false)
        .with_writer(std::io::stderr)
        .with_filter(filter.and(is_log));
    let (sender, refused) = match Traces::of_environment() {
        Ok(sender) => (sender, None),
        Err(error) => (None, Some(error)),
    };
    let spans = sender.as_ref().map(|sender| {
        let is_span = filter_fn(|about| about.is_span() && about.target() == traces::TARGET);
        tracing_opentelemetry::layer()
            .with_location(false)
            .with_threads(false)
            .with_tracer(sender.tracer())
            .with_filter(is_span)
    });
    if tracing_subscriber::registry().with(lines).with(spans).try_init().is_err() {
        tracing::debug!("logging was set up before");
    }
    if let Some(error) = refused {
        tracing::error!(%error, "no traces are sent");
    }
    sender
}

/// Counts one call.
pub fn call(method: &str, code: &str, took: Duration) {
    if let Ok(metric) = &*CALLS {
        metric.with_label_values(&[method, code]).observe(took.as_secs_f64());
    }
}

/// Counts one piece of database work.
pub fn database(service: &str, name: &str, took: Duration, done: bool) {
    if let Ok(metric) = &*DATABASE {
        let done = if done { "yes" } else { "no" };
        metric.with_label_values(&[service, name, done]).observe(took.as_secs_f64());
    }
}

/// Counts one repeated try.
pub fn retry(service: &str, name: &str) {
    if let Ok(metric) = &*RETRIES {
        metric.with_label_values(&[service, name]).inc();
    }
}

/// The numbers in the text form that scrapers read.
pub fn metrics() -> Result<String, prometheus::Error> {
    let mut text = Vec::new();
    TextEncoder::new().encode(&prometheus::gather(), &mut text)?;
    String::from_utf8(text).map_err(|error| prometheus::Error::Msg(error.to_string()))
}
