//! What other services ask of the lot graph, and the messages that are not carried out yet.
//! It never answers anybody but a service.

use domain::fault::Faults;
use platform::error::{Failure, Kind};
use tonic::{Request, Response, Status};
use wire::internal::v1 as internal;

use crate::{Genealogy, store};

/// A place as it stands now; empty when there is none.
pub async fn find_place(
    service: &Genealogy,
    request: Request<internal::FindPlaceRequest>,
) -> Result<Response<internal::FindPlaceResponse>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().place, "place", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let found = service
        .db
        .read("genealogy.find_place", |conn| Box::pin(store::places::last(conn, id)))
        .await?;
    let response = found.map(|place| internal::FindPlaceResponse {
        name: place.name,
        kind: place.kind,
        in_use: place.in_use,
    });
    Ok(Response::new(response.unwrap_or_default()))
}

/// A message that nobody carries out yet stays owed by its sender, and is counted there.
pub fn not_served<T>() -> Result<T, Status> {
    Err(Failure::new(Kind::Unavailable, "Nobody carries out this message yet.").into())
}
