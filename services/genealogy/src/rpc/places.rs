//! Places of the plant.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::{Genealogy, shape, store};

/// Adds a place or a version of one.
pub async fn put(
    service: &Genealogy,
    request: Request<v1::PutPlaceRequest>,
) -> Result<Response<v1::Place>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::place_in(&call, &service.house.plant, request.into_inner())?);
    let row = service
        .db
        .write("genealogy.put_place", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::places::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::place_out(row)))
}

/// One place as it stands now.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetPlaceRequest>,
) -> Result<Response<v1::Place>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().place, "place", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let row = service
        .db
        .read("genealogy.get_place", |conn| Box::pin(store::places::last(conn, id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("place"))?;
    Ok(Response::new(shape::place_out(row)))
}

/// Places in the order in which they were made.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListPlacesRequest>,
) -> Result<Response<v1::ListPlacesResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("genealogy.list_places", |conn| {
            Box::pin(async move { store::places::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let places = rows.into_iter().map(shape::place_out).collect();
    Ok(Response::new(v1::ListPlacesResponse { places, next_page_token }))
}
