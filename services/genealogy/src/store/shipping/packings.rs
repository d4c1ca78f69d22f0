//! Packings with their cases.
//! It never lets the cases of a lot weigh more than the lot, unless a fact says that they do.

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Numeric, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records::{self, Stamp};
use platform::statement::statement;
use uuid::Uuid;

use super::cases::{self, CaseStateRow};
use crate::schema::{case_state, lot, lot_on_hand, packed_case, packing};
use crate::shape::making::judge::Broken;
use crate::shape::shipping::packing::{NewPacking, serials_in_use};
use crate::store::{items, safety};

/// A packing as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = packing, check_for_backend(diesel::pg::Pg))]
pub struct PackingRow {
    pub id: Uuid,
    pub lot: Uuid,
    pub place: Uuid,
    pub place_version: i32,
    pub place_name: String,
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
    pub label_revision: String,
}

/// A case as it was packed.
#[derive(Clone, Debug, Insertable)]
#[diesel(table_name = packed_case, check_for_backend(diesel::pg::Pg))]
struct CaseRow {
    serial: String,
    packing: Uuid,
    lot: Uuid,
    mass_value: BigDecimal,
    mass_unit: String,
    mass_g: BigDecimal,
    packed_at: Timestamp,
}

/// A packing with what its cases weigh and what of the lot is in no case yet, in grams.
pub struct Packed {
    pub row: PackingRow,
    pub cases: i64,
    pub mass_g: BigDecimal,
    pub not_packed_g: BigDecimal,
}

#[derive(QueryableByName)]
struct Sum {
    #[diesel(sql_type = BigInt)]
    cases: i64,
    #[diesel(sql_type = Numeric)]
    mass_g: BigDecimal,
}

/// Kind and code of a lot.
pub async fn lot_kind(
    conn: &mut AsyncPgConnection,
    id: Uuid,
) -> Result<Option<(String, String)>, Failure> {
    let found = lot::table.find(id).select((lot::kind, lot::code)).first(conn).await;
    Ok(found.optional()?)
}

/// The packing that this very call recorded before, if it did.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Packed>, Failure> {
    let found = packing::table.find(stamp.id).select(PackingRow::as_select()).first(conn).await;
    let Some(row) = found.optional()? else { return Ok(None) };
    stamp.same_as(&row.entered_by, &row.fingerprint)?;
    let sum: Sum = statement(
        "SELECT count(*) AS cases, coalesce(sum(mass_g), 0) AS mass_g \
         FROM genealogy.packed_case WHERE packing = $1",
    )
    .bind::<SqlUuid, _>(row.id)
    .get_result(conn)
    .await?;
    let on_hand = lot_on_hand::table.find(row.lot).select(lot_on_hand::on_hand_g);
    let on_hand: BigDecimal = on_hand.first(conn).await?;
    let not_packed_g = on_hand - cases::here_g(conn, row.lot).await?;
    Ok(Some(Packed { row, cases: sum.cases, mass_g: sum.mass_g, not_packed_g }))
}

/// Records cases with their leaf. Refused: serials in use; more than is in no case yet, and a label
/// that does not cover them, which a fact tells of all the same, and then the lot is held and open
/// items say so.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewPacking) -> Result<Packed, Failure> {
    if let Some(packed) = known(conn, &new.stamp).await? {
        return Ok(packed);
    }
    let happened = new.moments.happened;
    if happened {
        // A fact may have to hold the lot: its safety row is locked before what is on hand.
        safety::lock(conn, &[new.lot]).await?;
    }
    let on_hand: BigDecimal = lot_on_hand::table
        .find(new.lot)
        .select(lot_on_hand::on_hand_g)
        .for_no_key_update()
        .first(conn)
        .await?;
    let not_packed_g = on_hand - cases::here_g(conn, new.lot).await?;
    let in_use = packed_before(conn, new).await?;
    let mut reasons = serials_in_use(&in_use);
    let too_much = (new.mass_g() > not_packed_g).then(|| new.too_much(&not_packed_g));
    let is_refused = !happened || !reasons.is_empty();
    if is_refused {
        reasons.extend(too_much.clone());
    }
    if !reasons.is_empty() || (is_refused && !new.told.is_empty()) {
        let told = new.told.iter().map(|told| told.reason.clone()).collect();
        return Err(Failure::refused(reasons).with_told(told));
    }
    let row = insert(conn, new).await?;
    let mut broken: Vec<_> = new.told.iter().map(|told| told.broken(&[new.lot])).collect();
    broken.extend(too_much.map(|reason| Broken {
        item: reason.code,
        reason,
        lots: vec![new.lot],
        is_held: true,
    }));
    if !broken.is_empty() {
        items::record(conn, (&new.stamp, "Packing"), &broken, &[]).await?;
    }
    let (cases, mass_g) = (new.cases.len() as i64, new.mass_g());
    let not_packed_g = not_packed_g - &mass_g;
    Ok(Packed { row, cases, mass_g, not_packed_g })
}

async fn packed_before(
    conn: &mut AsyncPgConnection,
    new: &NewPacking,
) -> Result<Vec<String>, Failure> {
    let serials: Vec<_> = new.cases.iter().map(|case| &case.serial).collect();
    let found = packed_case::table
        .filter(packed_case::serial.eq_any(serials))
        .order(packed_case::serial.asc())
        .select(packed_case::serial)
        .load(conn)
        .await?;
    Ok(found)
}

async fn insert(conn: &mut AsyncPgConnection, new: &NewPacking) -> Result<PackingRow, Failure> {
    let NewPacking { stamp, place, moments, .. } = new;
    let row = PackingRow {
        id: stamp.id,
        lot: new.lot,
        place: place.id,
        place_version: place.version,
        place_name: place.name.clone(),
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
        label_revision: new.label_revision.clone(),
    };
    diesel::insert_into(packing::table).values(&row).execute(conn).await?;
    let cases = new.cases.iter().map(|case| CaseRow {
        serial: case.serial.clone(),
        packing: row.id,
        lot: row.lot,
        mass_value: case.mass.value.clone(),
        mass_unit: case.mass.unit.clone(),
        mass_g: case.mass.grams.clone(),
        packed_at: case.packed_at.to_diesel(),
    });
    let mut cases: Vec<_> = cases.collect();
    // Two who pack the same serials meet in one order.
    cases.sort_by(|one, other| one.serial.cmp(&other.serial));
    diesel::insert_into(packed_case::table).values(&cases).execute(conn).await?;
    let states = cases.into_iter().map(|case| CaseStateRow {
        serial: case.serial,
        pallet: None,
        shipment: None,
        destruction: None,
    });
    let states: Vec<_> = states.collect();
    diesel::insert_into(case_state::table).values(&states).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.packing/2", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}
