//! Deviations and their signed ends.
//! It never closes one without all four parts and a signature.

use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Nullable, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::outbox::Outbox;
use platform::pages::Page;
use platform::records;
use platform::statement::statement;
use platform::tickets::Ticket;
use uuid::Uuid;

use crate::schema::{deviation, deviation_end, deviation_lot};
use crate::shape::closings::{Closing, end_entry, end_form};
use crate::shape::deviations::Opening;
use crate::store::rows::Table;
use crate::store::safety;

/// A deviation as it opened.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = deviation, check_for_backend(diesel::pg::Pg))]
pub struct DeviationRow {
    pub id: Uuid,
    pub reading: Option<Uuid>,
    pub plan: Uuid,
    pub plan_version: i32,
    pub check_code: String,
    pub hazard: String,
    pub is_ccp: bool,
    pub what: String,
    pub recorded_at: Timestamp,
    pub judgement: Option<Uuid>,
    pub challenge: Option<Uuid>,
    pub place: Option<Uuid>,
    pub span_from: Option<Timestamp>,
    pub span_to: Option<Timestamp>,
    pub entered_by: String,
    pub entered_by_name: String,
    pub fingerprint: Option<Vec<u8>>,
}

/// The signed end of a deviation.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = deviation_end, check_for_backend(diesel::pg::Pg))]
pub struct EndRow {
    pub id: Uuid,
    pub deviation: Uuid,
    pub cause: String,
    pub control: String,
    pub prevention: String,
    pub disposition: String,
    pub disposition_text: String,
    pub ticket: Uuid,
    pub recorded_at: Timestamp,
    pub entered_by: String,
    pub entered_by_name: String,
    pub fingerprint: Vec<u8>,
    pub evidence: Option<String>,
}

/// A deviation with its lots and its end.
#[derive(Clone, Debug)]
pub struct Whole {
    pub opened: DeviationRow,
    pub lots: Vec<Uuid>,
    pub end: Option<EndRow>,
}

/// The records of deviations.
pub const DEVIATION: Table = Table::of("haccp.deviation");

/// The method by which genealogy is told of a deviation's lots.
const HOLD: &str = "/hankbook.internal.v1.GenealogyInternal/HoldForDeviation";

/// Opens a deviation: its row and lots, its leaf, the safety versions of its lots, and the message
/// that puts them on hold, all in the transaction of what it comes of.
pub async fn open(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    opening: &Opening,
) -> Result<(), Failure> {
    let Opening { row, lots, leaf, hold } = opening;
    safety::raise(conn, lots).await?;
    diesel::insert_into(deviation::table).values(row).execute(conn).await?;
    let links: Vec<_> = lots
        .iter()
        .map(|lot| (deviation_lot::deviation.eq(row.id), deviation_lot::lot.eq(*lot)))
        .collect();
    if !links.is_empty() {
        diesel::insert_into(deviation_lot::table).values(links).execute(conn).await?;
    }
    records::insert_leaves(conn, vec![leaf.clone()]).await?;
    outbox.put(conn, &format!("deviation:{}", row.id), HOLD, hold).await?;
    Ok(())
}

/// One deviation.
pub async fn find(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<Whole>, Failure> {
    let found = deviation::table
        .left_join(deviation_end::table.on(deviation_end::deviation.eq(deviation::id)))
        .filter(deviation::id.eq(id))
        .select((DeviationRow::as_select(), Option::<EndRow>::as_select()))
        .first(conn)
        .await
        .optional()?;
    let Some((opened, end)) = found else { return Ok(None) };
    let lots = lots(conn, &[id]).await?.into_iter().map(|(_, lot)| lot).collect();
    Ok(Some(Whole { opened, lots, end }))
}

async fn lots(conn: &mut AsyncPgConnection, of: &[Uuid]) -> Result<Vec<(Uuid, Uuid)>, Failure> {
    let rows = deviation_lot::table
        .filter(deviation_lot::deviation.eq_any(of))
        .order(deviation_lot::lot.asc())
        .select((deviation_lot::deviation, deviation_lot::lot))
        .load(conn)
        .await?;
    Ok(rows)
}

/// Which deviations a list shows.
pub struct Wanted {
    /// Only those that are open.
    pub open: bool,
    /// Only those that name this lot.
    pub lot: Option<Uuid>,
    /// Only those that opened at this instant or later.
    pub opened_since: Option<jiff::Timestamp>,
}

/// Deviations in the order of their ids.
pub async fn list(
    conn: &mut AsyncPgConnection,
    wanted: &Wanted,
    page: &Page,
) -> Result<Vec<Whole>, Failure> {
    let after = page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil());
    let mut query = deviation::table
        .left_join(deviation_end::table.on(deviation_end::deviation.eq(deviation::id)))
        .filter(deviation::id.gt(after))
        .order(deviation::id.asc())
        .limit(page.fetch())
        .select((DeviationRow::as_select(), Option::<EndRow>::as_select()))
        .into_boxed();
    if wanted.open {
        query = query.filter(deviation_end::id.nullable().is_null());
    }
    if let Some(lot) = wanted.lot {
        let naming = deviation_lot::table.filter(deviation_lot::lot.eq(lot));
        query = query.filter(deviation::id.eq_any(naming.select(deviation_lot::deviation)));
    }
    if let Some(since) = wanted.opened_since {
        query = query.filter(deviation::recorded_at.ge(since.to_diesel()));
    }
    let found: Vec<(DeviationRow, Option<EndRow>)> = query.load(conn).await?;
    let ids: Vec<Uuid> = found.iter().map(|(opened, _)| opened.id).collect();
    let links = lots(conn, &ids).await?;
    let of = |id: Uuid| links.iter().filter(move |(of, _)| *of == id).map(|(_, lot)| *lot);
    let whole = |(opened, end): (DeviationRow, _)| {
        let lots = of(opened.id).collect();
        Whole { opened, lots, end }
    };
    Ok(found.into_iter().map(whole).collect())
}

