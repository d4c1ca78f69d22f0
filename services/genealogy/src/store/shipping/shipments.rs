//! Shipments: written only where all that was seen still stands, its rows locked.
//! It never ships a case twice, and never takes more of a lot than is on hand.

use std::collections::BTreeMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::clock::monotonic;
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, Stamp};
use platform::statement::statement;
use serde_json::Value;
use uuid::Uuid;

use super::{cases, picture};
use crate::schema::{case_state, lot_on_hand, shipment, shipment_case, shipment_lot};
use crate::shape::shipping::picture::{CaseSeen, Now};
use crate::shape::shipping::shipments::{Planned, shipped};
use crate::store::{after, items, safety};

/// A shipment as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = shipment, check_for_backend(diesel::pg::Pg))]
pub struct ShipmentRow {
    pub id: Uuid,
    pub customer: Uuid,
    pub customer_version: i32,
    pub customer_name: String,
    pub place: Uuid,
    pub place_version: i32,
    pub place_name: String,
    pub truck: String,
    pub clearance: Option<Uuid>,
    pub is_unclear: bool,
    pub reasons: Value,
    pub closure_lots: i32,
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
    pub label_cover: Option<Uuid>,
}

/// What a lot gives to a shipment, in grams.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shipped {
    pub lot: Uuid,
    /// What its cases weigh.
    pub mass_g: BigDecimal,
    /// What was on hand covered.
    pub taken_g: BigDecimal,
}

/// What of a lot stands on a pallet, or left on it.
#[derive(Clone, Debug, QueryableByName)]
pub struct LotOnPallet {
    #[diesel(sql_type = SqlUuid)]
    pub pallet: Uuid,
    #[diesel(sql_type = Text)]
    pub label: String,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub code: String,
    #[diesel(sql_type = Text)]
    pub material: String,
    #[diesel(sql_type = BigInt)]
    pub cases: i64,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
}

#[derive(QueryableByName)]
struct Left {
    #[diesel(sql_type = SqlUuid)]
    shipment: Uuid,
    #[diesel(embed)]
    of: LotOnPallet,
}

/// A shipment with what left, by pallet and lot.
pub struct Whole {
    pub row: ShipmentRow,
    pub lots: Vec<LotOnPallet>,
}

/// What became of writing a shipment.
pub enum Written {
    /// It is recorded, now or by this very call before.
    Recorded(Box<Whole>),
    /// Something changed since it was seen; nothing was written.
    Changed,
}

/// One shipment.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Whole>, Failure> {
    let found = shipment::table.find(id).select(ShipmentRow::as_select()).first(conn).await;
    let found = wholes(conn, found.optional()?.into_iter().collect()).await?;
    Ok(found.into_iter().next())
}

/// The shipment that this very call recorded before, if it did.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Whole>, Failure> {
    let Some(known) = find(conn, stamp.id).await? else { return Ok(None) };
    stamp.same_as(&known.row.entered_by, &known.row.fingerprint)?;
    Ok(Some(known))
}

/// Shipments in the order in which they were recorded, of one day where one is named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    day: Option<jiff::civil::Date>,
    page: &Page,
) -> Result<Vec<Whole>, Failure> {
    let mut query = shipment::table
        .filter(shipment::id.gt(after(page)))
        .order(shipment::id.asc())
        .limit(page.fetch())
        .select(ShipmentRow::as_select())
        .into_boxed();
    if let Some(day) = day {
        query = query.filter(shipment::day.eq(day.to_diesel()));
    }
    let rows = query.load(conn).await?;
    wholes(conn, rows).await
}

async fn wholes(
    conn: &mut AsyncPgConnection,
    rows: Vec<ShipmentRow>,
) -> Result<Vec<Whole>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let found: Vec<Left> = statement(
        "SELECT gone.shipment, gone.pallet, pallet.label, gone.lot, lot.code, lot.material, \
         count(*) AS cases, sum(packed.mass_g) AS mass_g FROM genealogy.shipment_case AS gone \
         JOIN genealogy.packed_case AS packed USING (serial) \
         JOIN genealogy.pallet ON pallet.id = gone.pallet \
         JOIN genealogy.lot ON lot.id = gone.lot WHERE gone.shipment = ANY($1) \
         GROUP BY gone.shipment, gone.pallet, pallet.label, gone.lot, lot.code, lot.material \
         ORDER BY gone.shipment, pallet.label, gone.pallet, lot.code",
    )
    .bind::<Array<SqlUuid>, _>(ids)
    .load(conn)
    .await?;
    let mut lots: BTreeMap<Uuid, Vec<LotOnPallet>> = BTreeMap::new();
    found.into_iter().for_each(|left| lots.entry(left.shipment).or_default().push(left.of));
    let whole = |row: ShipmentRow| {
        let lots = lots.remove(&row.id).unwrap_or_default();
        Whole { row, lots }
    };
    Ok(rows.into_iter().map(whole).collect())
}

