//! The stream that tells every process who may no longer do what, and how the plant counts days.
//! It never says that all is well while it cannot read: then the stream ends.

use std::collections::{HashMap, HashSet};
use std::time::Duration;

use jiff::Timestamp;
use platform::db::Db;
use platform::error::Failure;
use platform::service::House;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::Status;
use uuid::Uuid;
use wire::internal::v1::{ChangedRights, EndedSession, WatchEvent};

use crate::store::settings::SettingsRow;
use crate::{Identity, shape, store};

/// How often the state is read when nothing wakes the stream: the heartbeat.
const BEAT: Duration = Duration::from_secs(1);
/// How often what is over is removed.
const PRUNE: Duration = Duration::from_secs(60);
/// Events on their way to a slow listener.
const AHEAD: usize = 4;

/// The events of one listener.
pub type Events = ReceiverStream<Result<WatchEvent, Status>>;

/// What was read of the state.
struct State {
    now: Timestamp,
    ended: Vec<(Uuid, jiff_diesel::Timestamp)>,
    rights: Vec<(Uuid, i32)>,
    settings: Option<SettingsRow>,
}

/// What a listener was told.
#[derive(Default)]
struct Told {
    ended: HashSet<Uuid>,
    rights: HashMap<Uuid, i32>,
    settings: Option<i32>,
}

/// Begins to tell a listener: first all that matters, then each change. The state itself is read
/// each time, so that no change is lost between a commit and a notice of it.
pub fn events(service: &Identity) -> Events {
    let (give, take) = mpsc::channel(AHEAD);
    let service = service.clone();
    let tasks = service.house.tasks.clone();
    tasks.clone().spawn(async move {
        tokio::select! {
            () = tell(&service, give) => {}
            () = tasks.stopping() => {}
        }
    });
    ReceiverStream::new(take)
}

/// Tells until the listener has gone or the state cannot be read.
async fn tell(service: &Identity, give: mpsc::Sender<Result<WatchEvent, Status>>) {
    let mut told = Told::default();
    loop {
        // Listened for from before the reading, so that a change during it wakes at once.
        let changed = service.changed.notified();
        tokio::pin!(changed);
        changed.as_mut().enable();
        let event = match read(service).await {
            Ok(state) => Ok(told.news(state, service.house.clock.is_simulated())),
            Err(failure) => Err(Status::from(failure)),
        };
        let is_over = event.is_err();
        if give.send(event).await.is_err() || is_over {
            return;
        }
        tokio::select! {
            () = changed => {}
            () = tokio::time::sleep(BEAT) => {}
            () = give.closed() => return,
        }
    }
}

async fn read(service: &Identity) -> Result<State, Failure> {
    let now = service.house.clock.now();
    service
        .db
        .read("identity.watch", |conn| {
            Box::pin(async move {
                let ended = store::sessions::ended(conn, now).await?;
                let rights = store::people::changed_rights(conn).await?;
                let settings = store::settings::last(conn).await?;
                Ok(State { now, ended, rights, settings })
            })
        })
        .await
}

impl Told {
    /// What of the state the listener does not know yet.
    fn news(&mut self, state: State, is_simulated: bool) -> WatchEvent {
        let living: HashSet<Uuid> = state.ended.iter().map(|(session, _)| *session).collect();
        let new = state.ended.iter().filter(|(session, _)| !self.ended.contains(session));
        let ended = new.map(|(session, until)| ended_out(*session, *until)).collect();
        self.ended = living;
        let new = state
            .rights
            .iter()
            .filter(|(who, version)| self.rights.get(who).is_none_or(|told| told < version));
        let changed = new.map(|(person, version)| changed_out(*person, *version)).collect();
        self.rights.extend(state.rights.iter().copied());
        let version = state.settings.as_ref().map_or(0, |row| row.version);
        let settings = (self.settings != Some(version))
            .then(|| shape::settings_out(state.settings, is_simulated));
        self.settings = Some(version);
        WatchEvent { now: state.now.to_string(), ended, changed, settings }
    }
}

fn ended_out(session: Uuid, until: jiff_diesel::Timestamp) -> EndedSession {
    // A second more than the last token lives, never a part of one less.
    let until_s = until.to_jiff().as_second() + 1;
    EndedSession { session: session.to_string(), until_s }
}

fn changed_out(person: Uuid, version: i32) -> ChangedRights {
    ChangedRights { person: person.to_string(), version }
}

/// Removes dead sessions and tries that no window counts, until the process stops.
pub fn start_pruning(db: &Db, house: &House) {
    let (db, house) = (db.clone(), house.clone());
    house.tasks.clone().spawn(async move {
        loop {
            tokio::select! {
                () = tokio::time::sleep(PRUNE) => {}
                () = house.tasks.stopping() => return,
            }
            let now = house.clock.now();
            let pruned = db.write("identity.prune", move |conn| {
                Box::pin(async move {
                    store::tries::prune(conn).await?;
                    store::sessions::prune(conn, now).await
                })
            });
            if let Err(failure) = pruned.await {
                tracing::warn!(kind = ?failure.kind, "nothing was pruned; tried again later");
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff_diesel::ToDiesel as _;

    fn state(ended: &[u128], rights: &[(u128, i32)]) -> State {
        let until = Timestamp::from_second(700).expect("an instant").to_diesel();
        State {
            now: Timestamp::from_second(100).expect("an instant"),
            ended: ended.iter().map(|id| (Uuid::from_u128(*id), until)).collect(),
            rights: rights.iter().map(|(id, v)| (Uuid::from_u128(*id), *v)).collect(),
            settings: None,
        }
    }

    #[test]
    fn a_listener_is_told_everything_once() {
        let mut told = Told::default();
        let first = told.news(state(&[1], &[(7, 2)]), false);
        assert_eq!((first.ended.len(), first.changed.len()), (1, 1));
        assert_eq!(first.ended[0].until_s, 701);
        assert_eq!(first.settings.map(|settings| settings.zone), Some("UTC".into()));
        let beat = told.news(state(&[1], &[(7, 2)]), false);
        assert_eq!((beat.ended.len(), beat.changed.len(), beat.settings), (0, 0, None));
        let next = told.news(state(&[1, 2], &[(7, 3)]), false);
        assert_eq!(next.ended[0].session, Uuid::from_u128(2).to_string());
        assert_eq!(next.changed[0].version, 3);
    }
}
