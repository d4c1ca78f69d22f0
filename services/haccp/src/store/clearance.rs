//! The facts of a clearance: what is recorded about the lots of a closure, each kind by one
//! statement over all of them. It never judges any of it.

pub mod in_house;
mod several;
pub mod stations;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Bytea, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// What is asked about.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The lots of the closure.
    pub lots: Vec<Uuid>,
    /// Places where any of them was.
    pub stays: Vec<Uuid>,
    /// Places that cases passed.
    pub passed: Vec<Uuid>,
    /// When the first of them passed, in microseconds since 1970.
    pub first_passing: i64,
    /// What ships, with the digest of its closure.
    pub ships: Vec<(Uuid, Vec<u8>)>,
}

/// All that is recorded about it.
#[derive(Clone, Debug, Default)]
pub struct Facts {
    pub bound: Vec<Bound>,
    pub readings: Vec<Read>,
    pub judgements: Vec<Judged>,
    pub deviations: Vec<Deviated>,
    pub named: Vec<Named>,
    pub covers: Vec<Covered>,
    pub blocks: Vec<Blocked>,
    pub in_house: Vec<in_house::InHouse>,
    pub stations: stations::Stations,
    pub challenges: Vec<Challenged>,
    pub reviews: Vec<Reviewed>,
}

/// Reads all facts on one connection.
pub async fn facts(conn: &mut AsyncPgConnection, asked: &Asked) -> Result<Facts, Failure> {
    let lots = &asked.lots;
    Ok(Facts {
        bound: of_lots(conn, BOUND, lots).await?,
        readings: of_lots(conn, READINGS, lots).await?,
        judgements: of_lots(conn, JUDGEMENTS, lots).await?,
        named: of_lots(conn, NAMED, lots).await?,
        covers: of_lots(conn, COVERS, lots).await?,
        blocks: of_lots(conn, BLOCKS, lots).await?,
        in_house: of_lots(conn, in_house::IN_HOUSE, lots).await?,
        deviations: deviations(conn, asked).await?,
        stations: stations::read(conn, &asked.stays).await?,
        challenges: challenges(conn, asked).await?,
        reviews: reviews(conn, asked).await?,
    })
}

/// The rows of a statement whose only parameter is a list of lots.
pub async fn of_lots<T>(
    conn: &mut AsyncPgConnection,
    text: &'static str,
    lots: &[Uuid],
) -> Result<Vec<T>, Failure>
where
    T: QueryableByName<diesel::pg::Pg> + Send + 'static,
{
    Ok(statement(text).bind::<Array<SqlUuid>, _>(lots).load(conn).await?)
}

/// To which version a lot is bound.
#[derive(QueryableByName, Clone, Debug)]
pub struct Bound {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub version: i32,
}

const BOUND: &str = "SELECT lot, plan, version FROM haccp.lot_bound WHERE lot = ANY($1)";

/// A reading of a lot, or an amendment of one.
#[derive(QueryableByName, Clone, Debug)]
pub struct Read {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    /// The first reading.
    #[diesel(sql_type = SqlUuid)]
    pub first: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Array<Text>)]
    pub read: Vec<String>,
    #[diesel(sql_type = Text)]
    pub unit: String,
    #[diesel(sql_type = Text)]
    pub verdict: String,
    #[diesel(sql_type = Bool)]
    pub has_instrument: bool,
    #[diesel(sql_type = Nullable<Text>)]
    pub correction: Option<String>,
    #[diesel(sql_type = BigInt)]
    pub at: i64,
    #[diesel(sql_type = BigInt)]
    pub known_at: i64,
    #[diesel(sql_type = BigInt)]
    pub late_s: i64,
    #[diesel(sql_type = BigInt)]
    pub offset_ms: i64,
    /// Whether its instrument was out of tolerance at its check before or after it.
    #[diesel(sql_type = Bool)]
    pub is_doubtful: bool,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub deviation: Option<Uuid>,
}

