//! Places by version.
//! It never changes a version: a new one stands beside it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::place;
use crate::shape::{PlaceContent, place_entry};

/// A version of a place.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = place, check_for_backend(diesel::pg::Pg))]
pub struct PlaceRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub name: String,
    pub kind: String,
    pub in_use: bool,
    pub entered_by: String,
    pub entered_by_name: String,
    pub recorded_at: Timestamp,
    pub fingerprint: Vec<u8>,
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<PlaceContent>,
) -> Result<PlaceRow, Failure> {
    let stamp = &new.stamp;
    let known = place::table
        .filter(place::record_id.eq(stamp.id))
        .select(PlaceRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("place"));
    }
    let row = PlaceRow {
        id: new.of,
        version: last.map_or(1, |last| last.version + 1),
        record_id: stamp.id,
        name: new.content.name.clone(),
        kind: new.content.kind.clone(),
        in_use: new.content.in_use,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(place::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.place/1", place_entry(new, row.version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// The newest version of a place.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<PlaceRow>, Failure> {
    let found = place::table
        .filter(place::id.eq(id))
        .order(place::version.desc())
        .select(PlaceRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The newest version of each place, in the order in which they were made.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<PlaceRow>, Failure> {
    let rows = place::table
        .filter(place::id.gt(super::after(page)))
        .distinct_on(place::id)
        .order((place::id.asc(), place::version.desc()))
        .limit(page.fetch())
        .select(PlaceRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
