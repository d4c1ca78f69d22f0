//! Open items with their lots and signed answers, and the holds that come with them.
//! It never removes an item: an answered one stays.

use std::collections::HashMap;

use diesel::dsl::{exists, not};
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::{Failure, Kind};
use platform::pages::Page;
use platform::records::{self, Stamp};
use platform::tickets::Ticket;
use uuid::Uuid;

use super::holds;
use crate::schema::{open_item, open_item_end, open_item_lot};
use crate::shape::holds::{Covers, NewHold, subject};
use crate::shape::making::items::{NewAnswer, NewItem, answer_entry};
use crate::shape::making::judge::Broken;

/// An open item as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = open_item, check_for_backend(diesel::pg::Pg))]
pub struct ItemRow {
    pub id: Uuid,
    pub code: String,
    pub record: Uuid,
    pub what: String,
    pub recorded_at: Timestamp,
    pub entered_by_name: String,
}

/// The signed answer to one.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = open_item_end, check_for_backend(diesel::pg::Pg))]
pub struct ItemEndRow {
    pub open_item: Uuid,
    pub answer: String,
    pub recorded_at: Timestamp,
    pub entered_by_name: String,
}

/// An item as it stands now.
#[derive(Clone, Debug)]
pub struct Item {
    pub row: ItemRow,
    /// In id order.
    pub lots: Vec<Uuid>,
    pub end: Option<ItemEndRow>,
}

/// Records what a fact has broken, each as an item, and holds the lots that it concerns together
/// with what was made: one hold a record.
pub async fn record(
    conn: &mut AsyncPgConnection,
    (cause, what): (&Stamp, &str),
    broken: &[Broken],
    made: &[Uuid],
) -> Result<(), Failure> {
    let mut leaves = Vec::with_capacity(broken.len());
    for item in broken.iter().map(|broken| NewItem::of(broken, cause)) {
        let row = (
            open_item::id.eq(item.stamp.id),
            open_item::code.eq(item.code),
            open_item::record.eq(item.record),
            open_item::what.eq(&item.what),
            stamped!(open_item, &item.stamp),
        );
        diesel::insert_into(open_item::table).values(row).execute(conn).await?;
        let links = item
            .lots
            .iter()
            .map(|lot| (open_item_lot::open_item.eq(item.stamp.id), open_item_lot::lot.eq(*lot)));
        let links: Vec<_> = links.collect();
        diesel::insert_into(open_item_lot::table).values(links).execute(conn).await?;
        leaves.push(item.stamp.leaf("genealogy.open_item/1", item.entry())?);
    }
    records::insert_leaves(conn, leaves).await?;
    let held = broken.iter().filter(|broken| broken.is_held);
    let mut lots: Vec<Uuid> = held.flat_map(|broken| broken.lots.iter().copied()).collect();
    if lots.is_empty() {
        return Ok(());
    }
    lots.extend(made);
    lots.sort_unstable();
    lots.dedup();
    hold(conn, (cause, what), lots).await
}

/// The hold that a fact brings with it, placed by this service itself.
async fn hold(
    conn: &mut AsyncPgConnection,
    (cause, what): (&Stamp, &str),
    lots: Vec<Uuid>,
) -> Result<(), Failure> {
    let id = records::new_id();
    let system = "system/genealogy".to_owned();
    let stamp = Stamp {
        id,
        subject: subject(id),
        entered_by: system.clone(),
        entered_by_name: system,
        station: String::new(),
        ..cause.clone()
    };
    let reason = format!("{what} {} was recorded as it happened: see its open items.", cause.id);
    let new = NewHold { stamp, lots, reason, deviation: None, covers: Covers::Whole };
    holds::insert(conn, &new, None).await?;
    Ok(())
}

/// The items about these records, in the order in which they were recorded.
pub async fn about(conn: &mut AsyncPgConnection, records: &[Uuid]) -> Result<Vec<Item>, Failure> {
    let rows = open_item::table
        .filter(open_item::record.eq_any(records))
        .order(open_item::id.asc())
        .select(ItemRow::as_select())
        .load(conn)
        .await?;
    wholes(conn, rows).await
}

/// Items in the order in which they were recorded; those that were answered only when asked for.
pub async fn list(
    conn: &mut AsyncPgConnection,
    answered: bool,
    page: &Page,
) -> Result<Vec<Item>, Failure> {
    let mut query = open_item::table
        .filter(open_item::id.gt(super::after(page)))
        .order(open_item::id.asc())
        .limit(page.fetch())
        .select(ItemRow::as_select())
        .into_boxed();
    if !answered {
        let ends = open_item_end::table.filter(open_item_end::open_item.eq(open_item::id));
        query = query.filter(not(exists(ends)));
    }
    let rows = query.load(conn).await?;
    wholes(conn, rows).await
}

/// The item that this very call answered before, if it did.
pub async fn known_answer(
    conn: &mut AsyncPgConnection,
    new: &NewAnswer,
) -> Result<Option<Item>, Failure> {
    if is_known!(conn, open_item_end, &new.stamp) { find(conn, new.item).await } else { Ok(None) }
}

/// Answers an item, with its leaf. Refused: one that was answered.
pub async fn answer(
    conn: &mut AsyncPgConnection,
    new: &NewAnswer,
    ticket: &Ticket,
) -> Result<Item, Failure> {
    let item = find(conn, new.item).await?.ok_or_else(|| Failure::not_found("item"))?;
    if let Some(end) = item.end {
        let text = format!("{} answered this item before: {}", end.entered_by_name, end.answer);
        return Err(Failure::new(Kind::Refused, text));
    }
    let row = (
        open_item_end::id.eq(new.stamp.id),
        open_item_end::open_item.eq(new.item),
        open_item_end::answer.eq(&new.answer),
        open_item_end::ticket.eq(ticket.id),
        stamped!(open_item_end, &new.stamp),
    );
    diesel::insert_into(open_item_end::table).values(row).execute(conn).await?;
    let leaf = new.stamp.leaf("genealogy.open_item_end/1", answer_entry(new, ticket))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    let item = find(conn, new.item).await?;
    item.ok_or_else(|| Failure::internal("an item was lost while it was answered"))
}

async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Item>, Failure> {
    let row = open_item::table.find(id).select(ItemRow::as_select()).first(conn).await;
    let rows = row.optional()?.into_iter().collect();
    Ok(wholes(conn, rows).await?.pop())
}

async fn wholes(conn: &mut AsyncPgConnection, rows: Vec<ItemRow>) -> Result<Vec<Item>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let links: Vec<(Uuid, Uuid)> = open_item_lot::table
        .filter(open_item_lot::open_item.eq_any(&ids))
        .order(open_item_lot::lot.asc())
        .select((open_item_lot::open_item, open_item_lot::lot))
        .load(conn)
        .await?;
    let ends: Vec<ItemEndRow> = open_item_end::table
        .filter(open_item_end::open_item.eq_any(&ids))
        .select(ItemEndRow::as_select())
        .load(conn)
        .await?;
    let mut lots: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    links.into_iter().for_each(|(item, lot)| lots.entry(item).or_default().push(lot));
    let mut ends: HashMap<Uuid, _> = ends.into_iter().map(|end| (end.open_item, end)).collect();
    let items = rows.into_iter().map(|row| {
        let lots = lots.remove(&row.id).unwrap_or_default();
        let end = ends.remove(&row.id);
        Item { row, lots, end }
    });
    Ok(items.collect())
}
