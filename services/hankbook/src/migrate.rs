//! The one way in which roles are made and schemas change, forwards only.
//! It never runs twice at once, and never for a binary that the schema has left behind.

use std::error::Error;
use std::path::PathBuf;

use clap::Args;
use diesel::sql_types::{Bool, Integer};
use diesel::{QueryableByName, sql_query};
use diesel_async::{
    AsyncConnection, AsyncMigrationHarness, AsyncPgConnection, RunQueryDsl, SimpleAsyncConnection,
};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::database::{Database, Where};
use crate::folder::Folder;

const MIGRATIONS: EmbeddedMigrations = embed_migrations!("../../migrations");
/// The schema that this binary was written for: the number of its last migration.
pub const SCHEMA_NUMBER: i32 = 16;
/// The oldest binary that can use this schema.
const OLDEST_BINARY: i32 = 1;
/// The advisory lock under which schemas change.
const LOCK: i64 = 0x4861_6e6b;

type Failed = Box<dyn Error + Send + Sync>;

/// Where to migrate.
#[derive(Args)]
pub struct Arguments {
    /// The plant's data folder.
    #[arg(long, env = "HANKBOOK_DATA_DIR", default_value_os_t = Folder::default_path())]
    data_dir: PathBuf,
    #[command(flatten)]
    place: Where,
}

/// This binary may not use the schema that it found.
#[derive(Debug, thiserror::Error)]
#[error(
    "the database has schema {found}, which needs at least version {needed}; this binary is \
     version {ours}: start a newer hankbook"
)]
struct TooOld {
    found: i32,
    needed: i32,
    ours: i32,
}

#[derive(QueryableByName)]
struct Release {
    #[diesel(sql_type = Integer)]
    schema_number: i32,
    #[diesel(sql_type = Integer)]
    oldest_binary: i32,
}

#[derive(QueryableByName)]
struct Exists {
    #[diesel(sql_type = Bool)]
    exists: bool,
}

/// Migrates and stops.
pub fn run(arguments: &Arguments) -> Result<(), Failed> {
    let folder = Folder::open(&arguments.data_dir)?;
    let database = Database::open(&arguments.place, &folder)?;
    let runtime = tokio::runtime::Runtime::new()?;
    let migrated = runtime.block_on(async {
        let database = database.clone();
        runtime.spawn(async move { migrate(&database).await }).await?
    });
    database.stop();
    println!("schema {}", migrated?);
    Ok(())
}

/// Brings the schema forward; gives its number.
pub async fn migrate(database: &Database) -> Result<i32, Failed> {
    let mut conn = AsyncPgConnection::establish(&database.migrator()).await?;
    conn.batch_execute(&format!("SELECT pg_advisory_lock({LOCK})")).await?;
    let found = release(&mut conn).await?;
    if let Some(release) = &found
        && release.oldest_binary > SCHEMA_NUMBER
    {
        let (found, needed) = (release.schema_number, release.oldest_binary);
        return Err(TooOld { found, needed, ours: SCHEMA_NUMBER }.into());
    }
    if found.is_none_or(|release| release.schema_number < SCHEMA_NUMBER) {
        let mut harness = AsyncMigrationHarness::new(conn);
        harness.run_pending_migrations(MIGRATIONS)?;
        conn = harness.into_inner();
        let noted = format!(
            "INSERT INTO house.release (schema_number, oldest_binary) \
             VALUES ({SCHEMA_NUMBER}, {OLDEST_BINARY}) ON CONFLICT (only_row) DO UPDATE \
             SET schema_number = excluded.schema_number, oldest_binary = excluded.oldest_binary"
        );
        conn.batch_execute(&format!("SET ROLE hankbook_owner; {noted}; RESET ROLE")).await?;
    }
    // The lock goes with the connection.
    Ok(SCHEMA_NUMBER)
}

/// The number of the schema that a database has, if it has one of ours.
pub async fn schema(conn: &mut AsyncPgConnection) -> Result<Option<i32>, Failed> {
    Ok(release(conn).await?.map(|release| release.schema_number))
}

async fn release(conn: &mut AsyncPgConnection) -> Result<Option<Release>, Failed> {
    let probe = "SELECT to_regclass('house.release') IS NOT NULL AS exists";
    let Exists { exists } = sql_query(probe).get_result(conn).await?;
    if !exists {
        return Ok(None);
    }
    let rows = sql_query("SELECT schema_number, oldest_binary FROM house.release");
    Ok(rows.load::<Release>(conn).await?.pop())
}

#[cfg(test)]
mod tests {
    use super::*;
    use diesel::migration::MigrationSource;
    use diesel::pg::Pg;

    #[test]
    fn the_schema_number_is_that_of_the_last_migration() {
        let all = MigrationSource::<Pg>::migrations(&MIGRATIONS).expect("embedded migrations");
        let last = all.iter().map(|m| m.name().version().to_string()).max().expect("some");
        assert_eq!(last.parse::<i32>().expect("a number"), SCHEMA_NUMBER);
    }
}
