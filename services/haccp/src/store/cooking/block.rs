//! The hot path of samples: one prepared statement that writes a block and its leaf.
//! It never writes one without the other, and never while its load is being judged.

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::result::QueryResult;
use diesel::sql_types::{
    Array, BigInt, Bool, Bytea, Date, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records::Leaf;
use platform::statement::statement;
use uuid::Uuid;

use crate::shape::cooking::samples::NewBlock;

/// The key by which all who judge or add to a load wait for each other.
fn key(load: Uuid) -> i64 {
    let (high, low) = load.as_u64_pair();
    i64::from_be_bytes((high ^ low).to_be_bytes())
}

/// Waits until nobody else judges or adds to the load, and keeps others waiting until the end of
/// the transaction: what is read afterwards is all that there is.
pub async fn hold(conn: &mut AsyncPgConnection, load: Uuid) -> Result<(), Failure> {
    statement("SELECT pg_advisory_xact_lock($1)")
        .bind::<BigInt, _>(key(load))
        .execute(conn)
        .await?;
    Ok(())
}

/// One block with its leaf.
struct InsertBlock<'b> {
    new: &'b NewBlock,
    leaf: &'b Leaf,
    key: i64,
    moments: [jiff_diesel::Timestamp; 4],
    day: jiff_diesel::Date,
}

impl QueryId for InsertBlock<'_> {
    type QueryId = InsertBlock<'static>;
    // The text never changes, so it is prepared once a connection.
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl Query for InsertBlock<'_> {
    type SqlType = BigInt;
}

impl<C> diesel::RunQueryDsl<C> for InsertBlock<'_> {}

impl QueryFragment<Pg> for InsertBlock<'_> {
    fn walk_ast<'b>(&'b self, mut out: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        self.block(&mut out)?;
        out.push_sql(
            "), leaf AS (INSERT INTO audit.leaf \
             (id, form, subject, day, recorded_at, entry, hash) SELECT id, ",
        );
        for text in [self.leaf.form, self.leaf.subject.as_str()] {
            out.push_bind_param::<Text, _>(text)?;
            out.push_sql(", ");
        }
        out.push_bind_param::<Date, _>(&self.day)?;
        out.push_sql(", ");
        out.push_bind_param::<Timestamptz, _>(&self.moments[3])?;
        out.push_sql(", ");
        out.push_bind_param::<Text, _>(&self.leaf.entry)?;
        out.push_sql(", ");
        out.push_bind_param::<Bytea, _>(&self.leaf.hash[..])?;
        out.push_sql(" FROM block) SELECT count(*) FROM block");
        Ok(())
    }
}

impl InsertBlock<'_> {
    fn block<'b>(&'b self, out: &mut AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        let (new, stamp) = (self.new, &self.new.stamp);
        out.push_sql(
            "WITH block AS (INSERT INTO haccp.sample_block (id, load, probe, source, lot, \
             instrument_check, correction, unit, times_s, readings, begun_at, observed_at, \
             entered_at, recorded_at, offset_ms, happened, day, entered_by, entered_by_name, \
             station, fingerprint) SELECT ",
        );
        for id in [&stamp.id, &new.load] {
            out.push_bind_param::<SqlUuid, _>(id)?;
            out.push_sql(", ");
        }
        for text in [&new.probe, &new.source] {
            out.push_bind_param::<Text, _>(text)?;
            out.push_sql(", ");
        }
        for id in [&new.lot, &new.instrument_check] {
            out.push_bind_param::<Nullable<SqlUuid>, _>(id)?;
            out.push_sql(", ");
        }
        out.push_bind_param::<Nullable<Text>, _>(&new.correction)?;
        out.push_sql("::numeric, ");
        out.push_bind_param::<Text, _>(new.block.unit.code())?;
        for texts in [&new.times, &new.shown] {
            out.push_sql(", ");
            out.push_bind_param::<Array<Text>, _>(texts)?;
            out.push_sql("::numeric[]");
        }
        for at in &self.moments {
            out.push_sql(", ");
            out.push_bind_param::<Timestamptz, _>(at)?;
        }
        out.push_sql(", ");
        out.push_bind_param::<BigInt, _>(&new.moments.offset_ms)?;
        out.push_sql(", ");
        out.push_bind_param::<Bool, _>(&new.moments.happened)?;
        out.push_sql(", ");
        out.push_bind_param::<Date, _>(&self.day)?;
        for text in [&stamp.entered_by, &stamp.entered_by_name, &stamp.station] {
            out.push_sql(", ");
            out.push_bind_param::<Text, _>(text)?;
        }
        out.push_sql(", ");
        out.push_bind_param::<Bytea, _>(&stamp.fingerprint)?;
        out.push_sql(" FROM pg_advisory_xact_lock_shared(");
        out.push_bind_param::<BigInt, _>(&self.key)?;
        out.push_sql(") AS held ON CONFLICT (id) DO NOTHING RETURNING id");
        Ok(())
    }
}

/// Runs the statement; false when a record of this id was there before.
pub async fn insert(
    conn: &mut AsyncPgConnection,
    new: &NewBlock,
    leaf: &Leaf,
) -> Result<bool, Failure> {
    let times = &new.moments;
    let moments = [new.begun_at, times.observed_at, times.entered_at, times.recorded_at];
    let statement = InsertBlock {
        new,
        leaf,
        key: key(new.load),
        moments: moments.map(|at| at.to_diesel()),
        day: new.stamp.day.to_diesel(),
    };
    let written: i64 = statement.get_result(conn).await?;
    Ok(written == 1)
}
