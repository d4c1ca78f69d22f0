//! Lots with all that they came of and all that came of them, each with its mass at its making.
//! It never says what is left of a lot: yields go by what there was.

use bigdecimal::BigDecimal;
use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Date, Nullable, Numeric, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::civil;
use jiff_diesel::ToDiesel as _;
use platform::error::{Failure, Kind};
use platform::statement::statement;
use uuid::Uuid;

/// The most lots of one answer.
const LOTS_MAX: usize = 20_000;
/// The most lots of a day.
const OF_DAY_MAX: i64 = 1_000;

/// Every making on the way back and on the way forward.
const MAKINGS: &str = "WITH RECURSIVE back(id) AS ( \
    SELECT made_by FROM genealogy.lot WHERE id = ANY($1) AND made_by IS NOT NULL \
    UNION SELECT lot.made_by FROM back \
    JOIN genealogy.transformation_input AS used ON used.transformation = back.id \
    JOIN genealogy.lot ON lot.id = used.lot WHERE lot.made_by IS NOT NULL), \
    ahead(id) AS (SELECT transformation FROM genealogy.transformation_input WHERE lot = ANY($1) \
    UNION SELECT used.transformation FROM ahead JOIN genealogy.lot ON lot.made_by = ahead.id \
    JOIN genealogy.transformation_input AS used ON used.lot = lot.id) \
    SELECT made.id, (SELECT coalesce(sum((one ->> 'g')::numeric), 0) \
    FROM jsonb_array_elements(made.additions) AS one) AS additions_g \
    FROM genealogy.transformation AS made \
    WHERE made.id IN (SELECT id FROM back UNION SELECT id FROM ahead) ORDER BY made.id";

/// The lots themselves, what those makings used, and all that they made.
const LOTS: &str = "SELECT id, code, kind, material, mass_g, made_by FROM genealogy.lot \
    WHERE id = ANY($1) OR made_by = ANY($2) OR id IN (SELECT lot \
    FROM genealogy.transformation_input WHERE transformation = ANY($2)) ORDER BY id LIMIT $3";

/// What those makings used.
const INPUTS: &str = "SELECT transformation, lot, sum(mass_g) AS mass_g \
    FROM genealogy.transformation_input WHERE transformation = ANY($1) \
    GROUP BY transformation, lot ORDER BY transformation, lot";

/// The lots of a material that a day made, of the kind that lies furthest on its way.
const OF_DAY: &str = "WITH made AS (SELECT id, array_position(ARRAY['finished', 'rack', 'batch'], \
    kind) AS place FROM genealogy.lot WHERE day = $1 AND lower(material) = lower($2)) \
    SELECT id FROM made WHERE place = (SELECT min(place) FROM made) ORDER BY id LIMIT $3";

/// A lot with its mass at its making.
#[derive(QueryableByName)]
pub struct MassLot {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub code: String,
    #[diesel(sql_type = Text)]
    pub kind: String,
    #[diesel(sql_type = Text)]
    pub material: String,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub made_by: Option<Uuid>,
}

/// A transformation with the water and process aids that it used.
#[derive(QueryableByName)]
pub struct Making {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Numeric)]
    pub additions_g: BigDecimal,
}

/// How much of a lot a transformation used.
#[derive(QueryableByName)]
pub struct Input {
    #[diesel(sql_type = SqlUuid)]
    pub transformation: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub lot: Uuid,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
}

/// Lots in the order of their ids, makings likewise, and what they used.
pub struct Masses {
    pub lots: Vec<MassLot>,
    pub makings: Vec<Making>,
    pub inputs: Vec<Input>,
}

#[derive(QueryableByName)]
struct Id {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
}

/// The lots of a material that a production day made; at most a thousand.
pub async fn of_day(
    conn: &mut AsyncPgConnection,
    day: civil::Date,
    material: &str,
) -> Result<Vec<Uuid>, Failure> {
    let query = statement(OF_DAY)
        .bind::<Date, _>(day.to_diesel())
        .bind::<Text, _>(material)
        .bind::<BigInt, _>(OF_DAY_MAX + 1);
    let found: Vec<Id> = query.load(conn).await?;
    if found.len() as i64 > OF_DAY_MAX {
        return Err(too_many());
    }
    Ok(found.into_iter().map(|found| found.id).collect())
}

/// The masses around lots, or with `alone` of those lots only. Not found: a lot that does not
/// exist.
pub async fn around(
    conn: &mut AsyncPgConnection,
    roots: &[Uuid],
    alone: bool,
) -> Result<Masses, Failure> {
    let makings: Vec<Making> = match alone {
        true => Vec::new(),
        false => statement(MAKINGS).bind::<Array<SqlUuid>, _>(roots).load(conn).await?,
    };
    let ids: Vec<Uuid> = makings.iter().map(|making| making.id).collect();
    let lots: Vec<MassLot> = statement(LOTS)
        .bind::<Array<SqlUuid>, _>(roots)
        .bind::<Array<SqlUuid>, _>(&ids)
        .bind::<BigInt, _>(LOTS_MAX as i64 + 1)
        .load(conn)
        .await?;
    if lots.len() > LOTS_MAX {
        return Err(too_many());
    }
    let is_known = |root: &Uuid| lots.binary_search_by_key(root, |lot| lot.id).is_ok();
    if !roots.iter().all(is_known) {
        return Err(Failure::not_found("lot"));
    }
    let inputs = statement(INPUTS).bind::<Array<SqlUuid>, _>(&ids).load(conn).await?;
    Ok(Masses { lots, makings, inputs })
}

fn too_many() -> Failure {
    let text = format!("This reaches more than {LOTS_MAX} lots; ask for less at once.");
    Failure::new(Kind::TooLarge, text)
}
