//! Missed checks that other evidence covers.
//! It never changes one.

use diesel::QueryableByName;
use diesel::sql_types::{Array, Integer, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::rows::Table;

/// The records.
pub const MISSED: Table = Table::of("haccp.missed_check");

/// A covered missed check.
#[derive(QueryableByName, Clone, Debug)]
pub struct MissedRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Array<SqlUuid>)]
    pub lots: Vec<Uuid>,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Timestamptz)]
    pub missed_from: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub missed_to: jiff_diesel::Timestamp,
    #[diesel(sql_type = SqlUuid)]
    pub evidence: Uuid,
    #[diesel(sql_type = Text)]
    pub cause: String,
    #[diesel(sql_type = Text)]
    pub prevention: String,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

/// One covered missed check.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<MissedRow, Failure> {
    let query = "SELECT m.id, ARRAY(SELECT lot FROM haccp.missed_check_lot \
        WHERE missed_check = m.id ORDER BY lot) AS lots, m.plan, m.plan_version, m.check_code, \
        m.missed_from, m.missed_to, m.evidence, m.cause, m.prevention, m.entered_by_name, \
        m.recorded_at FROM haccp.missed_check AS m WHERE m.id = $1";
    Ok(statement(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}
