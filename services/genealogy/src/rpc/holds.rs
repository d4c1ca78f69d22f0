//! Holds that people place and end, and those that deviations bring with them.
//! It never frees a lot: the end of one hold leaves every other one standing.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::idempotency::Keyed;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::internal::v1 as internal;
use wire::v1;

use crate::shape::holds::Signed;
use crate::shape::shipping::after::{Told, message_id};
use crate::{Genealogy, NAME, shape, store};

/// Places a hold.
pub async fn place(
    service: &Genealogy,
    request: Request<v1::PlaceHoldRequest>,
) -> Result<Response<v1::Hold>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::holds::hold_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((call, new, service.house.tickets.clone()));
    let hold = service
        .db
        .write("genealogy.place_hold", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (call, new, tickets) = &*of;
                // A repeated call is told by its record: its ticket may have expired since.
                if let Some(hold) = store::holds::known(conn, &new.stamp).await? {
                    return Ok(hold);
                }
                let signature = new.signature(call, tickets)?;
                store::holds::place(conn, new, signature.as_ref()).await
            })
        })
        .await?;
    Ok(Response::new(shape::holds::hold_out(hold)))
}

/// Ends a hold, signed.
pub async fn end(
    service: &Genealogy,
    request: Request<v1::EndHoldRequest>,
) -> Result<Response<v1::Hold>, Status> {
    let call = Call::of(request.extensions())?;
    let end = shape::holds::end_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((call, end, service.house.tickets.clone()));
    let hold = service
        .db
        .write("genealogy.end_hold", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (call, end, tickets) = &*of;
                // A repeated call is told by its record: its ticket may have expired since.
                if let Some(hold) = store::holds::known_end(conn, &end.stamp).await? {
                    return Ok(hold);
                }
                let ticket = tickets.redeem(call, &end.stamp.subject)?;
                store::holds::end(conn, end, &Signed::Here(ticket)).await
            })
        })
        .await?;
    Ok(Response::new(shape::holds::hold_out(hold)))
}

/// Holds in the order in which they were placed.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListHoldsRequest>,
) -> Result<Response<v1::ListHoldsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let lot = platform::shape::optional_id(&request.lot, "lot", &mut faults);
    faults.into_result(Some(())).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut holds = service
        .db
        .read("genealogy.list_holds", |conn| {
            Box::pin(async move { store::holds::list(conn, lot, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut holds, |hold| hold.row.id.to_string());
    let holds = holds.into_iter().map(shape::holds::hold_out).collect();
    Ok(Response::new(v1::ListHoldsResponse { holds, next_page_token }))
}

/// Holds what a deviation that has opened concerns, and lists what of it has left. A message that
/// no repetition mends is recorded as refused, and counts against its lots.
pub async fn place_for_deviation(
    service: &Genealogy,
    request: Request<internal::HoldForDeviationRequest>,
) -> Result<Response<internal::HoldForDeviationResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of(NAME, &call, request.get_ref())?;
    let plant = &service.house.plant;
    let (new, deviation) = shape::holds::hold_for_deviation_in(&call, plant, request.get_ref())?;
    let of = Arc::new((keyed, new, call.method, message_id(&call)));
    let response = service
        .db
        .write("genealogy.hold_for_deviation", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (keyed, new, method, message) = &*of;
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let told = Told { new, deviation, method, message: *message };
                let hold = store::shipping::messages::hold(conn, &told).await?;
                let hold = hold.map(|hold| hold.to_string()).unwrap_or_default();
                let response = internal::HoldForDeviationResponse { hold };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

/// Ends the hold of a deviation that has closed.
pub async fn end_for_deviation(
    service: &Genealogy,
    request: Request<internal::EndHoldForDeviationRequest>,
) -> Result<Response<internal::EndHoldForDeviationResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of(NAME, &call, request.get_ref())?;
    let end = shape::holds::deviation_end_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((keyed, end));
    let response = service
        .db
        .write("genealogy.end_hold_for_deviation", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (keyed, end) = &*of;
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let ended = store::holds::end_for_deviation(conn, end).await?;
                let response = internal::EndHoldForDeviationResponse { ended };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}
