//! Bindings of stations to places, what was heard of them, and signed looks at silent ones.
//! It never changes one.

use diesel::QueryableByName;
use diesel::sql_types::{Bool, Integer, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::rows::Table;

/// Bindings.
pub const BINDING: Table = Table::of("haccp.station_place");
/// What was heard.
pub const HEARD: Table = Table::of("haccp.station_heard");
/// Looks.
pub const LOOK: Table = Table::of("haccp.station_look");

/// A binding.
#[derive(QueryableByName, Clone, Debug)]
pub struct BindingRow {
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = Text)]
    pub station_name: String,
    #[diesel(sql_type = SqlUuid)]
    pub place: Uuid,
    #[diesel(sql_type = Text)]
    pub place_name: String,
    #[diesel(sql_type = Bool)]
    pub is_bound: bool,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

/// One binding.
pub async fn binding(conn: &mut AsyncPgConnection, id: Uuid) -> Result<BindingRow, Failure> {
    let query = "SELECT station_id AS station, station_name, place, place_name, is_bound, \
        recorded_at \
        FROM haccp.station_place WHERE id = $1";
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}

/// What was heard once.
#[derive(QueryableByName, Clone, Debug)]
pub struct HeardRow {
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = Timestamptz)]
    pub heard_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Integer)]
    pub queued: i32,
}

/// What was heard under one record.
pub async fn heard(conn: &mut AsyncPgConnection, id: Uuid) -> Result<HeardRow, Failure> {
    let query = "SELECT station_id AS station, heard_at, queued FROM haccp.station_heard \
        WHERE id = $1";
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}

/// A look.
#[derive(QueryableByName, Clone, Debug)]
pub struct LookRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = Timestamptz)]
    pub look_from: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub look_to: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub note: String,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

/// One look.
pub async fn look(conn: &mut AsyncPgConnection, id: Uuid) -> Result<LookRow, Failure> {
    let query = "SELECT id, station_id AS station, look_from, look_to, note, entered_by_name, \
        recorded_at FROM haccp.station_look WHERE id = $1";
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}
