//! The hot path: one prepared statement that writes a reading, its lots and its leaf.
//! It never writes one of them without the others, and never under a plan that is not in force.

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::result::QueryResult;
use diesel::sql_types::{
    Array, BigInt, Bool, Bytea, Date, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records::Leaf;
use uuid::Uuid;

use crate::store::readings::ReadingRow;

/// What the statement did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// The reading, its lots and its leaf stand.
    Written,
    /// A record of this id was there before.
    WasThere,
    /// The version is neither in force nor the one to which every lot is bound.
    NotInForce,
}

/// One reading with all that goes with it.
struct InsertReading<'r> {
    row: &'r ReadingRow,
    leaf: &'r Leaf,
    supersedes: Option<Uuid>,
    reason: Option<&'r str>,
    ticket: Option<Uuid>,
    moments: [jiff_diesel::Timestamp; 3],
    day: jiff_diesel::Date,
    hash: &'r [u8],
}

impl QueryId for InsertReading<'_> {
    type QueryId = InsertReading<'static>;
    // The text never changes, so it is prepared once a connection.
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl Query for InsertReading<'_> {
    type SqlType = (BigInt, BigInt);
}

impl<C> diesel::RunQueryDsl<C> for InsertReading<'_> {}

impl QueryFragment<Pg> for InsertReading<'_> {
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        self.guard(&mut out)?;
        self.reading(&mut out)?;
        out.push_sql("), link AS (INSERT INTO haccp.reading_lot (reading, lot) SELECT id, lot ");
        out.push_sql("FROM reading, unnest(");
        out.push_bind_param::<Array<SqlUuid>, _>(&self.row.lots)?;
        out.push_sql(
            ") AS lot), leaf AS (INSERT INTO audit.leaf \
             (id, form, subject, day, recorded_at, entry, hash) SELECT id, ",
        );
        out.push_bind_param::<Text, _>(&self.leaf.form)?;
        out.push_sql(", ");
        out.push_bind_param::<Text, _>(&self.leaf.subject)?;
        out.push_sql(", ");
        out.push_bind_param::<Date, _>(&self.day)?;
        out.push_sql(", ");
        out.push_bind_param::<Timestamptz, _>(&self.moments[2])?;
        out.push_sql(", ");
        out.push_bind_param::<Text, _>(&self.leaf.entry)?;
        out.push_sql(", ");
        out.push_bind_param::<Bytea, _>(&self.hash)?;
        out.push_sql(
            " FROM reading) SELECT (SELECT count(*) FROM allowed), (SELECT count(*) FROM reading)",
        );
        Ok(())
    }
}

impl InsertReading<'_> {
    /// Judging happened before, from a version read by id; the statement repeats it as a guard.
    fn guard<'b>(&'b self, out: &mut AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        out.push_sql("WITH allowed AS (SELECT 1 WHERE ");
        out.push_bind_param::<Bool, _>(&self.row.moments.happened)?;
        out.push_sql(" OR EXISTS (SELECT 1 FROM haccp.plan_in_force WHERE plan = ");
        out.push_bind_param::<SqlUuid, _>(&self.row.plan)?;
        out.push_sql(" AND version = ");
        out.push_bind_param::<Integer, _>(&self.row.plan_version)?;
        out.push_sql(") OR NOT EXISTS (SELECT 1 FROM unnest(");
        out.push_bind_param::<Array<SqlUuid>, _>(&self.row.lots)?;
        // The lots are qualified: a bare "lot" would be the column of lot_bound itself.
        out.push_sql(") AS named(lot) WHERE NOT EXISTS (SELECT 1 FROM haccp.lot_bound AS bound ");
        out.push_sql("WHERE bound.lot = named.lot AND bound.plan = ");
        out.push_bind_param::<SqlUuid, _>(&self.row.plan)?;
        out.push_sql(" AND bound.version = ");
        out.push_bind_param::<Integer, _>(&self.row.plan_version)?;
        out.push_sql("))), reading AS (");
        Ok(())
    }

    fn reading<'b>(&'b self, out: &mut AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        let row = self.row;
        out.push_sql(
            "INSERT INTO haccp.reading (id, plan, plan_version, check_code, readings, unit, \
             verdict, supersedes, reason, ticket, observed_at, entered_at, recorded_at, offset_ms, \
             happened, day, entered_by, entered_by_name, station, note, instrument, \
             instrument_check, correction, is_less_safe, fingerprint) SELECT ",
        );
        out.push_bind_param::<SqlUuid, _>(&row.id)?;
        out.push_sql(", ");
        out.push_bind_param::<SqlUuid, _>(&row.plan)?;
        out.push_sql(", ");
        out.push_bind_param::<Integer, _>(&row.plan_version)?;
        out.push_sql(", ");
        out.push_bind_param::<Text, _>(&row.check_code)?;
        out.push_sql(", ");
        out.push_bind_param::<Array<Text>, _>(&row.readings)?;
        out.push_sql("::numeric[], ");
        for text in [&row.unit, &row.verdict] {
            out.push_bind_param::<Text, _>(text)?;
            out.push_sql(", ");
        }
        out.push_bind_param::<Nullable<SqlUuid>, _>(&self.supersedes)?;
        out.push_sql(", ");
        out.push_bind_param::<Nullable<Text>, _>(&self.reason)?;
        out.push_sql(", ");
        out.push_bind_param::<Nullable<SqlUuid>, _>(&self.ticket)?;
        out.push_sql(", ");
        for at in &self.moments {
            out.push_bind_param::<Timestamptz, _>(at)?;
            out.push_sql(", ");
        }
        out.push_bind_param::<BigInt, _>(&row.moments.offset_ms)?;
        out.push_sql(", ");
        out.push_bind_param::<Bool, _>(&row.moments.happened)?;
        out.push_sql(", ");
        out.push_bind_param::<Date, _>(&self.day)?;
        out.push_sql(", ");
        for text in [&row.entered_by, &row.entered_by_name, &row.station, &row.note] {
            out.push_bind_param::<Text, _>(text)?;
            out.push_sql(", ");
        }
        for id in [&row.instrument, &row.instrument_check] {
            out.push_bind_param::<Nullable<SqlUuid>, _>(id)?;
            out.push_sql(", ");
        }
        out.push_bind_param::<Nullable<Text>, _>(&row.correction)?;
        out.push_sql("::numeric, ");
        out.push_bind_param::<Bool, _>(&row.is_less_safe)?;
        out.push_sql(", ");
        out.push_bind_param::<Bytea, _>(&row.fingerprint)?;
        out.push_sql(" FROM allowed ON CONFLICT (id) DO NOTHING RETURNING id");
        Ok(())
    }
}

/// Runs the statement.
pub async fn insert(
    conn: &mut AsyncPgConnection,
    row: &ReadingRow,
    leaf: &Leaf,
) -> Result<Done, Failure> {
    let moments = [row.moments.observed_at, row.moments.entered_at, row.moments.recorded_at];
    let amends = row.amends.as_ref();
    let statement = InsertReading {
        row,
        leaf,
        supersedes: amends.map(|amends| amends.supersedes),
        reason: amends.map(|amends| amends.reason.as_str()),
        ticket: amends.map(|amends| amends.ticket),
        moments: moments.map(|at| at.to_diesel()),
        day: row.day.to_diesel(),
        hash: &leaf.hash,
    };
    let counts: (i64, i64) = statement.get_result(conn).await?;
    Ok(match counts {
        (_, 1) => Done::Written,
        (0, _) => Done::NotInForce,
        _ => Done::WasThere,
    })
}
