//! What lots cost, by version.
//! It never changes one: the newest stands beside the others.

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::records::{self, Stamp};
use uuid::Uuid;

use crate::schema::cost;
use crate::shape::costs::{NewCost, cost_entry};

record_row! {
    /// A cost of a lot.
    CostRow of cost {
        id: Uuid, lot: Uuid, version: i32, amount_minor: BigDecimal, currency: String,
        per_value: BigDecimal, per_unit: String, source: String,
    }
}

/// The cost that this very call recorded before.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<CostRow>, Failure> {
    let row = cost::table.find(stamp.id).select(CostRow::as_select()).first(conn).await;
    let row: Option<CostRow> = row.optional()?;
    if let Some(row) = &row {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(row)
}

/// Records a cost with its leaf; the same call again gives the row that stands.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewCost) -> Result<CostRow, Failure> {
    if let Some(row) = known(conn, &new.stamp).await? {
        return Ok(row);
    }
    let last: Option<i32> = cost::table
        .filter(cost::lot.eq(new.lot))
        .select(diesel::dsl::max(cost::version))
        .first(conn)
        .await?;
    let (version, stamp) = (last.unwrap_or_default() + 1, &new.stamp);
    let columns = (
        stamp.id,
        new.lot,
        version,
        new.amount_minor.clone(),
        new.currency.clone(),
        new.per.0.clone(),
        new.per.1.code().to_owned(),
        new.source.clone(),
    );
    let row = CostRow::stamped(stamp, columns);
    diesel::insert_into(cost::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("yields.cost/1", cost_entry(new, version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// Every cost of a lot, the oldest first.
pub async fn list(conn: &mut AsyncPgConnection, lot: Uuid) -> Result<Vec<CostRow>, Failure> {
    let rows = cost::table
        .filter(cost::lot.eq(lot))
        .order(cost::version.asc())
        .select(CostRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}

/// The newest cost of each lot that has one.
pub async fn newest(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<CostRow>, Failure> {
    let rows = cost::table
        .filter(cost::lot.eq_any(lots))
        .distinct_on(cost::lot)
        .order((cost::lot.asc(), cost::version.desc()))
        .select(CostRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
