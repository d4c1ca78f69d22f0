//! Products: messages, rows and entries.
//! It never asks the database.

use domain::fault::Faults;
use domain::formula::composition;
use platform::caller::Call;
use platform::error::Failure;
use platform::plant::Plant;
use platform::records::NewVersion;
use serde_json::{Value, json};
use wire::v1;

use crate::store::products::ProductRow;

/// What a version of a product says.
#[derive(Clone)]
pub struct ProductContent {
    pub name: String,
    pub product_class: String,
    pub standard_id: String,
    pub in_use: bool,
}

/// Reads a product to add.
pub fn product_in(
    call: &Call,
    plant: &Plant,
    request: v1::PutProductRequest,
) -> Result<NewVersion<ProductContent>, Failure> {
    let mut faults = Faults::new();
    let standard = &request.standard_id;
    if !standard.is_empty() && composition::standard(standard).is_none() {
        let allowed = format!("must be one of: {}", composition::standard_ids());
        faults.add_value("standard_id", standard, allowed);
    }
    let content = ProductContent {
        name: request.name.clone(),
        product_class: request.product_class.clone(),
        standard_id: request.standard_id.clone(),
        in_use: request.in_use.unwrap_or(true),
    };
    let names = (("id", request.id.as_str()), ("product", request.product.as_str()));
    NewVersion::read((call, plant), names, (&request, faults), content)
}

/// The entry of a product's version.
pub fn product_entry(new: &NewVersion<ProductContent>, version: i32) -> Value {
    let ProductContent { name, product_class, standard_id, in_use } = &new.content;
    json!({
        "product": new.of.to_string(), "version": version, "name": name,
        "product_class": product_class, "standard_id": standard_id, "in_use": in_use,
    })
}

/// A product as a message.
pub fn product_out(row: ProductRow) -> v1::Product {
    v1::Product {
        product: row.id.to_string(),
        version: row.version,
        name: row.name,
        product_class: row.product_class,
        standard_id: row.standard_id,
        in_use: row.in_use,
        entered_by_name: row.entered_by_name,
        recorded_at: row.recorded_at.to_jiff().to_string(),
    }
}
