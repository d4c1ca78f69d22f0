//! Scales by version.
//! It never changes a version: a new one stands beside it.

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::scale;
use crate::shape::scales::{ScaleContent, scale_entry};

record_row! {
    /// A version of a scale.
    ScaleRow of scale {
        id: Uuid, version: i32, record_id: Uuid, name: String, division: BigDecimal, unit: String,
        in_use: bool,
    }
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<ScaleContent>,
) -> Result<ScaleRow, Failure> {
    let stamp = &new.stamp;
    let known = scale::table
        .filter(scale::record_id.eq(stamp.id))
        .select(ScaleRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("scale"));
    }
    let version = last.map_or(1, |last| last.version + 1);
    let ScaleContent { name, division, unit, in_use } = new.content.clone();
    let columns = (new.of, version, stamp.id, name, division, unit.code().to_owned(), in_use);
    let row = ScaleRow::stamped(stamp, columns);
    diesel::insert_into(scale::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("yields.scale/1", scale_entry(new, version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// The newest version of a scale.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<ScaleRow>, Failure> {
    let found = scale::table
        .filter(scale::id.eq(id))
        .order(scale::version.desc())
        .select(ScaleRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The newest version of each scale, in the order in which they were added.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<ScaleRow>, Failure> {
    let rows = scale::table
        .filter(scale::id.gt(super::after(page)))
        .distinct_on(scale::id)
        .order((scale::id.asc(), scale::version.desc()))
        .limit(page.fetch())
        .select(ScaleRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
