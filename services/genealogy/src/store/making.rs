//! Transformations: lots used up to make lots, whole or not at all.
//! It never makes a lot of itself, and never uses more of one than there is.

pub mod batch;
pub mod ends;
pub mod inputs;
pub mod stock;
pub mod trace;
pub mod transfers;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::{Failure, Kind};
use platform::records;
use serde_json::Value;
use uuid::Uuid;

use self::batch::BatchRow;
use super::items::{self, Item};
use super::lots::{self, LotRow};
use super::safety;
use crate::schema::{input_added, lot, transformation, transformation_input};
use crate::shape::making::judge::{Broken, Stock, balance, clock_off, refuse_with};
use crate::shape::making::{
    NewTransformation, Use, additions_entry, additions_g, input_entry, transformation_entry,
};

/// A transformation as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = transformation, check_for_backend(diesel::pg::Pg))]
pub struct TransformationRow {
    pub id: Uuid,
    pub kind: String,
    pub place: Uuid,
    pub place_name: String,
    pub additions: Value,
    pub recorded_at: Timestamp,
    pub day: Date,
    pub entered_by_name: String,
    pub observed_at: Timestamp,
    pub happened: bool,
}

/// A lot that a transformation used, with why it was added later.
#[derive(Clone, Debug, Queryable)]
pub struct Used {
    pub lot: Uuid,
    pub code: String,
    pub material: String,
    pub mass_value: BigDecimal,
    pub mass_unit: String,
    pub mass_g: BigDecimal,
    pub reason: Option<String>,
}

/// A transformation as it stands now.
pub struct Made {
    pub row: TransformationRow,
    /// Those of the first record first.
    pub inputs: Vec<Used>,
    pub outputs: Vec<LotRow>,
    pub items: Vec<Item>,
    /// How a batch was judged last; none where it was mixed under no formula.
    pub batch: Option<BatchRow>,
}

impl Made {
    /// Inputs and additions less outputs, in grams.
    pub fn loss_g(&self) -> BigDecimal {
        let used: BigDecimal = self.inputs.iter().map(|used| &used.mass_g).sum();
        let made: BigDecimal = self.outputs.iter().map(|lot| &lot.mass_g).sum();
        used + additions_g(&self.row.additions) - made
    }
}

/// The transformation that this very call recorded before, if it did.
pub async fn known(
    conn: &mut AsyncPgConnection,
    new: &records::Stamp,
) -> Result<Option<Made>, Failure> {
    if is_known!(conn, transformation, new) { find(conn, new.id).await } else { Ok(None) }
}

/// Records a transformation with its leaf, what it used and the lots that it made.
/// Gives false where it stood before.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewTransformation,
) -> Result<(Made, bool), Failure> {
    if let Some(made) = known(conn, &new.stamp).await? {
        return Ok((made, false));
    }
    refuse_known_outputs(conn, new).await?;
    let used: Vec<Uuid> = new.uses.iter().map(|one| one.lot).collect();
    refuse_unknown(conn, &used).await?;
    if new.moments.happened {
        // A fact may hold what it used: their safety rows come first in the order of locks.
        safety::lock(conn, &used).await?;
    }
    let on_hand = stock::lock(conn, &used).await?;
    let stocks = stock::stocks(conn, &used, &on_hand).await?;
    let mut broken = judged(new, &stocks);
    refuse_with(&new.moments, &broken, &new.told)?;
    insert(conn, new, &stocks).await?;
    if let Some(batch) = &new.batch {
        batch::record(conn, batch).await?;
    }
    let made: Vec<Uuid> = new.outputs.iter().map(|lot| lot.stamp.id).collect();
    broken.extend(new.told.iter().map(|told| told.broken(&made)));
    broken.extend(new.waits.iter().cloned());
    if !broken.is_empty() {
        items::record(conn, (&new.stamp, "The transformation"), &broken, &made).await?;
    }
    let made = find(conn, new.stamp.id).await?;
    let made = made.ok_or_else(|| Failure::internal("a transformation was lost"))?;
    Ok((made, true))
}

/// Everything that is wrong with it, by what stands while its inputs are locked.
fn judged(new: &NewTransformation, stocks: &[Stock]) -> Vec<Broken> {
    let mut broken = new.broken.clone();
    for (one, stock) in new.uses.iter().zip(stocks) {
        broken.extend(stock.faults_of_use(&one.mass, new.used_on));
    }
    let outputs: Vec<_> = new.outputs.iter().map(|lot| (lot.stamp.id, &lot.content.mass)).collect();
    broken.extend(balance(&new.uses, &new.additions, &outputs));
    let made = outputs.iter().map(|(lot, _)| *lot).collect();
    broken.extend(clock_off(&new.moments, made));
    broken
}

