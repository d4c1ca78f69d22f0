//! Where a lot came from and where it went, by recursive SQL.
//! It never stops at a kind of lot: rework and opening stock are passed through like any other.

use bigdecimal::BigDecimal;
use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Nullable, Numeric, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::Timestamp;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// Which way a trace goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    Back,
    Forward,
}

/// All lots that a lot came of, itself included.
const BACK: &str = "WITH RECURSIVE making(id) AS ( \
    SELECT made_by FROM genealogy.lot WHERE id = $1 AND made_by IS NOT NULL \
    UNION SELECT lot.made_by FROM making \
    JOIN genealogy.transformation_input AS used ON used.transformation = making.id \
    JOIN genealogy.lot ON lot.id = used.lot WHERE lot.made_by IS NOT NULL), \
    reached(id) AS (SELECT $1 UNION SELECT used.lot FROM making \
    JOIN genealogy.transformation_input AS used ON used.transformation = making.id)";

/// All lots that came of a lot, itself included.
const FORWARD: &str = "WITH RECURSIVE making(id) AS ( \
    SELECT transformation FROM genealogy.transformation_input WHERE lot = $1 \
    UNION SELECT used.transformation FROM making \
    JOIN genealogy.lot ON lot.made_by = making.id \
    JOIN genealogy.transformation_input AS used ON used.lot = lot.id), \
    reached(id) AS (SELECT $1 UNION SELECT lot.id FROM making \
    JOIN genealogy.lot ON lot.made_by = making.id)";

/// What is told of each lot that was reached.
const LOTS: &str = "SELECT lot.id, lot.code, lot.kind, lot.material, lot.mass_value, \
    lot.mass_unit, state.on_hand_g, lot.supplier_name, lot.supplier_lot, lot.observed_at, \
    lot.run \
    FROM reached JOIN genealogy.lot ON lot.id = reached.id \
    JOIN genealogy.lot_on_hand AS state ON state.lot = lot.id ORDER BY lot.id";

/// Every use between lots: each input of a making with each lot of it.
const USES: &str = "SELECT used.lot AS from_lot, lot.id AS to_lot, used.transformation, \
    used.mass_value, used.mass_unit FROM genealogy.lot \
    JOIN genealogy.transformation_input AS used ON used.transformation = lot.made_by \
    WHERE lot.id = ANY($1) AND used.lot = ANY($1) ORDER BY used.lot, lot.id, used.record";

/// What left of lots, with whom a recall calls: by the newest that is known of the customer.
const SHIPMENTS: &str = "SELECT link.shipment, link.lot, sent.customer_name, \
    partner.phone, count(*) AS cases, sum(packed.mass_g) AS mass_g, sent.observed_at \
    FROM genealogy.shipment_case AS link \
    JOIN genealogy.shipment AS sent ON sent.id = link.shipment \
    JOIN genealogy.packed_case AS packed ON packed.serial = link.serial \
    JOIN LATERAL (SELECT phone FROM genealogy.partner WHERE id = sent.customer \
    ORDER BY version DESC LIMIT 1) AS partner ON true WHERE link.lot = ANY($1) \
    GROUP BY link.shipment, link.lot, sent.id, partner.phone ORDER BY sent.id, link.lot";

/// A lot that a trace reached.
#[derive(QueryableByName)]
pub struct ReachedLot {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub code: String,
    #[diesel(sql_type = Text)]
    pub kind: String,
    #[diesel(sql_type = Text)]
    pub material: String,
    #[diesel(sql_type = Numeric)]
    pub mass_value: BigDecimal,
    #[diesel(sql_type = Text)]
    pub mass_unit: String,
    #[diesel(sql_type = Numeric)]
    pub on_hand_g: BigDecimal,
    #[diesel(sql_type = Nullable<Text>)]
    pub supplier_name: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    pub supplier_lot: Option<String>,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: Timestamp,
    #[diesel(sql_type = Nullable<Text>)]
    pub run: Option<String>,
}

/// A use between two lots that a trace reached.
#[derive(QueryableByName)]
pub struct ReachedUse {
    #[diesel(sql_type = SqlUuid)]
    pub from_lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub to_lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub transformation: Uuid,
    #[diesel(sql_type = Numeric)]
    pub mass_value: BigDecimal,
    #[diesel(sql_type = Text)]
    pub mass_unit: String,
}

/// What left of one lot with one shipment.
#[derive(QueryableByName)]
pub struct ReachedShipment {
    #[diesel(sql_type = SqlUuid)]
    pub shipment: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub customer_name: String,
    #[diesel(sql_type = Text)]
    pub phone: String,
    #[diesel(sql_type = BigInt)]
    pub cases: i64,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: Timestamp,
}

/// What a trace reached.
pub struct Reached {
    pub lots: Vec<ReachedLot>,
    pub uses: Vec<ReachedUse>,
    /// Forward alone.
    pub shipments: Vec<ReachedShipment>,
}

/// Traces a lot. Not found: a lot that does not exist.
pub async fn trace(
    conn: &mut AsyncPgConnection,
    lot: Uuid,
    direction: Direction,
) -> Result<Reached, Failure> {
    let way = match direction {
        Direction::Back => BACK,
        Direction::Forward => FORWARD,
    };
    let lots: Vec<ReachedLot> =
        statement(format!("{way} {LOTS}")).bind::<SqlUuid, _>(lot).load(conn).await?;
    if lots.is_empty() {
        return Err(Failure::not_found("lot"));
    }
    let ids: Vec<Uuid> = lots.iter().map(|lot| lot.id).collect();
    let uses = statement(USES).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    let shipments = match direction {
        Direction::Back => Vec::new(),
        Direction::Forward => {
            statement(SHIPMENTS).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?
        }
    };
    Ok(Reached { lots, uses, shipments })
}
