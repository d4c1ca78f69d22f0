//! The closure of lots as it stands: every ancestor with its safety version in one statement.
//! It never judges what it reads.

mod each;

use std::collections::HashMap;
use std::sync::Arc;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::holds;
pub use each::closures;

use crate::shape::closure::{ClosedLot, Closure, OpenCase, Stay, stays};

/// Lots with all their ancestors, each with its safety version; the inputs of each making; and
/// the plant's own version under the nil id: one statement, so one moment. It climbs from making
/// to making, so that the racks of one batch are not each climbed through.
const CLOSURE: &str = "WITH RECURSIVE making(id) AS ( \
    SELECT made_by FROM genealogy.lot WHERE id = ANY($1) AND made_by IS NOT NULL \
    UNION SELECT lot.made_by FROM making \
    JOIN genealogy.transformation_input AS used ON used.transformation = making.id \
    JOIN genealogy.lot ON lot.id = used.lot WHERE lot.made_by IS NOT NULL), \
    reached(id) AS (SELECT unnest($1) UNION SELECT used.lot FROM making \
    JOIN genealogy.transformation_input AS used ON used.transformation = making.id) \
    SELECT lot.id, lot.code, lot.kind, lot.material, lot.made_by, lot.place, \
    lot.observed_at + lot.offset_ms * interval '1 millisecond' AS made_at, safety.version, \
    NULL::uuid[] AS inputs FROM reached JOIN genealogy.lot ON lot.id = reached.id \
    JOIN genealogy.lot_safety AS safety ON safety.lot = reached.id \
    UNION ALL SELECT used.transformation, NULL, NULL, NULL, NULL, NULL, NULL, NULL, \
    array_agg(DISTINCT used.lot) FROM making \
    JOIN genealogy.transformation_input AS used ON used.transformation = making.id \
    GROUP BY used.transformation \
    UNION ALL SELECT lot, NULL, NULL, NULL, NULL, NULL, NULL, version, NULL \
    FROM genealogy.lot_safety WHERE lot = '00000000-0000-0000-0000-000000000000'";

/// The last use of each lot by one of these makings, by the plant's clock.
const LAST_USES: &str = "SELECT used.lot AS id, NULL::uuid AS place, \
    max(coalesce(added.observed_at + added.offset_ms * interval '1 millisecond', \
    made.observed_at + made.offset_ms * interval '1 millisecond')) AS at \
    FROM genealogy.transformation_input AS used \
    JOIN genealogy.transformation AS made ON made.id = used.transformation \
    LEFT JOIN genealogy.input_added AS added ON added.id = used.record \
    WHERE used.transformation = ANY($1) GROUP BY used.lot";

/// Every transfer of these lots.
const TRANSFERS: &str = "SELECT link.lot AS id, moved.place, \
    moved.observed_at + moved.offset_ms * interval '1 millisecond' AS at \
    FROM genealogy.transfer_lot AS link JOIN genealogy.transfer AS moved \
    ON moved.id = link.transfer WHERE link.lot = ANY($1)";

/// Where pallets that ever had a case of these lots stood, from when on.
const PALLET_MOVES: &str = "WITH stacked AS (SELECT DISTINCT packed.lot, link.pallet \
    FROM genealogy.packed_case AS packed JOIN genealogy.pallet_case AS link \
    ON link.serial = packed.serial WHERE packed.lot = ANY($1)), \
    moves AS (SELECT id AS pallet, place, observed_at, offset_ms FROM genealogy.pallet \
    UNION ALL SELECT link.pallet, moved.place, moved.observed_at, moved.offset_ms \
    FROM genealogy.transfer_pallet AS link JOIN genealogy.transfer AS moved \
    ON moved.id = link.transfer) \
    SELECT stacked.lot AS id, moves.place, stacked.pallet, \
    moves.observed_at + moves.offset_ms * interval '1 millisecond' AS at \
    FROM stacked JOIN moves ON moves.pallet = stacked.pallet";

/// Cases that have neither left nor been destroyed, with each passing in the order of time.
const OPEN_CASES: &str = "SELECT packed.serial, packed.lot, state.pallet, passing.place, passing.at \
    FROM genealogy.packed_case AS packed \
    JOIN genealogy.case_state AS state ON state.serial = packed.serial \
    JOIN LATERAL (SELECT packing.place, packed.packed_at AS at FROM genealogy.packing \
    WHERE packing.id = packed.packing \
    UNION ALL SELECT rerun.place, again.passed_at FROM genealogy.rerun_case AS again \
    JOIN genealogy.rerun ON rerun.id = again.rerun WHERE again.serial = packed.serial) AS passing \
    ON true WHERE packed.lot = ANY($1) AND state.shipment IS NULL AND state.destruction IS NULL \
    ORDER BY packed.serial, passing.at";

