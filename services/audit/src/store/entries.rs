//! Sealed entries: found by what they name, in the order of the log.
//! It never shows an entry that no position was given.

use std::ops::RangeInclusive;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, BigInt, Bytea, Date, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::statement::{planned, statement};
use uuid::Uuid;

/// A sealed entry.
#[derive(Clone, Debug, QueryableByName)]
pub struct EntryRow {
    #[diesel(sql_type = BigInt)]
    pub position: i64,
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub form: String,
    #[diesel(sql_type = Text)]
    pub subject: String,
    #[diesel(sql_type = Date)]
    pub day: jiff_diesel::Date,
    #[diesel(sql_type = Timestamptz)]
    pub recorded_at: jiff_diesel::Timestamp,
    #[diesel(sql_type = Text)]
    pub entry: String,
}

/// Where a sealed entry stands.
#[derive(Clone, Debug, QueryableByName)]
pub struct Place {
    #[diesel(sql_type = BigInt)]
    pub position: i64,
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Bytea)]
    pub hash: Vec<u8>,
}

#[derive(QueryableByName)]
struct EntryText {
    #[diesel(sql_type = Text)]
    entry: String,
}

/// What entries must meet, all of it.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Production days.
    pub days: Option<RangeInclusive<jiff::civil::Date>>,
    /// Ids that the entry names as its subject, as a lot, or as who entered it.
    pub keys: Vec<Uuid>,
    /// What the entry is about, as kind and id.
    pub subject: Option<String>,
    /// Its form.
    pub form: Option<String>,
    /// Texts that stand in the entry: it is canonical, so a member is found by its spelling.
    pub texts: Vec<String>,
}

/// Positions of a log.
#[derive(Clone, Copy, Debug)]
pub struct Stretch {
    /// The position before the first.
    pub after: i64,
    /// The position after the last.
    pub before: i64,
    /// The most rows.
    pub limit: i64,
}

const ENTRIES: &str = "SELECT sealed.position, leaf.id, leaf.form, leaf.subject, leaf.day, \
    leaf.recorded_at, leaf.entry FROM audit.sealed JOIN audit.leaf ON leaf.id = sealed.leaf";
const PLACES: &str = "SELECT sealed.position, sealed.leaf AS id, sealed.hash \
    FROM audit.sealed JOIN audit.leaf ON leaf.id = sealed.leaf";

/// Entries that meet what is wanted, in the order of the log.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    stretch: Stretch,
) -> Result<Vec<EntryRow>, Failure> {
    meeting(conn, ENTRIES, wanted, stretch).await
}

/// Where entries stand that meet what is wanted, in the order of the log.
pub async fn places(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    stretch: Stretch,
) -> Result<Vec<Place>, Failure> {
    meeting(conn, PLACES, wanted, stretch).await
}

async fn meeting<R: QueryableByName<Pg> + Send + 'static>(
    conn: &mut AsyncPgConnection,
    rows: &str,
    wanted: &Wanted,
    stretch: Stretch,
) -> Result<Vec<R>, Failure> {
    // The rare condition goes first: ids by their index, days by theirs.
    let named = match wanted.keys.is_empty() {
        true => "",
        false => {
            "AND sealed.position IN (SELECT position FROM audit.filed WHERE key = ANY ($8) \
             GROUP BY position HAVING count(*) = cardinality($8))"
        }
    };
    // Asked of every row, so only where something is wanted.
    let spelled = match wanted.texts.is_empty() {
        true => "AND $7 IS NOT NULL",
        false => {
            "AND NOT EXISTS (SELECT 1 FROM unnest($7) AS part WHERE strpos(leaf.entry, part) = 0)"
        }
    };
    let text = format!(
        "{rows} WHERE sealed.position > $1 AND sealed.position < $2 \
         AND ($3::date IS NULL OR leaf.day BETWEEN $3 AND $4) \
         AND ($5::text IS NULL OR leaf.subject = $5) AND ($6::text IS NULL OR leaf.form = $6) \
         {spelled} AND $8 IS NOT NULL {named} ORDER BY sealed.position LIMIT $9"
    );
    let days = wanted.days.as_ref();
    let found = planned(text)
        .bind::<BigInt, _>(stretch.after)
        .bind::<BigInt, _>(stretch.before)
        .bind::<Nullable<Date>, _>(days.map(|days| days.start().to_diesel()))
        .bind::<Nullable<Date>, _>(days.map(|days| days.end().to_diesel()))
        .bind::<Nullable<Text>, _>(wanted.subject.as_deref())
        .bind::<Nullable<Text>, _>(wanted.form.as_deref())
        .bind::<Array<Text>, _>(&wanted.texts)
        .bind::<Array<SqlUuid>, _>(&wanted.keys)
        .bind::<BigInt, _>(stretch.limit);
    Ok(found.load(conn).await?)
}

/// Where entries stand that name any of the ids, in the order of the log.
pub async fn naming(
    conn: &mut AsyncPgConnection,
    keys: &[Uuid],
    stretch: Stretch,
) -> Result<Vec<Place>, Failure> {
    let text = format!(
        "{PLACES} WHERE sealed.position IN (SELECT position FROM audit.filed \
         WHERE key = ANY ($1)) AND sealed.position > $2 AND sealed.position < $3 \
         ORDER BY sealed.position LIMIT $4"
    );
    let found = statement(text)
        .bind::<Array<SqlUuid>, _>(keys)
        .bind::<BigInt, _>(stretch.after)
        .bind::<BigInt, _>(stretch.before)
        .bind::<BigInt, _>(stretch.limit);
    Ok(found.load(conn).await?)
}

/// The texts of entries, in the order of their ids. Errors: one is not there.
pub async fn texts(conn: &mut AsyncPgConnection, ids: &[Uuid]) -> Result<Vec<String>, Failure> {
    let query = "SELECT leaf.entry FROM unnest($1) WITH ORDINALITY AS wanted (id, place) \
        JOIN audit.leaf ON leaf.id = wanted.id ORDER BY place";
    let found: Vec<EntryText> = statement(query).bind::<Array<SqlUuid>, _>(ids).load(conn).await?;
    if found.len() != ids.len() {
        return Err(Failure::internal("a sealed entry is not there"));
    }
    Ok(found.into_iter().map(|row| row.entry).collect())
}

/// The entry of one record; nothing while it is not sealed.
pub async fn one(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<EntryRow>, Failure> {
    let found = statement(format!("{ENTRIES} WHERE leaf.id = $1")).bind::<SqlUuid, _>(id);
    Ok(found.load(conn).await?.pop())
}
