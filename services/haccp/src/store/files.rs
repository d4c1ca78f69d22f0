//! Files by what they are about, and their bytes apart.
//! It never reads the bytes for a list, and never changes a file.

use diesel::sql_types::{BigInt, Bytea, Integer, Text, Timestamptz, Uuid as SqlUuid};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::statement;
use uuid::Uuid;

use super::rows::Table;

/// The records.
pub const FILE: Table = Table::of("haccp.file");

/// A file without its bytes.
#[derive(QueryableByName, Clone, Debug)]
pub struct FileRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub about: String,
    #[diesel(sql_type = Text)]
    pub name: String,
    #[diesel(sql_type = Text)]
    pub media_type: String,
    #[diesel(sql_type = Integer)]
    pub bytes: i32,
    #[diesel(sql_type = Bytea)]
    pub sha256: Vec<u8>,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
}

const SELECT: &str = "SELECT id, about, name, media_type, bytes, sha256, recorded_at, \
    entered_by_name FROM haccp.file";

/// One file without its bytes.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<FileRow>, Failure> {
    let query = statement(format!("{SELECT} WHERE id = $1")).bind::<SqlUuid, _>(id);
    Ok(query.get_result(conn).await.optional()?)
}

/// Which files are listed.
#[derive(Clone, Debug)]
pub enum Wanted {
    /// Those about one thing, as kind and id.
    About(String),
    /// Those about a lot, and about what names it.
    Lot(Uuid),
}

/// What names a lot, as files do.
const OF_LOT: &str = "SELECT 'lot:' || $1 UNION ALL \
    SELECT 'reading:' || reading FROM haccp.reading_lot WHERE lot = $1 UNION ALL \
    SELECT 'deviation:' || deviation FROM haccp.deviation_lot WHERE lot = $1 UNION ALL \
    SELECT 'load:' || load FROM haccp.load_rack WHERE lot = $1 UNION ALL \
    SELECT 'foreign_material:' || id FROM haccp.foreign_material WHERE lot = $1";

/// Files, in the order of their ids.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    page: &Page,
) -> Result<Vec<FileRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let rest = "id > $2 ORDER BY id LIMIT $3";
    let found = match wanted {
        Wanted::About(about) => {
            let query = statement(format!("{SELECT} WHERE about = $1 AND {rest}"));
            let query = query.bind::<Text, _>(about).bind::<SqlUuid, _>(after);
            query.bind::<BigInt, _>(page.fetch()).load(conn).await
        }
        Wanted::Lot(lot) => {
            let query = statement(format!("{SELECT} WHERE about IN ({OF_LOT}) AND {rest}"));
            let query = query.bind::<SqlUuid, _>(lot).bind::<SqlUuid, _>(after);
            query.bind::<BigInt, _>(page.fetch()).load(conn).await
        }
    };
    Ok(found?)
}

/// Writes the bytes of a file, in the transaction of its record.
pub async fn keep(conn: &mut AsyncPgConnection, file: Uuid, bytes: &[u8]) -> Result<(), Failure> {
    let statement = statement("INSERT INTO haccp.file_content (file, content) VALUES ($1, $2)");
    statement.bind::<SqlUuid, _>(file).bind::<Bytea, _>(bytes).execute(conn).await?;
    Ok(())
}

#[derive(QueryableByName)]
struct Content {
    #[diesel(sql_type = Bytea)]
    content: Vec<u8>,
}

/// The bytes of a file.
pub async fn content(conn: &mut AsyncPgConnection, file: Uuid) -> Result<Vec<u8>, Failure> {
    let query = statement("SELECT content FROM haccp.file_content WHERE file = $1");
    let found: Content = query.bind::<SqlUuid, _>(file).get_result(conn).await?;
    Ok(found.content)
}
