//! What was found to have failed after its product had left.
//! It never waits to be asked: each message is traced to its shipments when it comes.

use std::sync::Arc;

use platform::caller::Call;
use platform::idempotency::Keyed;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::internal::v1 as internal;
use wire::v1;

use crate::shape::lots::id_or_empty;
use crate::shape::shipping::after as shape;
use crate::{Genealogy, NAME, store};

/// Lists what has left of lots that became less safe, once a message.
pub async fn less_safe(
    service: &Genealogy,
    request: Request<internal::TellLessSafeRequest>,
) -> Result<Response<internal::TellLessSafeResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of(NAME, &call, request.get_ref())?;
    let told = shape::less_safe_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((keyed, told));
    let response = service
        .db
        .write("genealogy.tell_less_safe", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (keyed, told) = &*of;
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let record = store::shipping::messages::less_safe(conn, told).await?;
                let response = internal::TellLessSafeResponse { record: id_or_empty(record) };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

/// Failing records after shipment in the order in which they were recorded.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListAfterShipmentRequest>,
) -> Result<Response<v1::ListAfterShipmentResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut found = service
        .db
        .read("genealogy.list_after_shipment", |conn| {
            Box::pin(async move { store::shipping::after::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut found, |(row, _)| row.id.to_string());
    let records = found.into_iter().map(|(row, called)| shape::after_out(row, called)).collect();
    Ok(Response::new(v1::ListAfterShipmentResponse { records, next_page_token }))
}
