//! The one job that gives leaves their order, grows the tree and signs its heads.
//! It never waits for a transaction of somebody else, and never signs what contradicts a head that
//! was signed before.

mod fault;

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use diesel_async::AsyncPgConnection;
use domain::record::Hash;
use domain::tree::Peaks;
use jiff_diesel::ToDiesel as _;
use platform::db::{self, Connect};
use platform::error::Failure;
use platform::service::House;
use tokio::sync::watch;
use uuid::Uuid;

use crate::bundle::{Said, said};
use crate::note::{Checkpoint, SigningKey};
use crate::store::seal::{self, Seen, Unsealed};
use crate::store::tree::{self, CheckpointRow};

pub use fault::STEPS;

/// How often unsealed leaves are looked for.
const TICK: Duration = Duration::from_millis(250);
/// The same after so many at once that fewer steps spare those who write; nobody waits a second.
const TICK_LOADED: Duration = Duration::from_millis(500);
const LOADED: usize = 200;
/// The wait after a failure.
const AFTER_FAILURE: Duration = Duration::from_secs(2);
/// The most leaves sealed in one transaction.
const ROUND_MAX: usize = 10_000;

/// The key of a log, and the file that remembers its last head outside the database.
pub struct LogKey {
    /// Signs heads.
    pub key: SigningKey,
    /// Where the last signed head is kept.
    pub head: PathBuf,
}

/// Why the sealer does not go on.
#[derive(Debug, thiserror::Error)]
enum Stuck {
    #[error("the database: {}", .0.detail)]
    Database(Failure),
    #[error("the file of the last head: {0}")]
    File(io::Error),
    /// Somebody has changed what was sealed, or put an older database in its place.
    #[error("the log does not continue what was signed: {0}")]
    Broken(&'static str),
}

impl From<Failure> for Stuck {
    fn from(failure: Failure) -> Self {
        Self::Database(failure)
    }
}

impl From<io::Error> for Stuck {
    fn from(error: io::Error) -> Self {
        Self::File(error)
    }
}

/// The sealer of a process; of several on one database one seals and the others follow.
pub struct Sealer {
    pub house: House,
    pub connect: Connect,
    pub key: Arc<LogKey>,
    /// False: this process only follows.
    pub seals: bool,
    /// How many leaves a signed checkpoint covers, told to whoever watches.
    pub told: watch::Sender<u64>,
}

/// A tree that grows.
struct Growing {
    origin: String,
    peaks: Peaks,
    /// What the last whole scan saw.
    seen: Seen,
}

impl Sealer {
    /// Seals until the process stops, and once more then.
    pub fn start(self) {
        let tasks = self.house.tasks.clone();
        tasks.spawn(async move {
            while !self.house.tasks.is_stopping() {
                if let Err(stuck) = self.session().await {
                    tracing::error!(why = %stuck, "nothing is sealed now");
                    self.pause(AFTER_FAILURE).await;
                }
            }
        });
    }

    async fn pause(&self, length: Duration) {
        tokio::select! {
            () = tokio::time::sleep(length) => {}
            () = self.house.tasks.stopping() => {}
        }
    }

    /// Seals, or follows, on one connection; the lock is its, and so is every write.
    async fn session(&self) -> Result<(), Stuck> {
        let mut conn = db::dedicated(&self.connect).await?;
        let mut growing = None;
        loop {
            if growing.is_none() && self.seals && seal::try_lock(&mut conn).await? {
                growing = Some(self.open(&mut conn).await?);
            }
            let is_last = self.house.tasks.is_stopping();
            let mut tick = TICK;
            if let Some(growing) = &mut growing {
                if self.drain(&mut conn, growing).await? >= LOADED {
                    tick = TICK_LOADED;
                }
            } else {
                let newest = tree::checkpoint(&mut conn, None).await?;
                self.tell(newest.map_or(0, |row| row.size as u64));
            }
            if is_last {
                return Ok(());
            }
            self.pause(tick).await;
        }
    }

    fn tell(&self, size: u64) {
        self.told.send_if_modified(|told| std::mem::replace(told, size) != size);
    }

    /// Reads the tree as it stands and compares it with the heads that were signed.
    async fn open(&self, conn: &mut AsyncPgConnection) -> Result<Growing, Stuck> {
        let origin = origin(tree::plant(conn).await?);
        let size = tree::size(conn).await?;
        let peaks = tree::view(conn, size, &[]).await?.peaks();
        let peaks = peaks.ok_or(Stuck::Broken("a part of the stored tree is missing"))?;
        if let Some(note) = read_head(&self.key)? {
            let head = Checkpoint::open(&note, &self.key.key.public(&origin));
            let head = head.map_err(|_| Stuck::Broken("the file of the last head is not ours"))?;
            is_begun_by(conn, size, (head.size, &head.root)).await?;
        }
        let newest = tree::checkpoint(conn, None).await?;
        let signed = newest.as_ref().map_or(0, |row| row.size as u64);
        if let Some(row) = &newest {
            is_begun_by(conn, size, (signed, &row.root)).await?;
        }
        self.tell(signed);
        let mut growing = Growing { origin, peaks, seen: Seen::nothing() };
        if let Some(seen) = seal::kept(conn).await? {
            growing.seen = seen;
        }
        if size > signed {
            // Sealed, and the process ended before it was signed.
            self.sign(conn, &growing).await?;
        }
        Ok(growing)
    }

