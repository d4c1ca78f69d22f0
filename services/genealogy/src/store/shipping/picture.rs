//! Reads all that a shipment is judged by, but for others' answers, at one moment.
//! It never holds a connection while others are asked.

use std::collections::{BTreeMap, BTreeSet};

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Array, Nullable, Numeric, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use crate::schema::lot_on_hand;
use crate::shape::holds::Span;
use crate::shape::shipping::picture::{CaseSeen, Held, HoldSeen, PalletSeen, Picture, RefusedSeen};
use crate::store::closure;
use crate::store::making::batch::made_of;

#[derive(QueryableByName)]
struct PalletFound {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    label: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    left_with: Option<Uuid>,
}

#[derive(QueryableByName)]
struct CaseFound {
    #[diesel(sql_type = Text)]
    serial: String,
    #[diesel(sql_type = SqlUuid)]
    pallet: Uuid,
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Numeric)]
    mass_g: BigDecimal,
    #[diesel(sql_type = Timestamptz)]
    packed_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    label_revision: String,
    #[diesel(sql_type = SqlUuid)]
    place: Uuid,
    #[diesel(sql_type = Timestamptz)]
    at: jiff_diesel::Timestamp,
}

#[derive(QueryableByName)]
struct HoldFound {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    reason: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    deviation: Option<Uuid>,
    #[diesel(sql_type = Text)]
    scope: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    place: Option<Uuid>,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    span_from: Option<jiff_diesel::Timestamp>,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    span_to: Option<jiff_diesel::Timestamp>,
    #[diesel(sql_type = Array<SqlUuid>)]
    lots: Vec<Uuid>,
    #[diesel(sql_type = Array<Text>)]
    cases: Vec<String>,
}

#[derive(QueryableByName)]
struct RefusedFound {
    #[diesel(sql_type = SqlUuid)]
    item: Uuid,
    #[diesel(sql_type = Text)]
    reason: String,
    #[diesel(sql_type = Array<SqlUuid>)]
    lots: Vec<Uuid>,
}

#[derive(QueryableByName)]
struct Owed {
    #[diesel(sql_type = Text)]
    subject: String,
}

/// The cases that stand on the pallets $1 with each passing, the first at packing.
const CASES: &str = "SELECT state.serial, state.pallet, packed.lot, packed.mass_g, \
    packed.packed_at, label.label_revision, passing.place, passing.at FROM genealogy.case_state AS state \
    JOIN genealogy.packed_case AS packed USING (serial) \
    JOIN genealogy.packing AS label ON label.id = packed.packing \
    JOIN LATERAL (SELECT packing.place, packed.packed_at AS at, true AS is_first \
    FROM genealogy.packing WHERE packing.id = packed.packing \
    UNION ALL SELECT rerun.place, again.passed_at, false FROM genealogy.rerun_case AS again \
    JOIN genealogy.rerun ON rerun.id = again.rerun WHERE again.serial = packed.serial) AS passing \
    ON true WHERE state.pallet = ANY($1) AND state.shipment IS NULL \
    AND state.destruction IS NULL ORDER BY state.serial, passing.at, passing.is_first DESC";

/// Holds that stand on lots of $1 or, as a deviation's span, at a place of $2; with those of
/// their lots that are in $1, and those of their cases that are in $3.
const HOLDS: &str = "SELECT hold.id, hold.reason, hold.deviation, hold.scope, hold.place, \
    hold.span_from, hold.span_to, \
    ARRAY(SELECT link.lot FROM genealogy.hold_lot AS link WHERE link.hold = hold.id \
    AND link.lot = ANY($1)) AS lots, \
    ARRAY(SELECT named.serial FROM genealogy.hold_case AS named WHERE named.hold = hold.id \
    AND named.serial = ANY($3)) AS cases \
    FROM genealogy.hold WHERE NOT EXISTS (SELECT 1 FROM genealogy.hold_end AS ended \
    WHERE ended.hold = hold.id) AND (EXISTS (SELECT 1 FROM genealogy.hold_lot AS link \
    WHERE link.hold = hold.id AND link.lot = ANY($1)) \
    OR (hold.deviation IS NOT NULL AND hold.place = ANY($2))) ORDER BY hold.id";

/// Messages about lots of $1 that could not be carried out, and that nobody has answered.
const REFUSED: &str = "SELECT coalesce(item.id, message.id) AS item, message.reason, \
    ARRAY(SELECT link.lot FROM genealogy.refused_message_lot AS link \
    WHERE link.refused_message = message.id AND link.lot = ANY($1)) AS lots \
    FROM genealogy.refused_message AS message \
    LEFT JOIN genealogy.open_item AS item ON item.record = message.id \
    WHERE EXISTS (SELECT 1 FROM genealogy.refused_message_lot AS link \
    WHERE link.refused_message = message.id AND link.lot = ANY($1)) \
    AND NOT EXISTS (SELECT 1 FROM genealogy.open_item_end AS ended \
    WHERE ended.open_item = item.id) ORDER BY message.id";

/// Messages about lots of $1 that this service has owed for over 60 s, by the database's clock,
/// which also says when they were made.
const OWED: &str = "SELECT DISTINCT subject FROM genealogy.outbox \
    WHERE subject = ANY($1) AND made_at < clock_timestamp() - interval '60 seconds'";

/// What stands on these pallets, with the closures of it and everything about them. A pallet that
/// does not exist is left out. All of it is of one snapshot.
pub async fn read(conn: &mut AsyncPgConnection, pallets: &[Uuid]) -> Result<Picture, Failure> {
    let pallets = pallets.to_vec();
    conn.build_transaction()
        .read_only()
        .repeatable_read()
        .run(async |conn| whole(conn, &pallets).await)
        .await
}

