//! Bundles: all entries about something with what proves them, as a file to take away.
//! It never leaves out an entry that the signed list names.

use std::collections::BTreeMap;

use bytes::{BufMut as _, Bytes, BytesMut};
use domain::tree::View;
use platform::error::{Failure, Kind};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use wire::google::api::HttpBody;
use wire::v1;

use super::checkpoints::{incomplete, named};
use crate::bundle::{self, FORM, Head, Record, Tail};
use crate::shape::{self, About};
use crate::store::entries::{EntryRow, Stretch};
use crate::store::tree::CheckpointRow;
use crate::{Audit, store};

/// The most records of a bundle.
const RECORDS_MAX: usize = 200_000;
/// About how much is sent at once.
const CHUNK: usize = 256 * 1024;
/// Chunks on their way to a slow reader.
const AHEAD: usize = 4;
/// One JSON object a line.
const MEDIA_TYPE: &str = "application/jsonl";

type Out = mpsc::Sender<Result<HttpBody, Status>>;

/// What a bundle is made of.
struct Parts {
    head: Head,
    rows: Vec<EntryRow>,
    view: View,
    checkpoint: CheckpointRow,
}

/// Gathers a bundle and begins to send it.
pub async fn get(
    service: &Audit,
    request: Request<v1::GetBundleRequest>,
) -> Result<Response<ReceiverStream<Result<HttpBody, Status>>>, Status> {
    let text = request.into_inner().about;
    let about = shape::about(&text)?;
    let name = text.replace(':', "-");
    let (checkpoint, origin) = named(service, None).await?;
    if checkpoint.key != service.key.key.public(&origin).to_string() {
        let text = "The newest checkpoint is by another key; ask the process that seals.";
        return Err(Failure::new(Kind::Unavailable, text).into());
    }
    let size = checkpoint.size;
    let found = service.db.read("audit.bundle", |conn| {
        Box::pin(async move {
            let limit = RECORDS_MAX as i64 + 1;
            let stretch = Stretch { after: -1, before: size, limit };
            let mut rows = store::entries::list(conn, &about.wanted(), stretch).await?;
            if matches!(about, About::Lot(_)) {
                // What was recorded about these records: ends of deviations and of holds.
                let ids: Vec<_> = rows.iter().map(|row| row.id).collect();
                rows.extend(store::entries::naming(conn, &ids, stretch).await?);
            }
            let rows: BTreeMap<_, _> = rows.into_iter().map(|row| (row.position, row)).collect();
            let positions: Vec<_> = rows.keys().map(|position| *position as u64).collect();
            let view = store::tree::view(conn, size as u64, &positions).await?;
            Ok((rows.into_values().collect::<Vec<_>>(), view))
        })
    });
    let (rows, view) = found.await?;
    if rows.len() > RECORDS_MAX {
        let text = format!("A bundle holds at most {RECORDS_MAX} records; ask for fewer days.");
        return Err(Failure::new(Kind::TooLarge, text).into());
    }
    let records = rows.iter().map(|row| (row.id.to_string(), row.position as u64)).collect();
    let head = Head { about: text, form: FORM.to_owned(), origin, records, size: size as u64 };
    let parts = Parts { head, rows, view, checkpoint };
    let (give, take) = mpsc::channel(AHEAD);
    let service = service.clone();
    service.house.tasks.clone().spawn(async move {
        if let Err(failure) = send(&service, parts, &give).await {
            // A reader who has gone is told nothing.
            give.send(Err(failure.into())).await.ok();
        }
    });
    let mut response = Response::new(ReceiverStream::new(take));
    let value = format!("attachment; filename=\"{name}.jsonl\"").parse();
    response.metadata_mut().insert("content-disposition", value.map_err(Failure::internal)?);
    Ok(response)
}

/// Sends the lines; a reader who goes away ends it.
async fn send(service: &Audit, mut parts: Parts, give: &Out) -> Result<(), Failure> {
    let head = bundle::line(&parts.head).ok_or_else(incomplete)?;
    let key = &service.key.key;
    let tail = Tail {
        checkpoint: parts.checkpoint.note,
        key: parts.checkpoint.key,
        manifest: key.sign(&parts.head.origin, &bundle::manifest(head.as_bytes())),
    };
    let mut chunk = BytesMut::with_capacity(CHUNK * 2);
    add(&mut chunk, head);
    for row in parts.rows {
        let position = row.position as u64;
        let hashes = parts.view.inclusion(position).ok_or_else(incomplete)?;
        let record = Record { entry: row.entry, position, proof: bundle::proof_text(&hashes) };
        add(&mut chunk, bundle::line(&record).ok_or_else(incomplete)?);
        if chunk.len() >= CHUNK && give.send(Ok(part(&mut chunk))).await.is_err() {
            return Ok(());
        }
    }
    add(&mut chunk, bundle::line(&tail).ok_or_else(incomplete)?);
    // A reader who has gone needs no end.
    give.send(Ok(part(&mut chunk))).await.ok();
    Ok(())
}

fn add(chunk: &mut BytesMut, line: String) {
    chunk.put_slice(line.as_bytes());
    chunk.put_u8(b'\n');
}

fn part(chunk: &mut BytesMut) -> HttpBody {
    let data: Bytes = chunk.split().freeze();
    HttpBody { content_type: MEDIA_TYPE.to_owned(), data }
}
