//! Moves of lots and pallets to another place of the plant.
//! It never ends or leaves behind a hold: it goes along.

use std::collections::HashMap;

use bigdecimal::{BigDecimal, Zero as _};
use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::fault::Faults;
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records::{self, Stamp};
use uuid::Uuid;

use crate::schema::{
    case_state, lot, lot_on_hand, packed_case, pallet, transfer, transfer_lot, transfer_pallet,
};
use crate::shape::making::judge::{Broken, clock_off, refuse, stops};
use crate::shape::making::moves::{NewTransfer, transfer_entry};
use crate::store::{closure, items, lots, safety};

/// A transfer as it was recorded.
#[derive(Clone, Debug, Queryable, Selectable)]
#[diesel(table_name = transfer, check_for_backend(diesel::pg::Pg))]
pub struct TransferRow {
    pub id: Uuid,
    pub place: Uuid,
    pub place_name: String,
    pub recorded_at: Timestamp,
    pub entered_by_name: String,
    pub observed_at: Timestamp,
}

/// A transfer with what it moved, and the holds that stand on it now.
pub struct Transferred {
    pub row: TransferRow,
    pub lots: Vec<Uuid>,
    pub pallets: Vec<Uuid>,
    pub holds: Vec<Uuid>,
}

/// A case on a pallet: the pallet, its lot, and whether it left with a shipment.
type Stacked = (Option<Uuid>, Uuid, Option<Uuid>);

/// The transfer that this very call recorded before, if it did.
pub async fn known(
    conn: &mut AsyncPgConnection,
    stamp: &Stamp,
) -> Result<Option<Transferred>, Failure> {
    if is_known!(conn, transfer, stamp) { find(conn, stamp.id).await } else { Ok(None) }
}

/// Records a transfer with its leaf.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewTransfer,
) -> Result<Transferred, Failure> {
    if let Some(known) = known(conn, &new.stamp).await? {
        return Ok(known);
    }
    let moved = &new.moved;
    refuse_unknown(conn, new).await?;
    if moved.moments.happened {
        let mut lots = moved.lots.clone();
        lots.sort_unstable();
        safety::lock(conn, &lots).await?;
    }
    let mut broken = nothing_left(conn, &moved.lots).await?;
    broken.extend(shipped(conn, &moved.pallets).await?);
    broken.extend(clock_off(&moved.moments, moved.lots.clone()));
    refuse(&moved.moments, &broken)?;
    insert(conn, new).await?;
    if !broken.is_empty() {
        items::record(conn, (&new.stamp, "The transfer"), &broken, &[]).await?;
    }
    let found = find(conn, new.stamp.id).await?;
    found.ok_or_else(|| Failure::internal("a transfer was lost"))
}

async fn refuse_unknown(conn: &mut AsyncPgConnection, new: &NewTransfer) -> Result<(), Failure> {
    let mut faults = Faults::new();
    let unknown = lots::unknown(conn, &new.moved.lots).await?;
    for (at, id) in new.moved.lots.iter().enumerate().filter(|(_, id)| unknown.contains(id)) {
        faults.add_value(format!("lots[{at}]"), id, "there is no such lot");
    }
    let pallets = &new.moved.pallets;
    let known: Vec<Uuid> =
        pallet::table.filter(pallet::id.eq_any(pallets)).select(pallet::id).load(conn).await?;
    for (at, id) in pallets.iter().enumerate().filter(|(_, id)| !known.contains(id)) {
        faults.add_value(format!("pallets[{at}]"), id, "there is no such pallet");
    }
    Ok(faults.into_result(Some(()))?)
}