    /// Seals everything that is visible now; gives how many leaves that were.
    async fn drain(
        &self,
        conn: &mut AsyncPgConnection,
        growing: &mut Growing,
    ) -> Result<usize, Stuck> {
        let (mut first, mut last, mut count) = (None, None, 0);
        loop {
            let snapshot = seal::begin(conn).await?;
            // Leaves that appear between two rounds are not covered by what the first one saw.
            let first = first.get_or_insert(snapshot);
            let limit = ROUND_MAX as i64;
            let leaves = seal::unsealed(conn, &growing.seen, last.as_ref(), limit).await?;
            let is_drained = leaves.len() < ROUND_MAX;
            let is_new = !leaves.is_empty();
            count += leaves.len();
            if is_new {
                fault::after("scanned");
                let peaks = grow(conn, &growing.peaks, &leaves).await?;
                if is_drained {
                    seal::keep(conn, first).await?;
                }
                fault::after("noted");
                seal::commit(conn).await?;
                fault::after("committed");
                growing.peaks = peaks;
                self.sign(conn, growing).await?;
            } else {
                seal::commit(conn).await?;
            }
            last = leaves.into_iter().next_back();
            if is_drained {
                growing.seen = Seen::of_snapshot(first).unwrap_or_else(Seen::nothing);
                return Ok(count);
            }
        }
    }

    /// Signs the head of a tree whose leaves are committed: another order of them cannot come
    /// about any more, so that no two heads ever contradict each other.
    async fn sign(&self, conn: &mut AsyncPgConnection, growing: &Growing) -> Result<(), Stuck> {
        let key = &self.key;
        let (size, root) = (growing.peaks.size(), growing.peaks.root());
        let head = Checkpoint { origin: growing.origin.clone(), size, root };
        let note = key.key.sign(&growing.origin, &head.text());
        fault::after("signed");
        let (head, text) = (key.head.clone(), note.clone());
        let written = tokio::task::spawn_blocking(move || write_head(&head, &text)).await;
        written.map_err(io::Error::other)??;
        fault::after("head-named");
        let row = CheckpointRow {
            size: size as i64,
            root: root.to_vec(),
            note,
            key: key.key.public(&growing.origin).to_string(),
            signed_at: self.house.clock.now().to_diesel(),
        };
        // It may be lost in a power cut: what it covers is kept, and is signed again then.
        seal::begin_lazily(conn).await?;
        tree::insert_checkpoint(conn, &row).await?;
        seal::commit(conn).await?;
        fault::after("published");
        self.tell(size);
        Ok(())
    }
}

/// The name of a plant's log and of its key.
pub fn origin(plant: Uuid) -> String {
    format!("hankbook.invalid/log/{plant}")
}

/// Whether the stored tree of `size` leaves begins with a signed head.
async fn is_begun_by(
    conn: &mut AsyncPgConnection,
    size: u64,
    (signed, root): (u64, &[u8]),
) -> Result<(), Stuck> {
    if signed > size {
        return Err(Stuck::Broken("a signed head is ahead of the database"));
    }
    let found = tree::view(conn, signed, &[]).await?.root();
    match found.is_some_and(|found| found == root) {
        true => Ok(()),
        false => Err(Stuck::Broken("the stored tree has not the root that was signed")),
    }
}

/// Gives leaves the next positions; gives the tree as it is then.
async fn grow(
    conn: &mut AsyncPgConnection,
    peaks: &Peaks,
    leaves: &[Unsealed],
) -> Result<Peaks, Stuck> {
    if tree::size(conn).await? != peaks.size() {
        return Err(Stuck::Broken("somebody else has changed the sealed order"));
    }
    let first = peaks.size();
    let (mut peaks, mut nodes) = (peaks.clone(), Vec::new());
    let mut filed = Vec::new();
    for leaf in leaves {
        let position = peaks.size() as i64;
        filed.extend(keys_of(leaf).into_iter().map(|key| (key, position)));
        let hash: Hash = leaf.hash.as_slice().try_into().map_err(Failure::internal)?;
        nodes.extend(peaks.push(hash));
    }
    seal::insert_sealed(conn, first as i64, leaves).await?;
    fault::after("ordered");
    seal::insert_subtrees(conn, &nodes).await?;
    fault::after("grown");
    // In the order of their index, in which neighbours share its pages.
    filed.sort_unstable();
    seal::insert_filed(conn, &filed).await?;
    fault::after("filed");
    Ok(peaks)
}

/// The ids under which an entry is found: its subject's, its lots', the person's.
pub fn keys_of(leaf: &Unsealed) -> BTreeSet<Uuid> {
    let Said { entered_by, lots, .. } = said(&leaf.entry);
    let subject = leaf.subject.split_once(':').map(|(_, id)| id.to_owned());
    let named = lots.into_iter().chain(subject).chain([entered_by]);
    named.filter_map(|id| id.parse().ok()).collect()
}

fn read_head(key: &LogKey) -> io::Result<Option<String>> {
    match fs::read_to_string(&key.head) {
        Ok(note) => Ok(Some(note)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Replaces the file as a whole: a crash leaves the old head or the new one, and a power cut never
/// the new name on bytes that were not kept.
fn write_head(head: &Path, note: &str) -> io::Result<()> {
    let new = head.with_extension("new");
    let mut file = fs::File::create(&new)?;
    file.write_all(note.as_bytes())?;
    file.sync_all()?;
    fault::after("head-written");
    fs::rename(&new, head)?;
    match head.parent() {
        Some(folder) => fs::File::open(folder)?.sync_all(),
        None => Ok(()),
    }
}
