//! Inputs that a transformation gets after it was recorded.
//! It never closes a ring: no lot becomes its own ancestor, whoever tells so.

use diesel::QueryableByName;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Bool, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records;
use platform::statement::statement;
use serde_json::Value;
use uuid::Uuid;

use super::{Made, batch, find, outputs, stock, use_up};
use crate::schema::input_added;
use crate::shape::making::judge::{Broken, Stock, clock_off, refuse_with};
use crate::shape::making::{NewInput, added_entry, input_entry};
use crate::store::lots::{self, LotRow};
use crate::store::{closure, items, safety};

/// Inputs are added one at a time: two at once could close a ring that neither sees alone.
const ONE_AT_A_TIME: &str = "SELECT pg_advisory_xact_lock($1)";
/// The number of that lock, of this service's own choosing.
const LOCK: i64 = 0x696e_7075_7473;

/// Whether anything was used, packed or shipped of lots.
const GONE_ON: &str = "SELECT asked.lot, \
    EXISTS (SELECT 1 FROM genealogy.transformation_input AS used WHERE used.lot = asked.lot) \
    AS is_used, \
    EXISTS (SELECT 1 FROM genealogy.packed_case AS packed WHERE packed.lot = asked.lot) \
    AS is_packed, \
    EXISTS (SELECT 1 FROM genealogy.shipment_case AS shipped WHERE shipped.lot = asked.lot) \
    AS is_shipped FROM unnest($1) AS asked (lot)";

#[derive(QueryableByName)]
struct GoneOn {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Bool)]
    is_used: bool,
    #[diesel(sql_type = Bool)]
    is_packed: bool,
    #[diesel(sql_type = Bool)]
    is_shipped: bool,
}

/// What adding an input did.
pub struct Added {
    pub made: Made,
    /// What counts as less safe by it, where some of it may have left.
    pub may_have_left: Vec<Uuid>,
}

/// Adds an input with its leaf: all that the transformation made counts as less safe. None where
/// the batch was judged anew since the judgement that `new` rests on.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewInput,
) -> Result<Option<Added>, Failure> {
    let id = new.transformation;
    if is_known!(conn, input_added, &new.stamp) {
        let made = find(conn, id).await?.ok_or_else(|| Failure::not_found("transformation"))?;
        return Ok(Some(Added { made, may_have_left: Vec::new() }));
    }
    statement(ONE_AT_A_TIME).bind::<BigInt, _>(LOCK).execute(conn).await?;
    if batch::last(conn, id).await?.map(|last| last.id) != new.judged_before {
        return Ok(None);
    }
    if find(conn, id).await?.is_none() {
        return Err(Failure::not_found("transformation"));
    }
    if !lots::unknown(conn, &[new.used.lot]).await?.is_empty() {
        return Err(Failure::fault("lot", new.used.lot, "there is no such lot"));
    }
    let outputs = outputs(conn, id).await?;
    let made: Vec<Uuid> = outputs.iter().map(|lot| lot.id).collect();
    let mut all = made.clone();
    all.push(new.used.lot);
    all.sort_unstable();
    all.dedup();
    safety::lock(conn, &all).await?;
    let on_hand = stock::lock(conn, &all).await?;
    let stock = stock::stocks(conn, &[new.used.lot], &on_hand).await?.pop();
    let stock = stock.ok_or_else(|| Failure::internal("a lot was lost while it was locked"))?;
    let ring = ring(conn, new, &stock, &outputs).await?;
    let gone_on = gone_on(conn, &outputs).await?;
    let may_have_left = if gone_on.is_empty() { Vec::new() } else { made.clone() };
    let mut broken = stock.faults_of_use(&new.used.mass, new.used_on);
    broken.extend(clock_off(&new.moments, made.clone()));
    broken.extend(gone_on);
    let is_ring = ring.is_some();
    broken.extend(ring);
    refuse_with(&new.moments, &broken, &new.told)?;
    insert(conn, new, (&stock, is_ring), &made).await?;
    if let Some(batch) = new.batch.as_ref().filter(|_| !is_ring) {
        batch::record(conn, batch).await?;
    }
    broken.extend(new.told.iter().map(|told| told.broken(&made)));
    broken.extend(new.waits.iter().cloned());
    safety::less_safe(conn, &made).await?;
    if !broken.is_empty() {
        items::record(conn, (&new.stamp, "The added input"), &broken, &made).await?;
    }
    let made = find(conn, id).await?.ok_or_else(|| Failure::not_found("transformation"))?;
    Ok(Some(Added { made, may_have_left }))
}

