//! All that was recorded of one load, so that it can be judged from the beginning each time.
//! It never holds a verdict of its own making.

use std::collections::HashMap;

use diesel::sql_types::{Array, Bool, Date, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::Timestamp;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// A load.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct LoadRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub house: Uuid,
    #[diesel(sql_type = Text)]
    pub house_name: String,
    #[diesel(sql_type = Text)]
    pub note: String,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: Timestamp,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: Timestamp,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Date)]
    pub day: jiff_diesel::Date,
}

/// A rack of a load, the plan to which it is bound, and its pull.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct RackRow {
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Text)]
    pub lot_code: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub plan: Option<Uuid>,
    #[diesel(sql_type = Nullable<Integer>)]
    pub version: Option<i32>,
    #[diesel(sql_type = Nullable<Timestamptz>)]
    pub pulled_at: Option<Timestamp>,
    /// The last deviation that a judgement of this load opened on it.
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub deviation: Option<Uuid>,
}

impl RackRow {
    /// The plan version to which it is bound.
    pub fn bound(&self) -> Option<(Uuid, i32)> {
        self.plan.zip(self.version)
    }
}

/// A probe and its seat, or what a logger or readings by hand are called, left out or not.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct ProbeRow {
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = Text)]
    pub probe: String,
    #[diesel(sql_type = Text)]
    pub seat: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub lot: Option<Uuid>,
}

/// That something is left out of the judgement.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct LeftOutRow {
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = Text)]
    pub probe: String,
    #[diesel(sql_type = Timestamptz)]
    pub left_out_from: Timestamp,
    #[diesel(sql_type = Text)]
    pub reason: String,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
}

/// A block of samples; numbers as they were entered.
#[derive(QueryableByName, Clone, Debug)]
pub struct BlockRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = Text)]
    pub probe: String,
    #[diesel(sql_type = Text)]
    pub source: String,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub lot: Option<Uuid>,
    #[diesel(sql_type = Text)]
    pub unit: String,
    #[diesel(sql_type = Timestamptz)]
    pub begun_at: Timestamp,
    #[diesel(sql_type = Array<Text>)]
    pub times: Vec<String>,
    #[diesel(sql_type = Array<Text>)]
    pub shown: Vec<String>,
    #[diesel(sql_type = Nullable<Text>)]
    pub correction: Option<String>,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: Timestamp,
}

/// A first reading by hand on a rack.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct HandRow {
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Timestamptz)]
    pub observed_at: Timestamp,
    #[diesel(sql_type = Array<Text>)]
    pub shown: Vec<String>,
    #[diesel(sql_type = Text)]
    pub unit: String,
    #[diesel(sql_type = Nullable<Text>)]
    pub correction: Option<String>,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    /// PASS, and no amendment of it says otherwise.
    #[diesel(sql_type = Bool)]
    pub is_met: bool,
}

/// The last judgement of a rack by a check.
#[derive(QueryableByName, Clone, Debug, PartialEq, Eq)]
pub struct StandingRow {
    #[diesel(sql_type = SqlUuid)]
    pub load: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Text)]
    pub verdict: String,
    #[diesel(sql_type = Text)]
    pub what: String,
}

/// A load with its racks and probes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    pub load: LoadRow,
    pub racks: Vec<RackRow>,
    pub probes: Vec<ProbeRow>,
    pub left_out: Vec<LeftOutRow>,
    pub standing: Vec<StandingRow>,
}

/// A load with all that was shown and read in it.
#[derive(Clone, Debug)]
pub struct Whole {
    pub head: Head,
    pub blocks: Vec<BlockRow>,
    pub hand: Vec<HandRow>,
}

/// All that a load is judged by. Its blocks stand here by their ids alone: no block ever changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sources {
    pub head: Head,
    pub hand: Vec<HandRow>,
    /// In the order of their ids.
    pub blocks: Vec<Uuid>,
}

