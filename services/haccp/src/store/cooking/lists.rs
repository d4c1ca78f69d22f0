//! Loads in the order in which they were recorded.
//! It never reads samples.

use diesel::sql_types::{Array, BigInt, Nullable, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::planned;
use uuid::Uuid;

use super::whole::{Head, LoadRow, heads};

/// Which loads a list shows.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// Those with racks of any of these lots; empty: all.
    pub lots: Vec<Uuid>,
    /// Those of which a rack is in its house, or was pulled at this instant or later.
    pub pulled_since: Option<jiff::Timestamp>,
    /// Those that went in before this instant.
    pub begun_before: Option<jiff::Timestamp>,
    /// The newest first.
    pub newest_first: bool,
}

/// The loads of a page, but for their order.
const LOADS: &str = "SELECT id, house, house_name, note, observed_at, recorded_at, \
    entered_by_name, day FROM haccp.load WHERE (cardinality($2) = 0 OR id IN (SELECT load \
    FROM haccp.load_rack WHERE lot = ANY($2))) \
    AND ($4 IS NULL OR id IN (SELECT rack.load FROM haccp.load_rack AS rack \
    LEFT JOIN haccp.pull_rack AS pulled ON pulled.load = rack.load AND pulled.lot = rack.lot \
    LEFT JOIN haccp.pull ON pull.id = pulled.pull \
    WHERE pull.id IS NULL OR pull.observed_at >= $4)) \
    AND ($5 IS NULL OR observed_at < $5)";

/// Loads, in the order of their ids or the other way round.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    page: &Page,
) -> Result<Vec<Head>, Failure> {
    let last = page.after.as_deref().and_then(|key| key.parse().ok());
    let (query, first) = match wanted.newest_first {
        true => (format!("{LOADS} AND id < $1 ORDER BY id DESC LIMIT $3"), Uuid::max()),
        false => (format!("{LOADS} AND id > $1 ORDER BY id LIMIT $3"), Uuid::nil()),
    };
    let query = planned(query);
    let found: Vec<LoadRow> = query
        .bind::<SqlUuid, _>(last.unwrap_or(first))
        .bind::<Array<SqlUuid>, _>(&wanted.lots)
        .bind::<BigInt, _>(page.fetch())
        .bind::<Nullable<Timestamptz>, _>(wanted.pulled_since.map(|at| at.to_diesel()))
        .bind::<Nullable<Timestamptz>, _>(wanted.begun_before.map(|at| at.to_diesel()))
        .load(conn)
        .await?;
    heads(conn, found).await
}
