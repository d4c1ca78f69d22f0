//! Holds with their lots and their signed ends.
//! It never widens a hold that was placed and never ends one twice.

use std::collections::HashMap;

use diesel::dsl::{exists, not};
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, Stamp};
use platform::tickets::Ticket;
use uuid::Uuid;

use super::shipping::scopes;
use super::{lots, safety};
use crate::schema::{hold, hold_case, hold_end, hold_lot};
use crate::shape::holds::{
    Covers, DeviationEnd, End, NewHold, Signed, end_entry, hold_entry, hold_form, refuse_end,
};

/// A hold as it was placed.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = hold, check_for_backend(diesel::pg::Pg))]
pub struct HoldRow {
    pub id: Uuid,
    pub reason: String,
    pub deviation: Option<Uuid>,
    pub scope: String,
    pub ticket: Option<Uuid>,
    pub recorded_at: Timestamp,
    pub entered_by: String,
    pub entered_by_name: String,
    pub fingerprint: Vec<u8>,
    pub place: Option<Uuid>,
    pub span_from: Option<Timestamp>,
    pub span_to: Option<Timestamp>,
}

/// A lot of a hold.
#[derive(Clone, Copy, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = hold_lot, check_for_backend(diesel::pg::Pg))]
struct HoldLotRow {
    hold: Uuid,
    lot: Uuid,
}

/// The signed end of a hold.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = hold_end, check_for_backend(diesel::pg::Pg))]
pub struct HoldEndRow {
    pub id: Uuid,
    pub hold: Uuid,
    pub reason: String,
    pub signed_by_name: String,
    pub ticket: Option<Uuid>,
    pub recorded_at: Timestamp,
    pub entered_by: String,
    pub entered_by_name: String,
    pub fingerprint: Vec<u8>,
}

/// A hold as it stands now.
#[derive(Clone, Debug)]
pub struct Standing {
    /// As it was placed.
    pub row: HoldRow,
    /// Its lots in id order.
    pub lots: Vec<Uuid>,
    /// The cases that it names, by serial.
    pub cases: Vec<String>,
    /// Its end, if it has one.
    pub end: Option<HoldEndRow>,
}

/// The hold that this very call placed before, if it did.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<Standing>, Failure> {
    let Some(row) = row(conn, stamp.id).await? else { return Ok(None) };
    stamp.same_as(&row.entered_by, &row.fingerprint)?;
    Ok(Some(whole(conn, row).await?))
}

/// Places a hold with its leaf and makes its lots less safe. Refused as faults: a lot that does
/// not exist, and cases or a span that hold nothing of a lot.
pub async fn place(
    conn: &mut AsyncPgConnection,
    new: &NewHold,
    signature: Option<&Ticket>,
) -> Result<Standing, Failure> {
    refuse_unknown(conn, &new.lots).await?;
    scopes::refuse_empty(conn, new).await?;
    insert(conn, new, signature).await
}

/// Places the hold that a deviation or this service itself asks for, with its leaf. One on a span
/// holds the lots of which something passed there, whatever the message named.
pub async fn insert(
    conn: &mut AsyncPgConnection,
    new: &NewHold,
    signature: Option<&Ticket>,
) -> Result<Standing, Failure> {
    let mut lots = new.lots.clone();
    if let (Covers::Span(span), Some(_)) = (&new.covers, new.deviation) {
        lots.extend(scopes::lots_in(conn, *span).await?);
    }
    lots.sort_unstable();
    lots.dedup();
    raise(conn, &new.covers, &lots).await?;
    let stamp = &new.stamp;
    let span = new.covers.span();
    let row = HoldRow {
        id: stamp.id,
        reason: new.reason.clone(),
        deviation: new.deviation,
        scope: new.covers.word().to_owned(),
        ticket: signature.map(|ticket| ticket.id),
        recorded_at: stamp.recorded_at.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        fingerprint: stamp.fingerprint.clone(),
        place: span.map(|span| span.place),
        span_from: span.and_then(|span| span.from).map(|from| from.to_diesel()),
        span_to: span.map(|span| span.to.to_diesel()),
    };
    diesel::insert_into(hold::table).values(&row).execute(conn).await?;
    let links: Vec<_> = lots.iter().map(|lot| HoldLotRow { hold: row.id, lot: *lot }).collect();
    diesel::insert_into(hold_lot::table).values(&links).execute(conn).await?;
    let cases = new.covers.cases().iter();
    let links: Vec<_> =
        cases.map(|case| (hold_case::hold.eq(row.id), hold_case::serial.eq(case))).collect();
    diesel::insert_into(hold_case::table).values(links).execute(conn).await?;
    let leaf = stamp.leaf(hold_form(new), hold_entry(new, &lots, signature))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    whole(conn, row).await
}

/// A span also covers what no record names yet: the plant's own version tells of it.
async fn raise(
    conn: &mut AsyncPgConnection,
    covers: &Covers,
    lots: &[Uuid],
) -> Result<(), Failure> {
    let mut raised = lots.to_vec();
    if covers.span().is_some() {
        raised.push(Uuid::nil());
    }
    safety::less_safe(conn, &raised).await
}

