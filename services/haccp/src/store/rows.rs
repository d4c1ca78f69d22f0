//! What every record of this service has in common: the same call twice, its row, leaf and links.
//! It never changes a row.

use diesel::sql_types::{Array, Bytea, Text, Uuid as SqlUuid};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::moments::Moments;
use platform::records::{self, Stamp};
use platform::statement::statement;
use serde_json::{Value, json};
use uuid::Uuid;

/// A table of records and the column that holds the record's id.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    /// `haccp.challenge`
    pub name: &'static str,
    /// `id`; `record_id` where the id is that of a thing with versions.
    pub key: &'static str,
}

impl Table {
    /// A table of records that are keyed by their own id.
    pub const fn of(name: &'static str) -> Self {
        Self { name, key: "id" }
    }
}

#[derive(QueryableByName)]
struct Known {
    #[diesel(sql_type = Text)]
    entered_by: String,
    #[diesel(sql_type = Bytea)]
    fingerprint: Vec<u8>,
}

/// Whether this very call was recorded before. Another call on the same id is refused.
pub async fn known(
    conn: &mut AsyncPgConnection,
    table: Table,
    stamp: &Stamp,
) -> Result<bool, Failure> {
    let Table { name, key } = table;
    // What the service opened by itself has no fingerprint: it is never the same call.
    let query = format!(
        "SELECT entered_by, coalesce(fingerprint, '') AS fingerprint FROM {name} WHERE {key} = $1"
    );
    let found: Option<Known> =
        statement(query).bind::<SqlUuid, _>(stamp.id).get_result(conn).await.optional()?;
    match found {
        Some(found) => stamp.same_as(&found.entered_by, &found.fingerprint).map(|()| true),
        None => Ok(false),
    }
}

/// What a record says: its own columns (measured values as decimal texts) and its entry.
#[derive(Clone, Debug)]
pub struct Record {
    /// The table.
    pub table: Table,
    /// The form of the entry: `haccp.challenge/1`.
    pub form: &'static str,
    /// Who recorded it.
    pub stamp: Stamp,
    /// When it was observed, where it tells of something observed.
    pub moments: Option<Moments>,
    /// An object of the record's own columns.
    pub columns: Value,
    /// An object of the entry's own fields; the times are added.
    pub entry: Value,
}

/// Writes a record's row and its leaf.
pub async fn insert(conn: &mut AsyncPgConnection, record: &Record) -> Result<(), Failure> {
    let Record { table, form, stamp, moments, columns, entry } = record;
    let mut row = json!({
        "recorded_at": stamp.recorded_at.to_string(),
        "day": stamp.day.to_string(),
        "entered_by": stamp.entered_by,
        "entered_by_name": stamp.entered_by_name,
        "station": stamp.station,
        "fingerprint": hex(&stamp.fingerprint),
    });
    row[table.key] = json!(stamp.id.to_string());
    let mut entry = entry.clone();
    if let Some(moments) = moments {
        row["observed_at"] = json!(moments.observed_at.to_string());
        row["entered_at"] = json!(moments.entered_at.to_string());
        row["offset_ms"] = json!(moments.offset_ms);
        row["happened"] = json!(moments.happened);
        entry["times"] = Value::from(*moments);
    }
    if let (Some(row), Some(columns)) = (row.as_object_mut(), columns.as_object()) {
        row.extend(columns.clone());
    }
    let name = table.name;
    let text =
        format!("INSERT INTO {name} SELECT * FROM jsonb_populate_record(NULL::{name}, $1::jsonb)");
    statement(text).bind::<Text, _>(row.to_string()).execute(conn).await?;
    records::insert_leaves(conn, vec![stamp.leaf(form, entry)?]).await
}

/// Writes the links of a record to its lots: `table` has the columns `column` and `lot`.
pub async fn link(
    conn: &mut AsyncPgConnection,
    (table, column): (&'static str, &'static str),
    record: Uuid,
    lots: &[Uuid],
) -> Result<(), Failure> {
    let text = format!("INSERT INTO {table} ({column}, lot) SELECT $1, unnest($2)");
    statement(text)
        .bind::<SqlUuid, _>(record)
        .bind::<Array<SqlUuid>, _>(lots)
        .execute(conn)
        .await?;
    Ok(())
}

/// Bytes as Postgres reads them from text.
pub fn hex(bytes: &[u8]) -> String {
    let digits = bytes.iter().map(|byte| format!("{byte:02x}"));
    format!("\\x{}", digits.collect::<String>())
}
