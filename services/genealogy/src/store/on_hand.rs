//! Lots of materials on hand, the oldest first, with what forbids the use of each.
//! It never locks anything: what it tells may be gone when somebody comes to use it.

use std::collections::HashMap;

use bigdecimal::{BigDecimal, Zero as _};
use diesel::QueryableByName;
use diesel::sql_types::{
    Array, BigInt, Date as SqlDate, Nullable, Numeric, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::making::stock;
use crate::shape::making::judge::Stock;
use crate::shape::on_hand::{OF_A_MATERIAL, OnHand, Shelf, Wanted};

/// How many lots of a material are read: a hold on what a lot was made of is seen only later, and
/// so many may be put behind the others for one.
const READ_OF_A_MATERIAL: i64 = 2 * OF_A_MATERIAL as i64;

/// The oldest lots of each material, those with a hold of their own or past their day last, and the
/// lots that were named: one statement, whatever was asked for.
const FOUND: &str = "WITH asked AS (SELECT DISTINCT lower(word) AS word FROM unnest($1) AS word) \
    SELECT asked.word, near.* FROM asked CROSS JOIN LATERAL (SELECT lot.id, lot.kind, \
    lot.material, lot.mass_unit, state.on_hand_g, \
    lot.observed_at + lot.offset_ms * interval '1 millisecond' AS made_at \
    FROM genealogy.lot JOIN genealogy.lot_on_hand AS state ON state.lot = lot.id \
    WHERE lower(lot.material) = asked.word \
    AND lot.kind IN ('received', 'opening_stock', 'rework') AND state.on_hand_g > 0 \
    ORDER BY coalesce(lot.use_by < $2, false) OR EXISTS (SELECT 1 FROM genealogy.hold_lot AS link \
    WHERE link.lot = lot.id AND NOT EXISTS (SELECT 1 FROM genealogy.hold_end AS ended \
    WHERE ended.hold = link.hold)), made_at, length(lot.code), lot.code LIMIT $3) AS near \
    UNION ALL SELECT NULL, lot.id, lot.kind, lot.material, lot.mass_unit, state.on_hand_g, \
    lot.observed_at + lot.offset_ms * interval '1 millisecond' \
    FROM genealogy.lot JOIN genealogy.lot_on_hand AS state ON state.lot = lot.id \
    WHERE lot.id = ANY($4) AND state.on_hand_g > 0";

#[derive(QueryableByName)]
struct Found {
    /// The material that was asked for; None: the lot was named.
    #[diesel(sql_type = Nullable<Text>)]
    word: Option<String>,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Text)]
    material: String,
    #[diesel(sql_type = Text)]
    mass_unit: String,
    #[diesel(sql_type = Numeric)]
    on_hand_g: BigDecimal,
    #[diesel(sql_type = Timestamptz)]
    made_at: jiff_diesel::Timestamp,
}

/// What is on hand of materials and of named lots.
pub async fn find(conn: &mut AsyncPgConnection, wanted: &Wanted) -> Result<Shelf, Failure> {
    let mut found: Vec<Found> = statement(FOUND)
        .bind::<Array<Text>, _>(&wanted.materials)
        .bind::<SqlDate, _>(wanted.on.to_diesel())
        .bind::<BigInt, _>(READ_OF_A_MATERIAL)
        .bind::<Array<SqlUuid>, _>(&wanted.lots)
        .load(conn)
        .await?;
    // One that was named and is of a material that was asked for is told once.
    found.sort_by_key(|one| (one.id, one.word.is_none()));
    found.dedup_by_key(|one| one.id);
    let ids: Vec<Uuid> = found.iter().map(|one| one.id).collect();
    let on_hand: HashMap<Uuid, BigDecimal> =
        found.iter().map(|one| (one.id, one.on_hand_g.clone())).collect();
    let stocks = stock::stocks(conn, &ids, &on_hand).await?;
    let lots = found.into_iter().zip(stocks).map(|(found, stock)| lot(found, stock, wanted));
    Ok(Shelf::of(lots.filter(|lot| !lot.mass_g.is_zero()).collect()))
}

fn lot(found: Found, stock: Stock, wanted: &Wanted) -> OnHand {
    let made_at: Timestamp = found.made_at.to_jiff();
    OnHand {
        asked_as: found.word,
        lot: found.id,
        kind: found.kind,
        material: found.material,
        mass_g: stock.free_g(),
        unit: found.mass_unit,
        made_at,
        use_by: stock.use_by,
        forbidden_by: stock.forbidden_by(wanted.on),
        code: stock.code,
    }
}