/// Times are microseconds by the plant's clock. The checks of an instrument just before and just
/// after a reading both speak about it.
const READINGS: &str = "SELECT link.lot, coalesce(r.supersedes, r.id) AS first, r.id, r.plan, \
    r.plan_version, r.check_code, r.readings::text[] AS read, r.unit, r.verdict, \
    r.instrument IS NOT NULL AS has_instrument, r.correction::text AS correction, \
    (extract(epoch FROM r.observed_at) * 1000000)::bigint + r.offset_ms * 1000 AS at, \
    (extract(epoch FROM greatest(r.recorded_at, bad.recorded_at)) * 1000000)::bigint AS known_at, \
    greatest(0, extract(epoch FROM r.entered_at - r.observed_at))::bigint AS late_s, \
    r.offset_ms, bad.recorded_at IS NOT NULL AS is_doubtful, d.id AS deviation \
    FROM haccp.reading_lot AS link JOIN haccp.reading AS r ON r.id = link.reading \
    LEFT JOIN haccp.deviation AS d ON d.reading = r.id \
    LEFT JOIN LATERAL (SELECT max(recorded_at) AS recorded_at FROM ( \
    (SELECT verdict, recorded_at FROM haccp.instrument_check AS c \
    WHERE c.instrument = r.instrument AND c.observed_at + c.offset_ms * interval '1 ms' \
    <= r.observed_at + r.offset_ms * interval '1 ms' \
    ORDER BY c.observed_at + c.offset_ms * interval '1 ms' DESC, c.id DESC LIMIT 1) UNION ALL \
    (SELECT verdict, recorded_at FROM haccp.instrument_check AS c \
    WHERE c.instrument = r.instrument AND c.observed_at + c.offset_ms * interval '1 ms' \
    > r.observed_at + r.offset_ms * interval '1 ms' \
    ORDER BY c.observed_at + c.offset_ms * interval '1 ms', c.id LIMIT 1)) \
    AS beside WHERE beside.verdict = 'FAIL') AS bad ON r.instrument IS NOT NULL \
    WHERE link.lot = ANY($1)";

/// What a load's curves prove of a lot.
#[derive(QueryableByName, Clone, Debug)]
pub struct Judged {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Integer)]
    pub plan_version: i32,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Text)]
    pub verdict: String,
    #[diesel(sql_type = BigInt)]
    pub at: i64,
    #[diesel(sql_type = BigInt)]
    pub known_at: i64,
    /// Whether an instrument that it rests on was out of tolerance at its next check.
    #[diesel(sql_type = Bool)]
    pub is_doubtful: bool,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub deviation: Option<Uuid>,
}

/// The last judgement of a load, lot and check stands, and so does each that opened a deviation.
/// Whether an instrument came to be in doubt is asked once a load, not once a judgement.
const JUDGEMENTS: &str = "WITH judged AS (SELECT link.lot, j.load, j.plan, j.plan_version, \
    j.check_code, j.verdict, (extract(epoch FROM j.observed_at) * 1000000)::bigint AS at, \
    j.recorded_at, d.id AS deviation, row_number() OVER (PARTITION BY link.lot, j.load, j.plan, \
    j.check_code ORDER BY j.recorded_at DESC, j.id DESC) AS place \
    FROM haccp.judgement_lot AS link JOIN haccp.judgement AS j ON j.id = link.judgement \
    LEFT JOIN haccp.deviation AS d ON d.judgement = j.id WHERE link.lot = ANY($1)), \
    bad AS (SELECT b.load, bound.plan, max(next.recorded_at) AS at \
    FROM (SELECT DISTINCT load FROM judged) AS one \
    JOIN haccp.sample_block AS b ON b.load = one.load \
    JOIN haccp.instrument_check AS used ON used.id = b.instrument_check \
    CROSS JOIN LATERAL (SELECT c.verdict, c.recorded_at FROM haccp.instrument_check AS c \
    WHERE c.instrument = used.instrument AND c.observed_at > b.observed_at \
    ORDER BY c.observed_at, c.id LIMIT 1) AS next \
    LEFT JOIN haccp.load_probe AS p ON p.load = b.load AND p.probe = b.probe \
    JOIN haccp.lot_bound AS bound ON bound.lot = coalesce(b.lot, p.lot) \
    WHERE next.verdict = 'FAIL' GROUP BY b.load, bound.plan) \
    SELECT lot, judged.plan, plan_version, check_code, verdict, judged.at, \
    (extract(epoch FROM greatest(recorded_at, bad.at)) * 1000000)::bigint AS known_at, \
    bad.at IS NOT NULL AS is_doubtful, deviation FROM judged \
    LEFT JOIN bad ON bad.load = judged.load AND bad.plan = judged.plan \
    WHERE place = 1 OR deviation IS NOT NULL";

