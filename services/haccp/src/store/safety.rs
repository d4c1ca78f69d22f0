//! The safety versions of lots: a write that makes a lot less safe raises them by 1.
//! It never lowers one and never raises those of descendants.

use diesel::sql_query;
use diesel::sql_types::{Array, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use uuid::Uuid;

/// The most lots that one write raises by name.
const NAMED_MAX: usize = 1000;

/// Raises the versions of the lots that a write names; the plant's own row when it names none, or
/// too many: every ship reads and locks that row. Locked in id order as everywhere.
pub async fn raise(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<(), Failure> {
    let plant = [Uuid::nil()];
    let lots = if lots.is_empty() || lots.len() > NAMED_MAX { &plant } else { lots };
    sql_query(
        "WITH locked AS (SELECT lot FROM genealogy.lot_safety WHERE lot = ANY($1) \
         ORDER BY lot FOR NO KEY UPDATE) \
         UPDATE genealogy.lot_safety AS safety SET version = safety.version + 1 \
         FROM locked WHERE safety.lot = locked.lot",
    )
    .bind::<Array<SqlUuid>, _>(lots)
    .execute(conn)
    .await?;
    Ok(())
}
