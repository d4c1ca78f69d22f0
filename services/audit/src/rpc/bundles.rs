//! Bundles: all entries about something with what proves them, as a file to take away.
//! It never leaves out an entry that the signed list names.

use std::sync::Arc;

use bytes::Bytes;
use platform::error::{Failure, Kind};
use serde::Serialize;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use wire::google::api::HttpBody;
use wire::v1;

use super::checkpoints::{incomplete, named};
use crate::bundle::{self, Beside, FORM, Head, List, RECORDS_MAX, Record, Tail, Within};
use crate::shape::{self, About};
use crate::store::entries::{Place, Stretch};
use crate::store::tree::CheckpointRow;
use crate::{Audit, store};

/// How many entries are read at once; the first ones are few, so that they are sent early.
const FIRST: usize = 100;
const ENTRIES: usize = 2000;
/// About how much is sent at once.
const CHUNK: usize = 256 * 1024;
/// Chunks on their way to a slow reader.
const AHEAD: usize = 4;
/// One JSON object a line.
const MEDIA_TYPE: &str = "application/jsonl";

/// Entries in the order of their places, some at a time.
type Entries = mpsc::Receiver<Result<Vec<String>, Failure>>;
type Out = mpsc::Sender<Result<HttpBody, Status>>;

/// What a bundle is made of.
struct Parts {
    head: Head,
    /// Its records, in the order of the log.
    places: Vec<Place>,
    checkpoint: CheckpointRow,
}

type Sent = Result<Response<ReceiverStream<Result<HttpBody, Status>>>, Status>;

/// Finds the records of a bundle and begins to send it.
pub async fn get(service: &Audit, request: Request<v1::GetBundleRequest>) -> Sent {
    let text = request.into_inner().about;
    let about = shape::about(&text)?;
    let name = text.replace(':', "-");
    let (checkpoint, origin) = named(service, None).await?;
    if checkpoint.key != service.key.key.public(&origin).to_string() {
        let text = "The newest checkpoint is by another key; ask the process that seals.";
        return Err(Failure::new(Kind::Unavailable, text).into());
    }
    let places = places(service, about, checkpoint.size).await?;
    let size = checkpoint.size as u64;
    let head = Head { about: text, form: FORM.to_owned(), origin, size };
    let parts = Parts { head, places, checkpoint };
    let own = service.clone();
    as_file(service, &name, |lines| async move { send(&own, parts, lines).await })
}

/// Finds entries and begins to send them as they are.
pub async fn entries_of(service: &Audit, request: Request<v1::GetEntriesOfRequest>) -> Sent {
    let text = request.into_inner().about;
    let about = shape::about(&text)?;
    let name = format!("entries-{}", text.replace(':', "-"));
    let (checkpoint, _) = named(service, None).await?;
    let places = Arc::new(places(service, about, checkpoint.size).await?);
    let own = service.clone();
    as_file(service, &name, |mut lines| async move {
        let entries = entries(&own, places.clone());
        let as_it_is = |chunk: &mut Vec<u8>, entry: String, _: &Place| {
            chunk.extend_from_slice(entry.as_bytes());
            Ok(())
        };
        // A reader who has gone needs no end.
        lines.add_entries(entries, &places, as_it_is).await?;
        lines.send().await;
        Ok(())
    })
}

/// Sends lines as a file to take away, while they are made.
fn as_file<F>(service: &Audit, name: &str, make: impl FnOnce(Lines) -> F) -> Sent
where
    F: Future<Output = Result<(), Failure>> + Send + 'static,
{
    let (give, take) = mpsc::channel(AHEAD);
    let making = make(Lines::to(give.clone()));
    service.house.tasks.spawn(async move {
        if let Err(failure) = making.await {
            // A reader who has gone is told nothing.
            give.send(Err(failure.into())).await.ok();
        }
    });
    let mut response = Response::new(ReceiverStream::new(take));
    let value = format!("attachment; filename=\"{name}.jsonl\"").parse();
    response.metadata_mut().insert("content-disposition", value.map_err(Failure::internal)?);
    Ok(response)
}