/// A lot that a deviation names.
#[derive(QueryableByName, Clone, Debug)]
pub struct Named {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub deviation: Uuid,
}

const NAMED: &str = "SELECT lot, deviation FROM haccp.deviation_lot WHERE lot = ANY($1)";

/// A deviation with its end.
#[derive(QueryableByName, Clone, Debug)]
pub struct Deviated {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = Text)]
    pub what: String,
    #[diesel(sql_type = Bool)]
    pub by_hand: bool,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub place: Option<Uuid>,
    #[diesel(sql_type = Nullable<BigInt>)]
    pub span_from: Option<i64>,
    #[diesel(sql_type = Nullable<BigInt>)]
    pub span_to: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    pub disposition: Option<String>,
    #[diesel(sql_type = Nullable<BigInt>)]
    pub closed_at: Option<i64>,
}

async fn deviations(conn: &mut AsyncPgConnection, asked: &Asked) -> Result<Vec<Deviated>, Failure> {
    let query = statement(
        "SELECT d.id, d.plan, d.check_code, d.what, d.fingerprint IS NOT NULL AS by_hand, d.place, \
         (extract(epoch FROM d.span_from) * 1000000)::bigint AS span_from, \
         (extract(epoch FROM d.span_to) * 1000000)::bigint AS span_to, e.disposition, \
         (extract(epoch FROM e.recorded_at) * 1000000)::bigint AS closed_at \
         FROM haccp.deviation AS d LEFT JOIN haccp.deviation_end AS e ON e.deviation = d.id \
         WHERE d.id IN (SELECT deviation FROM haccp.deviation_lot WHERE lot = ANY($1)) \
         OR d.place = ANY($2) ORDER BY d.id",
    );
    let query =
        query.bind::<Array<SqlUuid>, _>(&asked.lots).bind::<Array<SqlUuid>, _>(&asked.passed);
    Ok(query.load(conn).await?)
}

/// A time that other evidence covers.
#[derive(QueryableByName, Clone, Debug)]
pub struct Covered {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub plan: Uuid,
    #[diesel(sql_type = Text)]
    pub check_code: String,
    #[diesel(sql_type = BigInt)]
    pub from_us: i64,
    #[diesel(sql_type = BigInt)]
    pub to_us: i64,
}

const COVERS: &str = "SELECT link.lot, m.plan, m.check_code, \
    (extract(epoch FROM m.missed_from) * 1000000)::bigint AS from_us, \
    (extract(epoch FROM m.missed_to) * 1000000)::bigint AS to_us \
    FROM haccp.missed_check_lot AS link JOIN haccp.missed_check AS m ON m.id = link.missed_check \
    WHERE link.lot = ANY($1)";

/// Something that stands in a lot's way whatever its plan.
#[derive(QueryableByName, Clone, Debug)]
pub struct Blocked {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    /// foreign, refused, owed
    #[diesel(sql_type = Text)]
    pub kind: String,
    #[diesel(sql_type = Text)]
    pub record: String,
    #[diesel(sql_type = Text)]
    pub what: String,
}

