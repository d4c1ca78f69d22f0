//! Listens to identity for a whole process: ended sessions, changed rights, the plant's settings.
//! It never gives up: a broken stream is opened again, and the silence between is measured.

use std::time::Duration;

use http::{Request, Response};
use jiff::Timestamp;
use tonic::Status;
use tonic::body::Body;
use tower::util::BoxCloneSyncService;
use tower::{BoxError, ServiceExt};
use uuid::Uuid;
use wire::internal::v1::identity_internal_client::IdentityInternalClient;
use wire::internal::v1::{WatchEvent, WatchRequest};

use crate::error::{Failure, Kind};
use crate::service::House;

/// The method that is listened to.
const METHOD: &str = "/hankbook.internal.v1.IdentityInternal/Watch";
/// A stream without an event for so long is dead.
const SILENCE_MAX: Duration = Duration::from_secs(5);
/// The shortest wait before the stream is opened again; it doubles up to the longest.
const WAIT_MIN: Duration = Duration::from_millis(50);
/// The longest wait.
const WAIT_MAX: Duration = Duration::from_secs(2);

/// Listens until the process stops.
pub fn start(house: &House) {
    let house = house.clone();
    house.tasks.clone().spawn(async move {
        let mut wait = WAIT_MIN;
        while !house.tasks.is_stopping() {
            let mut heard = 0_u64;
            let ended = tokio::select! {
                ended = listen(&house, &mut heard) => ended,
                () = house.tasks.stopping() => return,
            };
            if let Err(status) = ended {
                tracing::warn!(code = ?status.code(), text = status.message(), "identity is away");
            }
            wait = if heard > 0 { WAIT_MIN } else { (wait * 2).min(WAIT_MAX) };
            tokio::select! {
                () = tokio::time::sleep(wait) => {}
                () = house.tasks.stopping() => return,
            }
        }
    });
}

/// Opens the stream and takes its events until it ends.
async fn listen(house: &House, heard: &mut u64) -> Result<(), Status> {
    let opened = IdentityInternalClient::new(hop(house)?).watch(WatchRequest {}).await?;
    let mut events = opened.into_inner();
    let silent = |_| Status::deadline_exceeded("no heartbeat");
    while let Some(event) =
        tokio::time::timeout(SILENCE_MAX, events.message()).await.map_err(silent)??
    {
        *heard += 1;
        take(house, event);
    }
    Ok(())
}

/// The hop to identity, its failures told as a client's are.
fn hop(
    house: &House,
) -> Result<BoxCloneSyncService<Request<Body>, Response<Body>, Status>, Failure> {
    let hop = house.hop_for_service(METHOD)?;
    Ok(BoxCloneSyncService::new(hop.map_err(|error: BoxError| {
        Status::from(Failure::new(Kind::Unavailable, "identity is away").with_cause(error))
    })))
}

/// Changes first, the heartbeat last: who was heard is up to date.
fn take(house: &House, event: WatchEvent) {
    let revocations = &house.keeper.revocations;
    let sessions = event.ended.iter().filter_map(|ended| {
        Uuid::try_parse(&ended.session).ok().map(|session| (session, ended.until_s))
    });
    sessions.for_each(|(session, until)| revocations.end_session(session, until));
    let changes = event.changed.iter().filter_map(|changed| {
        Uuid::try_parse(&changed.person).ok().map(|person| (person, changed.version))
    });
    changes.for_each(|(person, version)| revocations.void_before(person, version));
    if let Some(settings) = event.settings {
        house.plant.set(settings);
    }
    if house.clock.is_simulated()
        && let Ok(now) = event.now.parse::<Timestamp>()
    {
        // An event that was overtaken by a later step changes nothing.
        house.clock.move_to(now).ok();
    }
    revocations.hear(house.clock.now().as_second());
}