const RACKS: &str = "SELECT rack.load, rack.lot, rack.lot_code, bound.plan, bound.version, \
    pull.observed_at AS pulled_at, (SELECT deviation.id FROM haccp.judgement_lot AS link \
    JOIN haccp.judgement ON judgement.id = link.judgement AND judgement.load = rack.load \
    JOIN haccp.deviation ON deviation.judgement = judgement.id WHERE link.lot = rack.lot \
    ORDER BY deviation.id DESC LIMIT 1) AS deviation FROM haccp.load_rack AS rack \
    LEFT JOIN haccp.lot_bound AS bound ON bound.lot = rack.lot \
    LEFT JOIN haccp.pull_rack AS pulled ON pulled.load = rack.load AND pulled.lot = rack.lot \
    LEFT JOIN haccp.pull ON pull.id = pulled.pull \
    WHERE rack.load = ANY($1) ORDER BY rack.lot_code, rack.lot";
const STANDING: &str = "SELECT DISTINCT ON (judgement.load, link.lot, judgement.plan, \
    judgement.check_code) judgement.load, link.lot, judgement.plan, \
    judgement.check_code, judgement.verdict, judgement.what FROM haccp.judgement \
    JOIN haccp.judgement_lot AS link ON link.judgement = judgement.id \
    WHERE judgement.load = ANY($1) ORDER BY judgement.load, link.lot, judgement.plan, \
    judgement.check_code, judgement.recorded_at DESC, judgement.id DESC";
const BLOCKS: &str = "SELECT id, load, probe, source, lot, unit, begun_at, \
    times_s::text[] AS times, readings::text[] AS shown, correction::text AS correction, \
    recorded_at FROM haccp.sample_block";
const IN_TIME: &str = "ORDER BY probe, begun_at, id";
/// First readings on the racks of loads, each since its load began.
const BY_HAND: &str = "SELECT rack.load, link.lot, r.plan, r.plan_version, r.check_code, \
    r.observed_at, r.readings::text[] AS shown, r.unit, r.correction::text AS correction, \
    r.entered_by_name, r.verdict = 'PASS' AND NOT EXISTS (SELECT 1 FROM haccp.reading AS a \
    WHERE a.supersedes = r.id AND a.verdict <> 'PASS') AS is_met \
    FROM haccp.load_rack AS rack JOIN haccp.load ON load.id = rack.load \
    JOIN haccp.reading_lot AS link ON link.lot = rack.lot \
    JOIN haccp.reading AS r ON r.id = link.reading \
    WHERE rack.load = ANY($1) AND r.supersedes IS NULL AND r.observed_at >= load.observed_at \
    ORDER BY r.observed_at, r.id";

/// Loads with their racks, probes and what stands of them, in the order asked for.
pub async fn heads(
    conn: &mut AsyncPgConnection,
    loads: Vec<LoadRow>,
) -> Result<Vec<Head>, Failure> {
    let ids: Vec<Uuid> = loads.iter().map(|load| load.id).collect();
    let racks: Vec<RackRow> = statement(RACKS).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    let probes: Vec<ProbeRow> = statement(
        "SELECT load, probe, seat, lot FROM haccp.load_probe WHERE load = ANY($1) ORDER BY probe",
    )
    .bind::<Array<SqlUuid>, _>(&ids)
    .load(conn)
    .await?;
    let left_out: Vec<LeftOutRow> = statement(
        "SELECT load, probe, left_out_from, reason, entered_by_name FROM haccp.probe_left_out \
         WHERE load = ANY($1) ORDER BY left_out_from, id",
    )
    .bind::<Array<SqlUuid>, _>(&ids)
    .load(conn)
    .await?;
    let standing: Vec<StandingRow> =
        statement(STANDING).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    let head = |load: LoadRow| {
        let id = load.id;
        Head {
            racks: racks.iter().filter(|row| row.load == id).cloned().collect(),
            probes: probes.iter().filter(|row| row.load == id).cloned().collect(),
            left_out: left_out.iter().filter(|row| row.load == id).cloned().collect(),
            standing: standing.iter().filter(|row| row.load == id).cloned().collect(),
            load,
        }
    };
    Ok(loads.into_iter().map(head).collect())
}

