//! Lots as they were made, with what is on hand of each.
//! It never changes a lot, and a code that was given out is never given again.

use std::collections::HashMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, Stamp};
use uuid::Uuid;

use super::holds::{self, HoldRow};
use super::safety;
use crate::schema::{lot, lot_code_counter, lot_on_hand, transfer, transfer_lot};
use crate::shape::lots::{NewLot, Origin};

#[diesel::declare_sql_function]
extern "SQL" {
    /// Capital letters made small.
    fn lower(
        text: diesel::sql_types::Nullable<diesel::sql_types::Text>,
    ) -> diesel::sql_types::Nullable<diesel::sql_types::Text>;
}

/// A lot as it was made.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = lot, check_for_backend(diesel::pg::Pg))]
pub struct LotRow {
    pub id: Uuid,
    pub code: String,
    pub kind: String,
    pub material: String,
    pub supplier: Option<Uuid>,
    pub supplier_version: Option<i32>,
    pub supplier_name: Option<String>,
    pub supplier_lot: Option<String>,
    pub mass_value: BigDecimal,
    pub mass_unit: String,
    pub mass_g: BigDecimal,
    pub place: Uuid,
    pub place_version: i32,
    pub place_name: String,
    pub plan: Option<Uuid>,
    pub plan_version: Option<i32>,
    pub plan_name: Option<String>,
    pub observed_at: Timestamp,
    pub entered_at: Timestamp,
    pub recorded_at: Timestamp,
    pub offset_ms: i64,
    pub happened: bool,
    pub day: Date,
    pub entered_by: String,
    pub entered_by_name: String,
    pub station: String,
    pub fingerprint: Vec<u8>,
    pub made_by: Option<Uuid>,
    pub use_by: Option<Date>,
    pub run: Option<String>,
}

/// A lot as it stands now.
#[derive(Clone, Debug)]
pub struct Standing {
    /// As it was made.
    pub row: LotRow,
    /// What is left, in grams.
    pub on_hand_g: BigDecimal,
    /// Those that have not ended, in the order in which they were placed.
    pub holds: Vec<HoldRow>,
    /// The place to which it was last moved, with its name; nothing while nobody has moved it.
    pub moved_to: Option<(Uuid, String)>,
}

/// What recording a lot did.
pub struct Recorded {
    /// The lot as it stands now.
    pub lot: Standing,
    /// False when this very call had been made before.
    pub is_new: bool,
}

/// The lot that this very call made before, if it did.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<Standing>, Failure> {
    let Some(known) = find(conn, stamp.id).await? else { return Ok(None) };
    stamp.same_as(&known.row.entered_by, &known.row.fingerprint)?;
    Ok(Some(known))
}

/// Records a lot with its leaf, its mass on hand and its safety version; the same call again
/// gives the lot that stands.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewLot) -> Result<Recorded, Failure> {
    if let Some(lot) = known(conn, &new.stamp).await? {
        return Ok(Recorded { lot, is_new: false });
    }
    Ok(Recorded { lot: make(conn, new).await?, is_new: true })
}

/// Makes a lot with its leaf, its mass on hand and its safety version; its id must be new.
pub async fn make(conn: &mut AsyncPgConnection, new: &NewLot) -> Result<Standing, Failure> {
    let row = insert(conn, new).await?;
    safety::begin(conn, row.id).await?;
    let on_hand = (lot_on_hand::lot.eq(row.id), lot_on_hand::on_hand_g.eq(&row.mass_g));
    diesel::insert_into(lot_on_hand::table).values(on_hand).execute(conn).await?;
    let leaf = new.stamp.leaf(new.form(), new.entry(&row.code))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    let on_hand_g = row.mass_g.clone();
    Ok(Standing { row, on_hand_g, holds: Vec::new(), moved_to: None })
}

/// Inserts the lot under the next code that no lot has: a plant that changes its pattern, or
/// whose counters were lost, may come upon one that was given out.
async fn insert(conn: &mut AsyncPgConnection, new: &NewLot) -> Result<LotRow, Failure> {
    loop {
        let number = next_number(conn, &new.series()).await?;
        let row = row_of(new, new.code(number));
        let inserted = diesel::insert_into(lot::table)
            .values(&row)
            .on_conflict(lot::code)
            .do_nothing()
            .execute(conn)
            .await?;
        if inserted == 1 {
            return Ok(row);
        }
    }
}

/// Gives out the next number; others who want one of this series wait until the transaction ends.
async fn next_number(conn: &mut AsyncPgConnection, series: &str) -> Result<u32, Failure> {
    let first = (lot_code_counter::series.eq(series), lot_code_counter::last.eq(1));
    let number: i32 = diesel::insert_into(lot_code_counter::table)
        .values(first)
        .on_conflict(lot_code_counter::series)
        .do_update()
        .set(lot_code_counter::last.eq(lot_code_counter::last + 1))
        .returning(lot_code_counter::last)
        .get_result(conn)
        .await?;
    u32::try_from(number).map_err(Failure::internal)
}

