//! What is on hand of lots, locked before anything is taken.
//! It never lets a lot go below zero: what is taken is taken only where it is there.

use std::collections::HashMap;

use bigdecimal::BigDecimal;
use diesel::QueryableByName;
use diesel::prelude::*;
use diesel::sql_types::{Array, Nullable, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::Date;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use crate::schema::{lot, lot_on_hand};
use crate::shape::making::judge::{Stock, Stop, stops};
use crate::store::closure;

/// What of lots is in cases that have neither left nor been destroyed.
const PACKED: &str = "SELECT packed.lot, sum(packed.mass_g) AS mass_g \
    FROM genealogy.packed_case AS packed \
    JOIN genealogy.case_state AS state ON state.serial = packed.serial \
    WHERE packed.lot = ANY($1) AND state.shipment IS NULL AND state.destruction IS NULL \
    GROUP BY packed.lot";

/// Holds that name cases of these lots, or a span in which a case of them passed, and stand.
const HELD_CASES: &str = "WITH passing AS (SELECT packed.lot, packed.serial, packing.place, \
    packed.packed_at AS at FROM genealogy.packed_case AS packed \
    JOIN genealogy.packing ON packing.id = packed.packing WHERE packed.lot = ANY($1) \
    UNION ALL SELECT packed.lot, packed.serial, rerun.place, again.passed_at \
    FROM genealogy.packed_case AS packed \
    JOIN genealogy.rerun_case AS again ON again.serial = packed.serial \
    JOIN genealogy.rerun ON rerun.id = again.rerun WHERE packed.lot = ANY($1)) \
    SELECT DISTINCT passing.lot, hold.id AS hold, hold.reason, hold.deviation \
    FROM genealogy.hold JOIN passing ON CASE hold.scope \
    WHEN 'cases' THEN EXISTS (SELECT 1 FROM genealogy.hold_case AS link \
    WHERE link.hold = hold.id AND link.serial = passing.serial) \
    WHEN 'span' THEN passing.place = hold.place AND passing.at <= hold.span_to \
    AND (hold.span_from IS NULL OR passing.at > hold.span_from) ELSE false END \
    WHERE NOT EXISTS (SELECT 1 FROM genealogy.hold_end AS ended WHERE ended.hold = hold.id) \
    ORDER BY hold.id";

/// Takes from each lot what is there, and nothing where it is not.
const TAKE: &str = "UPDATE genealogy.lot_on_hand AS state \
    SET on_hand_g = state.on_hand_g - taken.mass_g \
    FROM unnest($1, $2) AS taken (lot, mass_g) \
    WHERE state.lot = taken.lot AND state.on_hand_g >= taken.mass_g";

/// What each of these kits went into, if it was used.
const KIT_USES: &str = "SELECT used.lot, min(coalesce(made.code, 'another transformation')) \
    AS used_in FROM genealogy.transformation_input AS used \
    JOIN genealogy.lot AS kit ON kit.id = used.lot AND kit.kind = 'kit' \
    LEFT JOIN genealogy.lot AS made ON made.made_by = used.transformation \
    WHERE used.lot = ANY($1) GROUP BY used.lot";

#[derive(QueryableByName)]
struct KitUse {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Text)]
    used_in: String,
}

#[derive(QueryableByName)]
struct Packed {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Numeric)]
    mass_g: BigDecimal,
}

#[derive(QueryableByName)]
struct Held {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    hold: Uuid,
    #[diesel(sql_type = Text)]
    reason: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    deviation: Option<Uuid>,
}

/// Locks what is on hand of lots, in id order, until the transaction ends.
pub async fn lock(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<HashMap<Uuid, BigDecimal>, Failure> {
    let locked: Vec<(Uuid, BigDecimal)> = lot_on_hand::table
        .filter(lot_on_hand::lot.eq_any(lots))
        .order(lot_on_hand::lot.asc())
        .select((lot_on_hand::lot, lot_on_hand::on_hand_g))
        .for_no_key_update()
        .load(conn)
        .await?;
    Ok(locked.into_iter().collect())
}

/// Lots that are to be used, as they stand once they are locked, in the order of `lots`.
pub async fn stocks(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
    on_hand: &HashMap<Uuid, BigDecimal>,
) -> Result<Vec<Stock>, Failure> {
    let rows: Vec<(Uuid, String, Option<Date>)> = lot::table
        .filter(lot::id.eq_any(lots))
        .select((lot::id, lot::code, lot::use_by))
        .load(conn)
        .await?;
    let mut rows: HashMap<Uuid, _> = rows.into_iter().map(|row| (row.0, row)).collect();
    let mut packed = packed(conn, lots).await?;
    let mut held = held_cases(conn, lots).await?;
    let mut kits = kit_uses(conn, lots).await?;
    let graph = closure::graph(conn, lots).await?;
    let stocks = lots.iter().map(|id| {
        let (_, code, use_by) = rows.remove(id)?;
        let mut holds = stops(&graph, *id);
        let more = held.remove(id).unwrap_or_default();
        holds.extend(
            more.into_iter()
                .filter(|stop| holds.iter().all(|h| h.hold != stop.hold))
                .collect::<Vec<_>>(),
        );
        Some(Stock {
            lot: *id,
            code,
            on_hand_g: on_hand.get(id)?.clone(),
            packed_g: packed.remove(id).unwrap_or_default(),
            use_by: use_by.map(|day| day.to_jiff()),
            holds,
            kit_used_in: kits.remove(id),
        })
    });
    let stocks: Option<Vec<Stock>> = stocks.collect();
    stocks.ok_or_else(|| Failure::internal("a lot is not on hand, not even as nothing"))
}

/// What of each lot is in cases.
pub async fn packed(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<HashMap<Uuid, BigDecimal>, Failure> {
    let rows: Vec<Packed> = statement(PACKED).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    Ok(rows.into_iter().map(|row| (row.lot, row.mass_g)).collect())
}

async fn kit_uses(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<HashMap<Uuid, String>, Failure> {
    let rows: Vec<KitUse> = statement(KIT_USES).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    Ok(rows.into_iter().map(|row| (row.lot, row.used_in)).collect())
}

async fn held_cases(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<HashMap<Uuid, Vec<Stop>>, Failure> {
    let rows: Vec<Held> = statement(HELD_CASES).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    let mut stops: HashMap<Uuid, Vec<Stop>> = HashMap::new();
    for Held { lot, hold, reason, deviation } in rows {
        stops.entry(lot).or_default().push(Stop { hold, reason, deviation, through: None });
    }
    Ok(stops)
}

/// Takes masses off what is on hand of locked lots, each lot once.
pub async fn take(
    conn: &mut AsyncPgConnection,
    taken: &[(Uuid, BigDecimal)],
) -> Result<(), Failure> {
    let (lots, masses): (Vec<Uuid>, Vec<&BigDecimal>) =
        taken.iter().map(|(lot, mass)| (*lot, mass)).unzip();
    let done = statement(TAKE)
        .bind::<Array<SqlUuid>, _>(lots)
        .bind::<Array<Numeric>, _>(masses)
        .execute(conn)
        .await?;
    match done == taken.len() {
        true => Ok(()),
        false => Err(Failure::internal("a lot had less on hand than when it was locked")),
    }
}
