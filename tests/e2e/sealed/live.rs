//! Many who follow the log at once: each hears every entry once and in order, and the plant reads
//! each of them from its database once for all.
//! It never counts what only one listener does.

use std::time::Duration;

use reqwest::{Method, Response};
use serde_json::Value;

use super::{Worked, text};

/// Who listens.
const LISTENERS: usize = 50;
/// Readings that are taken while all listen.
const READINGS: usize = 12;

/// One who listens, with what was heard so far.
struct Listener {
    stream: Response,
    unread: String,
    /// The id of its last event.
    position: Option<i64>,
    /// The ids of the records that it heard of, in their order.
    records: Vec<String>,
}

impl Listener {
    /// Begins to listen, after a position when one is given, and hears where it stands.
    async fn begin(worked: &Worked, after: Option<i64>) -> Self {
        let stream = connected(worked, after).await;
        let (unread, records) = (String::new(), Vec::new());
        let mut listener = Self { stream, unread, position: None, records };
        listener.event().await;
        listener
    }

    /// Loses its connection, and with it what was not read.
    fn goes(self) -> Gone {
        Gone { position: self.position, records: self.records }
    }

    /// Reads one event.
    async fn event(&mut self) {
        let end = loop {
            if let Some(end) = self.unread.find("\n\n") {
                break end;
            }
            let chunk = tokio::time::timeout(super::PATIENCE, self.stream.chunk()).await;
            let chunk = chunk.expect("an event in time").expect("a stream").expect("more events");
            self.unread.push_str(&String::from_utf8_lossy(&chunk));
        };
        let event: String = self.unread.drain(..end + 2).collect();
        let data = event.lines().find_map(|line| line.strip_prefix("data: "));
        let Some(data) = data else { return };
        let data: Value = serde_json::from_str(data).expect("JSON");
        let position = data["position"].as_i64().unwrap_or_else(|| panic!("{event}"));
        assert!(event.starts_with(&format!("id: {position}\n")), "{event}");
        let entries = data["entries"].as_array().map(Vec::as_slice).unwrap_or_default();
        if let Some(last) = self.position.replace(position) {
            assert_eq!(last + entries.len() as i64, position, "a hole, or something twice");
        }
        self.records.extend(entries.iter().map(|entry| text(entry, "record").to_owned()));
    }

    /// Reads until so many entries are in the log.
    async fn until(&mut self, size: i64) {
        while self.position < Some(size) {
            self.event().await;
        }
    }
}

/// One who has lost the connection.
struct Gone {
    position: Option<i64>,
    records: Vec<String>,
}

impl Gone {
    /// Comes again after the last event.
    async fn again(self, worked: &Worked) -> Listener {
        let stream = connected(worked, self.position).await;
        let Self { position, records } = self;
        Listener { stream, unread: String::new(), position, records }
    }
}

async fn connected(worked: &Worked, after: Option<i64>) -> Response {
    let mut request = worked.worker.client.request(Method::GET, "/v1/log");
    if let Some(after) = after {
        request = request.header("last-event-id", after.to_string());
    }
    let response = request.send().await.expect("an answer");
    assert_eq!(response.headers()["content-type"], "text/event-stream");
    response
}

/// How often entries were read from the database for listeners.
async fn looked(worked: &Worked) -> f64 {
    let numbers = worked.worker.client.get("/metrics").await.expect(200).text;
    let is_it = |line: &&str| {
        line.starts_with("hankbook_database_seconds_count") && line.contains("\"audit.watch_log\"")
    };
    let counts = numbers.lines().filter(is_it).filter_map(|line| line.rsplit(' ').next());
    counts.map(|count| count.parse::<f64>().expect("a number")).sum()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_who_listen_hear_every_entry_once_by_one_stream() {
    let worked = Worked::start().await;
    let start = worked.sealed().await;
    let mut listeners = Vec::new();
    for _ in 0..LISTENERS {
        listeners.push(Listener::begin(&worked, None).await);
    }
    let mut taken = Vec::new();
    // After two common events everybody has left the stream of its own.
    for value in ["38.1", "38.2"] {
        taken.push(worked.read(value).await);
        let size = worked.sealed().await;
        for listener in &mut listeners {
            listener.until(size).await;
        }
    }
    let before = looked(&worked).await;
    for number in 0..READINGS {
        taken.push(worked.read(&format!("38.{number}")).await);
        let size = worked.sealed().await;
        for listener in &mut listeners {
            listener.until(size).await;
        }
    }
    let more = looked(&worked).await - before;
    assert!((1.0..(2 * READINGS) as f64).contains(&more), "{more} looks for {READINGS} readings");
    // Half of them lose their connection, miss some, and come again.
    let gone = listeners.drain(..LISTENERS / 2).map(Listener::goes).collect::<Vec<_>>();
    for value in ["38.6", "38.7", "38.8"] {
        taken.push(worked.read(value).await);
        worked.sealed().await;
    }
    for gone in gone {
        listeners.push(gone.again(&worked).await);
    }
    taken.push(worked.read("38.9").await);
    let size = worked.sealed().await;
    for listener in &mut listeners {
        listener.until(size).await;
        assert_eq!(listener.position, Some(start + taken.len() as i64));
        assert_eq!(listener.records, taken);
    }
    // Nobody holds up a stop.
    let begun = platform::clock::monotonic();
    worked.stop().await;
    assert!(begun.elapsed() < Duration::from_secs(8), "{:?}", begun.elapsed());
}
