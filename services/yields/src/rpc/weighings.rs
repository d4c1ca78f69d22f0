//! Weighings: recorded with their leaf, amended beside the original.
//! It never changes what is on hand.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::shape::optional_id;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::Yields;
use crate::shape::one_id;
use crate::shape::weighings as shape;
use crate::store::weighings as store;

/// Records a weighing.
pub async fn record(
    service: &Yields,
    request: Request<v1::RecordWeighingRequest>,
) -> Result<Response<v1::Weighing>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::weighing_in(&call, &service.house.plant, request.get_ref())?);
    let lots = new.lots.clone();
    let row = service
        .db
        .write("yields.record_weighing", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::record(conn, &new).await })
        })
        .await
        .map_err(lots_fault)?;
    Ok(Response::new(shape::row_out(row, &lots)))
}

fn lots_fault(failure: Failure) -> Failure {
    match failure.names_constraint("weighing_lot_lot_fkey") {
        true => Failure::fault("lots", "", "each must be a lot of the plant"),
        false => failure,
    }
}

/// One weighing with its amendments.
pub async fn get(
    service: &Yields,
    request: Request<v1::GetWeighingRequest>,
) -> Result<Response<v1::Weighing>, Status> {
    let id = one_id(&request.get_ref().weighing, "weighing")?;
    let whole =
        service.db.read("yields.get_weighing", |conn| Box::pin(store::whole(conn, id))).await?;
    let whole = whole.ok_or_else(|| Failure::not_found("first weighing"))?;
    Ok(Response::new(shape::whole_out(whole)))
}

/// First weighings, each with its amendments.
pub async fn list(
    service: &Yields,
    request: Request<v1::ListWeighingsRequest>,
) -> Result<Response<v1::ListWeighingsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let lot = optional_id(&request.lot, "lot", &mut faults);
    let lot = faults.into_result(Some(lot)).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut found = service
        .db
        .read("yields.list_weighings", |conn| {
            Box::pin(async move { store::list(conn, lot, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut found, |whole| whole.row.id.to_string());
    let weighings = found.into_iter().map(shape::whole_out).collect();
    Ok(Response::new(v1::ListWeighingsResponse { weighings, next_page_token }))
}

/// Amends a weighing, signed.
pub async fn amend(
    service: &Yields,
    request: Request<v1::AmendWeighingRequest>,
) -> Result<Response<v1::Weighing>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::amendment_in(&call, request.get_ref())?;
    let of = new.of;
    let first =
        service.db.read("yields.amended_weighing", |conn| Box::pin(store::whole(conn, of))).await?;
    let first = first.ok_or_else(|| Failure::not_found("first weighing"))?;
    let stamp = new.stamp(&first, (&call, &service.house.plant), request.get_ref())?;
    let lots = first.lots.clone();
    let (work, house) = (Arc::new((call, new, first, stamp)), service.house.clone());
    let row = service
        .db
        .write("yields.amend_weighing", move |conn| {
            let (work, house) = (work.clone(), house.clone());
            Box::pin(async move {
                let (call, new, first, stamp) = &*work;
                if let Some(row) = store::known(conn, stamp).await? {
                    return Ok(row);
                }
                let ticket = house.tickets.redeem(call, &format!("weighing:{}", new.of))?;
                let row = new.row(first, stamp, ticket.id)?;
                let leaf =
                    stamp.leaf(shape::FORM, shape::entry(&row, &first.lots, Some(&ticket)))?;
                store::insert(conn, &row, &first.lots, leaf).await?;
                Ok(row)
            })
        })
        .await?;
    Ok(Response::new(shape::row_out(row, &lots)))
}