/// Names each lot that does not exist by its place in the list.
async fn refuse_unknown(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<(), Failure> {
    let unknown = lots::unknown(conn, ids).await?;
    let mut faults = Faults::new();
    for (at, id) in ids.iter().enumerate().filter(|(_, id)| unknown.contains(id)) {
        faults.add_value(format!("lots[{at}]"), id, "there is no such lot");
    }
    Ok(faults.into_result(Some(()))?)
}

/// The hold that this very call ended before, if it did.
pub async fn known_end(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<Standing>, Failure> {
    let known = hold_end::table
        .find(stamp.id)
        .select(HoldEndRow::as_select())
        .first(conn)
        .await
        .optional()?;
    let Some(end) = known else { return Ok(None) };
    stamp.same_as(&end.entered_by, &end.fingerprint)?;
    find(conn, end.hold).await
}

/// Ends a hold that a person placed, with its leaf.
pub async fn end(
    conn: &mut AsyncPgConnection,
    end: &End,
    signed: &Signed,
) -> Result<Standing, Failure> {
    let standing = find(conn, end.hold).await?.ok_or_else(|| Failure::not_found("hold"))?;
    refuse_end(&standing)?;
    let row = insert_end(conn, end, signed).await?;
    Ok(Standing { end: Some(row), ..standing })
}

/// Ends the hold of a deviation, with its leaf; false when none stands.
pub async fn end_for_deviation(
    conn: &mut AsyncPgConnection,
    asked: &DeviationEnd,
) -> Result<bool, Failure> {
    let Some(standing) = find_of_deviation(conn, asked.deviation).await? else {
        return Ok(false);
    };
    if standing.end.is_some() {
        return Ok(false);
    }
    let (end, signed) = asked.of_hold(standing.row.id);
    insert_end(conn, &end, &signed).await?;
    Ok(true)
}

async fn insert_end(
    conn: &mut AsyncPgConnection,
    end: &End,
    signed: &Signed,
) -> Result<HoldEndRow, Failure> {
    let stamp = &end.stamp;
    let row = HoldEndRow {
        id: stamp.id,
        hold: end.hold,
        reason: end.reason.clone(),
        signed_by_name: signed.name().to_owned(),
        ticket: signed.ticket(),
        recorded_at: stamp.recorded_at.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(hold_end::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.hold_end/1", end_entry(end, signed))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

async fn row(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<HoldRow>, Failure> {
    let found = hold::table.find(id).select(HoldRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}

/// The hold of a deviation, if it has one.
pub async fn find_of_deviation(
    conn: &mut AsyncPgConnection,
    deviation: Uuid,
) -> Result<Option<Standing>, Failure> {
    match of_deviation(conn, deviation).await? {
        Some(row) => whole(conn, row).await.map(Some),
        None => Ok(None),
    }
}

async fn of_deviation(
    conn: &mut AsyncPgConnection,
    deviation: Uuid,
) -> Result<Option<HoldRow>, Failure> {
    let found = hold::table
        .filter(hold::deviation.eq(deviation))
        .select(HoldRow::as_select())
        .first(conn)
        .await;
    Ok(found.optional()?)
}

async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Standing>, Failure> {
    match row(conn, id).await? {
        Some(row) => whole(conn, row).await.map(Some),
        None => Ok(None),
    }
}

/// Holds in the order in which they were placed; those of one lot when a lot is named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    lot: Option<Uuid>,
    page: &Page,
) -> Result<Vec<Standing>, Failure> {
    let mut query = hold::table
        .filter(hold::id.gt(super::after(page)))
        .order(hold::id.asc())
        .limit(page.fetch())
        .select(HoldRow::as_select())
        .into_boxed();
    if let Some(lot) = lot {
        let links = hold_lot::table.filter(hold_lot::lot.eq(lot));
        query = query.filter(exists(links.filter(hold_lot::hold.eq(hold::id))));
    }
    let rows = query.load(conn).await?;
    wholes(conn, rows).await
}

/// The holds of these lots that have not ended, with the lot, in the order of their placing.
pub async fn standing(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<Vec<(Uuid, HoldRow)>, Failure> {
    let ends = hold_end::table.filter(hold_end::hold.eq(hold::id));
    let rows = hold_lot::table
        .inner_join(hold::table)
        .filter(hold_lot::lot.eq_any(lots))
        .filter(not(exists(ends)))
        .order(hold::id.asc())
        .select((hold_lot::lot, HoldRow::as_select()))
        .load(conn)
        .await?;
    Ok(rows)
}

async fn whole(conn: &mut AsyncPgConnection, row: HoldRow) -> Result<Standing, Failure> {
    let whole = wholes(conn, vec![row]).await?.into_iter().next();
    whole.ok_or_else(|| Failure::internal("a hold was lost while it was read"))
}

/// Holds with their lots and ends.
async fn wholes(
    conn: &mut AsyncPgConnection,
    rows: Vec<HoldRow>,
) -> Result<Vec<Standing>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let links: Vec<HoldLotRow> = hold_lot::table
        .filter(hold_lot::hold.eq_any(&ids))
        .order(hold_lot::lot.asc())
        .select(HoldLotRow::as_select())
        .load(conn)
        .await?;
    let named: Vec<(Uuid, String)> = hold_case::table
        .filter(hold_case::hold.eq_any(&ids))
        .order(hold_case::serial.asc())
        .select((hold_case::hold, hold_case::serial))
        .load(conn)
        .await?;
    let ends: Vec<HoldEndRow> = hold_end::table
        .filter(hold_end::hold.eq_any(&ids))
        .select(HoldEndRow::as_select())
        .load(conn)
        .await?;
    let mut lots: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    links.into_iter().for_each(|link| lots.entry(link.hold).or_default().push(link.lot));
    let mut cases: HashMap<Uuid, Vec<String>> = HashMap::new();
    named.into_iter().for_each(|(hold, serial)| cases.entry(hold).or_default().push(serial));
    let mut ends: HashMap<Uuid, _> = ends.into_iter().map(|end| (end.hold, end)).collect();
    let standing = rows.into_iter().map(|row| {
        let lots = lots.remove(&row.id).unwrap_or_default();
        let cases = cases.remove(&row.id).unwrap_or_default();
        let end = ends.remove(&row.id);
        Standing { row, lots, cases, end }
    });
    Ok(standing.collect())
}