/// Where the records of a bundle stand, in the order of the log. Errors: there are too many.
async fn places(service: &Audit, about: About, size: i64) -> Result<Vec<Place>, Failure> {
    let found = service.db.read("audit.bundle", |conn| {
        Box::pin(async move {
            let limit = RECORDS_MAX as i64 + 1;
            let stretch = Stretch { after: -1, before: size, limit };
            let mut places = store::entries::places(conn, &about.wanted(), stretch).await?;
            if matches!(about, About::Lot(_)) {
                // What was recorded about these records: ends of deviations and of holds.
                let ids: Vec<_> = places.iter().map(|place| place.id).collect();
                places.extend(store::entries::naming(conn, &ids, stretch).await?);
                places.sort_unstable_by_key(|place| place.position);
                places.dedup_by_key(|place| place.position);
            }
            Ok(places)
        })
    });
    let places = found.await?;
    if places.len() > RECORDS_MAX {
        let text = format!("At most {RECORDS_MAX} records are given at once; ask for fewer days.");
        return Err(Failure::new(Kind::TooLarge, text));
    }
    Ok(places)
}

/// Lines on their way to a reader.
struct Lines {
    chunk: Vec<u8>,
    out: Out,
}

impl Lines {
    fn to(out: Out) -> Self {
        Self { chunk: Vec::with_capacity(CHUNK * 2), out }
    }

    /// Writes a line.
    fn add(&mut self, line: &impl Serialize) -> Result<(), Failure> {
        serde_json::to_writer(&mut self.chunk, line).map_err(Failure::internal)?;
        self.chunk.push(b'\n');
        Ok(())
    }

    /// Writes each entry of some places by `write`, and sends them as they come; false when the
    /// reader has gone. Errors: entries ended before places did, and nothing must look whole.
    async fn add_entries(
        &mut self,
        mut entries: Entries,
        places: &[Place],
        write: impl Fn(&mut Vec<u8>, String, &Place) -> Result<(), Failure>,
    ) -> Result<bool, Failure> {
        let (mut places, mut is_first) = (places.iter(), true);
        while let Some(read) = entries.recv().await {
            for (entry, place) in read?.into_iter().zip(places.by_ref()) {
                write(&mut self.chunk, entry, place)?;
                self.chunk.push(b'\n');
                if self.chunk.len() >= CHUNK && !self.send().await {
                    return Ok(false);
                }
            }
            // The first ones do not wait for a whole chunk.
            if is_first && !self.send().await {
                return Ok(false);
            }
            is_first = false;
        }
        if places.next().is_some() { Err(incomplete()) } else { Ok(true) }
    }

    /// Sends what there is, no message larger than a reader takes; false when the reader has gone.
    async fn send(&mut self) -> bool {
        let mut data: Bytes =
            std::mem::replace(&mut self.chunk, Vec::with_capacity(CHUNK * 2)).into();
        while !data.is_empty() {
            let part = data.split_to(data.len().min(CHUNK * 2));
            let part = HttpBody { content_type: MEDIA_TYPE.to_owned(), data: part };
            if self.out.send(Ok(part)).await.is_err() {
                return false;
            }
        }
        true
    }
}

/// Sends the lines of a bundle; a reader who goes away ends it.
async fn send(service: &Audit, parts: Parts, mut lines: Lines) -> Result<(), Failure> {
    let Parts { head, places, checkpoint } = parts;
    let origin = head.origin.clone();
    let places = Arc::new(places);
    // What proves the records is made while they are sent.
    let proof = proof(service.clone(), places.clone(), head.size);
    let proof = service.house.tasks.spawn(proof);
    let entries = entries(service, places.clone());
    lines.add(&head)?;
    let in_place = |chunk: &mut Vec<u8>, entry: String, place: &Place| {
        let record = Record { entry, position: place.position as u64 };
        serde_json::to_writer(chunk, &record).map_err(Failure::internal)
    };
    if !lines.add_entries(entries, &places, in_place).await? {
        return Ok(());
    }
    let head = line(&head)?;
    let [list, beside, within] = proof.await.map_err(Failure::internal)??;
    let manifest = bundle::manifest([&head, &list, &beside, &within].map(|line| line.as_slice()));
    for line in [list, beside, within] {
        lines.chunk.extend(line);
        lines.chunk.push(b'\n');
    }
    let manifest = service.key.key.sign(&origin, &manifest);
    lines.add(&Tail { checkpoint: checkpoint.note, key: checkpoint.key, manifest })?;
    // A reader who has gone needs no end.
    lines.send().await;
    Ok(())
}

