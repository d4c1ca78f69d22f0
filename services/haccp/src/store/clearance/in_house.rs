//! How long the racks of a load were in their house: over that time somebody must look.
//! It never says how often.

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Nullable, Uuid as SqlUuid};
use uuid::Uuid;

/// A rack in a house, from the start of its load to its pull.
#[derive(QueryableByName, Clone, Debug)]
pub struct InHouse {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = BigInt)]
    pub from_us: i64,
    /// None: it is still in.
    #[diesel(sql_type = Nullable<BigInt>)]
    pub to_us: Option<i64>,
}

/// The statement over lots.
pub const IN_HOUSE: &str = "SELECT rack.lot, (extract(epoch FROM load.observed_at) * \
    1000000)::bigint + load.offset_ms * 1000 AS from_us, (extract(epoch FROM pull.observed_at) * \
    1000000)::bigint + pull.offset_ms * 1000 AS to_us FROM haccp.load_rack AS rack \
    JOIN haccp.load AS load ON load.id = rack.load \
    LEFT JOIN haccp.pull_rack AS pulled ON pulled.load = rack.load AND pulled.lot = rack.lot \
    LEFT JOIN haccp.pull AS pull ON pull.id = pulled.pull WHERE rack.lot = ANY($1)";
