//! One stream upstream for all who listen to the same thing in this process.
//! It never waits for a listener, and never asks upstream while nobody listens.

#[cfg(test)]
mod tests;

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use bytes::Bytes;
use futures_util::future::BoxFuture;
use platform::tasks::Tasks;
use tokio::sync::watch;
use tonic::Status;
use tonic::body::Body;
use wire::contract::{Access, Operation, operations};
use wire::json::{self, Given};

use super::AFTER;
use super::event::{Event, POSITION};
use super::parts::Parts;

/// The most events kept for who is a little behind.
const EVENTS_MAX: usize = 1024;
/// The most bytes of them.
const BYTES_MAX: usize = 8 * 1024 * 1024;
/// The wait before a stream that failed is opened again.
const AGAIN: Duration = Duration::from_millis(500);

/// Sends a message to the operation that is followed.
pub type Ask =
    dyn Fn(Bytes) -> BoxFuture<'static, Result<http::Response<Body>, Status>> + Send + Sync;

/// The fans of a process, one for each operation that the house itself may follow.
pub struct Fans {
    by_path: HashMap<&'static str, Arc<Fan>>,
}

impl Fans {
    /// The fans of the contract; `ask` gives the way to an INTERNAL operation.
    pub fn of_contract(tasks: &Tasks, ask: impl Fn(&'static Operation) -> Arc<Ask>) -> Self {
        let shared = operations().iter().filter_map(|found| Some((found, twin(found)?)));
        let fans = shared.map(|(found, twin)| {
            let fan = Fan::new(twin, ask(twin), tasks.clone());
            (found.grpc_path.as_str(), Arc::new(fan))
        });
        Self { by_path: fans.collect() }
    }

    /// A seat at the fan of an operation, where it has one.
    pub fn seat(&self, operation: &Operation) -> Option<Seat> {
        self.by_path.get(operation.grpc_path.as_str()).map(Fan::seat)
    }
}

/// The INTERNAL operation that gives the house what `operation` gives everybody alike: of the same
/// name and types, its events in one order, and nothing asked but where to begin.
pub fn twin(operation: &Operation) -> Option<&'static Operation> {
    let is_ordered = operation.server_streaming
        && operation.http.is_some()
        && operation.output.get_field_by_name(POSITION).is_some()
        && operation.input.fields().map(|field| field.name().to_owned()).eq([AFTER.to_owned()]);
    let is_twin = |other: &&Operation| {
        other.access == Access::Internal
            && other.server_streaming
            && other.method == operation.method
            && (&other.input, &other.output) == (&operation.input, &operation.output)
    };
    operations().iter().find(is_twin).filter(|_| is_ordered)
}

/// What one stream upstream brought, for all who listen.
pub struct Fan {
    operation: &'static Operation,
    ask: Arc<Ask>,
    tasks: Tasks,
    ring: Mutex<Ring>,
    /// The numbers of the first event that is kept and of the one that comes next.
    span: watch::Sender<(u64, u64)>,
}

/// The last events, in their order.
#[derive(Default)]
struct Ring {
    /// The id after which the first of them comes; nothing before the stream has begun.
    start: Option<String>,
    /// The number of the first.
    first: u64,
    events: VecDeque<Event>,
    bytes: usize,
    /// True while somebody follows upstream.
    is_followed: bool,
}

impl Ring {
    fn last_id(&self) -> Option<&str> {
        let last = self.events.back().and_then(|event| event.id.as_deref());
        last.or(self.start.as_deref())
    }

    fn next(&self) -> u64 {
        self.first + self.events.len() as u64
    }
}

/// What is kept under a number.
pub enum Kept {
    Here(Event),
    NotYet,
    /// It is kept no longer.
    Gone,
}

impl Fan {
    fn new(operation: &'static Operation, ask: Arc<Ask>, tasks: Tasks) -> Self {
        let (ring, span) = (Mutex::default(), watch::Sender::new((0, 0)));
        Self { operation, ask, tasks, ring, span }
    }

