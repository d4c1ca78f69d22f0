//! Failing records after shipment: what had left, and whom to call.
//! It never misses a lot that came of those named: it goes down every path.

use std::collections::BTreeMap;

use bigdecimal::BigDecimal;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Nullable, Numeric, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Date, Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records;
use platform::statement::{planned, statement};
use uuid::Uuid;

use super::scopes::PASSED;
use crate::schema::{after_shipment, after_shipment_case};
use crate::shape::holds::Span;
use crate::shape::shipping::after::NewAfter;
use crate::store::after;

/// A failing record after shipment.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = after_shipment, check_for_backend(diesel::pg::Pg))]
pub struct AfterRow {
    pub id: Uuid,
    pub what: String,
    pub about: String,
    pub recorded_at: Timestamp,
    pub day: Date,
    pub entered_by: String,
    pub entered_by_name: String,
    pub station: String,
    pub fingerprint: Vec<u8>,
}

/// A customer to call, for one shipment. Address and phone are the newest.
#[derive(Clone, Debug, QueryableByName)]
pub struct Called {
    #[diesel(sql_type = SqlUuid)]
    record: Uuid,
    #[diesel(sql_type = SqlUuid)]
    pub customer: Uuid,
    #[diesel(sql_type = Text)]
    pub name: String,
    #[diesel(sql_type = Text)]
    pub address: String,
    #[diesel(sql_type = Text)]
    pub phone: String,
    #[diesel(sql_type = SqlUuid)]
    pub shipment: Uuid,
    #[diesel(sql_type = BigInt)]
    pub cases: i64,
    #[diesel(sql_type = Numeric)]
    pub mass_g: BigDecimal,
}

#[derive(QueryableByName)]
struct Gone {
    #[diesel(sql_type = SqlUuid)]
    shipment: Uuid,
    #[diesel(sql_type = Text)]
    serial: String,
}

impl From<Gone> for (Uuid, String) {
    fn from(gone: Gone) -> Self {
        (gone.shipment, gone.serial)
    }
}

/// Every case that has left of these lots or of any that came of them, by serial.
pub async fn left_of_lots(
    conn: &mut AsyncPgConnection,
    lots: &[Uuid],
) -> Result<Vec<(Uuid, String)>, Failure> {
    let gone: Vec<Gone> = statement(
        "WITH RECURSIVE below(lot) AS (SELECT unnest($1) \
         UNION SELECT made.id FROM below \
         JOIN genealogy.transformation_input AS used ON used.lot = below.lot \
         JOIN genealogy.lot AS made ON made.made_by = used.transformation) \
         SELECT gone.shipment, gone.serial FROM below \
         JOIN genealogy.shipment_case AS gone ON gone.lot = below.lot ORDER BY gone.serial",
    )
    .bind::<Array<SqlUuid>, _>(lots)
    .load(conn)
    .await?;
    Ok(gone.into_iter().map(Into::into).collect())
}

/// Every case that has left and had passed a place in a span, by serial.
pub async fn left_of_span(
    conn: &mut AsyncPgConnection,
    span: Span,
) -> Result<Vec<(Uuid, String)>, Failure> {
    let text = format!(
        "SELECT gone.shipment, gone.serial FROM ({PASSED}) AS passed \
         JOIN genealogy.shipment_case AS gone USING (serial) ORDER BY gone.serial"
    );
    let gone: Vec<Gone> = planned(text)
        .bind::<SqlUuid, _>(span.place)
        .bind::<Nullable<Timestamptz>, _>(span.from.map(|from| from.to_diesel()))
        .bind::<Timestamptz, _>(span.to.to_diesel())
        .load(conn)
        .await?;
    Ok(gone.into_iter().map(Into::into).collect())
}

/// Records what had left, with its leaf; none where nothing had.
pub async fn record(conn: &mut AsyncPgConnection, new: &NewAfter) -> Result<Option<Uuid>, Failure> {
    if new.cases.is_empty() {
        return Ok(None);
    }
    let stamp = &new.stamp;
    let row = AfterRow {
        id: stamp.id,
        what: new.what.clone(),
        about: new.about.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        day: stamp.day.to_diesel(),
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        station: stamp.station.clone(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(after_shipment::table).values(&row).execute(conn).await?;
    let link = |(shipment, serial): &(Uuid, String)| {
        (
            after_shipment_case::after_shipment.eq(row.id),
            after_shipment_case::shipment.eq(*shipment),
            after_shipment_case::serial.eq(serial.clone()),
        )
    };
    // A statement takes at most 65,535 values.
    for some in new.cases.chunks(10_000) {
        let links: Vec<_> = some.iter().map(link).collect();
        diesel::insert_into(after_shipment_case::table).values(links).execute(conn).await?;
    }
    let leaf = stamp.leaf("genealogy.after_shipment/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(Some(row.id))
}

/// Failing records after shipment in the order in which they were recorded, with whom to call.
pub async fn list(
    conn: &mut AsyncPgConnection,
    page: &Page,
) -> Result<Vec<(AfterRow, Vec<Called>)>, Failure> {
    let rows: Vec<AfterRow> = after_shipment::table
        .filter(after_shipment::id.gt(after(page)))
        .order(after_shipment::id.asc())
        .limit(page.fetch())
        .select(AfterRow::as_select())
        .load(conn)
        .await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let found: Vec<Called> = statement(
        "SELECT link.after_shipment AS record, gone.customer, gone.customer_name AS name, \
         partner.address, partner.phone, link.shipment, count(*) AS cases, \
         sum(packed.mass_g) AS mass_g FROM genealogy.after_shipment_case AS link \
         JOIN genealogy.shipment AS gone ON gone.id = link.shipment \
         JOIN genealogy.packed_case AS packed USING (serial) \
         JOIN LATERAL (SELECT address, phone FROM genealogy.partner \
         WHERE partner.id = gone.customer ORDER BY version DESC LIMIT 1) AS partner ON true \
         WHERE link.after_shipment = ANY($1) GROUP BY link.after_shipment, gone.customer, \
         gone.customer_name, partner.address, partner.phone, link.shipment \
         ORDER BY gone.customer_name, link.shipment",
    )
    .bind::<Array<SqlUuid>, _>(ids)
    .load(conn)
    .await?;
    let mut called: BTreeMap<Uuid, Vec<Called>> = BTreeMap::new();
    found.into_iter().for_each(|one| called.entry(one.record).or_default().push(one));
    let whole = |row: AfterRow| {
        let called = called.remove(&row.id).unwrap_or_default();
        (row, called)
    };
    Ok(rows.into_iter().map(whole).collect())
}
