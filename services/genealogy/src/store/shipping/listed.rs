//! Pallets as a list, with the cases of each counted by lot.
//! It never reads the cases themselves.

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Bool, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::Timestamp;
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::planned;
use uuid::Uuid;

use super::shipments::LotOnPallet;

/// What of a lot stands on a pallet of the list, and what the list says of the pallet.
#[derive(Clone, Debug, QueryableByName)]
pub struct Listed {
    #[diesel(sql_type = Text)]
    pub place_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: Timestamp,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub shipment: Option<Uuid>,
    #[diesel(embed)]
    pub of: LotOnPallet,
}

/// The lots on the pallets of a page, pallet by pallet, the newest first; a label and whether a
/// case must be here narrow them.
pub async fn pallets(
    conn: &mut AsyncPgConnection,
    (label, is_here): (&str, bool),
    page: &Page,
) -> Result<Vec<Listed>, Failure> {
    let after = page.after.as_deref().and_then(|after| after.parse::<Uuid>().ok());
    let rows = planned(
        "SELECT asked.id AS pallet, asked.label, asked.place_name, asked.recorded_at, \
         state.shipment, packed.lot, lot.code, lot.material, count(*) AS cases, \
         sum(packed.mass_g) AS mass_g \
         FROM (SELECT id, label, place_name, recorded_at FROM genealogy.pallet \
         WHERE ($1::uuid IS NULL OR id < $1) AND ($2 = '' OR label = $2) \
         AND EXISTS (SELECT 1 FROM genealogy.case_state AS state WHERE state.pallet = pallet.id \
         AND state.destruction IS NULL AND (state.shipment IS NULL OR NOT $3)) \
         ORDER BY id DESC LIMIT $4) AS asked \
         JOIN genealogy.case_state AS state ON state.pallet = asked.id \
         AND state.destruction IS NULL \
         JOIN genealogy.packed_case AS packed USING (serial) \
         JOIN genealogy.lot ON lot.id = packed.lot \
         GROUP BY asked.id, asked.label, asked.place_name, asked.recorded_at, state.shipment, \
         packed.lot, lot.code, lot.material ORDER BY asked.id DESC, lot.code",
    )
    .bind::<Nullable<SqlUuid>, _>(after)
    .bind::<Text, _>(label)
    .bind::<Bool, _>(is_here)
    .bind::<BigInt, _>(page.fetch())
    .load(conn)
    .await?;
    Ok(rows)
}
