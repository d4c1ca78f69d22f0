//! Suppliers and customers by version.
//! It never changes a version: a new one stands beside it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::partner;
use crate::shape::{PartnerContent, partner_entry};

/// A version of a partner.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = partner, check_for_backend(diesel::pg::Pg))]
pub struct PartnerRow {
    pub id: Uuid,
    pub version: i32,
    pub record_id: Uuid,
    pub name: String,
    pub is_supplier: bool,
    pub is_customer: bool,
    pub address: String,
    pub phone: String,
    pub in_use: bool,
    pub entered_by: String,
    pub entered_by_name: String,
    pub recorded_at: Timestamp,
    pub fingerprint: Vec<u8>,
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<PartnerContent>,
) -> Result<PartnerRow, Failure> {
    let stamp = &new.stamp;
    let known = partner::table
        .filter(partner::record_id.eq(stamp.id))
        .select(PartnerRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("partner"));
    }
    let row = PartnerRow {
        id: new.of,
        version: last.map_or(1, |last| last.version + 1),
        record_id: stamp.id,
        name: new.content.name.clone(),
        is_supplier: new.content.is_supplier,
        is_customer: new.content.is_customer,
        address: new.content.address.clone(),
        phone: new.content.phone.clone(),
        in_use: new.content.in_use,
        entered_by: stamp.entered_by.clone(),
        entered_by_name: stamp.entered_by_name.clone(),
        recorded_at: stamp.recorded_at.to_diesel(),
        fingerprint: stamp.fingerprint.clone(),
    };
    diesel::insert_into(partner::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("genealogy.partner/1", partner_entry(new, row.version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    Ok(row)
}

/// The newest version of a partner.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<PartnerRow>, Failure> {
    let found = partner::table
        .filter(partner::id.eq(id))
        .order(partner::version.desc())
        .select(PartnerRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The newest version of each partner, in the order in which they were made.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<PartnerRow>, Failure> {
    let rows = partner::table
        .filter(partner::id.gt(super::after(page)))
        .distinct_on(partner::id)
        .order((partner::id.asc(), partner::version.desc()))
        .limit(page.fetch())
        .select(PartnerRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
