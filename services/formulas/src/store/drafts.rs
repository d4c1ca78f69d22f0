//! Drafts of formulas.
//! It never touches a formula in force.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::Timestamp;
use platform::condition::Condition;
use platform::error::Failure;
use uuid::Uuid;

use crate::schema::formula_draft;

/// A draft.
#[derive(Clone, Debug, Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = formula_draft, check_for_backend(diesel::pg::Pg))]
pub struct DraftRow {
    pub formula: Uuid,
    pub version: i32,
    pub content: Vec<u8>,
    pub edited_by: String,
    pub edited_by_name: String,
    pub edited_at: Timestamp,
}

/// The draft of a formula.
pub async fn find(
    conn: &mut AsyncPgConnection,
    formula: Uuid,
) -> Result<Option<DraftRow>, Failure> {
    let found = formula_draft::table.find(formula).select(DraftRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}

/// Replaces the draft whole when the condition holds.
pub async fn replace(
    conn: &mut AsyncPgConnection,
    draft: &DraftRow,
    condition: Condition,
) -> Result<DraftRow, Failure> {
    let standing = formula_draft::table
        .find(draft.formula)
        .select(formula_draft::version)
        .for_no_key_update()
        .first(conn)
        .await
        .optional()?;
    let row = DraftRow { version: condition.next(standing)?, ..draft.clone() };
    match standing {
        None => diesel::insert_into(formula_draft::table).values(&row).execute(conn).await?,
        Some(_) => {
            diesel::update(formula_draft::table.find(row.formula)).set(&row).execute(conn).await?
        }
    };
    Ok(row)
}

/// Throws a draft away; says whether there was one.
pub async fn delete(conn: &mut AsyncPgConnection, formula: Uuid) -> Result<bool, Failure> {
    Ok(diesel::delete(formula_draft::table.find(formula)).execute(conn).await? == 1)
}
