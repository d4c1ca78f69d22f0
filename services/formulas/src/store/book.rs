//! What is known of materials, products and labels, read together for one judgement.
//! It never picks what counts: rows are handed on as they stand.

use diesel_async::AsyncPgConnection;
use platform::error::Failure;
use uuid::Uuid;

use crate::store::labels::{self, LabelRow};
use crate::store::materials::{self, MaterialRow, SpecificationRow};
use crate::store::products::{self, ProductRow};

/// What a judgement needs to know.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub materials: Vec<Uuid>,
    /// Materials named as genealogy names them.
    pub names: Vec<String>,
    /// Lots that may have specifications of their own.
    pub lots: Vec<Uuid>,
    pub products: Vec<Uuid>,
    /// Products named as genealogy names them.
    pub product_names: Vec<String>,
    pub labels: Vec<Uuid>,
}

/// The rows of it.
#[derive(Clone, Debug, Default)]
pub struct Rows {
    pub materials: Vec<MaterialRow>,
    pub specifications: Vec<SpecificationRow>,
    pub products: Vec<ProductRow>,
    pub labels: Vec<LabelRow>,
}

/// Reads all of it.
pub async fn read(conn: &mut AsyncPgConnection, wanted: &Wanted) -> Result<Rows, Failure> {
    let materials = materials::of_ids(conn, &wanted.materials).await?;
    let mut rows = Rows { materials, ..Rows::default() };
    if !wanted.names.is_empty() {
        let named = materials::named(conn, &wanted.names).await?;
        let new = named.into_iter().filter(|row| !wanted.materials.contains(&row.id));
        rows.materials.extend(new);
    }
    let ids: Vec<_> = rows.materials.iter().map(|row| row.id).collect();
    rows.specifications = materials::specifications_of(conn, &ids, &wanted.lots).await?;
    for id in &wanted.products {
        rows.products.extend(products::last(conn, *id).await?);
    }
    if !wanted.product_names.is_empty() {
        rows.products.extend(products::named(conn, &wanted.product_names).await?);
    }
    rows.labels = labels::of_ids(conn, &wanted.labels).await?;
    Ok(rows)
}
