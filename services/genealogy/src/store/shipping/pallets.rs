//! Pallets with the cases on them.
//! It never lets a case stand on two pallets, or on one after it has left.

use std::collections::BTreeMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Nullable, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::moments::Moments;
use platform::records::{self, Stamp};
use platform::statement::statement;
use uuid::Uuid;

use super::cases::{self, CaseStateRow};
use crate::schema::{case_state, pallet, pallet_case, pallet_change};
use crate::shape::shipping::pallets::{
    NewChange, NewPallet, elsewhere, gone, moved_away, pallet_shipped, unknown,
};

/// A pallet as it was built.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = pallet, check_for_backend(diesel::pg::Pg))]
pub struct PalletRow {
    pub id: Uuid,
    pub label: String,
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
}

/// A change of a pallet.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = pallet_change, check_for_backend(diesel::pg::Pg))]
struct ChangeRow {
    id: Uuid,
    pallet: Uuid,
    reason: String,
    recorded_at: Timestamp,
    day: Date,
    entered_by: String,
    entered_by_name: String,
    station: String,
    fingerprint: Vec<u8>,
    observed_at: Timestamp,
    entered_at: Timestamp,
    offset_ms: i64,
    happened: bool,
}

/// A case on a pallet, or that left on it.
#[derive(Clone, Debug, QueryableByName)]
pub struct CaseOnPallet {
    #[diesel(sql_type = Text)]
    pub serial: String,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub code: String,
    #[diesel(sql_type = Text)]
    pub material: String,
    #[diesel(sql_type = Numeric)]
    pub mass_value: BigDecimal,
    #[diesel(sql_type = Text)]
    pub mass_unit: String,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
    #[diesel(sql_type = diesel::sql_types::Timestamptz)]
    pub packed_at: Timestamp,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub shipment: Option<Uuid>,
}

/// A pallet with its cases.
pub type Whole = (PalletRow, Vec<CaseOnPallet>);

/// A pallet as it stands now.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Whole>, Failure> {
    let Some(row) = row(conn, id).await? else { return Ok(None) };
    let cases = statement(
        "SELECT state.serial, packed.lot, lot.code, lot.material, packed.mass_value, \
         packed.mass_unit, packed.mass_g, packed.packed_at, state.shipment \
         FROM genealogy.case_state AS state \
         JOIN genealogy.packed_case AS packed USING (serial) \
         JOIN genealogy.lot ON lot.id = packed.lot \
         WHERE state.pallet = $1 AND state.destruction IS NULL ORDER BY state.serial",
    )
    .bind::<SqlUuid, _>(id)
    .load(conn)
    .await?;
    Ok(Some((row, cases)))
}

