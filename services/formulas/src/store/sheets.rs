//! Batch sheets as they were made.
//! It never changes one.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::records::{self, Stamp};
use uuid::Uuid;

use crate::schema::batch_sheet;
use crate::shape::sheets::NewSheet;

record_row! {
    /// A batch sheet.
    SheetRow of batch_sheet {
        id: Uuid, formula: Uuid, formula_version: i32, content: Vec<u8>,
    }
}

/// The sheet that a record id stands for, when the same call was made before.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<SheetRow>, Failure> {
    let known = find(conn, stamp.id).await?;
    if let Some(row) = &known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(known)
}

/// Records a sheet with its leaf.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewSheet) -> Result<SheetRow, Failure> {
    let stamp = &new.stamp;
    let (formula, version) = new.formula;
    let row = SheetRow::stamped(stamp, (stamp.id, formula, version, new.content.clone()));
    diesel::insert_into(batch_sheet::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("formulas.batch_sheet/1", new.entry.clone())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// One sheet.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<SheetRow>, Failure> {
    let found = batch_sheet::table.find(id).select(SheetRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}