/// One load by itself.
pub async fn row(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<LoadRow>, Failure> {
    let query = statement(
        "SELECT id, house, house_name, note, observed_at, recorded_at, entered_by_name, day \
         FROM haccp.load WHERE id = $1",
    );
    Ok(query.bind::<SqlUuid, _>(id).get_result(conn).await.optional()?)
}

/// One load with its racks, probes and what stands of them.
pub async fn head(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Head>, Failure> {
    let load = row(conn, id).await?;
    Ok(heads(conn, load.into_iter().collect()).await?.pop())
}

/// One load with all that was shown and read in it.
pub async fn whole(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Whole>, Failure> {
    let Some(head) = head(conn, id).await? else { return Ok(None) };
    let blocks = blocks(conn, id).await?;
    let hand = by_hand(conn, &[id]).await?;
    Ok(Some(Whole { head, blocks, hand }))
}

async fn by_hand(conn: &mut AsyncPgConnection, loads: &[Uuid]) -> Result<Vec<HandRow>, Failure> {
    Ok(statement(BY_HAND).bind::<Array<SqlUuid>, _>(loads).load(conn).await?)
}

#[derive(QueryableByName)]
struct Ids {
    #[diesel(sql_type = SqlUuid)]
    load: Uuid,
    #[diesel(sql_type = Array<SqlUuid>)]
    blocks: Vec<Uuid>,
}

/// What each of these loads is judged by, in the order given.
pub async fn sources(
    conn: &mut AsyncPgConnection,
    heads: Vec<Head>,
) -> Result<Vec<Sources>, Failure> {
    let loads: Vec<Uuid> = heads.iter().map(|head| head.load.id).collect();
    let mut hand: HashMap<Uuid, Vec<HandRow>> = HashMap::new();
    for row in by_hand(conn, &loads).await? {
        hand.entry(row.load).or_default().push(row);
    }
    let ids: Vec<Ids> = statement(
        "SELECT load, array_agg(id ORDER BY id) AS blocks FROM haccp.sample_block \
         WHERE load = ANY($1) GROUP BY load",
    )
    .bind::<Array<SqlUuid>, _>(&loads)
    .load(conn)
    .await?;
    let mut blocks: HashMap<Uuid, Vec<Uuid>> =
        ids.into_iter().map(|ids| (ids.load, ids.blocks)).collect();
    let sources = |head: Head| {
        let (hand, blocks) = (hand.remove(&head.load.id), blocks.remove(&head.load.id));
        Sources { head, hand: hand.unwrap_or_default(), blocks: blocks.unwrap_or_default() }
    };
    Ok(heads.into_iter().map(sources).collect())
}

/// Blocks by their ids, those of each load in the order of time.
pub async fn blocks_by_id(
    conn: &mut AsyncPgConnection,
    ids: &[Uuid],
) -> Result<HashMap<Uuid, Vec<BlockRow>>, Failure> {
    let query = statement(format!("{BLOCKS} WHERE id = ANY($1) {IN_TIME}"));
    let rows: Vec<BlockRow> = query.bind::<Array<SqlUuid>, _>(ids).load(conn).await?;
    let mut of_load: HashMap<Uuid, Vec<BlockRow>> = HashMap::new();
    for row in rows {
        of_load.entry(row.load).or_default().push(row);
    }
    Ok(of_load)
}

#[derive(QueryableByName)]
struct Pulled {
    #[diesel(sql_type = SqlUuid)]
    load: Uuid,
}

/// The loads from which any of these lots was pulled.
pub async fn pulled(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<Vec<Uuid>, Failure> {
    let query = "SELECT DISTINCT load FROM haccp.pull_rack WHERE lot = ANY($1) ORDER BY load";
    let found: Vec<Pulled> = statement(query).bind::<Array<SqlUuid>, _>(lots).load(conn).await?;
    Ok(found.into_iter().map(|row| row.load).collect())
}

/// Every block of a load, in the order of time.
pub async fn blocks(conn: &mut AsyncPgConnection, load: Uuid) -> Result<Vec<BlockRow>, Failure> {
    let query = statement(format!("{BLOCKS} WHERE load = $1 {IN_TIME}"));
    Ok(query.bind::<SqlUuid, _>(load).load(conn).await?)
}

/// The blocks of a load that go by one of these names.
pub async fn blocks_of(
    conn: &mut AsyncPgConnection,
    load: Uuid,
    names: &[String],
) -> Result<Vec<BlockRow>, Failure> {
    let query = statement(format!("{BLOCKS} WHERE load = $1 AND probe = ANY($2) {IN_TIME}"));
    Ok(query.bind::<SqlUuid, _>(load).bind::<Array<Text>, _>(names).load(conn).await?)
}
