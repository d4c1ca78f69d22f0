//! What lots cost, and what the inputs of a lot cost.
//! It never changes a cost: a newer one stands beside it.

use std::sync::Arc;

use platform::caller::Call;
use tonic::{Request, Response, Status};
use wire::internal::v1::MassesOfRequest;
use wire::v1;

use super::genealogy;
use crate::shape::costs::{check_lot, cost_in, cost_out, input_cost_out};
use crate::shape::one_id;
use crate::{Yields, store};

/// Records what a lot cost.
pub async fn put(
    service: &Yields,
    request: Request<v1::PutCostRequest>,
) -> Result<Response<v1::LotCost>, Status> {
    let call = Call::of(request.extensions())?;
    let new = cost_in(&call, &service.house.plant, request.get_ref())?;
    let kind = genealogy::kind_of(service, new.lot, "lot").await?;
    check_lot(new.lot, &kind)?;
    let new = Arc::new(new);
    let row = service
        .db
        .write("yields.put_cost", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::costs::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(cost_out(row)))
}

/// Every cost of a lot.
pub async fn list(
    service: &Yields,
    request: Request<v1::ListCostsRequest>,
) -> Result<Response<v1::ListCostsResponse>, Status> {
    let lot = one_id(&request.get_ref().lot, "lot")?;
    let rows = service
        .db
        .read("yields.list_costs", |conn| Box::pin(store::costs::list(conn, lot)))
        .await?;
    let costs = rows.into_iter().map(cost_out).collect();
    Ok(Response::new(v1::ListCostsResponse { costs }))
}

/// What the inputs of a lot cost.
pub async fn of_inputs(
    service: &Yields,
    request: Request<v1::GetInputCostRequest>,
) -> Result<Response<v1::InputCost>, Status> {
    let lot = one_id(&request.get_ref().lot, "lot")?;
    let asked = MassesOfRequest { lots: vec![lot.to_string()], ..MassesOfRequest::default() };
    let around = genealogy::around(service, &asked).await?;
    let ids = around.ids.clone();
    let (costs, whole) = service
        .db
        .read("yields.get_input_cost", |conn| {
            Box::pin(async move {
                let costs = store::costs::newest(conn, &ids).await?;
                Ok((costs, store::weighings::of_lots(conn, &ids).await?))
            })
        })
        .await?;
    Ok(Response::new(input_cost_out(around, &costs, &whole)?))
}
