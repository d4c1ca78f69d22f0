//! Open items that shipping raises.
//! It never ends one: people do, signed.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records::{self, Stamp};
use serde_json::json;
use uuid::Uuid;

use crate::schema::{open_item, open_item_lot};
use crate::shape::shipping::beside;

/// Something that somebody must look at.
#[derive(Clone, Debug)]
pub struct NewItem {
    pub code: &'static str,
    /// The record that it is about.
    pub record: Uuid,
    pub what: String,
    pub lots: Vec<Uuid>,
}

/// Raises an item with its leaf, in the transaction of its cause; gives its id.
pub async fn raise(
    conn: &mut AsyncPgConnection,
    cause: &Stamp,
    new: NewItem,
) -> Result<Uuid, Failure> {
    let stamp = beside(cause, |id| format!("item:{id}"));
    let mut lots = new.lots;
    lots.sort_unstable();
    lots.dedup();
    let row = (
        open_item::id.eq(stamp.id),
        open_item::code.eq(new.code),
        open_item::record.eq(new.record),
        open_item::what.eq(&new.what),
        open_item::recorded_at.eq(stamp.recorded_at.to_diesel()),
        open_item::day.eq(stamp.day.to_diesel()),
        open_item::entered_by.eq(&stamp.entered_by),
        open_item::entered_by_name.eq(&stamp.entered_by_name),
        open_item::station.eq(&stamp.station),
        open_item::fingerprint.eq(&stamp.fingerprint),
    );
    diesel::insert_into(open_item::table).values(row).execute(conn).await?;
    let links =
        lots.iter().map(|lot| (open_item_lot::open_item.eq(stamp.id), open_item_lot::lot.eq(*lot)));
    let links: Vec<_> = links.collect();
    diesel::insert_into(open_item_lot::table).values(links).execute(conn).await?;
    let entry = json!({
        "item": stamp.id.to_string(),
        "code": new.code,
        "record": new.record.to_string(),
        "what": new.what,
        "lots": lots.iter().map(Uuid::to_string).collect::<Vec<_>>(),
    });
    let leaf = stamp.leaf("genealogy.open_item/1", entry)?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(stamp.id)
}
