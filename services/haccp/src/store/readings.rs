//! Readings and their amendments as rows.
//! It never changes one: an amendment stands beside what it supersedes.

use diesel::sql_types::Uuid as SqlUuid;
use diesel::sql_types::{Array, BigInt, Bool, Bytea, Date, Integer, Nullable, Text, Timestamptz};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::civil;
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::moments::Moments;
use platform::pages::Page;
use platform::statement::{planned, statement};
use uuid::Uuid;

/// What an amendment names.
#[derive(Clone, Debug)]
pub struct Amends {
    /// The first reading.
    pub supersedes: Uuid,
    /// Why.
    pub reason: String,
    /// The signature's ticket.
    pub ticket: Uuid,
}

/// A reading.
#[derive(Clone, Debug)]
pub struct ReadingRow {
    pub id: Uuid,
    pub lots: Vec<Uuid>,
    pub plan: Uuid,
    pub plan_version: i32,
    pub check_code: String,
    pub readings: Vec<String>,
    pub unit: String,
    pub verdict: String,
    pub instrument: Option<Uuid>,
    pub instrument_check: Option<Uuid>,
    pub correction: Option<String>,
    pub amends: Option<Amends>,
    pub moments: Moments,
    pub day: civil::Date,
    pub entered_by: String,
    pub entered_by_name: String,
    pub station: String,
    pub note: String,
    pub fingerprint: Vec<u8>,
    /// The deviation that it opened.
    pub deviation: Option<Uuid>,
    /// Whether it makes its lots less safe without a deviation; only when it is written.
    pub is_less_safe: bool,
}

/// A reading as the database gives it.
#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Array<SqlUuid>)]
    lots: Vec<Uuid>,
    #[diesel(sql_type = SqlUuid)]
    plan: Uuid,
    #[diesel(sql_type = Integer)]
    plan_version: i32,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Array<Text>)]
    read: Vec<String>,
    #[diesel(sql_type = Text)]
    unit: String,
    #[diesel(sql_type = Text)]
    verdict: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    instrument: Option<Uuid>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    instrument_check: Option<Uuid>,
    #[diesel(sql_type = Nullable<Text>)]
    correction: Option<String>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    supersedes: Option<Uuid>,
    #[diesel(sql_type = Nullable<Text>)]
    reason: Option<String>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    ticket: Option<Uuid>,
    #[diesel(sql_type = Timestamptz)]
    observed_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    entered_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = BigInt)]
    offset_ms: i64,
    #[diesel(sql_type = Bool)]
    happened: bool,
    #[diesel(sql_type = Date)]
    day: jiff_diesel::Date,
    #[diesel(sql_type = Text)]
    entered_by: String,
    #[diesel(sql_type = Text)]
    entered_by_name: String,
    #[diesel(sql_type = Text)]
    station: String,
    #[diesel(sql_type = Text)]
    note: String,
    #[diesel(sql_type = Bytea)]
    fingerprint: Vec<u8>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    deviation: Option<Uuid>,
}

const SELECT: &str = "SELECT r.id, ARRAY(SELECT lot FROM haccp.reading_lot WHERE reading = r.id \
    ORDER BY lot) AS lots, r.plan, r.plan_version, r.check_code, r.readings::text[] AS read, \
    r.unit, r.verdict, r.instrument, r.instrument_check, r.correction::text AS correction, \
    r.supersedes, r.reason, r.ticket, r.observed_at, r.entered_at, \
    r.recorded_at, r.offset_ms, r.happened, r.day, r.entered_by, r.entered_by_name, r.station, \
    r.note, r.fingerprint, d.id AS deviation FROM haccp.reading AS r \
    LEFT JOIN haccp.deviation AS d ON d.reading = r.id";

impl From<Found> for ReadingRow {
    fn from(found: Found) -> Self {
        let named = found.supersedes.zip(found.reason).zip(found.ticket);
        let amends =
            named.map(|((supersedes, reason), ticket)| Amends { supersedes, reason, ticket });
        let moments = Moments {
            observed_at: found.observed_at.to_jiff(),
            entered_at: found.entered_at.to_jiff(),
            recorded_at: found.recorded_at.to_jiff(),
            offset_ms: found.offset_ms,
            happened: found.happened,
        };
        Self {
            id: found.id,
            lots: found.lots,
            plan: found.plan,
            plan_version: found.plan_version,
            check_code: found.check_code,
            readings: found.read,
            unit: found.unit,
            verdict: found.verdict,
            instrument: found.instrument,
            instrument_check: found.instrument_check,
            correction: found.correction,
            amends,
            moments,
            day: found.day.to_jiff(),
            entered_by: found.entered_by,
            entered_by_name: found.entered_by_name,
            station: found.station,
            note: found.note,
            fingerprint: found.fingerprint,
            deviation: found.deviation,
            is_less_safe: false,
        }
    }
}

/// One reading.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<ReadingRow>, Failure> {
    let query = statement(format!("{SELECT} WHERE r.id = $1")).bind::<SqlUuid, _>(id);
    let found: Option<Found> = query.get_result(conn).await.optional()?;
    Ok(found.map(ReadingRow::from))
}

/// The amendments of readings, in the order of their ids.
pub async fn amendments(
    conn: &mut AsyncPgConnection,
    of: &[Uuid],
) -> Result<Vec<ReadingRow>, Failure> {
    let query = statement(format!("{SELECT} WHERE r.supersedes = ANY($1) ORDER BY r.id"));
    let found: Vec<Found> = query.bind::<Array<SqlUuid>, _>(of).load(conn).await?;
    Ok(found.into_iter().map(ReadingRow::from).collect())
}

/// First readings in the order of their ids, of one lot and of one day where they are named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    (lot, day): (Option<Uuid>, Option<civil::Date>),
    page: &Page,
) -> Result<Vec<ReadingRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let query = planned(format!(
        "{SELECT} WHERE r.supersedes IS NULL AND r.id > $1 AND ($2 IS NULL OR EXISTS \
         (SELECT 1 FROM haccp.reading_lot AS l WHERE l.reading = r.id AND l.lot = $2)) \
         AND ($4 IS NULL OR r.day = $4) ORDER BY r.id LIMIT $3"
    ));
    let found: Vec<Found> = query
        .bind::<SqlUuid, _>(after)
        .bind::<Nullable<SqlUuid>, _>(lot)
        .bind::<BigInt, _>(page.fetch())
        .bind::<Nullable<Date>, _>(day.map(|day| day.to_diesel()))
        .load(conn)
        .await?;
    Ok(found.into_iter().map(ReadingRow::from).collect())
}
