//! The safety versions of lots: a write that makes a lot less safe raises them by 1.
//! It never lowers one and never raises those of descendants.

use diesel::sql_query;
use diesel::sql_types::{Array, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use uuid::Uuid;

/// Raises the versions of lots, locked in id order as everywhere.
pub async fn raise(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<(), Failure> {
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