async fn whole(conn: &mut AsyncPgConnection, asked: &[Uuid]) -> Result<Picture, Failure> {
    let (pallets, cases) = (pallets(conn, asked).await?, cases(conn, asked).await?);
    let ships: BTreeSet<Uuid> = cases.iter().map(|case| case.lot).collect();
    let ships: Vec<_> = ships.into_iter().collect();
    let closure = closure::closure(conn, &ships).await?;
    let lots: Vec<Uuid> = closure.lots.iter().map(|lot| lot.id).collect();
    Ok(Picture {
        on_hand: on_hand(conn, &ships).await?,
        holds: holds(conn, &cases, &lots).await?,
        owed: owed(conn, &lots).await?,
        refused: refused(conn, &lots).await?,
        made_of: made_of(conn, &closure).await?,
        pallets,
        cases,
        ships,
        closure,
    })
}

async fn pallets(conn: &mut AsyncPgConnection, asked: &[Uuid]) -> Result<Vec<PalletSeen>, Failure> {
    let found: Vec<PalletFound> = statement(
        "SELECT pallet.id, pallet.label, (SELECT state.shipment FROM genealogy.case_state AS state \
         WHERE state.pallet = pallet.id AND state.shipment IS NOT NULL LIMIT 1) AS left_with \
         FROM genealogy.pallet WHERE pallet.id = ANY($1)",
    )
    .bind::<Array<SqlUuid>, _>(asked)
    .load(conn)
    .await?;
    let mut found: BTreeMap<_, _> = found.into_iter().map(|pallet| (pallet.id, pallet)).collect();
    let seen = asked.iter().filter_map(|id| found.remove(id)).map(|pallet| PalletSeen {
        id: pallet.id,
        label: pallet.label,
        left_with: pallet.left_with,
    });
    Ok(seen.collect())
}

/// The cases on these pallets that have neither left nor been destroyed, by serial.
pub async fn cases(
    conn: &mut AsyncPgConnection,
    pallets: &[Uuid],
) -> Result<Vec<CaseSeen>, Failure> {
    let found: Vec<CaseFound> =
        statement(CASES).bind::<Array<SqlUuid>, _>(pallets).load(conn).await?;
    let mut cases: Vec<CaseSeen> = Vec::new();
    for found in found {
        let passing = (found.place, found.at.to_jiff());
        match cases.last_mut() {
            Some(case) if case.serial == found.serial => case.passings.push(passing),
            _ => cases.push(CaseSeen {
                serial: found.serial,
                pallet: found.pallet,
                lot: found.lot,
                mass_g: found.mass_g,
                label_revision: found.label_revision,
                packed_at: found.packed_at.to_jiff(),
                passings: vec![passing],
            }),
        }
    }
    Ok(cases)
}

async fn on_hand(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<BTreeMap<Uuid, BigDecimal>, Failure> {
    let rows: Vec<(Uuid, BigDecimal)> = lot_on_hand::table
        .filter(lot_on_hand::lot.eq_any(lots))
        .select((lot_on_hand::lot, lot_on_hand::on_hand_g))
        .load(conn)
        .await?;
    Ok(rows.into_iter().collect())
}

async fn holds(
    conn: &mut AsyncPgConnection,
    cases: &[CaseSeen],
    lots: &[Uuid],
) -> Result<Vec<HoldSeen>, Failure> {
    let passings = cases.iter().flat_map(|case| &case.passings);
    let places: BTreeSet<Uuid> = passings.map(|(place, _)| *place).collect();
    let serials: Vec<_> = cases.iter().map(|case| case.serial.as_str()).collect();
    let found: Vec<HoldFound> = statement(HOLDS)
        .bind::<Array<SqlUuid>, _>(lots)
        .bind::<Array<SqlUuid>, _>(places.into_iter().collect::<Vec<_>>())
        .bind::<Array<Text>, _>(serials)
        .load(conn)
        .await?;
    Ok(found.into_iter().map(seen).collect())
}

fn seen(found: HoldFound) -> HoldSeen {
    let to = found.span_to.map(|to| to.to_jiff());
    let from = found.span_from.map(|from| from.to_jiff());
    let held = match (found.scope.as_str(), found.place, to) {
        ("what_is_left", ..) => Held::WhatIsLeft,
        ("cases", ..) => Held::Cases(found.cases.into_iter().collect()),
        ("span", Some(place), Some(to)) => Held::Span(Span { place, from, to }),
        // A scope that is not known here holds everything.
        _ => Held::Whole,
    };
    let HoldFound { id, reason, deviation, lots, .. } = found;
    HoldSeen { id, reason, deviation, held, lots: lots.into_iter().collect() }
}

async fn owed(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<BTreeSet<Uuid>, Failure> {
    let subjects: Vec<_> = lots.iter().map(|lot| format!("lot:{lot}")).collect();
    let found: Vec<Owed> = statement(OWED).bind::<Array<Text>, _>(subjects).load(conn).await?;
    let lots = found.iter().filter_map(|owed| owed.subject.strip_prefix("lot:")?.parse().ok());
    Ok(lots.collect())
}

async fn refused(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<RefusedSeen>, Failure> {
    let found: Vec<RefusedFound> =
        statement(REFUSED).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    let seen = found.into_iter().map(|refused| RefusedSeen {
        item: refused.item,
        reason: refused.reason,
        lots: refused.lots.into_iter().collect(),
    });
    Ok(seen.collect())
}
