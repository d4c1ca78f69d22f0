//! Stations by version.
//! It never changes a version: a new one stands beside it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::station;
use crate::shape::{StationContent, station_entry};

/// A version of a station.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = station, check_for_backend(diesel::pg::Pg))]
pub struct StationRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub name: String,
    pub place: String,
    pub in_use: bool,
    pub entered_by: String,
    pub entered_by_name: String,
    pub recorded_at: Timestamp,
    pub fingerprint: Vec<u8>,
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<StationContent>,
) -> Result<StationRow, Failure> {
    let stamp = &new.stamp;
    let known = station::table
        .filter(station::record_id.eq(stamp.id))
        .select(StationRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("station"));
    }
    let row = StationRow {
        id: new.of,
        version: last.map_or(1, |last| last.version + 1),
        record_id: stamp.id,
        name: new.content.name.clone(),
        place: new.content.place.clone(),
        in_use: new.content.in_use,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(station::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("identity.station/1", station_entry(&row))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// The newest version of a station.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<StationRow>, Failure> {
    let found = station::table
        .filter(station::id.eq(id))
        .order(station::version.desc())
        .select(StationRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The newest version of each station, in the order in which they were added.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<StationRow>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let rows = station::table
        .filter(station::id.gt(after))
        .distinct_on(station::id)
        .order((station::id.asc(), station::version.desc()))
        .limit(page.fetch())
        .select(StationRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
