//! Which stations watched which places, when they were heard, and who looked at silent ones.
//! It never says that a station was silent.

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Integer, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// All that is known of the stations at some places.
#[derive(Clone, Debug, Default)]
pub struct Stations {
    pub bindings: Vec<Binding>,
    pub heard: Vec<Heard>,
    pub looks: Vec<Look>,
}

/// From when on a station watches a place, or watches it no more.
#[derive(QueryableByName, Clone, Debug)]
pub struct Binding {
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = Text)]
    pub station_name: String,
    #[diesel(sql_type = SqlUuid)]
    pub place: Uuid,
    #[diesel(sql_type = Bool)]
    pub is_bound: bool,
    #[diesel(sql_type = BigInt)]
    pub at: i64,
}

/// A station was heard.
#[derive(QueryableByName, Clone, Debug)]
pub struct Heard {
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = BigInt)]
    pub at: i64,
    #[diesel(sql_type = Integer)]
    pub queued: i32,
}

/// A station was looked at for a span.
#[derive(QueryableByName, Clone, Debug)]
pub struct Look {
    #[diesel(sql_type = SqlUuid)]
    pub station: Uuid,
    #[diesel(sql_type = BigInt)]
    pub from_us: i64,
    #[diesel(sql_type = BigInt)]
    pub to_us: i64,
}

/// What is known of the stations that ever watched one of these places. Of what was heard only the
/// last of each kind counts: with nothing left to send, and with something.
pub async fn read(conn: &mut AsyncPgConnection, places: &[Uuid]) -> Result<Stations, Failure> {
    let bindings: Vec<Binding> = statement(
        "SELECT station_id AS station, station_name, place, is_bound, \
         (extract(epoch FROM recorded_at) * 1000000)::bigint AS at FROM haccp.station_place \
         WHERE place = ANY($1) ORDER BY recorded_at, id",
    )
    .bind::<Array<SqlUuid>, _>(places)
    .load(conn)
    .await?;
    if bindings.is_empty() {
        return Ok(Stations::default());
    }
    let stations: Vec<Uuid> = bindings.iter().map(|binding| binding.station).collect();
    let heard = statement(
        "SELECT DISTINCT ON (station_id, queued = 0) station_id AS station, \
         (extract(epoch FROM heard_at) * 1000000)::bigint AS at, queued \
         FROM haccp.station_heard WHERE station_id = ANY($1) \
         ORDER BY station_id, queued = 0, heard_at DESC",
    )
    .bind::<Array<SqlUuid>, _>(&stations)
    .load(conn)
    .await?;
    let looks = statement(
        "SELECT station_id AS station, (extract(epoch FROM look_from) * 1000000)::bigint \
         AS from_us, (extract(epoch FROM look_to) * 1000000)::bigint AS to_us \
         FROM haccp.station_look WHERE station_id = ANY($1)",
    )
    .bind::<Array<SqlUuid>, _>(&stations)
    .load(conn)
    .await?;
    Ok(Stations { bindings, heard, looks })
}
