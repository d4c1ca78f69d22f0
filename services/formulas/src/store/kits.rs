//! Kits, and the one batch that each went into.
//! It never lets a kit be used twice: its use is a record with the kit's lot as a unique column.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::{Failure, Reason};
use platform::records::{self, Stamp};
use serde_json::json;
use uuid::Uuid;

use crate::schema::{kit, kit_use};
use crate::shape::kits::NewKit;

record_row! {
    /// A kit.
    KitRow of kit {
        id: Uuid, lot: Uuid, formula: Uuid, formula_version: i32, content: Vec<u8>,
    }
}

record_row! {
    /// The use of a kit.
    KitUseRow of kit_use { id: Uuid, lot: Uuid, batch: Uuid }
}

/// A kit with the batch that it went into, if it was used.
pub type Kit = (KitRow, Option<Uuid>);

/// The kit that a record id stands for, when the same call was made before.
pub async fn known(conn: &mut AsyncPgConnection, stamp: &Stamp) -> Result<Option<Kit>, Failure> {
    let known = kit::table.find(stamp.id).select(KitRow::as_select()).first(conn).await;
    let Some(row) = known.optional()? else { return Ok(None) };
    stamp.same_as(&row.entered_by, &row.fingerprint)?;
    Ok(of_lots(conn, &[row.lot]).await?.pop())
}

/// Records a kit with its leaf. Refused: a lot whose kit is recorded already.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewKit) -> Result<Kit, Failure> {
    let stamp = &new.stamp;
    if !of_lots(conn, &[new.lot]).await?.is_empty() {
        return Err(Failure::refused(vec![Reason {
            code: "KIT_RECORDED",
            subject: format!("lot {}", new.lot),
            message: "What this kit holds is recorded already, and is never changed.".into(),
            who: "operator".into(),
            way_on: "Weigh up a new kit under a lot of its own.".into(),
        }]));
    }
    let (formula, version) = new.formula;
    let row = KitRow::stamped(stamp, (stamp.id, new.lot, formula, version, new.content.clone()));
    diesel::insert_into(kit::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("formulas.kit/1", new.entry.clone())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok((row, None))
}

/// Kits by their lots.
pub async fn of_lots(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<Kit>, Failure> {
    let rows: Vec<KitRow> =
        kit::table.filter(kit::lot.eq_any(lots)).select(KitRow::as_select()).load(conn).await?;
    let uses: Vec<(Uuid, Uuid)> = kit_use::table
        .filter(kit_use::lot.eq_any(lots))
        .select((kit_use::lot, kit_use::batch))
        .load(conn)
        .await?;
    let used_in = |lot| uses.iter().find(|(used, _)| *used == lot).map(|(_, batch)| *batch);
    Ok(rows.into_iter().map(|row| (row.clone(), used_in(row.lot))).collect())
}

/// How many of the newest kits of a formula version are looked through for some that are not used.
const NEWEST: i64 = 500;

/// Kits of a formula version that went into no batch, among its newest.
pub async fn unused(
    conn: &mut AsyncPgConnection,
    (formula, version): (Uuid, i32),
) -> Result<Vec<KitRow>, Failure> {
    let rows: Vec<KitRow> = kit::table
        .filter(kit::formula.eq(formula).and(kit::formula_version.eq(version)))
        .order(kit::id.desc())
        .limit(NEWEST)
        .select(KitRow::as_select())
        .load(conn)
        .await?;
    let lots: Vec<Uuid> = rows.iter().map(|row| row.lot).collect();
    let used: Vec<Uuid> =
        kit_use::table.filter(kit_use::lot.eq_any(&lots)).select(kit_use::lot).load(conn).await?;
    Ok(rows.into_iter().filter(|row| !used.contains(&row.lot)).collect())
}

/// Records that a kit went into a batch. False when another batch had it before. Of a lot of which
/// nobody recorded what it holds nothing is kept: genealogy knows itself that it is used up.
pub async fn mark_used(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
    (lot, batch): (Uuid, Uuid),
) -> Result<bool, Failure> {
    let Some((_, used_in)) = of_lots(conn, &[lot]).await?.pop() else {
        return Ok(true);
    };
    if let Some(before) = used_in {
        return Ok(before == batch);
    }
    let row = KitUseRow::stamped(stamp, (stamp.id, lot, batch));
    diesel::insert_into(kit_use::table).values(&row).execute(conn).await?;
    let body = json!({ "lot": lot.to_string(), "batch": batch.to_string() });
    let leaf = stamp.leaf("formulas.kit_use/1", body)?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(true)
}
