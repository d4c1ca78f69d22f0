//! Batches as their formula judged them, and what formulas is asked about.
//! It never judges: what is in the lots is read and handed on.

use std::collections::HashMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Array, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records;
use platform::statement::statement;
use uuid::Uuid;

use crate::schema::{batch, lot};
use crate::shape::closure::{Closure, MadeOf};
use crate::shape::making::batch::{KIT, NewBatch};
use crate::store::closure;

/// A judgement as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = batch, check_for_backend(diesel::pg::Pg))]
pub struct BatchRow {
    pub id: Uuid,
    pub transformation: Uuid,
    pub cause: Uuid,
    pub formula: Uuid,
    pub formula_version: i32,
    pub hold_for_label: bool,
    pub answer: Uuid,
    pub question: Vec<u8>,
    pub judgement: Vec<u8>,
}

/// A lot that goes into a batch, as formulas must know it.
#[derive(Clone, Debug)]
pub struct LotSeen {
    pub code: String,
    pub kind: String,
    pub material: String,
    /// Of a kit what was weighed into it, where its weigh-up made it alone.
    pub weighed_up: Vec<WeighedUp>,
}

/// What was weighed into a kit.
#[derive(Clone, Debug, QueryableByName)]
pub struct WeighedUp {
    #[diesel(sql_type = SqlUuid)]
    kit: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub material: String,
    #[diesel(sql_type = Numeric)]
    pub mass_value: BigDecimal,
    #[diesel(sql_type = Text)]
    pub mass_unit: String,
}

#[derive(QueryableByName)]
struct UsedFor {
    #[diesel(sql_type = SqlUuid)]
    made_by: Uuid,
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Numeric)]
    mass_g: BigDecimal,
}

/// What went into kits that were the only lot of their weigh-up: of others it cannot be told which
/// part went where.
const WEIGHED_UP: &str = "SELECT kit.id AS kit, used.lot, lot.material, used.mass_value, \
    used.mass_unit FROM genealogy.lot AS kit \
    JOIN genealogy.transformation_input AS used ON used.transformation = kit.made_by \
    JOIN genealogy.lot ON lot.id = used.lot WHERE kit.id = ANY($1) AND kit.kind = 'kit' \
    AND NOT EXISTS (SELECT 1 FROM genealogy.lot AS other WHERE other.made_by = kit.made_by \
    AND other.id <> kit.id) ORDER BY used.lot, used.record";

/// What each making used, in grams.
const USED_FOR: &str = "SELECT transformation AS made_by, lot, sum(mass_g) AS mass_g \
    FROM genealogy.transformation_input WHERE transformation = ANY($1) GROUP BY 1, 2 ORDER BY 1, 2";

/// Lots by their ids, in that order; not found where one does not exist.
pub async fn seen(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<Vec<LotSeen>, Failure> {
    let rows: Vec<(Uuid, String, String, String)> = lot::table
        .filter(lot::id.eq_any(ids))
        .select((lot::id, lot::code, lot::kind, lot::material))
        .load(conn)
        .await?;
    let kits: Vec<Uuid> = rows.iter().filter(|row| row.2 == KIT).map(|row| row.0).collect();
    let held: Vec<WeighedUp> =
        statement(WEIGHED_UP).bind::<Array<SqlUuid>, _>(&kits).load(conn).await?;
    let mut weighed: HashMap<Uuid, Vec<WeighedUp>> = HashMap::new();
    held.into_iter().for_each(|one| weighed.entry(one.kit).or_default().push(one));
    let mut rows: HashMap<Uuid, _> = rows.into_iter().map(|row| (row.0, row)).collect();
    let lots = ids.iter().map(|id| {
        let (_, code, kind, material) = rows.remove(id)?;
        let weighed_up = weighed.remove(id).unwrap_or_default();
        Some(LotSeen { code, kind, material, weighed_up })
    });
    lots.collect::<Option<Vec<_>>>().ok_or_else(|| Failure::not_found("lot"))
}

/// Lots with all that they came of and the masses of it, by which labels and rework are judged.
pub async fn origins(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<(Closure, MadeOf), Failure> {
    let graph = closure::graph(conn, lots).await?;
    let made_of = made_of(conn, &graph).await?;
    Ok((graph, made_of))
}

/// What went into each lot of a closure, by place in its list, in grams.
pub async fn made_of(conn: &mut AsyncPgConnection, graph: &Closure) -> Result<MadeOf, Failure> {
    let ids: Vec<Uuid> = graph.lots.iter().map(|lot| lot.id).collect();
    let makers: Vec<(Uuid, Option<Uuid>)> = lot::table
        .filter(lot::id.eq_any(&ids))
        .filter(lot::made_by.is_not_null())
        .select((lot::id, lot::made_by))
        .load(conn)
        .await?;
    let mut makings: Vec<Uuid> = makers.iter().filter_map(|(_, by)| *by).collect();
    makings.sort_unstable();
    makings.dedup();
    let used: Vec<UsedFor> =
        statement(USED_FOR).bind::<Array<SqlUuid>, _>(&makings).load(conn).await?;
    let mut uses: HashMap<Uuid, Vec<(u32, BigDecimal)>> = HashMap::with_capacity(makings.len());
    for UsedFor { made_by, lot, mass_g } in used {
        let at = graph.index(lot).ok_or_else(|| Failure::internal("an ancestor was not read"))?;
        uses.entry(made_by).or_default().push((at as u32, mass_g));
    }
    let uses: HashMap<Uuid, std::sync::Arc<[_]>> =
        uses.into_iter().map(|(by, uses)| (by, uses.into())).collect();
    let of = |(lot, by): (Uuid, Option<Uuid>)| Some((lot, uses.get(&by?)?.clone()));
    Ok(makers.into_iter().filter_map(of).collect())
}

/// The newest judgement of a batch; none where it was mixed under no formula.
pub async fn last(
    conn: &mut AsyncPgConnection,
    transformation: Uuid,
) -> Result<Option<BatchRow>, Failure> {
    let found = batch::table
        .filter(batch::transformation.eq(transformation))
        .order(batch::id.desc())
        .select(BatchRow::as_select())
        .first(conn)
        .await;
    Ok(found.optional()?)
}

/// Records a judgement with its leaf.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewBatch) -> Result<(), Failure> {
    let row = (new.row(), stamped!(batch, &new.stamp));
    diesel::insert_into(batch::table).values(row).execute(conn).await?;
    let leaf = new.stamp.leaf("genealogy.batch/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await
}
