//! The live position of the log, for views that follow it.
//! It never leaves out an entry between two events of one listener.

use std::time::Duration;

use platform::error::{Failure, Kind};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use wire::v1;

use super::checkpoints::named;
use crate::store::entries::{Stretch, Wanted};
use crate::{Audit, shape, store};

/// The most entries of one event.
const EVENT_MAX: i64 = 1000;
/// Events on their way to a slow listener.
const AHEAD: usize = 4;
/// How long a listener is told before it must come again: as long as its token lives.
const LENGTH: Duration = Duration::from_secs(600);

type Told = mpsc::Sender<Result<v1::LogEvent, Status>>;

/// Begins to tell a listener.
pub async fn watch(
    service: &Audit,
    request: Request<v1::WatchLogRequest>,
) -> Result<Response<ReceiverStream<Result<v1::LogEvent, Status>>>, Status> {
    let after = shape::whole(request.get_ref().after.as_deref(), "after")?;
    let (give, take) = mpsc::channel(AHEAD);
    let service = service.clone();
    let tasks = service.house.tasks.clone();
    tasks.clone().spawn(async move {
        tokio::select! {
            () = tell(service, after, give) => {}
            () = tokio::time::sleep(LENGTH) => {}
            () = tasks.closing() => {}
        }
    });
    Ok(Response::new(ReceiverStream::new(take)))
}

async fn tell(service: Audit, after: Option<i64>, give: Told) {
    let mut sealed = service.sealed.clone();
    // The sealer may not have told its position yet, the database knows it.
    let mut position = match after {
        Some(after) => after,
        None => match named(&service, None).await {
            Ok((row, _)) => row.size,
            Err(failure) if failure.kind == Kind::NotFound => 0,
            Err(failure) => {
                // A listener who has gone is told nothing.
                give.send(Err(failure.into())).await.ok();
                return;
            }
        },
    };
    // The first event says at once where the listener stands.
    let mut is_first = true;
    loop {
        let end = *sealed.borrow_and_update() as i64;
        while is_first || position < end {
            let event = event(&service, position, end).await;
            let is_over = event.is_err();
            if let Ok(event) = &event {
                position += event.entries.len() as i64;
                is_first = false;
            }
            if give.send(event.map_err(Status::from)).await.is_err() || is_over {
                return;
            }
        }
        tokio::select! {
            changed = sealed.changed() => if changed.is_err() { return },
            () = give.closed() => return,
        }
    }
}

/// The entries from a position on, as far as one event takes them.
async fn event(service: &Audit, position: i64, end: i64) -> Result<v1::LogEvent, Failure> {
    let stretch = Stretch { after: position - 1, before: end, limit: EVENT_MAX };
    let found = service.db.read("audit.watch_log", |conn| {
        Box::pin(async move { store::entries::list(conn, &Wanted::default(), stretch).await })
    });
    let rows = found.await?;
    let next = position + rows.len() as i64;
    let entries = rows.into_iter().map(shape::sealed_out).collect();
    Ok(v1::LogEvent { position: Some(next.to_string()), entries })
}
