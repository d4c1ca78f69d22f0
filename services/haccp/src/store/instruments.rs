//! Instruments by version, their checks, and what was measured with them.
//! It never changes a version or a check.

use diesel::sql_types::{
    Array, BigInt, Bool, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::statement;
use uuid::Uuid;

use super::rows::Table;

/// Versions of instruments.
pub const INSTRUMENT: Table = Table { name: "haccp.instrument", key: "record_id" };
/// Their checks.
pub const CHECK: Table = Table::of("haccp.instrument_check");

/// A version of an instrument.
#[derive(QueryableByName, Clone, Debug)]
pub struct InstrumentRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Integer)]
    pub version: i32,
    #[diesel(sql_type = Text)]
    pub name: String,
    #[diesel(sql_type = Text)]
    pub kind: String,
    #[diesel(sql_type = Text)]
    pub tolerance: String,
    #[diesel(sql_type = Text)]
    pub unit: String,
    #[diesel(sql_type = Bool)]
    pub in_use: bool,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

/// A check with the tolerance of the version by which it was judged.
#[derive(QueryableByName, Clone, Debug)]
pub struct CheckRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub instrument: Uuid,
    #[diesel(sql_type = Text)]
    pub reference: String,
    #[diesel(sql_type = Text)]
    pub shown: String,
    #[diesel(sql_type = Text)]
    pub unit: String,
    #[diesel(sql_type = Text)]
    pub error: String,
    #[diesel(sql_type = Text)]
    pub verdict: String,
    #[diesel(sql_type = Text)]
    pub note: String,
    #[diesel(sql_type = Text)]
    pub tolerance: String,
    #[diesel(sql_type = Text)]
    pub tolerance_unit: String,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
}

/// An instrument with its last check at an instant.
#[derive(QueryableByName, Clone, Debug)]
pub struct UsedRow {
    #[diesel(sql_type = Text)]
    pub name: String,
    #[diesel(sql_type = Bool)]
    pub in_use: bool,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub check: Option<Uuid>,
    #[diesel(sql_type = Nullable<Text>)]
    pub error: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    pub unit: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    pub verdict: Option<String>,
}

const VERSION: &str = "SELECT DISTINCT ON (id) id, version, name, kind, tolerance::text AS \
    tolerance, unit, in_use, entered_by_name, recorded_at FROM haccp.instrument";
const CHECKS: &str = "SELECT c.id, c.instrument, c.reference::text AS reference, \
    c.shown::text AS shown, c.unit, c.error::text AS error, c.verdict, c.note, \
    i.tolerance::text AS tolerance, i.unit AS tolerance_unit, c.observed_at, c.recorded_at, \
    c.entered_by_name FROM haccp.instrument_check AS c JOIN haccp.instrument AS i \
    ON i.id = c.instrument AND i.version = c.instrument_version";

/// The newest version of an instrument.
pub async fn last(
    conn: &mut AsyncPgConnection,
    id: Uuid,
) -> Result<Option<InstrumentRow>, Failure> {
    let query = format!("{VERSION} WHERE id = $1 ORDER BY id, version DESC");
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await.optional()?)
}

/// The newest version of each instrument, in the order in which they were made.
pub async fn list(
    conn: &mut AsyncPgConnection,
    page: &Page,
) -> Result<Vec<InstrumentRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let query = format!("{VERSION} WHERE id > $1 ORDER BY id, version DESC LIMIT $2");
    let query = statement(query).bind::<SqlUuid, _>(after).bind::<BigInt, _>(page.fetch());
    Ok(query.load(conn).await?)
}

/// The last check of each of these instruments.
pub async fn last_checks(
    conn: &mut AsyncPgConnection,
    of: &[Uuid],
) -> Result<Vec<CheckRow>, Failure> {
    let query = format!(
        "SELECT DISTINCT ON (instrument) * FROM ({CHECKS} WHERE c.instrument = ANY($1)) AS found \
         ORDER BY instrument, observed_at DESC, id DESC"
    );
    Ok(statement(query).bind::<Array<SqlUuid>, _>(of).load(conn).await?)
}

/// One check.
pub async fn check(conn: &mut AsyncPgConnection, id: Uuid) -> Result<CheckRow, Failure> {
    let query = format!("{CHECKS} WHERE c.id = $1");
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}

/// An instrument with its last check at or before an instant.
pub async fn used(
    conn: &mut AsyncPgConnection,
    id: Uuid,
    at: Timestamp,
) -> Result<Option<UsedRow>, Failure> {
    let query = statement(
        "SELECT i.name, i.in_use, c.id AS check, c.error::text AS error, c.unit, c.verdict \
         FROM haccp.instrument AS i LEFT JOIN LATERAL (SELECT * FROM haccp.instrument_check AS c \
         WHERE c.instrument = i.id AND c.observed_at + c.offset_ms * interval '1 ms' <= $2 \
         ORDER BY c.observed_at DESC, c.id DESC LIMIT 1) AS c ON true \
         WHERE i.id = $1 ORDER BY i.version DESC LIMIT 1",
    );
    let query = query.bind::<SqlUuid, _>(id).bind::<Timestamptz, _>(at.to_diesel());
    Ok(query.get_result(conn).await.optional()?)
}

#[derive(QueryableByName)]
struct Measured {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
}

/// The lots of what was measured with an instrument up to an instant, after its last good check
/// before that: readings, and blocks of samples of a load.
pub async fn measured_since_good(
    conn: &mut AsyncPgConnection,
    instrument: Uuid,
    at: Timestamp,
) -> Result<Vec<Uuid>, Failure> {
    let query = statement(
        "WITH good AS (SELECT coalesce(max(observed_at), '-infinity'::timestamptz) AS at \
         FROM haccp.instrument_check WHERE instrument = $1 AND verdict = 'PASS' \
         AND observed_at < $2), \
         read AS (SELECT link.lot FROM haccp.reading AS r, good, haccp.reading_lot AS link \
         WHERE r.instrument = $1 AND r.observed_at > good.at AND r.observed_at <= $2 \
         AND link.reading = r.id), \
         sampled AS (SELECT coalesce(block.lot, probe.lot, rack.lot) AS lot \
         FROM haccp.sample_block AS block CROSS JOIN good \
         JOIN haccp.instrument_check AS by ON by.id = block.instrument_check \
         LEFT JOIN haccp.load_probe AS probe ON probe.load = block.load \
         AND probe.probe = block.probe \
         JOIN haccp.load_rack AS rack ON rack.load = block.load \
         WHERE by.instrument = $1 AND block.observed_at > good.at AND block.observed_at <= $2) \
         SELECT DISTINCT lot FROM (SELECT lot FROM read UNION ALL SELECT lot FROM sampled) \
         AS measured ORDER BY lot",
    );
    let query = query.bind::<SqlUuid, _>(instrument).bind::<Timestamptz, _>(at.to_diesel());
    let found: Vec<Measured> = query.load(conn).await?;
    Ok(found.into_iter().map(|measured| measured.lot).collect())
}
