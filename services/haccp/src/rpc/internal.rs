//! What other services ask and tell.
//! It never answers anybody but a service.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::idempotency::Keyed;
use platform::records::{Stamp, new_id};
use platform::shape::id;
use serde_json::json;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1;

use crate::store::rows::{self, Record, Table};
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

/// A lot and the version that it was made under.
struct Binding {
    lot: Uuid,
    plan: (Uuid, i32),
    /// What is recorded when there is no such version.
    refused: Record,
}

/// Binds a lot to the version that it was made under. One that was never approved cannot be bound
/// to: that is recorded, counts at each clearance, and the lot stays without a plan.
pub async fn bind_lot(
    service: &Haccp,
    request: Request<v1::BindLotRequest>,
) -> Result<Response<v1::BindLotResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of("haccp", &call, request.get_ref())?;
    let binding = Arc::new(binding(service, &call, request.get_ref())?);
    let day = service.house.plant.day_of(call.received_at);
    let response = service
        .db
        .write("haccp.bind_lot", move |conn| {
            let (keyed, binding) = (keyed.clone(), binding.clone());
            Box::pin(async move {
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let Binding { lot, plan, refused } = &*binding;
                if store::plans::version(conn, *plan).await?.is_some() {
                    store::plans::bind(conn, *lot, *plan, day).await?;
                } else {
                    rows::insert(conn, refused).await?;
                    let links = ("haccp.refused_message_lot", "refused_message");
                    rows::link(conn, links, refused.stamp.id, &[*lot]).await?;
                }
                let response = v1::BindLotResponse {};
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

fn binding(service: &Haccp, call: &Call, message: &v1::BindLotRequest) -> Result<Binding, Failure> {
    let mut faults = Faults::new();
    let lot = id(&message.lot, "lot", &mut faults);
    let plan = id(&message.plan, "plan", &mut faults);
    let (lot, plan) = faults.into_result(lot.zip(plan))?;
    let version = message.plan_version.unwrap_or_default();
    let reason = format!("There is no plan {plan} version {version} to which it could be bound.");
    let subject = format!("lot:{lot}");
    let refused = Record {
        table: Table::of("haccp.refused_message"),
        form: "haccp.refused_message/1",
        stamp: Stamp::of(call, &service.house.plant, new_id(), subject, message)?,
        moments: None,
        columns: json!({ "method": call.method, "reason": reason }),
        entry: json!({ "method": call.method, "reason": reason, "lots": [lot.to_string()] }),
    };
    Ok(Binding { lot, plan: (plan, version), refused })
}
