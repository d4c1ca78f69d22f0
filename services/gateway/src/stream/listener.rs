//! One who listens: first to a stream of its own, then, once it has caught up, to what all share.
//! It never holds up others, and never leaves out an event between two that it was sent.

use std::time::Duration;

use bytes::Bytes;
use tokio::sync::mpsc;
use wire::contract::Operation;

use super::event::Event;
use super::fan::{Kept, Seat};
use super::parts::Parts;

/// How often a silent stream says that it lives.
const BEAT: Duration = Duration::from_secs(15);

/// What is sent to a reader.
pub type Part = Result<Bytes, std::io::Error>;

/// A listener.
pub struct Listener {
    /// What it listens to.
    pub operation: &'static Operation,
    /// Where its events go; few are on their way at once.
    pub give: mpsc::Sender<Part>,
    /// False once its caller may not listen any longer.
    pub may_listen: Box<dyn Fn() -> bool + Send + Sync>,
}

impl Listener {
    /// Sends each event of a stream of its own until that ends or the reader goes; with a seat it
    /// leaves that stream as soon as the shared one goes on where it stands.
    pub async fn listen(self, mut parts: Parts, seat: Option<Seat>) {
        let Some(mut seat) = seat else {
            while let Some(event) = self.own(&mut parts).await {
                if !self.send(event).await {
                    return;
                }
            }
            return;
        };
        let mut last = None;
        loop {
            tokio::select! {
                event = self.own(&mut parts) => {
                    let Some(event) = event else { return };
                    last = event.id.clone().or(last);
                    if !self.send(event).await {
                        return;
                    }
                }
                () = seat.grown() => {}
            }
            if let Some(next) = last.as_deref().and_then(|id| seat.after(id)) {
                drop(parts);
                return self.share(seat, next).await;
            }
        }
    }

    /// The next event of its own stream, or a sign of life.
    async fn own(&self, parts: &mut Parts) -> Option<Event> {
        let next = tokio::select! {
            next = parts.next() => next,
            () = tokio::time::sleep(BEAT) => return Some(Event::beat()),
            () = self.give.closed() => return None,
        };
        match next {
            Ok(message) => message.map(|message| Event::of(self.operation, &message)),
            Err(status) => Some(Event::problem(&status)),
        }
    }

    /// Sends what all share from a number on. Who is so slow that its next event is kept no longer
    /// is cut off, and can go on from the last one that it has.
    async fn share(&self, mut seat: Seat, mut next: u64) {
        loop {
            let event = match seat.event(next) {
                Kept::Gone => return,
                Kept::Here(event) => event,
                Kept::NotYet => {
                    tokio::select! {
                        () = seat.grown() => continue,
                        () = tokio::time::sleep(BEAT) => Event::beat(),
                        () = self.give.closed() => return,
                    }
                }
            };
            let is_beat = event.id.is_none();
            let is_sent = tokio::select! {
                is_sent = self.send(event) => is_sent,
                () = seat.gone(next) => false,
            };
            if !is_sent {
                return;
            }
            next += u64::from(!is_beat);
        }
    }

    /// Sends an event; false when nothing more is to be sent.
    async fn send(&self, event: Event) -> bool {
        let is_last = event.is_last;
        (self.may_listen)() && self.give.send(Ok(event.text)).await.is_ok() && !is_last
    }
}