/// The end that a record id stands for, when the same call was made before.
pub async fn closed(
    conn: &mut AsyncPgConnection,
    closing: &Closing,
) -> Result<Option<EndRow>, Failure> {
    let stamp = &closing.stamp;
    let known = deviation_end::table
        .find(stamp.id)
        .select(EndRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = &known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
    }
    Ok(known)
}

/// Closes a deviation.
pub async fn close(
    conn: &mut AsyncPgConnection,
    closing: &Closing,
    ticket: &Ticket,
) -> Result<EndRow, Failure> {
    let stamp = &closing.stamp;
    let row = EndRow {
        id: stamp.id,
        deviation: closing.deviation,
        cause: closing.cause.clone(),
        control: closing.control.clone(),
        prevention: closing.prevention.clone(),
        disposition: closing.disposition.clone(),
        disposition_text: closing.disposition_text.clone(),
        ticket: ticket.id,
        recorded_at: stamp.recorded_at.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        fingerprint: stamp.fingerprint.clone(),
        evidence: closing.evidence.clone(),
    };
    diesel::insert_into(deviation_end::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf(end_form(closing), end_entry(closing, ticket))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// What is known of a deviation that is said to be recorded wrongly.
#[derive(Clone, Debug, Default, QueryableByName)]
pub struct Wrong {
    /// The first reading, where it comes of one.
    #[diesel(sql_type = Nullable<SqlUuid>)]
    pub reading: Option<Uuid>,
    /// Whether its last amendment is met.
    #[diesel(sql_type = Bool)]
    pub is_amended_to_met: bool,
    /// Who took it and who amended it.
    #[diesel(sql_type = Array<Text>)]
    pub parties: Vec<String>,
}

/// Looks up what was read and amended, and by whom.
pub async fn wrong(conn: &mut AsyncPgConnection, deviation: Uuid) -> Result<Wrong, Failure> {
    let query = statement(
        "WITH first AS (SELECT coalesce(r.supersedes, r.id) AS id FROM haccp.deviation AS d \
         JOIN haccp.reading AS r ON r.id = d.reading WHERE d.id = $1), \
         said AS (SELECT r.* FROM haccp.reading AS r, first \
         WHERE r.id = first.id OR r.supersedes = first.id) \
         SELECT (SELECT id FROM first) AS reading, coalesce((SELECT verdict = 'PASS' FROM said \
         WHERE supersedes IS NOT NULL ORDER BY recorded_at DESC, id DESC LIMIT 1), false) \
         AS is_amended_to_met, ARRAY(SELECT DISTINCT entered_by FROM said) AS parties",
    );
    Ok(query.bind::<SqlUuid, _>(deviation).get_result(conn).await?)
}

/// A deviation whose product was cooked again, with who signed that it should be.
#[derive(QueryableByName)]
pub struct Recooked {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub signed_by_name: String,
}

/// Deviations of a check on any of these lots that were to be cooked again, and now each of their
/// lots has met the check since the closing.
pub async fn recooked(
    conn: &mut AsyncPgConnection,
    (plan, check): (Uuid, &str),
    lots: &[Uuid],
) -> Result<Vec<Recooked>, Failure> {
    let query = statement(
        "SELECT d.id, e.entered_by_name AS signed_by_name FROM haccp.deviation AS d \
         JOIN haccp.deviation_end AS e ON e.deviation = d.id AND e.disposition = 'recook' \
         WHERE d.plan = $1 AND d.check_code = $2 AND EXISTS (SELECT 1 FROM haccp.deviation_lot \
         WHERE deviation = d.id AND lot = ANY($3)) \
         AND NOT EXISTS (SELECT 1 FROM haccp.deviation_lot AS named WHERE named.deviation = d.id \
         AND NOT EXISTS (SELECT 1 FROM haccp.reading_lot AS link JOIN haccp.reading AS r \
         ON r.id = link.reading WHERE link.lot = named.lot AND r.plan = d.plan \
         AND r.check_code = d.check_code AND r.verdict = 'PASS' AND r.supersedes IS NULL \
         AND r.observed_at > e.recorded_at) \
         AND NOT EXISTS (SELECT 1 FROM haccp.judgement_lot AS link JOIN haccp.judgement AS j \
         ON j.id = link.judgement WHERE link.lot = named.lot AND j.plan = d.plan \
         AND j.check_code = d.check_code AND j.verdict = 'PASS' \
         AND j.observed_at > e.recorded_at))",
    );
    let query =
        query.bind::<SqlUuid, _>(plan).bind::<Text, _>(check).bind::<Array<SqlUuid>, _>(lots);
    Ok(query.load(conn).await?)
}
