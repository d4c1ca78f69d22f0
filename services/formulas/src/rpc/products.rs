//! Products by version.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::one_id;
use crate::{Formulas, shape, store};

/// Adds a product or a version of one.
pub async fn put(
    service: &Formulas,
    request: Request<v1::PutProductRequest>,
) -> Result<Response<v1::Product>, Status> {
    let call = Call::of(request.extensions())?;
    let new =
        Arc::new(shape::products::product_in(&call, &service.house.plant, request.into_inner())?);
    let row = service
        .db
        .write("formulas.put_product", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::products::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::products::product_out(row)))
}

/// One product as it stands now.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetProductRequest>,
) -> Result<Response<v1::Product>, Status> {
    let id = one_id(&request.get_ref().product, "product")?;
    let row = service
        .db
        .read("formulas.get_product", |conn| Box::pin(store::products::last(conn, id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("product"))?;
    Ok(Response::new(shape::products::product_out(row)))
}

/// Products in the order in which they were made.
pub async fn list(
    service: &Formulas,
    request: Request<v1::ListProductsRequest>,
) -> Result<Response<v1::ListProductsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("formulas.list_products", |conn| {
            Box::pin(async move { store::products::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let products = rows.into_iter().map(shape::products::product_out).collect();
    Ok(Response::new(v1::ListProductsResponse { products, next_page_token }))
}
