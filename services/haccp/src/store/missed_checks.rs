//! Missed checks that evidence covers, and the evidence: the curves of a load.
//! It never says that evidence does.

use diesel::sql_types::{Array, BigInt, Integer, Text, Timestamptz, Uuid as SqlUuid};
use diesel::{QueryableByName, sql_query};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use uuid::Uuid;

use super::rows::Table;

/// The records.
pub const MISSED: Table = Table::of("haccp.missed_check");

/// A covered missed check.
#[derive(QueryableByName, Clone, Debug)]
pub struct MissedRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Array<SqlUuid>)]
    pub lots: Vec<Uuid>,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Timestamptz)]
    pub missed_from: jiff_diesel::Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub missed_to: jiff_diesel::Timestamp,
    #[diesel(sql_type = SqlUuid)]
    pub evidence: Uuid,
    #[diesel(sql_type = Text)]
    pub cause: String,
    #[diesel(sql_type = Text)]
    pub prevention: String,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

/// One covered missed check.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<MissedRow, Failure> {
    let query = "SELECT m.id, ARRAY(SELECT lot FROM haccp.missed_check_lot \
        WHERE missed_check = m.id ORDER BY lot) AS lots, m.plan, m.plan_version, m.check_code, \
        m.missed_from, m.missed_to, m.evidence, m.cause, m.prevention, m.entered_by_name, \
        m.recorded_at FROM haccp.missed_check AS m WHERE m.id = $1";
    Ok(sql_query(query).bind::<SqlUuid, _>(id).get_result(conn).await?)
}

/// What a load proves, as evidence.
#[derive(Clone, Debug, Default)]
pub struct Evidence {
    /// The lots of its racks.
    pub racks: Vec<Uuid>,
    /// Those for which its last judgement met the check.
    pub met: Vec<Uuid>,
    /// Its curves.
    pub tracks: Vec<Track>,
}

/// The instants of one probe's samples.
#[derive(QueryableByName, Clone, Debug)]
pub struct Track {
    /// The lots for which it speaks: those of the rack's own product.
    #[diesel(sql_type = Array<SqlUuid>)]
    pub lots: Vec<Uuid>,
    /// Microseconds since 1970, rising.
    #[diesel(sql_type = Array<BigInt>)]
    pub samples: Vec<i64>,
}

impl Track {
    /// Whether it speaks for a lot.
    pub fn is_of(&self, lot: Uuid) -> bool {
        self.lots.contains(&lot)
    }
}

#[derive(QueryableByName)]
struct Lot {
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
}

/// Reads what a load proves about a check.
pub async fn evidence(
    conn: &mut AsyncPgConnection,
    load: Uuid,
    (plan, check): (Uuid, &str),
) -> Result<Evidence, Failure> {
    let racks: Vec<Lot> = sql_query("SELECT lot FROM haccp.load_rack WHERE load = $1")
        .bind::<SqlUuid, _>(load)
        .load(conn)
        .await?;
    let met: Vec<Lot> = sql_query(
        "SELECT lot FROM (SELECT DISTINCT ON (link.lot) link.lot, j.verdict \
         FROM haccp.judgement AS j JOIN haccp.judgement_lot AS link ON link.judgement = j.id \
         WHERE j.load = $1 AND j.plan = $2 AND j.check_code = $3 \
         ORDER BY link.lot, j.recorded_at DESC, j.id DESC) AS last WHERE verdict = 'PASS'",
    )
    .bind::<SqlUuid, _>(load)
    .bind::<SqlUuid, _>(plan)
    .bind::<Text, _>(check)
    .load(conn)
    .await?;
    let ids = |rows: Vec<Lot>| rows.into_iter().map(|row| row.lot).collect();
    Ok(Evidence { racks: ids(racks), met: ids(met), tracks: tracks(conn, load).await? })
}

/// The curves of probes in product and of loggers; readings by hand are no curve. What a signature
/// left out does not count.
async fn tracks(conn: &mut AsyncPgConnection, load: Uuid) -> Result<Vec<Track>, Failure> {
    let query = sql_query(
        "SELECT ARRAY(SELECT rack.lot FROM haccp.load_rack AS rack JOIN haccp.lot_bound AS mine \
         ON mine.lot = rack.lot JOIN haccp.lot_bound AS its ON its.lot = sampled.lot \
         AND its.plan = mine.plan WHERE rack.load = $1) AS lots, samples \
         FROM (SELECT seated.lot, array_agg(seated.at ORDER BY seated.at) AS samples FROM \
         (SELECT b.probe, coalesce(b.lot, p.lot) AS lot, \
         (extract(epoch FROM b.begun_at) * 1000000 + taken.s * 1000000)::bigint AS at \
         FROM haccp.sample_block AS b LEFT JOIN haccp.load_probe AS p \
         ON p.load = b.load AND p.probe = b.probe CROSS JOIN unnest(b.times_s) AS taken(s) \
         WHERE b.load = $1 AND b.source <> 'hand') AS seated \
         WHERE seated.lot IS NOT NULL AND NOT EXISTS (SELECT 1 FROM haccp.probe_left_out AS o \
         WHERE o.load = $1 AND o.probe = seated.probe \
         AND (extract(epoch FROM o.left_out_from) * 1000000)::bigint <= seated.at) \
         GROUP BY seated.probe, seated.lot) AS sampled",
    );
    Ok(query.bind::<SqlUuid, _>(load).load(conn).await?)
}