/// Lots of which nothing is left to move.
async fn nothing_left(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<Broken>, Failure> {
    let gone: Vec<(Uuid, String)> = lot::table
        .inner_join(lot_on_hand::table)
        .filter(lot::id.eq_any(lots))
        .filter(lot_on_hand::on_hand_g.eq(BigDecimal::zero()))
        .order(lot::id.asc())
        .select((lot::id, lot::code))
        .load(conn)
        .await?;
    let broken = gone.into_iter().map(|(lot, code)| {
        let message = format!("Nothing of {code} is on hand.");
        let way_on = "Move the lots that were made of it, or trace where it went: \
                      GET /v1/lots/{lot}/trace?direction=forward."
            .replace("{lot}", &lot.to_string());
        let codes = ("NOTHING_ON_HAND", "MOVED_AFTER_IT_WAS_GONE");
        Broken::of_lot(codes, (lot, "supervisor"), message, way_on)
    });
    Ok(broken.collect())
}

/// Pallets that have left the plant.
async fn shipped(conn: &mut AsyncPgConnection, pallets: &[Uuid]) -> Result<Vec<Broken>, Failure> {
    let labels: Vec<(Uuid, String)> = pallet::table
        .filter(pallet::id.eq_any(pallets))
        .select((pallet::id, pallet::label))
        .load(conn)
        .await?;
    let labels: HashMap<Uuid, String> = labels.into_iter().collect();
    let mut lots: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    for (on, lot, shipment) in stacked(conn, pallets).await? {
        if let (Some(pallet), Some(_)) = (on, shipment) {
            lots.entry(pallet).or_default().push(lot);
        }
    }
    let gone = pallets.iter().filter_map(|pallet| Some((pallet, lots.remove(pallet)?)));
    let broken = gone.map(|(pallet, lots)| {
        let label = labels.get(pallet).map(String::as_str).unwrap_or_default();
        let message = format!("The pallet {label} has left with a shipment.");
        let way_on = format!("Name a pallet that is here: GET /v1/pallets/{pallet} tells.");
        let codes = ("PALLET_SHIPPED", "MOVED_AFTER_IT_WAS_GONE");
        let mut broken = Broken::of_lot(codes, (*pallet, "dock"), message, way_on).on(lots);
        broken.reason.subject = format!("pallet:{pallet}");
        broken
    });
    Ok(broken.collect())
}

async fn stacked(conn: &mut AsyncPgConnection, pallets: &[Uuid]) -> Result<Vec<Stacked>, Failure> {
    let cases = case_state::table
        .inner_join(packed_case::table.on(packed_case::serial.eq(case_state::serial)))
        .filter(case_state::pallet.eq_any(pallets))
        .select((case_state::pallet, packed_case::lot, case_state::shipment))
        .load(conn)
        .await?;
    Ok(cases)
}

async fn insert(conn: &mut AsyncPgConnection, new: &NewTransfer) -> Result<(), Failure> {
    let NewTransfer { stamp, place, moved } = new;
    let row = (
        transfer::id.eq(stamp.id),
        transfer::place.eq(place.id),
        transfer::place_version.eq(place.version),
        transfer::place_name.eq(&place.name),
        stamped!(transfer, stamp),
        moments!(transfer, &moved.moments),
    );
    diesel::insert_into(transfer::table).values(row).execute(conn).await?;
    let lots = moved.lots.iter();
    let lots = lots.map(|lot| (transfer_lot::transfer.eq(stamp.id), transfer_lot::lot.eq(*lot)));
    let lots: Vec<_> = lots.collect();
    diesel::insert_into(transfer_lot::table).values(lots).execute(conn).await?;
    let pallets = moved.pallets.iter().map(|pallet| {
        (transfer_pallet::transfer.eq(stamp.id), transfer_pallet::pallet.eq(*pallet))
    });
    let pallets: Vec<_> = pallets.collect();
    diesel::insert_into(transfer_pallet::table).values(pallets).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.transfer/1", transfer_entry(new))?;
    records::insert_leaves(conn, vec![leaf]).await
}

async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Transferred>, Failure> {
    let row = transfer::table.find(id).select(TransferRow::as_select());
    let Some(row) = row.first(conn).await.optional()? else { return Ok(None) };
    let lots: Vec<Uuid> = transfer_lot::table
        .filter(transfer_lot::transfer.eq(id))
        .order(transfer_lot::lot.asc())
        .select(transfer_lot::lot)
        .load(conn)
        .await?;
    let pallets: Vec<Uuid> = transfer_pallet::table
        .filter(transfer_pallet::transfer.eq(id))
        .order(transfer_pallet::pallet.asc())
        .select(transfer_pallet::pallet)
        .load(conn)
        .await?;
    let mut moved = lots.clone();
    moved.extend(stacked(conn, &pallets).await?.into_iter().map(|(_, lot, _)| lot));
    moved.sort_unstable();
    moved.dedup();
    let graph = closure::graph(conn, &moved).await?;
    let holds = moved.iter().flat_map(|lot| stops(&graph, *lot)).map(|stop| stop.hold);
    let mut holds: Vec<Uuid> = holds.collect();
    holds.sort_unstable();
    holds.dedup();
    Ok(Some(Transferred { row, lots, pallets, holds }))
}
