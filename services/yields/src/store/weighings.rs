//! Weighings and their amendments as rows.
//! It never changes one: an amendment stands beside what it supersedes.

use std::collections::HashMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::moments::Moments;
use platform::pages::Page;
use platform::records::{self, Leaf, Stamp};
use uuid::Uuid;

use super::scales;
use crate::schema::{weighing, weighing_lot};
use crate::shape::weighings::{FORM, NewWeighing, check_order, columns, entry, scale_used};

record_row! {
    /// A weighing.
    WeighingRow of weighing {
        id: Uuid, stage: Option<String>, gross: BigDecimal, tare: BigDecimal, net: BigDecimal,
        unit: String, scale: Option<Uuid>, scale_version: Option<i32>, scale_name: Option<String>,
        note: String, supersedes: Option<Uuid>, reason: Option<String>, ticket: Option<Uuid>,
        observed_at: Timestamp, entered_at: Timestamp, offset_ms: i64, happened: bool,
    }
}

impl WeighingRow {
    /// The times of the weighing.
    pub fn moments(&self) -> Moments {
        Moments {
            observed_at: self.observed_at.to_jiff(),
            entered_at: self.entered_at.to_jiff(),
            recorded_at: self.recorded_at.to_jiff(),
            offset_ms: self.offset_ms,
            happened: self.happened,
        }
    }
}

/// A weighing with what stood on the scale, and its amendments, the oldest first.
#[derive(Clone, Debug)]
pub struct Whole {
    pub row: WeighingRow,
    pub lots: Vec<Uuid>,
    pub amendments: Vec<WeighingRow>,
}

impl Whole {
    /// The row that counts: the newest amendment, or the first weighing.
    pub fn standing(&self) -> &WeighingRow {
        self.amendments.last().unwrap_or(&self.row)
    }
}

/// What a row of a weighing says beside its stamp.
#[derive(Clone, Debug)]
pub struct Columns {
    pub stage: Option<String>,
    /// Gross, tare, net.
    pub masses: [BigDecimal; 3],
    pub unit: String,
    /// The scale with its version and its name.
    pub scale: Option<(Uuid, i32, String)>,
    pub note: String,
    /// What it supersedes, why, and the signature's ticket.
    pub amends: Option<(Uuid, String, Uuid)>,
    pub moments: Moments,
}

impl Columns {
    /// The row of a weighing.
    pub fn row(self, stamp: &Stamp) -> WeighingRow {
        let [gross, tare, net] = self.masses;
        let (scale, scale_version, scale_name) = match self.scale {
            Some((scale, version, name)) => (Some(scale), Some(version), Some(name)),
            None => (None, None, None),
        };
        let (supersedes, reason, ticket) = match self.amends {
            Some((supersedes, reason, ticket)) => (Some(supersedes), Some(reason), Some(ticket)),
            None => (None, None, None),
        };
        let moments = self.moments;
        let columns = (
            stamp.id,
            self.stage,
            gross,
            tare,
            net,
            self.unit,
            scale,
            scale_version,
            scale_name,
            self.note,
            supersedes,
            reason,
            ticket,
            moments.observed_at.to_diesel(),
            moments.entered_at.to_diesel(),
            moments.offset_ms,
            moments.happened,
        );
        WeighingRow::stamped(stamp, columns)
    }
}

/// Writes a weighing, its lots and its leaf.
pub async fn insert(
    conn: &mut AsyncPgConnection,
    row: &WeighingRow,
    lots: &[Uuid],
    leaf: Leaf,
) -> Result<(), Failure> {
    diesel::insert_into(weighing::table).values(row).execute(conn).await?;
    let links: Vec<_> = lots
        .iter()
        .map(|lot| (weighing_lot::weighing.eq(row.id), weighing_lot::lot.eq(lot)))
        .collect();
    diesel::insert_into(weighing_lot::table).values(links).execute(conn).await?;
    records::insert_leaves(conn, vec![leaf]).await
}

