//! Challenges at places, each with the span that it proves or puts in doubt.
//! It never changes one.

use diesel::QueryableByName;
use diesel::sql_types::{
    BigInt, Bool, Date, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::{planned, statement};
use uuid::Uuid;

use super::rows::Table;

/// The records.
pub const CHALLENGE: Table = Table::of("haccp.challenge");

/// A challenge.
#[derive(QueryableByName, Clone, Debug)]
pub struct ChallengeRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Text)]
    pub device: String,
    #[diesel(sql_type = SqlUuid)]
    pub place: Uuid,
    #[diesel(sql_type = Text)]
    pub place_name: String,
    #[diesel(sql_type = Text)]
    pub pieces: String,
    #[diesel(sql_type = Bool)]
    pub is_good: bool,
    #[diesel(sql_type = Text)]
    pub note: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub deviation: Option<Uuid>,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    pub span_from: Option<jiff_diesel::Timestamp>,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
}

const SELECT: &str = "SELECT c.id, c.plan, c.plan_version, c.check_code, c.device, c.place, \
    c.place_name, c.pieces::text AS pieces, c.is_good, c.note, d.id AS deviation, \
    CASE WHEN d.id IS NULL THEN (SELECT max(good.observed_at + good.offset_ms * interval '1 ms') \
    FROM haccp.challenge AS good WHERE good.place = c.place AND good.device = c.device \
    AND good.is_good AND good.observed_at + good.offset_ms * interval '1 ms' \
    < c.observed_at + c.offset_ms * interval '1 ms') ELSE d.span_from END AS span_from, \
    c.observed_at, c.recorded_at, c.entered_by_name FROM haccp.challenge AS c \
    LEFT JOIN haccp.deviation AS d ON d.challenge = c.id";

/// One challenge.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<ChallengeRow, Failure> {
    let query = statement(format!("{SELECT} WHERE c.id = $1")).bind::<SqlUuid, _>(id);
    Ok(query.get_result(conn).await?)
}

/// Challenges in the order of their ids, of one place and of one day where they are named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    (place, day): (Option<Uuid>, Option<jiff::civil::Date>),
    page: &Page,
) -> Result<Vec<ChallengeRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let query = planned(format!(
        "{SELECT} WHERE c.id > $1 AND ($2 IS NULL OR c.place = $2) \
         AND ($4 IS NULL OR c.day = $4) ORDER BY c.id LIMIT $3"
    ));
    let query = query
        .bind::<SqlUuid, _>(after)
        .bind::<Nullable<SqlUuid>, _>(place)
        .bind::<BigInt, _>(page.fetch())
        .bind::<Nullable<Date>, _>(day.map(|day| day.to_diesel()));
    Ok(query.load(conn).await?)
}

#[derive(QueryableByName)]
struct Last {
    #[diesel(sql_type = Nullable<Timestamptz>)]
    at: Option<jiff_diesel::Timestamp>,
}

/// The last good challenge of a device at a place before an instant.
pub async fn last_good(
    conn: &mut AsyncPgConnection,
    (place, device): (Uuid, &str),
    before: Timestamp,
) -> Result<Option<Timestamp>, Failure> {
    let query = statement(
        "SELECT max(observed_at + offset_ms * interval '1 ms') AS at FROM haccp.challenge \
         WHERE place = $1 AND device = $2 AND is_good \
         AND observed_at + offset_ms * interval '1 ms' < $3",
    );
    let query = query
        .bind::<SqlUuid, _>(place)
        .bind::<Text, _>(device)
        .bind::<Timestamptz, _>(before.to_diesel());
    let last: Last = query.get_result(conn).await?;
    Ok(last.at.map(|at| at.to_jiff()))
}