/// A lot, or (with `inputs`) a making, or (with neither) the plant's row.
#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Nullable<Text>)]
    code: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    kind: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    material: Option<String>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    made_by: Option<Uuid>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    place: Option<Uuid>,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    made_at: Option<jiff_diesel::Timestamp>,
    #[diesel(sql_type = Nullable<BigInt>)]
    version: Option<i64>,
    #[diesel(sql_type = Nullable<Array<SqlUuid>>)]
    inputs: Option<Vec<Uuid>>,
}

#[derive(QueryableByName)]
struct Move {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    place: Option<Uuid>,
    #[diesel(sql_type = Timestamptz)]
    at: jiff_diesel::Timestamp,
}

#[derive(QueryableByName)]
struct PalletMove {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    place: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pallet: Uuid,
    #[diesel(sql_type = Timestamptz)]
    at: jiff_diesel::Timestamp,
}

#[derive(QueryableByName)]
struct Passed {
    #[diesel(sql_type = Text)]
    serial: String,
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pallet: Option<Uuid>,
    #[diesel(sql_type = SqlUuid)]
    place: Uuid,
    #[diesel(sql_type = Timestamptz)]
    at: jiff_diesel::Timestamp,
}

/// What the one statement gave, taken apart.
#[derive(Default)]
struct Read {
    lots: Vec<LotRead>,
    makings: HashMap<Uuid, Vec<Uuid>>,
    plant_version: Option<i64>,
}

struct LotRead {
    lot: ClosedLot,
    made_by: Option<Uuid>,
    place: Uuid,
}

/// The closure of lots that are to ship, or of which something else is asked, as it stands now.
/// Not found: a lot that does not exist.
pub async fn closure(conn: &mut AsyncPgConnection, ships: &[Uuid]) -> Result<Closure, Failure> {
    let mut read = read(conn, ships).await?;
    place_them(conn, &mut read, ships).await?;
    whole(conn, read).await
}