fn row_of(new: &NewLot, code: String) -> LotRow {
    let NewLot { stamp, content, place, plan, .. } = new;
    let (supplier, supplier_lot) = match &new.origin {
        Origin::Received { supplier, supplier_lot } => (Some(supplier), Some(supplier_lot)),
        Origin::Made(_) => (None, None),
    };
    let plan = plan.as_ref();
    let moments = &content.moments;
    LotRow {
        id: stamp.id,
        code,
        kind: new.kind.clone(),
        material: content.material.clone(),
        supplier: supplier.map(|supplier| supplier.id),
        supplier_version: supplier.map(|supplier| supplier.version),
        supplier_name: supplier.map(|supplier| supplier.name.clone()),
        supplier_lot: supplier_lot.cloned(),
        mass_value: content.mass.value.clone(),
        mass_unit: content.mass.unit.clone(),
        mass_g: content.mass.grams.clone(),
        place: place.id,
        place_version: place.version,
        place_name: place.name.clone(),
        plan: plan.map(|plan| plan.id),
        plan_version: plan.map(|plan| plan.version),
        plan_name: plan.map(|plan| plan.name.clone()),
        observed_at: moments.observed_at.to_diesel(),
        entered_at: moments.entered_at.to_diesel(),
        recorded_at: moments.recorded_at.to_diesel(),
        offset_ms: moments.offset_ms,
        happened: moments.happened,
        day: stamp.day.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        station: stamp.station.clone(),
        fingerprint: stamp.fingerprint.clone(),
        made_by: new.made_by(),
        use_by: content.use_by.map(|day| day.to_diesel()),
        run: content.run.clone(),
    }
}

/// A lot as it stands now.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Standing>, Failure> {
    let found = lot::table
        .inner_join(lot_on_hand::table)
        .filter(lot::id.eq(id))
        .select((LotRow::as_select(), lot_on_hand::on_hand_g))
        .first(conn)
        .await
        .optional()?;
    let standing = with_holds(conn, found.into_iter().collect()).await?;
    Ok(standing.into_iter().next())
}

/// Which lots a list shows, and in which order.
pub struct Wanted {
    /// The one of this code; empty: all.
    pub code: String,
    /// Those of this run; empty: all.
    pub run: String,
    /// The newest first.
    pub newest_first: bool,
    /// Only these; empty: all.
    pub lots: Vec<Uuid>,
    /// Only those of these kinds; empty: all.
    pub kinds: Vec<String>,
}

/// Lots in the order in which they were made, or the other way round.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    page: &Page,
) -> Result<Vec<Standing>, Failure> {
    let mut query = lot::table
        .inner_join(lot_on_hand::table)
        .limit(page.fetch())
        .select((LotRow::as_select(), lot_on_hand::on_hand_g))
        .into_boxed();
    if !wanted.code.is_empty() {
        query = query.filter(lot::code.eq(&wanted.code));
    }
    if !wanted.run.is_empty() {
        query = query.filter(lower(lot::run).eq(lower(&wanted.run)));
    }
    if !wanted.lots.is_empty() {
        query = query.filter(lot::id.eq_any(&wanted.lots));
    }
    if !wanted.kinds.is_empty() {
        query = query.filter(lot::kind.eq_any(&wanted.kinds));
    }
    query = match (wanted.newest_first, &page.after) {
        (true, None) => query.order(lot::id.desc()),
        (true, Some(_)) => query.filter(lot::id.lt(super::after(page))).order(lot::id.desc()),
        (false, _) => query.filter(lot::id.gt(super::after(page))).order(lot::id.asc()),
    };
    let found = query.load(conn).await?;
    with_holds(conn, found).await
}

async fn with_holds(
    conn: &mut AsyncPgConnection,
    found: Vec<(LotRow, BigDecimal)>,
) -> Result<Vec<Standing>, Failure> {
    let ids: Vec<Uuid> = found.iter().map(|(row, _)| row.id).collect();
    let mut by_lot: HashMap<Uuid, Vec<HoldRow>> = HashMap::new();
    for (lot, hold) in holds::standing(conn, &ids).await? {
        by_lot.entry(lot).or_default().push(hold);
    }
    let mut moved = moved_to(conn, &ids).await?;
    let standing = found.into_iter().map(|(row, on_hand_g)| {
        let holds = by_lot.remove(&row.id).unwrap_or_default();
        let moved_to = moved.remove(&row.id);
        Standing { row, on_hand_g, holds, moved_to }
    });
    Ok(standing.collect())
}

/// Where lots were last moved to.
async fn moved_to(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<HashMap<Uuid, (Uuid, String)>, Failure> {
    let rows: Vec<(Uuid, Uuid, String)> = transfer_lot::table
        .inner_join(transfer::table)
        .filter(transfer_lot::lot.eq_any(lots))
        .order((transfer::observed_at.asc(), transfer::id.asc()))
        .select((transfer_lot::lot, transfer::place, transfer::place_name))
        .load(conn)
        .await?;
    // Of several moves the last one stays.
    Ok(rows.into_iter().map(|(lot, place, name)| (lot, (place, name))).collect())
}

/// Which of these ids no lot has.
pub async fn unknown(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<Vec<Uuid>, Failure> {
    let known: Vec<Uuid> =
        lot::table.filter(lot::id.eq_any(ids)).select(lot::id).load(conn).await?;
    Ok(ids.iter().filter(|id| !known.contains(id)).copied().collect())
}
