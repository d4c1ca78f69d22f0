//! Where each case is, and what it weighs.
//! It never changes a state row that is not locked.

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Array, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use crate::schema::case_state;

/// Where a case is.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = case_state, check_for_backend(diesel::pg::Pg))]
pub struct CaseStateRow {
    pub serial: String,
    /// The pallet on which it stands, or stood when it left.
    pub pallet: Option<Uuid>,
    pub shipment: Option<Uuid>,
    pub destruction: Option<Uuid>,
}

/// A case with its lot.
#[derive(Clone, Debug, QueryableByName)]
pub struct CaseOfLot {
    #[diesel(sql_type = Text)]
    pub serial: String,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
}

#[derive(QueryableByName)]
struct Mass {
    #[diesel(sql_type = Numeric)]
    mass_g: BigDecimal,
}

/// Locks the state of cases, by serial as everywhere; those that do not exist are left out.
pub async fn lock(
    conn: &mut AsyncPgConnection,
    serials: &[String],
) -> Result<Vec<CaseStateRow>, Failure> {
    let rows = case_state::table
        .filter(case_state::serial.eq_any(serials))
        .order(case_state::serial.asc())
        .select(CaseStateRow::as_select())
        .for_no_key_update()
        .load(conn)
        .await?;
    Ok(rows)
}

/// Cases with their lots, by serial; those that do not exist are left out.
pub async fn of_serials(
    conn: &mut AsyncPgConnection,
    serials: &[String],
) -> Result<Vec<CaseOfLot>, Failure> {
    let rows = statement(
        "SELECT serial, lot FROM genealogy.packed_case WHERE serial = ANY($1) ORDER BY serial",
    )
    .bind::<Array<Text>, _>(serials)
    .load(conn)
    .await?;
    Ok(rows)
}

/// What the cases of a lot weigh that have neither left nor been destroyed, in grams. It is exact
/// while the lot's row of what is on hand is locked.
pub async fn here_g(conn: &mut AsyncPgConnection, lot: Uuid) -> Result<BigDecimal, Failure> {
    let mass: Mass = statement(
        "SELECT coalesce(sum(packed.mass_g), 0) AS mass_g FROM genealogy.packed_case AS packed \
         JOIN genealogy.case_state AS state USING (serial) WHERE packed.lot = $1 \
         AND state.shipment IS NULL AND state.destruction IS NULL",
    )
    .bind::<SqlUuid, _>(lot)
    .get_result(conn)
    .await?;
    Ok(mass.mass_g)
}