/// The same without the stays: what came of what, how safe each is, and which are held.
pub async fn graph(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Closure, Failure> {
    let read = read(conn, lots).await?;
    whole(conn, read).await
}

async fn read(conn: &mut AsyncPgConnection, ships: &[Uuid]) -> Result<Read, Failure> {
    let rows = statement(CLOSURE).bind::<Array<SqlUuid>, _>(ships).load(conn).await?;
    let mut read = taken_apart(rows)?;
    read.lots.sort_unstable_by_key(|read| read.lot.id);
    let known = |ship: &Uuid| read.lots.binary_search_by_key(ship, |read| read.lot.id).is_ok();
    if !ships.iter().all(known) {
        return Err(Failure::not_found("lot"));
    }
    join(&mut read)?;
    Ok(read)
}

async fn whole(conn: &mut AsyncPgConnection, read: Read) -> Result<Closure, Failure> {
    let plant_version = read.plant_version;
    let plant_version = plant_version.ok_or_else(|| Failure::internal("no plant row"))?;
    let lots: Vec<ClosedLot> = read.lots.into_iter().map(|read| read.lot).collect();
    let ids: Vec<Uuid> = lots.iter().map(|lot| lot.id).collect();
    let holds = holds::standing(conn, &ids).await?;
    Ok(Closure { lots, plant_version, holds })
}

fn taken_apart(rows: Vec<Row>) -> Result<Read, Failure> {
    let mut read = Read::default();
    for row in rows {
        match (row.inputs, row.code) {
            (Some(inputs), _) => {
                read.makings.insert(row.id, inputs);
            }
            (None, None) => read.plant_version = row.version,
            (None, Some(code)) => {
                let half = || Failure::internal("half a lot was read");
                let lot = ClosedLot {
                    id: row.id,
                    code,
                    kind: row.kind.ok_or_else(half)?,
                    material: row.material.ok_or_else(half)?,
                    version: row.version.ok_or_else(half)?,
                    made_at: row.made_at.ok_or_else(half)?.to_jiff(),
                    inputs: Arc::default(),
                    stays: Vec::new(),
                };
                let place = row.place.ok_or_else(half)?;
                read.lots.push(LotRead { lot, made_by: row.made_by, place });
            }
        }
    }
    Ok(read)
}

/// Gives each lot its direct ancestors; lots of one making share the list.
fn join(read: &mut Read) -> Result<(), Failure> {
    let at: HashMap<Uuid, u32> =
        read.lots.iter().zip(0..).map(|(read, at)| (read.lot.id, at)).collect();
    let mut joined: HashMap<Uuid, Arc<[u32]>> = HashMap::with_capacity(read.makings.len());
    for (making, inputs) in &read.makings {
        let inputs: Option<Vec<u32>> = inputs.iter().map(|lot| at.get(lot).copied()).collect();
        let inputs = inputs.ok_or_else(|| Failure::internal("an ancestor was not read"))?;
        joined.insert(*making, inputs.into());
    }
    for LotRead { lot, made_by, .. } in &mut read.lots {
        // A lot of opening stock is made by its statement, which used nothing.
        if let Some(inputs) = made_by.and_then(|by| joined.get(&by)) {
            lot.inputs = inputs.clone();
        }
    }
    Ok(())
}

/// Gives each lot its stays: where it was made, where it was moved, until it was last used for
/// what is asked about; a lot that is asked about itself is still there.
async fn place_them(
    conn: &mut AsyncPgConnection,
    read: &mut Read,
    ships: &[Uuid],
) -> Result<(), Failure> {
    let makings: Vec<Uuid> = read.makings.keys().copied().collect();
    let used: Vec<Move> =
        statement(LAST_USES).bind::<Array<SqlUuid>, _>(&makings).load(conn).await?;
    let mut ends: HashMap<Uuid, Timestamp> =
        used.into_iter().map(|used| (used.id, used.at.to_jiff())).collect();
    for ship in ships {
        ends.remove(ship);
    }
    let moves = moves(conn, read, ships).await?;
    for LotRead { lot, place, .. } in &mut read.lots {
        lot.stays = moves.stays(lot, *place, ends.get(&lot.id).copied());
        lot.stays.extend(moves.stays_on_pallets(lot.id));
    }
    Ok(())
}

/// Where lots were moved to and when, and of those that ship their pallets.
struct Moves {
    transfers: HashMap<Uuid, Vec<(Timestamp, Uuid)>>,
    pallets: HashMap<Uuid, HashMap<Uuid, Vec<(Timestamp, Uuid)>>>,
}

async fn moves(
    conn: &mut AsyncPgConnection,
    read: &Read,
    ships: &[Uuid],
) -> Result<Moves, Failure> {
    let ids: Vec<Uuid> = read.lots.iter().map(|read| read.lot.id).collect();
    let moved: Vec<Move> = statement(TRANSFERS).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    let mut transfers: HashMap<Uuid, Vec<(Timestamp, Uuid)>> = HashMap::new();
    for Move { id, place, at } in moved {
        transfers.entry(id).or_default().extend(place.map(|place| (at.to_jiff(), place)));
    }
    let stacked: Vec<PalletMove> =
        statement(PALLET_MOVES).bind::<Array<SqlUuid>, _>(ships).load(conn).await?;
    let mut pallets: HashMap<Uuid, HashMap<Uuid, Vec<(Timestamp, Uuid)>>> = HashMap::new();
    for PalletMove { id, place, pallet, at } in stacked {
        let moves = pallets.entry(id).or_default().entry(pallet).or_default();
        moves.push((at.to_jiff(), place));
    }
    Ok(Moves { transfers, pallets })
}

impl Moves {
    /// From where it was made on, until an end.
    fn stays(&self, lot: &ClosedLot, place: Uuid, end: Option<Timestamp>) -> Vec<Stay> {
        let mut moves = self.transfers.get(&lot.id).cloned().unwrap_or_default();
        moves.push((lot.made_at, place));
        stays(moves, end)
    }

    /// Where the pallets of a lot that ships stood.
    fn stays_on_pallets(&self, lot: Uuid) -> impl Iterator<Item = Stay> {
        let pallets = self.pallets.get(&lot).into_iter().flat_map(HashMap::values);
        pallets.flat_map(|moves| stays(moves.clone(), None))
    }
}

/// The cases of these lots that have neither left nor been destroyed, in the order of serials.
pub async fn open_cases(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<Vec<OpenCase>, Failure> {
    let rows: Vec<Passed> =
        statement(OPEN_CASES).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    let mut cases: Vec<OpenCase> = Vec::new();
    for Passed { serial, lot, pallet, place, at } in rows {
        let passing = (place, at.to_jiff());
        match cases.last_mut() {
            Some(case) if case.serial == serial => case.passings.push(passing),
            _ => cases.push(OpenCase { serial, lot, pallet, passings: vec![passing] }),
        }
    }
    Ok(cases)
}