/// Ids of outputs that lots have already belong to other records.
async fn refuse_known_outputs(
    conn: &mut AsyncPgConnection,
    new: &NewTransformation,
) -> Result<(), Failure> {
    let ids: Vec<Uuid> = new.outputs.iter().map(|lot| lot.stamp.id).collect();
    let unknown = lots::unknown(conn, &ids).await?;
    match ids.iter().find(|id| !unknown.contains(id)) {
        Some(id) => {
            let text = format!("The id {id} belongs to another record; make a new one.");
            Err(Failure::new(Kind::IdInUse, text))
        }
        None => Ok(()),
    }
}

/// Names each input that does not exist by its place in the list.
pub async fn refuse_unknown(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<(), Failure> {
    let unknown = lots::unknown(conn, ids).await?;
    let mut faults = Faults::new();
    for (at, id) in ids.iter().enumerate().filter(|(_, id)| unknown.contains(id)) {
        faults.add_value(format!("inputs[{at}].lot"), id, "there is no such lot");
    }
    Ok(faults.into_result(Some(()))?)
}

async fn insert(
    conn: &mut AsyncPgConnection,
    new: &NewTransformation,
    stocks: &[Stock],
) -> Result<(), Failure> {
    let row = (
        transformation::id.eq(new.stamp.id),
        transformation::kind.eq(&new.kind),
        transformation::place.eq(new.place.id),
        transformation::place_version.eq(new.place.version),
        transformation::place_name.eq(&new.place.name),
        transformation::additions.eq(additions_entry(&new.additions)),
        stamped!(transformation, &new.stamp),
        moments!(transformation, &new.moments),
    );
    diesel::insert_into(transformation::table).values(row).execute(conn).await?;
    let of = (new.stamp.id, new.stamp.id);
    let entries = use_up(conn, of, &new.uses, stocks).await?;
    let mut codes = Vec::with_capacity(new.outputs.len());
    for lot in &new.outputs {
        codes.push(lots::make(conn, lot).await?.row.code);
    }
    let entry = transformation_entry(new, &entries, &codes);
    let leaf = new.stamp.leaf("genealogy.transformation/1", entry)?;
    records::insert_leaves(conn, vec![leaf]).await
}

/// Takes what is used off what is on hand, and links it to the record and its transformation;
/// gives the inputs as they stand in the entry.
async fn use_up(
    conn: &mut AsyncPgConnection,
    (record, transformation): (Uuid, Uuid),
    uses: &[Use],
    stocks: &[Stock],
) -> Result<Vec<Value>, Failure> {
    let taken: Vec<(Uuid, BigDecimal)> =
        uses.iter().zip(stocks).map(|(one, stock)| (one.lot, stock.taken_g(&one.mass))).collect();
    stock::take(conn, &taken).await?;
    let links = uses.iter().zip(&taken).map(|(one, (lot, taken_g))| {
        (
            transformation_input::record.eq(record),
            transformation_input::transformation.eq(transformation),
            transformation_input::lot.eq(*lot),
            transformation_input::mass_value.eq(&one.mass.value),
            transformation_input::mass_unit.eq(&one.mass.unit),
            transformation_input::mass_g.eq(&one.mass.grams),
            transformation_input::taken_g.eq(taken_g),
        )
    });
    let links: Vec<_> = links.collect();
    diesel::insert_into(transformation_input::table).values(links).execute(conn).await?;
    let entries = uses.iter().zip(stocks).zip(&taken);
    Ok(entries.map(|((one, stock), (_, taken))| input_entry(one, &stock.code, taken)).collect())
}

/// A transformation as it stands now.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Made>, Failure> {
    let row = transformation::table.find(id).select(TransformationRow::as_select());
    let Some(row) = row.first(conn).await.optional()? else { return Ok(None) };
    let inputs = transformation_input::table
        .inner_join(lot::table.on(lot::id.eq(transformation_input::lot)))
        .left_join(input_added::table.on(input_added::id.eq(transformation_input::record)))
        .filter(transformation_input::transformation.eq(id))
        .order((input_added::id.asc().nulls_first(), lot::id.asc()))
        .select((
            lot::id,
            lot::code,
            lot::material,
            transformation_input::mass_value,
            transformation_input::mass_unit,
            transformation_input::mass_g,
            input_added::reason.nullable(),
        ))
        .load(conn)
        .await?;
    let outputs = outputs(conn, id).await?;
    let mut records: Vec<Uuid> = input_added::table
        .filter(input_added::transformation.eq(id))
        .select(input_added::id)
        .load(conn)
        .await?;
    records.push(id);
    let items = items::about(conn, &records).await?;
    let batch = batch::last(conn, id).await?;
    Ok(Some(Made { row, inputs, outputs, items, batch }))
}

/// The ids of the lots that a transformation made.
pub async fn made(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Vec<Uuid>, Failure> {
    Ok(outputs(conn, id).await?.into_iter().map(|lot| lot.id).collect())
}

/// The lots that a transformation made, in the order of their codes' making.
async fn outputs(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Vec<LotRow>, Failure> {
    let rows = lot::table
        .filter(lot::made_by.eq(id))
        .order(lot::id.asc())
        .select(LotRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
