//! Labels: records about their revisions.
//! It never changes a record: a new one about the same revision replaces it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::label;
use crate::shape::labels::{LabelContent, label_entry};
use crate::store::safety;

record_row! {
    /// A record about a revision.
    LabelRow of label {
        id: Uuid, version: i32, record_id: Uuid, item: String, revision: String,
        statement: String, allergens: Vec<String>, in_force_from: Timestamp,
        in_force_to: Option<Timestamp>,
    }
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<LabelContent>,
) -> Result<LabelRow, Failure> {
    let stamp = &new.stamp;
    let known = label::table
        .filter(label::record_id.eq(stamp.id))
        .select(LabelRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last: Option<i32> = label::table
        .filter(label::id.eq(new.of))
        .select(diesel::dsl::max(label::version))
        .first(conn)
        .await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("label"));
    }
    let version = last.unwrap_or(0) + 1;
    let LabelContent { item, revision, statement, allergens, from, to } = new.content.clone();
    let (from, to) = (from.to_diesel(), to.map(|to| to.to_diesel()));
    let own = (new.of, version, stamp.id, item, revision, statement, allergens, from, to);
    let row = LabelRow::stamped(stamp, own);
    diesel::insert_into(label::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("formulas.label/1", label_entry(new, version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    // Before the first record the item had no label, and nothing was covered by it.
    if version > 1 {
        safety::raise(conn).await?;
    }
    Ok(row)
}

/// Every record of labels, by item and version.
pub async fn of_ids(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<Vec<LabelRow>, Failure> {
    let rows = label::table
        .filter(label::id.eq_any(ids))
        .order((label::id.asc(), label::version.asc()))
        .select(LabelRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// The newest record of each item, in the order in which they were made.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<LabelRow>, Failure> {
    let rows = label::table
        .filter(label::id.gt(super::after(page)))
        .distinct_on(label::id)
        .order((label::id.asc(), label::version.desc()))
        .limit(page.fetch())
        .select(LabelRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