    fn ring(&self) -> MutexGuard<'_, Ring> {
        self.ring.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes a seat; upstream is followed from now on if nobody did.
    fn seat(self: &Arc<Self>) -> Seat {
        let mut ring = self.ring();
        let seat = Seat { fan: self.clone(), span: self.span.subscribe() };
        if !std::mem::replace(&mut ring.is_followed, true) {
            self.tasks.spawn(self.clone().follow());
        }
        seat
    }

    /// Follows upstream while somebody listens.
    async fn follow(self: Arc<Self>) {
        loop {
            let failed = tokio::select! {
                ended = self.listen() => ended.err(),
                () = self.span.closed() => None,
                () = self.tasks.closing() => return,
            };
            if self.is_left() {
                return;
            }
            if let Some(status) = failed {
                let path = &self.operation.grpc_path;
                tracing::warn!(path, code = ?status.code(), "what is followed is away");
                tokio::select! {
                    () = tokio::time::sleep(AGAIN) => {}
                    () = self.tasks.closing() => return,
                }
            }
        }
    }

    /// True when nobody listens; the next who comes begins anew.
    fn is_left(&self) -> bool {
        let mut ring = self.ring();
        let is_left = self.span.receiver_count() == 0;
        if is_left {
            *ring = Ring { first: ring.next(), ..Ring::default() };
        }
        is_left
    }

    /// Opens the stream after the last event that is kept, and keeps what comes until it ends.
    async fn listen(&self) -> Result<(), Status> {
        let last = self.ring().last_id().map(str::to_owned);
        let given = last.map(|id| Given { name: AFTER.into(), text: id.into() });
        let given: Vec<_> = given.into_iter().collect();
        let read = json::read(b"", &self.operation.input, &given);
        let read = read.map_err(|_| Status::internal("what is followed has no such place"))?;
        let (_, mut parts) = Parts::of((self.ask)(read.bytes.into()).await?)?;
        while let Some(message) = parts.next().await? {
            self.keep(Event::of(self.operation, &message))?;
        }
        Ok(())
    }

    fn keep(&self, event: Event) -> Result<(), Status> {
        let Some(id) = event.id.clone() else {
            return Err(Status::internal("an event has no place in the order"));
        };
        let mut ring = self.ring();
        match ring.last_id() {
            // Where the stream begins: whoever stands there goes on from here.
            None => ring.start = Some(id),
            // A stream that was opened again says first where it stands.
            Some(last) if *last == *id => {}
            Some(_) => {
                ring.bytes += event.text.len();
                ring.events.push_back(event);
            }
        }
        while ring.events.len() > EVENTS_MAX || (ring.bytes > BYTES_MAX && ring.events.len() > 1) {
            let Some(oldest) = ring.events.pop_front() else { break };
            ring.bytes -= oldest.text.len();
            ring.start = oldest.id;
            ring.first += 1;
        }
        self.span.send_replace((ring.first, ring.next()));
        Ok(())
    }
}

/// The place of one listener.
pub struct Seat {
    fan: Arc<Fan>,
    span: watch::Receiver<(u64, u64)>,
}

impl Seat {
    /// The number of the event that comes after the one of this id, where both meet.
    pub fn after(&self, id: &str) -> Option<u64> {
        let ring = self.fan.ring();
        let known = ring.events.iter().rposition(|event| event.id.as_deref() == Some(id));
        let after = known.map(|at| ring.first + at as u64 + 1);
        after.or_else(|| (ring.start.as_deref() == Some(id)).then_some(ring.first))
    }

    /// The event of a number.
    pub fn event(&self, number: u64) -> Kept {
        let ring = self.fan.ring();
        match number.checked_sub(ring.first) {
            None => Kept::Gone,
            Some(at) => match ring.events.get(at as usize) {
                Some(event) => Kept::Here(event.clone()),
                None => Kept::NotYet,
            },
        }
    }

    /// Done once something more is kept.
    pub async fn grown(&mut self) {
        if self.span.changed().await.is_err() {
            // The fan holds the other end for as long as anybody has a seat.
            std::future::pending::<()>().await;
        }
    }

    /// Done once the event of a number is kept no longer.
    pub async fn gone(&self, number: u64) {
        let mut span = self.span.clone();
        if span.wait_for(|(first, _)| *first > number).await.is_err() {
            std::future::pending::<()>().await;
        }
    }
}