/// Reads the entries of a bundle in their order, some ahead of those that are sent.
fn entries(service: &Audit, places: Arc<Vec<Place>>) -> Entries {
    let (give, take) = mpsc::channel(1);
    let db = service.db.clone();
    service.house.tasks.spawn(async move {
        let (first, rest) = places.split_at(FIRST.min(places.len()));
        for share in [first].into_iter().chain(rest.chunks(ENTRIES)) {
            let ids: Vec<_> = share.iter().map(|place| place.id).collect();
            let read = db.read("audit.bundle_entries", |conn| {
                Box::pin(async move { store::entries::texts(conn, &ids).await })
            });
            let read = read.await;
            let is_over = read.is_err();
            if give.send(read).await.is_err() || is_over {
                return;
            }
        }
    });
    take
}

/// The list of a bundle, and the two lines of its tree.
async fn proof(
    service: Audit,
    places: Arc<Vec<Place>>,
    size: u64,
) -> Result<[Vec<u8>; 3], Failure> {
    let positions: Vec<_> = places.iter().map(|place| place.position as u64).collect();
    let list = places.iter().map(|place| (place.id.to_string(), place.position as u64));
    let list = line(&List { records: list.collect() })?;
    let found = service.db.read("audit.bundle_tree", |conn| {
        Box::pin(async move { store::tree::view_beside(conn, size, &places).await })
    });
    let joint = found.await?.joint(&positions).ok_or_else(incomplete)?;
    let beside = bundle::hashes_text(&joint.beside);
    let beside = line(&Beside { beside, runs: bundle::runs(&positions) })?;
    let within = line(&Within { within: bundle::hashes_text(&joint.within) })?;
    Ok([list, beside, within])
}

fn line(of: &impl Serialize) -> Result<Vec<u8>, Failure> {
    bundle::line(of).map(String::into_bytes).ok_or_else(incomplete)
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    /// Whether so many of three entries are sent as a whole, and the text that was sent.
    async fn sent(count: usize) -> (Result<bool, Failure>, String) {
        let place = |position| Place { position, id: Uuid::nil(), hash: Vec::new() };
        let places: Vec<Place> = (0..3).map(place).collect();
        let (give, entries) = mpsc::channel(1);
        let (out, mut take) = mpsc::channel(AHEAD);
        let read = (0..count).map(|at| format!("{{\"at\":{at}}}")).collect();
        give.send(Ok(read)).await.expect("room");
        drop(give);
        let mut lines = Lines::to(out);
        let as_it_is = |chunk: &mut Vec<u8>, entry: String, _: &Place| {
            chunk.extend_from_slice(entry.as_bytes());
            Ok(())
        };
        let is_whole = lines.add_entries(entries, &places, as_it_is).await;
        drop(lines);
        let mut text = Vec::new();
        while let Some(Ok(part)) = take.recv().await {
            text.extend(part.data);
        }
        (is_whole, String::from_utf8(text).expect("text"))
    }

    #[tokio::test]
    async fn entries_cut_short_are_never_a_whole_file() {
        let (is_whole, text) = sent(3).await;
        assert_eq!(is_whole.ok(), Some(true));
        assert_eq!(text, "{\"at\":0}\n{\"at\":1}\n{\"at\":2}\n");
        for count in 0..3 {
            let (is_whole, text) = sent(count).await;
            assert!(is_whole.is_err(), "{count} of 3 were sent as a whole: {text}");
        }
    }
}
