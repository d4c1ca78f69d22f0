//! Loads in the order in which they were recorded.
//! It never reads samples.

use diesel::sql_query;
use diesel::sql_types::{BigInt, Nullable, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::pages::Page;
use uuid::Uuid;

use super::whole::{Head, LoadRow, heads};

/// Which loads a list shows.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// Those with racks of this lot.
    pub lot: Option<Uuid>,
    /// Those of which a rack is in its house, or was pulled at this instant or later.
    pub pulled_since: Option<jiff::Timestamp>,
}

/// Loads, in the order of their ids.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    page: &Page,
) -> Result<Vec<Head>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let query = sql_query(
        "SELECT id, house, house_name, note, observed_at, recorded_at, entered_by_name, day \
         FROM haccp.load WHERE id > $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM haccp.load_rack \
         AS rack WHERE rack.load = load.id AND rack.lot = $2)) AND ($4 IS NULL OR EXISTS \
         (SELECT 1 FROM haccp.load_rack AS rack LEFT JOIN haccp.pull_rack AS pulled \
         ON pulled.load = rack.load AND pulled.lot = rack.lot LEFT JOIN haccp.pull \
         ON pull.id = pulled.pull WHERE rack.load = load.id \
         AND (pull.id IS NULL OR pull.observed_at >= $4))) ORDER BY id LIMIT $3",
    );
    let found: Vec<LoadRow> = query
        .bind::<SqlUuid, _>(after)
        .bind::<Nullable<SqlUuid>, _>(wanted.lot)
        .bind::<BigInt, _>(page.fetch())
        .bind::<Nullable<Timestamptz>, _>(wanted.pulled_since.map(|at| at.to_diesel()))
        .load(conn)
        .await?;
    heads(conn, found).await
}