/// Writes a shipment with its leaf, once its rows are locked and stand as they were seen. What has
/// left unclear needs only its cases to stand; its lots go on hold and an open item tells of it.
pub async fn record(conn: &mut AsyncPgConnection, planned: &Planned) -> Result<Written, Failure> {
    if let Some(known) = known(conn, &planned.wanted.stamp).await? {
        return Ok(Written::Recorded(Box::new(known)));
    }
    let now = locked(conn, planned).await?;
    let stands = if planned.is_unclear() {
        now.has_cases_of(&planned.picture)
    } else {
        let age = monotonic().saturating_duration_since(planned.read_at);
        now.lets_go(&planned.picture, age)
    };
    if !stands {
        return Ok(Written::Changed);
    }
    insert(conn, planned, &now).await?;
    if planned.is_unclear() {
        let cause = (&planned.wanted.stamp, "Shipment");
        items::record(conn, cause, &[planned.broken()], &[]).await?;
    }
    let whole = find(conn, planned.wanted.stamp.id).await?;
    let whole = whole.ok_or_else(|| Failure::internal("a shipment was lost while written"))?;
    Ok(Written::Recorded(Box::new(whole)))
}

/// Locks the versions of the closure and of the plant, what is on hand of the lots that ship, and
/// the state of all cases on the pallets, in the order of the whole house; gives what stands.
async fn locked(conn: &mut AsyncPgConnection, planned: &Planned) -> Result<Now, Failure> {
    let picture = &planned.picture;
    let mut lots: Vec<Uuid> = picture.closure.lots.iter().map(|lot| lot.id).collect();
    lots.push(Uuid::nil());
    let versions = safety::lock(conn, &lots).await?.into_iter().collect();
    let on_hand: Vec<(Uuid, BigDecimal)> = lot_on_hand::table
        .filter(lot_on_hand::lot.eq_any(&picture.ships))
        .order(lot_on_hand::lot.asc())
        .select((lot_on_hand::lot, lot_on_hand::on_hand_g))
        .for_no_key_update()
        .load(conn)
        .await?;
    let serials: Vec<_> = picture.cases.iter().map(|case| case.serial.clone()).collect();
    cases::lock(conn, &serials).await?;
    // What stands is read anew once the locks are held: the statement sees what ended before them.
    let now = picture::cases(conn, &planned.wanted.pallets).await?;
    let standing = |case: CaseSeen| (case.serial, (case.pallet, case.passings.len()));
    let standing = now.into_iter().map(standing).collect();
    Ok(Now { versions, standing, on_hand: on_hand.into_iter().collect() })
}

async fn insert(conn: &mut AsyncPgConnection, planned: &Planned, now: &Now) -> Result<(), Failure> {
    let row = row_of(planned);
    diesel::insert_into(shipment::table).values(&row).execute(conn).await?;
    let case = |case: &CaseSeen| {
        (
            shipment_case::shipment.eq(row.id),
            shipment_case::serial.eq(case.serial.clone()),
            shipment_case::pallet.eq(case.pallet),
            shipment_case::lot.eq(case.lot),
        )
    };
    let all = &planned.picture.cases;
    // A statement takes at most 65,535 values.
    for some in all.chunks(10_000) {
        let links: Vec<_> = some.iter().map(case).collect();
        diesel::insert_into(shipment_case::table).values(links).execute(conn).await?;
    }
    let serials: Vec<_> = all.iter().map(|case| case.serial.as_str()).collect();
    let here = case_state::table
        .filter(case_state::serial.eq_any(serials))
        .filter(case_state::pallet.eq_any(&planned.wanted.pallets))
        .filter(case_state::shipment.is_null())
        .filter(case_state::destruction.is_null());
    let gone = diesel::update(here).set(case_state::shipment.eq(row.id)).execute(conn).await?;
    if gone != all.len() {
        return Err(Failure::internal("a case moved while it was locked"));
    }
    let shipped = shipped(&planned.picture, &now.on_hand);
    take(conn, row.id, &shipped).await?;
    let leaf = planned.wanted.stamp.leaf("genealogy.shipment/2", planned.entry(&shipped))?;
    records::insert_leaves(conn, vec![leaf]).await
}

/// Takes what left from what is on hand; the rows are locked.
async fn take(
    conn: &mut AsyncPgConnection,
    shipment: Uuid,
    shipped: &[Shipped],
) -> Result<(), Failure> {
    for Shipped { lot, mass_g, taken_g } in shipped {
        let link = (
            shipment_lot::shipment.eq(shipment),
            shipment_lot::lot.eq(lot),
            shipment_lot::mass_g.eq(mass_g),
            shipment_lot::taken_g.eq(taken_g),
        );
        diesel::insert_into(shipment_lot::table).values(link).execute(conn).await?;
        let row = lot_on_hand::table
            .filter(lot_on_hand::lot.eq(lot))
            .filter(lot_on_hand::on_hand_g.ge(taken_g));
        let left = lot_on_hand::on_hand_g.eq(lot_on_hand::on_hand_g - taken_g);
        if diesel::update(row).set(left).execute(conn).await? != 1 {
            return Err(Failure::internal("what is on hand changed while it was locked"));
        }
    }
    Ok(())
}

fn row_of(planned: &Planned) -> ShipmentRow {
    let wanted = &planned.wanted;
    let (stamp, moments) = (&wanted.stamp, &wanted.moments);
    ShipmentRow {
        id: stamp.id,
        customer: wanted.customer.id,
        customer_version: wanted.customer.version,
        customer_name: wanted.customer.name.clone(),
        place: wanted.place.id,
        place_version: wanted.place.version,
        place_name: wanted.place.name.clone(),
        truck: wanted.truck.clone(),
        clearance: planned.clearance,
        is_unclear: planned.is_unclear(),
        reasons: planned.reasons_kept(),
        closure_lots: i32::try_from(planned.picture.closure.lots.len()).unwrap_or(i32::MAX),
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
        label_cover: planned.label_cover,
    }
}
