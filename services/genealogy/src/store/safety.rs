//! The safety version of lots: a ship that read an older one is refused.
//! It never adds to a lot that the write does not name.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use uuid::Uuid;

use crate::schema::lot_safety;

/// A lot's first row, in the transaction that makes the lot.
pub async fn begin(conn: &mut AsyncPgConnection, lot: Uuid) -> Result<(), Failure> {
    let first = (lot_safety::lot.eq(lot), lot_safety::version.eq(1));
    diesel::insert_into(lot_safety::table).values(first).execute(conn).await?;
    Ok(())
}

/// Locks the versions of lots (the nil id is the plant's own row) in id order as everywhere, until
/// the transaction ends; gives them as they stand. A write that may make lots less safe does it
/// before it locks what is on hand. Each id stands once.
pub async fn lock(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<Vec<(Uuid, i64)>, Failure> {
    let locked = lot_safety::table
        .filter(lot_safety::lot.eq_any(lots))
        .order(lot_safety::lot.asc())
        .select((lot_safety::lot, lot_safety::version))
        .for_no_key_update()
        .load(conn)
        .await?;
    match locked.len() == lots.len() {
        true => Ok(locked),
        false => Err(Failure::internal("a lot has no safety version")),
    }
}

/// Adds 1 to each lot, in the transaction that makes them less safe; each id stands once.
pub async fn less_safe(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<(), Failure> {
    lock(conn, lots).await?;
    diesel::update(lot_safety::table.filter(lot_safety::lot.eq_any(lots)))
        .set(lot_safety::version.eq(lot_safety::version + 1))
        .execute(conn)
        .await?;
    Ok(())
}
