//! Cases that passed a detector or check again.
//! It never frees a case: one that was rejected goes on hold, one that passed is proved by haccp.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records::{self, Stamp};
use uuid::Uuid;

use super::cases;
use crate::schema::{rerun, rerun_case};
use crate::shape::shipping::packing::NewRerun;
use crate::shape::shipping::pallets::{gone, unknown};
use crate::store::holds;

/// A rerun as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = rerun, check_for_backend(diesel::pg::Pg))]
pub struct RerunRow {
    pub id: Uuid,
    pub place: Uuid,
    pub place_version: i32,
    pub place_name: String,
    pub note: String,
    pub hold: Option<Uuid>,
    pub recorded_at: Timestamp,
    pub day: Date,
    pub entered_by: String,
    pub entered_by_name: String,
    pub station: String,
    pub fingerprint: Vec<u8>,
    pub observed_at: Timestamp,
    pub entered_at: Timestamp,
    pub offset_ms: i64,
    pub happened: bool,
}

/// A rerun with its cases and whether each was rejected.
pub type Whole = (RerunRow, Vec<(String, bool)>);

/// The rerun that this very call recorded before, if it did.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Whole>, Failure> {
    let found = rerun::table.find(stamp.id).select(RerunRow::as_select()).first(conn).await;
    let Some(row) = found.optional()? else { return Ok(None) };
    stamp.same_as(&row.entered_by, &row.fingerprint)?;
    let cases = rerun_case::table
        .filter(rerun_case::rerun.eq(row.id))
        .order(rerun_case::serial.asc())
        .select((rerun_case::serial, rerun_case::is_rejected))
        .load(conn)
        .await?;
    Ok(Some((row, cases)))
}

/// Records a rerun with its leaf, and the hold on those rejected. The state of its cases stays
/// locked: a shipment in the making sees that they have passed again.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewRerun) -> Result<Whole, Failure> {
    if let Some(known) = known(conn, &new.stamp).await? {
        return Ok(known);
    }
    let serials = new.serials();
    let of_lots = cases::of_serials(conn, &serials).await?;
    unknown(&[("passed", &new.passed), ("rejected", &new.rejected)], &of_lots)?;
    let rejected = of_lots.iter().filter(|case| new.rejected.contains(&case.serial));
    let mut lots: Vec<_> = rejected.map(|case| case.lot).collect();
    lots.sort_unstable();
    lots.dedup();
    if let Some(hold) = new.rejection(lots) {
        holds::insert(conn, &hold, None).await?;
    }
    let states = cases::lock(conn, &serials).await?;
    let reasons = gone(&states);
    if !reasons.is_empty() {
        return Err(Failure::refused(reasons));
    }
    let row = insert(conn, new).await?;
    let mut cases: Vec<_> = serials
        .into_iter()
        .map(|serial| {
            let is_rejected = new.rejected.contains(&serial);
            (serial, is_rejected)
        })
        .collect();
    cases.sort();
    Ok((row, cases))
}

async fn insert(conn: &mut AsyncPgConnection, new: &NewRerun) -> Result<RerunRow, Failure> {
    let NewRerun { stamp, place, moments, .. } = new;
    let row = RerunRow {
        id: stamp.id,
        place: place.id,
        place_version: place.version,
        place_name: place.name.clone(),
        note: new.note.clone(),
        hold: new.hold,
        recorded_at: stamp.recorded_at.to_diesel(),
        day: stamp.day.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        station: stamp.station.clone(),
        fingerprint: stamp.fingerprint.clone(),
        observed_at: moments.observed_at.to_diesel(),
        entered_at: moments.entered_at.to_diesel(),
        offset_ms: moments.offset_ms,
        happened: moments.happened,
    };
    diesel::insert_into(rerun::table).values(&row).execute(conn).await?;
    let passed_at = moments.by_the_plant(moments.observed_at).to_diesel();
    let case = |serial: &String| {
        (
            rerun_case::rerun.eq(row.id),
            rerun_case::serial.eq(serial.clone()),
            rerun_case::is_rejected.eq(new.rejected.contains(serial)),
            rerun_case::passed_at.eq(passed_at),
        )
    };
    let cases: Vec<_> = new.serials().iter().map(case).collect();
    diesel::insert_into(rerun_case::table).values(cases).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.rerun/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}
