//! Whether many listeners share one stream, hear everything once and in order, and hold nobody up.
//! It plays upstream itself: each stream is opened and fed by the test.

use std::sync::atomic::{AtomicBool, Ordering};

use http_body::Frame;
use http_body_util::StreamBody;
use platform::caller::operation;
use prost::Message as _;
use tokio::runtime::Handle;
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;
use wire::v1::{LogEvent, WatchLogRequest};

use super::super::listener::{Listener, Part};
use super::*;

/// A message on its way, or the orderly end of its stream.
type Sent = Option<Bytes>;

/// One stream that was opened: what was asked, and where its messages go.
struct Opened {
    after: Option<String>,
    events: mpsc::Sender<Sent>,
}

impl Opened {
    async fn send(&self, position: u64) {
        self.events.send(Some(log(position))).await.expect("somebody listens");
    }
}

fn log(position: u64) -> Bytes {
    let event = LogEvent { position: Some(position.to_string()), entries: Vec::new() };
    event.encode_to_vec().into()
}

fn frame(sent: Sent) -> Result<Frame<Bytes>, Status> {
    let Some(message) = sent else {
        let mut trailers = http::HeaderMap::new();
        trailers.insert("grpc-status", "0".parse().expect("a number"));
        return Ok(Frame::trailers(trailers));
    };
    let head = [&[0], (message.len() as u32).to_be_bytes().as_slice()].concat();
    Ok(Frame::data([head.as_slice(), &message].concat().into()))
}

/// A stream, and the end by which a test feeds it.
fn stream() -> (mpsc::Sender<Sent>, http::Response<Body>) {
    let (give, take) = mpsc::channel(1);
    let body = StreamBody::new(ReceiverStream::new(take).map(frame));
    (give, http::Response::new(Body::new(body)))
}

fn watched() -> &'static Operation {
    operation("/hankbook.v1.Audit/WatchLog").expect("the operation")
}

/// A house with one fan, and the streams that it opens upstream.
struct House {
    tasks: Tasks,
    fan: Arc<Fan>,
    opened: mpsc::UnboundedReceiver<Opened>,
    may_listen: Arc<AtomicBool>,
}

impl House {
    fn build() -> Self {
        let (give, opened) = mpsc::unbounded_channel();
        let ask: Arc<Ask> = Arc::new(move |message| {
            let (events, response) = stream();
            let asked = WatchLogRequest::decode(message).expect("a request");
            give.send(Opened { after: asked.after, events }).expect("a test");
            Box::pin(async move { Ok(response) })
        });
        let tasks = Tasks::on(Handle::current());
        let fan = Fan::new(twin(watched()).expect("its twin"), ask, tasks.clone());
        let may_listen = Arc::new(AtomicBool::new(true));
        Self { tasks, fan: Arc::new(fan), opened, may_listen }
    }

    /// One who listens, first to a stream of its own.
    fn listener(&self) -> (mpsc::Sender<Sent>, mpsc::Receiver<Part>) {
        let (give, take) = mpsc::channel(2);
        let (own, response) = stream();
        let (_, parts) = Parts::of(response).expect("a stream");
        let may_listen = self.may_listen.clone();
        let may_listen = Box::new(move || may_listen.load(Ordering::SeqCst));
        let listener = Listener { operation: watched(), give, may_listen };
        self.tasks.spawn(listener.listen(parts, Some(self.fan.seat())));
        (own, take)
    }

    /// The next stream that is opened upstream.
    async fn upstream(&mut self) -> Opened {
        self.opened.recv().await.expect("a stream")
    }
}

/// The position of the next event; nothing at the end.
async fn heard(reader: &mut mpsc::Receiver<Part>) -> Option<u64> {
    let text = reader.recv().await?.expect("no fault");
    let text = String::from_utf8(text.to_vec()).expect("a text");
    let id = text.strip_prefix("id: ").and_then(|rest| rest.split('\n').next());
    Some(id.expect("an id").parse().expect("a number"))
}

#[tokio::test]
async fn the_log_is_what_has_a_twin() {
    let shared = operations().iter().filter(|found| twin(found).is_some());
    let paths: Vec<_> = shared.map(|found| found.grpc_path.as_str()).collect();
    assert_eq!(paths, ["/hankbook.v1.Audit/WatchLog"]);
}

