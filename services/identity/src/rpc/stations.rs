//! Stations of the plant.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use platform::caller::Call;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::{Identity, shape, store};

/// Adds a station or a version of one.
pub async fn put(
    service: &Identity,
    request: Request<v1::PutStationRequest>,
) -> Result<Response<v1::Station>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::station_in(&call, &service.house.plant, request.get_ref())?);
    let row = service
        .db
        .write("identity.put_station", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::stations::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::station_out(row)))
}

/// Stations in the order in which they were added.
pub async fn list(
    service: &Identity,
    request: Request<v1::ListStationsRequest>,
) -> Result<Response<v1::ListStationsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("identity.list_stations", |conn| {
            Box::pin(async move { store::stations::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let stations = rows.into_iter().map(shape::station_out).collect();
    Ok(Response::new(v1::ListStationsResponse { stations, next_page_token }))
}