async fn row(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<PalletRow>, Failure> {
    let found = pallet::table.find(id).select(PalletRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}

/// The pallet that this very call built before, as it stands now, if it did.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Whole>, Failure> {
    let Some((row, cases)) = find(conn, stamp.id).await? else { return Ok(None) };
    stamp.same_as(&row.entered_by, &row.fingerprint)?;
    Ok(Some((row, cases)))
}

/// Builds a pallet with its leaf.
pub async fn build(conn: &mut AsyncPgConnection, new: &NewPallet) -> Result<Whole, Failure> {
    if let Some(whole) = known(conn, &new.stamp).await? {
        return Ok(whole);
    }
    let same_label = pallet::table.filter(pallet::label.eq(&new.label)).select(pallet::id);
    let other: Option<Uuid> = same_label.first(conn).await.optional()?;
    let of_lots = cases::of_serials(conn, &new.cases).await?;
    unknown(&[("cases", &new.cases)], &of_lots)?;
    let states = cases::lock(conn, &new.cases).await?;
    let mut reasons = gone(&states);
    reasons.extend(other.map(|other| new.label_in_use(other)));
    if !new.moments.happened {
        reasons.extend(elsewhere(new.stamp.id, &states, &new.cases));
    }
    if !reasons.is_empty() {
        return Err(Failure::refused(reasons));
    }
    let NewPallet { stamp, place, moments, .. } = new;
    let row = PalletRow {
        id: stamp.id,
        label: new.label.clone(),
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
    };
    diesel::insert_into(pallet::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.pallet/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    take_off_others(conn, (stamp, *moments), (row.id, &row.label), &states).await?;
    put(conn, (row.id, row.id), &new.cases, true).await?;
    find(conn, row.id).await?.ok_or_else(lost)
}

/// Puts cases on a pallet and takes others off, with the leaf.
pub async fn change(conn: &mut AsyncPgConnection, new: &NewChange) -> Result<Whole, Failure> {
    if let Some(whole) = known_change(conn, new).await? {
        return Ok(whole);
    }
    let row = row(conn, new.pallet).await?.ok_or_else(|| Failure::not_found("pallet"))?;
    let of_lots =
        cases::of_serials(conn, &[new.put_on.as_slice(), &new.taken_off].concat()).await?;
    unknown(&[("put_on", &new.put_on), ("taken_off", &new.taken_off)], &of_lots)?;
    let (on_it, named) = lock_all(conn, new).await?;
    new.check_taken_off(&named.iter().map(|s| (s.serial.clone(), s.clone())).collect())?;
    let mut reasons = gone(&named);
    if let Some(shipment) = on_it.iter().find_map(|state| state.shipment) {
        reasons.push(pallet_shipped(&row.label, shipment, row.id));
    }
    let is_on_it = |state: &&CaseStateRow| state.pallet == Some(row.id);
    let here: Vec<_> = named.iter().filter(is_on_it).cloned().collect();
    let refusing = if new.moments.happened { &here } else { &named };
    reasons.extend(elsewhere(row.id, refusing, &new.put_on));
    if !reasons.is_empty() {
        return Err(Failure::refused(reasons));
    }
    let moved: Vec<_> =
        named.into_iter().filter(|state| new.put_on.contains(&state.serial)).collect();
    take_off_others(conn, (&new.stamp, new.moments), (row.id, &row.label), &moved).await?;
    insert_change(conn, new).await?;
    find(conn, row.id).await?.ok_or_else(lost)
}

fn lost() -> Failure {
    Failure::internal("a pallet was lost while it was read")
}

async fn known_change(
    conn: &mut AsyncPgConnection,
    new: &NewChange,
) -> Result<Option<Whole>, Failure> {
    let found = pallet_change::table.find(new.stamp.id).select(ChangeRow::as_select());
    let Some(change) = found.first(conn).await.optional()? else { return Ok(None) };
    new.stamp.same_as(&change.entered_by, &change.fingerprint)?;
    find(conn, change.pallet).await
}

/// Locks what stands on the pallet together with what the change names, in one order: a shipment
/// of the pallet and a change of it never pass each other by. Gives both as they stand.
async fn lock_all(
    conn: &mut AsyncPgConnection,
    new: &NewChange,
) -> Result<(Vec<CaseStateRow>, Vec<CaseStateRow>), Failure> {
    let on_it: Vec<String> = case_state::table
        .filter(case_state::pallet.eq(new.pallet))
        .select(case_state::serial)
        .load(conn)
        .await?;
    let all = [on_it.as_slice(), &new.put_on, &new.taken_off].concat();
    let states = cases::lock(conn, &all).await?;
    let is_named = |state: &&CaseStateRow| {
        new.put_on.contains(&state.serial) || new.taken_off.contains(&state.serial)
    };
    let on_it = states.iter().filter(|state| state.pallet == Some(new.pallet)).cloned().collect();
    Ok((on_it, states.iter().filter(is_named).cloned().collect()))
}

/// Takes cases off the other pallets on which they stand, each by a change of its own.
async fn take_off_others(
    conn: &mut AsyncPgConnection,
    cause: (&Stamp, Moments),
    (onto, label): (Uuid, &str),
    states: &[CaseStateRow],
) -> Result<(), Failure> {
    let mut from: BTreeMap<Uuid, Vec<String>> = BTreeMap::new();
    for state in states {
        if let Some(other) = state.pallet.filter(|other| *other != onto) {
            from.entry(other).or_default().push(state.serial.clone());
        }
    }
    for change in moved_away(cause, label, from) {
        insert_change(conn, &change).await?;
    }
    Ok(())
}

async fn insert_change(conn: &mut AsyncPgConnection, new: &NewChange) -> Result<(), Failure> {
    let NewChange { stamp, moments, .. } = new;
    let row = ChangeRow {
        id: stamp.id,
        pallet: new.pallet,
        reason: new.reason.clone(),
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
    diesel::insert_into(pallet_change::table).values(&row).execute(conn).await?;
    put(conn, (row.id, row.pallet), &new.taken_off, false).await?;
    put(conn, (row.id, row.pallet), &new.put_on, true).await?;
    let leaf = stamp.leaf("genealogy.pallet_change/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await
}

/// Writes the links of a record and moves the cases, whose state rows are locked.
async fn put(
    conn: &mut AsyncPgConnection,
    (record, onto): (Uuid, Uuid),
    serials: &[String],
    is_on: bool,
) -> Result<(), Failure> {
    let link = |serial: &String| {
        (
            pallet_case::record.eq(record),
            pallet_case::pallet.eq(onto),
            pallet_case::serial.eq(serial.clone()),
            pallet_case::is_on.eq(is_on),
        )
    };
    let links: Vec<_> = serials.iter().map(link).collect();
    diesel::insert_into(pallet_case::table).values(links).execute(conn).await?;
    let here = case_state::table
        .filter(case_state::serial.eq_any(serials))
        .filter(case_state::shipment.is_null())
        .filter(case_state::destruction.is_null());
    let moved = diesel::update(here)
        .set(case_state::pallet.eq(is_on.then_some(onto)))
        .execute(conn)
        .await?;
    if moved != serials.len() {
        return Err(Failure::internal("a case left while it was locked"));
    }
    Ok(())
}