#[tokio::test]
async fn fifty_listeners_share_one_stream_and_each_hears_everything_once() {
    let mut house = House::build();
    let mut listeners: Vec<_> = (0..50).map(|_| house.listener()).collect();
    let upstream = house.upstream().await;
    assert_eq!(upstream.after, None);
    upstream.send(7).await;
    for (own, reader) in &mut listeners {
        own.send(Some(log(7))).await.expect("its own stream");
        assert_eq!(heard(reader).await, Some(7));
        // It has caught up and lets its own stream go.
        own.closed().await;
    }
    for position in 8..40 {
        upstream.send(position).await;
        for (_, reader) in &mut listeners {
            assert_eq!(heard(reader).await, Some(position));
        }
    }
    assert!(house.opened.try_recv().is_err(), "one stream upstream");
    drop(listeners);
    // Nobody listens any more, and upstream is let go.
    upstream.events.closed().await;
    let (own, mut reader) = house.listener();
    let upstream = house.upstream().await;
    assert_eq!(upstream.after, None);
    own.send(Some(log(40))).await.expect("its own stream");
    upstream.send(40).await;
    own.closed().await;
    upstream.send(41).await;
    assert_eq!((heard(&mut reader).await, heard(&mut reader).await), (Some(40), Some(41)));
}

#[tokio::test]
async fn who_is_behind_hears_its_own_stream_until_both_meet() {
    let mut house = House::build();
    let (own, mut reader) = house.listener();
    let upstream = house.upstream().await;
    upstream.send(5).await;
    own.send(Some(log(3))).await.expect("its own stream");
    upstream.send(7).await;
    assert_eq!(heard(&mut reader).await, Some(3));
    // Its own stream goes past a place where the other was: what came between is in this event.
    own.send(Some(log(6))).await.expect("its own stream");
    own.send(Some(log(8))).await.expect("its own stream");
    assert_eq!((heard(&mut reader).await, heard(&mut reader).await), (Some(6), Some(8)));
    upstream.send(8).await;
    own.closed().await;
    upstream.send(9).await;
    assert_eq!(heard(&mut reader).await, Some(9));
}

#[tokio::test]
async fn who_is_too_slow_is_cut_off_and_goes_on_from_its_last_event() {
    let mut house = House::build();
    let (slow_own, mut slow) = house.listener();
    let (quick_own, mut quick) = house.listener();
    let upstream = house.upstream().await;
    upstream.send(0).await;
    for (own, reader) in [(&slow_own, &mut slow), (&quick_own, &mut quick)] {
        own.send(Some(log(0))).await.expect("its own stream");
        assert_eq!(heard(reader).await, Some(0));
        own.closed().await;
    }
    let end = EVENTS_MAX as u64 + 20;
    for position in 1..=end {
        upstream.send(position).await;
        assert_eq!(heard(&mut quick).await, Some(position), "the slow one holds nobody up");
    }
    let mut last = 0;
    while let Some(position) = heard(&mut slow).await {
        assert_eq!(position, last + 1, "what it was sent has no hole");
        last = position;
    }
    assert!(last < 10, "{last} events were on their way");
    // It comes again after its last event: all that it missed, then what all hear.
    let (own, mut again) = house.listener();
    own.send(Some(log(end))).await.expect("its own stream");
    own.closed().await;
    upstream.send(end + 1).await;
    assert_eq!((heard(&mut again).await, heard(&mut again).await), (Some(end), Some(end + 1)));
    assert!(house.opened.try_recv().is_err(), "one stream upstream");
}

#[tokio::test]
async fn a_stream_that_ends_or_breaks_is_opened_again_where_it_was() {
    let mut house = House::build();
    let (own, mut reader) = house.listener();
    let upstream = house.upstream().await;
    upstream.send(1).await;
    own.send(Some(log(1))).await.expect("its own stream");
    own.closed().await;
    upstream.send(2).await;
    upstream.events.send(None).await.expect("somebody listens");
    let second = house.upstream().await;
    assert_eq!(second.after.as_deref(), Some("2"));
    // It says first where it stands, which is no news.
    second.send(2).await;
    second.send(3).await;
    drop(second);
    let third = house.upstream().await;
    assert_eq!(third.after.as_deref(), Some("3"));
    third.send(5).await;
    for position in [1, 2, 3, 5] {
        assert_eq!(heard(&mut reader).await, Some(position));
    }
}

#[tokio::test]
async fn who_may_not_listen_any_longer_hears_nothing_more() {
    let mut house = House::build();
    let (own, mut reader) = house.listener();
    let upstream = house.upstream().await;
    upstream.send(1).await;
    own.send(Some(log(1))).await.expect("its own stream");
    own.closed().await;
    assert_eq!(heard(&mut reader).await, Some(1));
    house.may_listen.store(false, Ordering::SeqCst);
    upstream.send(2).await;
    assert_eq!(heard(&mut reader).await, None);
}
