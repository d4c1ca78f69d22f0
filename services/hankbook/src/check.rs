//! `hankbook check`: looks whether a plant's database still keeps what it promises.
//! It never writes to it: it reads one snapshot and says what differs.

mod promises;
mod replay;

use std::error::Error;
use std::path::PathBuf;

use clap::{Args, Subcommand};
use diesel_async::{AsyncConnection, AsyncPgConnection};

use crate::database::{Database, Where};
use crate::folder::Folder;
use crate::migrate;

type Failed = Box<dyn Error + Send + Sync>;

/// What to check.
#[derive(Args)]
pub struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Compare every state table with a replay of the records, every record with its leaf and its
    /// links, and every leaf with its hash. Exit 1 when anything differs.
    Replay(Place),
}

/// Where the plant's data is.
#[derive(Args)]
struct Place {
    /// The plant's data folder; no running house may hold it.
    #[arg(long, env = "HANKBOOK_DATA_DIR", default_value_os_t = Folder::default_path())]
    data_dir: PathBuf,
    #[command(flatten)]
    place: Where,
}

/// Why nothing was compared, or what came of it.
#[derive(Debug, thiserror::Error)]
enum Refused {
    #[error("the database has no schema of Hankbook; there is nothing to check")]
    NoSchema,
    #[error("the database has schema {found} and this binary checks schema {ours}; use its own")]
    OtherSchema { found: i32, ours: i32 },
    #[error("{differing} of {all} promises are not kept")]
    NotKept { differing: usize, all: usize },
}

/// Checks and stops.
pub fn run(arguments: &Arguments) -> Result<(), Failed> {
    let What::Replay(place) = &arguments.what;
    let database = Database::open_made(&place.place, &place.data_dir)?;
    let runtime = tokio::runtime::Runtime::new()?;
    let checked = runtime.block_on(async {
        let database = database.clone();
        runtime.spawn(async move { check(&database).await }).await?
    });
    database.stop();
    checked
}

async fn check(database: &Database) -> Result<(), Failed> {
    let mut conn = AsyncPgConnection::establish(&database.migrator()).await?;
    let ours = migrate::SCHEMA_NUMBER;
    match migrate::schema(&mut conn).await? {
        None => return Err(Refused::NoSchema.into()),
        Some(found) if found != ours => return Err(Refused::OtherSchema { found, ours }.into()),
        Some(_) => {}
    }
    let (differing, all) = replay::compare(&mut conn).await?;
    println!("{} of {all} promises are kept.", all - differing);
    if differing > 0 { Err(Refused::NotKept { differing, all }.into()) } else { Ok(()) }
}
