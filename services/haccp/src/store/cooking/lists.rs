//! Loads in the order in which they were recorded.
//! It never reads samples.

use diesel::sql_query;
use diesel::sql_types::{BigInt, Nullable, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use uuid::Uuid;

use super::whole::{Head, LoadRow, heads};

/// Loads, those with racks of one lot where one is named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    lot: Option<Uuid>,
    page: &Page,
) -> Result<Vec<Head>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let query = sql_query(
        "SELECT id, house, house_name, note, observed_at, recorded_at, entered_by_name, day \
         FROM haccp.load WHERE id > $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM haccp.load_rack \
         AS rack WHERE rack.load = load.id AND rack.lot = $2)) ORDER BY id LIMIT $3",
    );
    let found: Vec<LoadRow> = query
        .bind::<SqlUuid, _>(after)
        .bind::<Nullable<SqlUuid>, _>(lot)
        .bind::<BigInt, _>(page.fetch())
        .load(conn)
        .await?;
    heads(conn, found).await
}
