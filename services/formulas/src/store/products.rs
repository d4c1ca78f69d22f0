//! Products by version.
//! It never changes a version: a new one stands beside it.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::pages::Page;
use platform::records::{self, NewVersion};
use uuid::Uuid;

use crate::schema::product;
use crate::shape::products::{ProductContent, product_entry};
use crate::store::safety;

record_row! {
    /// A version of a product.
    ProductRow of product {
        id: Uuid, version: i32, record_id: Uuid, name: String, product_class: String,
        standard_id: String, in_use: bool,
    }
}

/// Records a version with its leaf; the same call again gives the row that stands.
pub async fn record(
    conn: &mut AsyncPgConnection,
    new: &NewVersion<ProductContent>,
) -> Result<ProductRow, Failure> {
    let stamp = &new.stamp;
    let known = product::table
        .filter(product::record_id.eq(stamp.id))
        .select(ProductRow::as_select())
        .first(conn)
        .await
        .optional()?;
    if let Some(row) = known {
        stamp.same_as(&row.entered_by, &row.fingerprint)?;
        return Ok(row);
    }
    let last = last(conn, new.of).await?;
    if new.is_known && last.is_none() {
        return Err(Failure::not_found("product"));
    }
    let version = last.map_or(1, |last| last.version + 1);
    let ProductContent { name, product_class, standard_id, in_use } = new.content.clone();
    let own = (new.of, version, stamp.id, name, product_class, standard_id, in_use);
    let row = ProductRow::stamped(stamp, own);
    diesel::insert_into(product::table).values(&row).execute(conn).await?;
    let leaf = stamp.leaf("formulas.product/1", product_entry(new, version))?;
    records::insert_leaves(conn, vec![leaf]).await?;
    // Lots are told apart by names: another name may bring a lot under another label.
    if version > 1 {
        safety::raise(conn).await?;
    }
    Ok(row)
}

/// The newest version of a product.
pub async fn last(conn: &mut AsyncPgConnection, id: Uuid) -> Result<Option<ProductRow>, Failure> {
    let found = product::table
        .filter(product::id.eq(id))
        .order(product::version.desc())
        .select(ProductRow::as_select())
        .first(conn)
        .await
        .optional()?;
    Ok(found)
}

/// The newest versions of the products of these names, upper or lower case.
pub async fn named(
    conn: &mut AsyncPgConnection,
    names: &[String],
) -> Result<Vec<ProductRow>, Failure> {
    let names: Vec<_> = names.iter().map(|name| name.to_lowercase()).collect();
    let rows: Vec<ProductRow> = product::table
        .distinct_on(product::id)
        .order((product::id.asc(), product::version.desc()))
        .select(ProductRow::as_select())
        .load(conn)
        .await?;
    Ok(rows.into_iter().filter(|row| names.contains(&row.name.to_lowercase())).collect())
}

/// The newest version of each product, in the order in which they were made.
pub async fn list(conn: &mut AsyncPgConnection, page: &Page) -> Result<Vec<ProductRow>, Failure> {
    let rows = product::table
        .filter(product::id.gt(super::after(page)))
        .distinct_on(product::id)
        .order((product::id.asc(), product::version.desc()))
        .limit(page.fetch())
        .select(ProductRow::as_select())
        .load(conn)
        .await?;
    Ok(rows)
}
