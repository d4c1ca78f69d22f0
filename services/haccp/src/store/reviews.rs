//! Signed reviews, and who recorded what they review.
//! It never changes one: a review that something has made void is found no more by its digest.

use std::collections::{BTreeSet, HashMap};

use diesel::sql_types::{
    Array, BigInt, Bool, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel::{OptionalExtension, QueryableByName};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use platform::statement::{planned, statement};
use uuid::Uuid;

use super::rows::Table;
use crate::shape::reviews::Covered;

/// The records.
pub const REVIEW: Table = Table::of("haccp.review");

/// A review.
#[derive(QueryableByName, Clone, Debug)]
pub struct ReviewRow {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub note: String,
    #[diesel(sql_type = Text)]
    pub entered_by_name: String,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
}

#[derive(QueryableByName)]
struct LotRow {
    #[diesel(sql_type = SqlUuid)]
    review: Uuid,
    #[diesel(sql_type = SqlUuid)]
    lot: Uuid,
    #[diesel(sql_type = Text)]
    digest: String,
    #[diesel(sql_type = Array<Text>)]
    excepted: Vec<String>,
    #[diesel(sql_type = Array<Text>)]
    seen: Vec<String>,
    #[diesel(sql_type = Bool)]
    reviewer_recorded: bool,
}

/// One review with its lots.
pub async fn find(
    conn: &mut AsyncPgConnection,
    id: Uuid,
) -> Result<Option<(ReviewRow, Vec<Covered>)>, Failure> {
    let query = "SELECT id, note, entered_by_name, recorded_at FROM haccp.review WHERE id = $1";
    let row: Option<ReviewRow> =
        statement(query).bind::<SqlUuid, _>(id).get_result(conn).await.optional()?;
    Ok(with_lots(conn, row.into_iter().collect()).await?.pop())
}

/// Reviews, the newest first, those of one lot where one is named.
pub async fn list(
    conn: &mut AsyncPgConnection,
    lot: Option<Uuid>,
    page: &Page,
) -> Result<Vec<(ReviewRow, Vec<Covered>)>, Failure> {
    let before = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::max());
    let query = planned(
        "SELECT id, note, entered_by_name, recorded_at FROM haccp.review AS r WHERE id < $1 \
         AND ($2 IS NULL OR EXISTS (SELECT 1 FROM haccp.review_lot AS l WHERE l.review = r.id \
         AND l.lot = $2)) ORDER BY id DESC LIMIT $3",
    );
    let rows: Vec<ReviewRow> = query
        .bind::<SqlUuid, _>(before)
        .bind::<Nullable<SqlUuid>, _>(lot)
        .bind::<BigInt, _>(page.fetch())
        .load(conn)
        .await?;
    with_lots(conn, rows).await
}

async fn with_lots(
    conn: &mut AsyncPgConnection,
    rows: Vec<ReviewRow>,
) -> Result<Vec<(ReviewRow, Vec<Covered>)>, Failure> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let lots: Vec<LotRow> = statement(
        "SELECT review, lot, encode(closure, 'hex') AS digest, excepted, seen, reviewer_recorded \
         FROM haccp.review_lot WHERE review = ANY($1) ORDER BY lot",
    )
    .bind::<Array<SqlUuid>, _>(ids)
    .load(conn)
    .await?;
    let mut of_review: HashMap<Uuid, Vec<Covered>> = HashMap::new();
    for row in lots {
        of_review.entry(row.review).or_default().push(Covered {
            lot: row.lot,
            digest: row.digest,
            excepted: row.excepted,
            seen: row.seen,
            reviewer_recorded: row.reviewer_recorded,
        });
    }
    let whole = |row: ReviewRow| {
        let covered = of_review.remove(&row.id).unwrap_or_default();
        (row, covered)
    };
    Ok(rows.into_iter().map(whole).collect())
}

/// Writes the lots of a review.
pub async fn cover(
    conn: &mut AsyncPgConnection,
    review: Uuid,
    covered: &[Covered],
) -> Result<(), Failure> {
    for lot in covered {
        statement(
            "INSERT INTO haccp.review_lot (review, lot, closure, excepted, seen, \
             reviewer_recorded) VALUES ($1, $2, decode($3, 'hex'), $4, $5, $6)",
        )
        .bind::<SqlUuid, _>(review)
        .bind::<SqlUuid, _>(lot.lot)
        .bind::<Text, _>(&lot.digest)
        .bind::<Array<Text>, _>(&lot.excepted)
        .bind::<Array<Text>, _>(&lot.seen)
        .bind::<Bool, _>(lot.reviewer_recorded)
        .execute(conn)
        .await?;
    }
    Ok(())
}

#[derive(QueryableByName)]
struct Place {
    #[diesel(sql_type = Integer)]
    ship: i32,
}

/// For which of these closures (each a list of lots) a person recorded readings, samples of loads,
/// or foreign material. Gives their places in the list.
pub async fn recorded_by(
    conn: &mut AsyncPgConnection,
    person: &str,
    closures: &[(usize, Vec<Uuid>)],
) -> Result<BTreeSet<usize>, Failure> {
    let (mut ships, mut lots) = (Vec::new(), Vec::new());
    for (ship, closure) in closures {
        ships.extend(std::iter::repeat_n(*ship as i32, closure.len()));
        lots.extend(closure.iter().copied());
    }
    let found: Vec<Place> = statement(
        "SELECT DISTINCT asked.ship FROM unnest($2, $3) AS asked (ship, lot) WHERE \
         EXISTS (SELECT 1 FROM haccp.reading_lot AS link JOIN haccp.reading AS r \
         ON r.id = link.reading WHERE link.lot = asked.lot AND r.entered_by = $1) \
         OR EXISTS (SELECT 1 FROM haccp.load_rack AS rack JOIN haccp.sample_block AS b \
         ON b.load = rack.load WHERE rack.lot = asked.lot AND b.entered_by = $1) \
         OR EXISTS (SELECT 1 FROM haccp.foreign_material AS f \
         WHERE f.lot = asked.lot AND f.entered_by = $1)",
    )
    .bind::<Text, _>(person)
    .bind::<Array<Integer>, _>(ships)
    .bind::<Array<SqlUuid>, _>(lots)
    .load(conn)
    .await?;
    Ok(found.into_iter().filter_map(|place| usize::try_from(place.ship).ok()).collect())
}
