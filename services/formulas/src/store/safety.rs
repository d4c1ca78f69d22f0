//! The plant's own safety version: a shipment that was judged by an older one is judged again.
//! It never lowers it, and never raises that of a lot.

use diesel::sql_types::Uuid as SqlUuid;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// Adds 1 for a label, specification, material or product that was replaced or ended, and for a
/// formula that was approved, in the transaction that records it. No lot is named by those, so it
/// is the plant's row, which every ship locks; it is raised last, so that a ship waits for it as
/// short as can be.
pub async fn raise(conn: &mut AsyncPgConnection) -> Result<(), Failure> {
    let raised = statement("UPDATE genealogy.lot_safety SET version = version + 1 WHERE lot = $1")
        .bind::<SqlUuid, _>(Uuid::nil())
        .execute(conn)
        .await?;
    match raised {
        1 => Ok(()),
        _ => Err(Failure::internal("the plant has no safety version")),
    }
}
