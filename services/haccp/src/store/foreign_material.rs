//! Foreign material as it was found, and the signed answers.
//! It never changes either.

use diesel::sql_types::{Bool, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::rows::Table;

/// What was found.
pub const FOUND: Table = Table::of("haccp.foreign_material");
/// The answers.
pub const ANSWER: Table = Table::of("haccp.foreign_material_answer");

/// What was found, with its answer.
#[derive(QueryableByName, Clone, Debug)]
pub struct FoundRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub serial: String,
    #[diesel(sql_type = Text)]
    pub what: String,
    #[diesel(sql_type = Nullable<Text>)]
    pub size_mm: Option<String>,
    #[diesel(sql_type = Text)]
    pub found_at_place: String,
    #[diesel(sql_type = Text)]
    pub knives_and_plates: String,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    pub answered_at: Option<jiff_diesel::Timestamp>,
    #[diesel(sql_type = Nullable<Text>)]
    pub answered_by_name: Option<String>,
    #[diesel(sql_type = Nullable<Bool>)]
    pub is_earlier_touched: Option<bool>,
    #[diesel(sql_type = Nullable<Text>)]
    pub why: Option<String>,
}

/// One finding with its answer.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<FoundRow>, Failure> {
    let query = statement(
        "SELECT f.id, f.lot, f.serial, f.what, f.size_mm::text AS size_mm, f.found_at_place, \
         f.knives_and_plates, f.observed_at, f.recorded_at, f.entered_by_name, \
         a.recorded_at AS answered_at, a.entered_by_name AS answered_by_name, \
         a.is_earlier_touched, a.why FROM haccp.foreign_material AS f \
         LEFT JOIN haccp.foreign_material_answer AS a ON a.foreign_material = f.id \
         WHERE f.id = $1",
    );
    Ok(query.bind::<SqlUuid, _>(id).get_result(conn).await.optional()?)
}