/// The fault of a lot that came, by whatever way, of what it is to be put into.
async fn ring(
    conn: &mut AsyncPgConnection,
    new: &NewInput,
    stock: &Stock,
    outputs: &[LotRow],
) -> Result<Option<Broken>, Failure> {
    let graph = closure::graph(conn, &[new.used.lot]).await?;
    let Some(made) = outputs.iter().find(|lot| graph.index(lot.id).is_some()) else {
        return Ok(None);
    };
    let message = match made.id == new.used.lot {
        true => format!("{} cannot be put into itself.", stock.code),
        false => format!("{} was made of {}: it cannot have gone into it.", stock.code, made.code),
    };
    let way_on = format!("Name the lot that really went into {}.", made.code);
    let codes = ("LOT_IS_ITS_OWN_ANCESTOR", "LOT_IS_ITS_OWN_ANCESTOR");
    Ok(Some(Broken::of_lot(codes, (new.used.lot, "supervisor"), message, way_on)))
}

/// What of the outputs has gone on already: nothing joins it any more.
async fn gone_on(conn: &mut AsyncPgConnection, outputs: &[LotRow]) -> Result<Vec<Broken>, Failure> {
    let ids: Vec<Uuid> = outputs.iter().map(|lot| lot.id).collect();
    let found: Vec<GoneOn> = statement(GONE_ON).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    let mut broken = Vec::new();
    for gone in found {
        let Some(lot) = outputs.iter().find(|lot| lot.id == gone.lot) else { continue };
        let how =
            [(gone.is_used, "used"), (gone.is_packed, "packed"), (gone.is_shipped, "shipped")];
        let how: Vec<_> = how.into_iter().filter(|(is_so, _)| *is_so).map(|(_, how)| how).collect();
        if how.is_empty() {
            continue;
        }
        let message = format!("Some of {} was {} before this input.", lot.code, how.join(", "));
        let way_on = "Record a transformation of its own; or, if it has happened, say so: then all \
                      that came of it is held and looked at.";
        let codes = ("OUTPUT_GONE_ON", "INPUT_ADDED_LATE");
        broken.push(Broken::of_lot(codes, (lot.id, "QA"), message, way_on.to_owned()));
    }
    Ok(broken)
}

async fn insert(
    conn: &mut AsyncPgConnection,
    new: &NewInput,
    (stock, is_ring): (&Stock, bool),
    outputs: &[Uuid],
) -> Result<(), Failure> {
    let row = (
        input_added::id.eq(new.stamp.id),
        input_added::transformation.eq(new.transformation),
        input_added::reason.eq(&new.reason),
        stamped!(input_added, &new.stamp),
        moments!(input_added, &new.moments),
    );
    diesel::insert_into(input_added::table).values(row).execute(conn).await?;
    let (linked, ring) = match is_ring {
        // What cannot have been stands in the record alone: the graph keeps without rings.
        true => (Vec::new(), input_entry(&new.used, &stock.code, &Default::default())),
        false => {
            let (uses, stocks) = (std::slice::from_ref(&new.used), std::slice::from_ref(stock));
            let of = (new.stamp.id, new.transformation);
            (use_up(conn, of, uses, stocks).await?, Value::Null)
        }
    };
    let entry = added_entry(new, &linked, ring, outputs);
    let leaf = new.stamp.leaf("genealogy.input_added/1", entry)?;
    records::insert_leaves(conn, vec![leaf]).await
}
