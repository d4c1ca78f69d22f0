//! What other services ask and tell.
//! It never answers anybody but a service.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::idempotency::Keyed;
use platform::shape::id;
use tonic::{Request, Response, Status};
use wire::internal::v1;

use crate::{Haccp, store};

/// Which version of a plan is in force; version 0 when none is.
pub async fn plan_in_force(
    service: &Haccp,
    request: Request<v1::PlanInForceRequest>,
) -> Result<Response<v1::PlanInForceResponse>, Status> {
    let mut faults = Faults::new();
    let plan = id(&request.get_ref().plan, "plan", &mut faults);
    let plan = faults.into_result(plan).map_err(Failure::from)?;
    let row = service
        .db
        .read("haccp.plan_in_force", |conn| Box::pin(store::plans::in_force(conn, plan)))
        .await?;
    let response = row.map(|row| v1::PlanInForceResponse {
        version: row.version,
        name: row.name,
        binds: row.binds,
    });
    Ok(Response::new(response.unwrap_or_default()))
}

/// Binds a lot to the version that it was made under.
pub async fn bind_lot(
    service: &Haccp,
    request: Request<v1::BindLotRequest>,
) -> Result<Response<v1::BindLotResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of("haccp", &call, request.get_ref())?;
    let message = request.into_inner();
    let mut faults = Faults::new();
    let lot = id(&message.lot, "lot", &mut faults);
    let plan = id(&message.plan, "plan", &mut faults);
    let (lot, plan) = faults.into_result(lot.zip(plan)).map_err(Failure::from)?;
    let version = message.plan_version.unwrap_or_default();
    let response = service
        .db
        .write("haccp.bind_lot", move |conn| {
            let keyed = keyed.clone();
            Box::pin(async move {
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                store::plans::bind(conn, lot, (plan, version)).await?;
                let response = v1::BindLotResponse {};
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}