/// Records a weighing; the same call again gives the row that stands. Refused: a command at a stage
/// before one at which a lot was weighed.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewWeighing,
) -> Result<WeighingRow, Failure> {
    if let Some(row) = known(conn, &new.stamp).await? {
        return Ok(row);
    }
    let found = match new.scale {
        Some(scale) => scales::last(conn, scale).await?,
        None => None,
    };
    let scale = scale_used(new.scale, found, new.content.moments.happened)?;
    check_order(new, &of_lots(conn, &new.lots).await?)?;
    let row = columns(&new.content, scale, None)?.row(&new.stamp);
    let leaf = new.stamp.leaf(FORM, entry(&row, &new.lots, None))?;
    insert(conn, &row, &new.lots, leaf).await?;
    Ok(row)
}

/// One row, a first weighing or an amendment.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<WeighingRow>, Failure> {
    let found = weighing::table.find(id).select(WeighingRow::as_select()).first(conn).await;
    Ok(found.optional()?)
}

/// The row that this very call recorded before.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<WeighingRow>, Failure> {
    let row = find(conn, stamp.id).await?;
    if let Some(row) = &row {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(row)
}

/// One weighing whole; nothing for an amendment's id.
pub async fn whole(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Whole>, Failure> {
    let row = find(conn, id).await?.filter(|row| row.supersedes.is_none());
    let rows = row.into_iter().collect();
    Ok(completed(conn, rows).await?.pop())
}

/// First weighings in the order of their ids, of one lot where one is named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    lot: Option<Uuid>,
    page: &Page,
) -> Result<Vec<Whole>, Failure> {
    let mut query = weighing::table
        .filter(weighing::supersedes.is_null())
        .filter(weighing::id.gt(super::after(page)))
        .order(weighing::id.asc())
        .limit(page.fetch())
        .select(WeighingRow::as_select())
        .into_boxed();
    if let Some(lot) = lot {
        let of_lot =
            weighing_lot::table.filter(weighing_lot::lot.eq(lot)).select(weighing_lot::weighing);
        query = query.filter(weighing::id.eq_any(of_lot));
    }
    let rows = query.load(conn).await?;
    completed(conn, rows).await
}

/// All weighings of any of these lots.
pub async fn of_lots(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<Whole>, Failure> {
    let of_lots =
        weighing_lot::table.filter(weighing_lot::lot.eq_any(lots)).select(weighing_lot::weighing);
    let rows = weighing::table
        .filter(weighing::supersedes.is_null())
        .filter(weighing::id.eq_any(of_lots))
        .order(weighing::id.asc())
        .select(WeighingRow::as_select())
        .load(conn)
        .await?;
    completed(conn, rows).await
}

/// First weighings with their lots and their amendments.
async fn completed(
    conn: &mut AsyncPgConnection,
    rows: Vec<WeighingRow>,
) -> Result<Vec<Whole>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let links: Vec<(Uuid, Uuid)> = weighing_lot::table
        .filter(weighing_lot::weighing.eq_any(&ids))
        .order(weighing_lot::lot.asc())
        .select((weighing_lot::weighing, weighing_lot::lot))
        .load(conn)
        .await?;
    let mut lots: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    links.into_iter().for_each(|(of, lot)| lots.entry(of).or_default().push(lot));
    let amended: Vec<WeighingRow> = weighing::table
        .filter(weighing::supersedes.eq_any(&ids))
        .order((weighing::recorded_at.asc(), weighing::id.asc()))
        .select(WeighingRow::as_select())
        .load(conn)
        .await?;
    let mut amendments: HashMap<Uuid, Vec<WeighingRow>> = HashMap::new();
    for row in amended {
        let of = row.supersedes.unwrap_or(row.id);
        amendments.entry(of).or_default().push(row);
    }
    let whole = rows.into_iter().map(|row| Whole {
        lots: lots.remove(&row.id).unwrap_or_default(),
        amendments: amendments.remove(&row.id).unwrap_or_default(),
        row,
    });
    Ok(whole.collect())
}
