//! Scales of the plant.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use platform::caller::Call;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::scales::{scale_in, scale_out};
use crate::{Yields, store};

/// Adds a scale or a version of one.
pub async fn put(
    service: &Yields,
    request: Request<v1::PutScaleRequest>,
) -> Result<Response<v1::Scale>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(scale_in(&call, &service.house.plant, request.get_ref())?);
    let row = service
        .db
        .write("yields.put_scale", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::scales::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(scale_out(row)))
}

/// Scales in the order in which they were added.
pub async fn list(
    service: &Yields,
    request: Request<v1::ListScalesRequest>,
) -> Result<Response<v1::ListScalesResponse>, Status> {
    let page = Page::of(request.get_ref().page_size, &request.get_ref().page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("yields.list_scales", |conn| {
            Box::pin(async move { store::scales::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let scales = rows.into_iter().map(scale_out).collect();
    Ok(Response::new(v1::ListScalesResponse { scales, next_page_token }))
}