/// What QA has not answered, what could not be carried out, and what we still owe after 60 s. A
/// message whose lots are not known by its subject stands in the way of every lot.
const BLOCKS: &str = "SELECT f.lot, 'foreign' AS kind, f.id::text AS record, f.what \
    FROM haccp.foreign_material AS f WHERE f.lot = ANY($1) AND NOT EXISTS (SELECT 1 \
    FROM haccp.foreign_material_answer AS a WHERE a.foreign_material = f.id) \
    UNION ALL SELECT link.lot, 'refused', m.id::text, m.reason \
    FROM haccp.refused_message_lot AS link \
    JOIN haccp.refused_message AS m ON m.id = link.refused_message WHERE link.lot = ANY($1) \
    UNION ALL (WITH owed AS (SELECT id, method, split_part(subject, ':', 1) AS kind, \
    split_part(subject, ':', 2) AS about FROM haccp.outbox \
    WHERE made_at < clock_timestamp() - interval '60 s') \
    SELECT DISTINCT named.lot, 'owed', owed.id::text, owed.method FROM owed CROSS JOIN LATERAL \
    (SELECT lot FROM haccp.deviation_lot WHERE owed.kind = 'deviation' AND deviation::text = about \
    UNION ALL SELECT lot FROM haccp.reading_lot WHERE owed.kind = 'reading' \
    AND reading::text = about \
    UNION ALL SELECT lot FROM haccp.foreign_material WHERE owed.kind = 'foreign_material' \
    AND id::text = about \
    UNION ALL SELECT unnest($1) WHERE owed.kind NOT IN \
    ('deviation', 'reading', 'foreign_material') \
    OR (owed.kind = 'deviation' AND NOT EXISTS (SELECT 1 FROM haccp.deviation_lot \
    WHERE deviation::text = about))) AS named WHERE named.lot = ANY($1))";

/// A challenge at a place that cases passed.
#[derive(QueryableByName, Clone, Debug)]
pub struct Challenged {
    #[diesel(sql_type = SqlUuid)]
    pub place: Uuid,
    #[diesel(sql_type = Text)]
    pub device: String,
    #[diesel(sql_type = BigInt)]
    pub at: i64,
    #[diesel(sql_type = Bool)]
    pub is_good: bool,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub deviation: Option<Uuid>,
}

async fn challenges(
    conn: &mut AsyncPgConnection,
    asked: &Asked,
) -> Result<Vec<Challenged>, Failure> {
    let query = statement(
        "SELECT * FROM (SELECT c.place, c.device, (extract(epoch FROM c.observed_at) * \
         1000000)::bigint + c.offset_ms * 1000 AS at, c.is_good, d.id AS deviation \
         FROM haccp.challenge AS c LEFT JOIN haccp.deviation AS d ON d.challenge = c.id \
         WHERE c.place = ANY($1)) AS challenged WHERE at >= $2 ORDER BY at",
    );
    let query =
        query.bind::<Array<SqlUuid>, _>(&asked.passed).bind::<BigInt, _>(asked.first_passing);
    Ok(query.load(conn).await?)
}

/// The newest review of exactly what ships.
#[derive(QueryableByName, Clone, Debug)]
pub struct Reviewed {
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Bytea)]
    pub closure: Vec<u8>,
    #[diesel(sql_type = Array<Text>)]
    pub excepted: Vec<String>,
    #[diesel(sql_type = Array<Text>)]
    pub seen: Vec<String>,
}

async fn reviews(conn: &mut AsyncPgConnection, asked: &Asked) -> Result<Vec<Reviewed>, Failure> {
    let (lots, digests): (Vec<Uuid>, Vec<Vec<u8>>) = asked.ships.iter().cloned().unzip();
    let query = statement(
        "SELECT DISTINCT ON (r.lot, r.closure) r.lot, r.closure, r.excepted, r.seen \
         FROM haccp.review_lot AS r JOIN haccp.review AS signed ON signed.id = r.review \
         JOIN unnest($1, $2) AS asked (lot, closure) \
         ON asked.lot = r.lot AND asked.closure = r.closure \
         ORDER BY r.lot, r.closure, signed.recorded_at DESC, signed.id DESC",
    );
    let query = query.bind::<Array<SqlUuid>, _>(lots).bind::<Array<Bytea>, _>(digests);
    Ok(query.load(conn).await?)
}
