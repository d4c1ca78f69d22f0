//! Traces and closures.
//! It never changes anything.

use domain::fault::Faults;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::shape::making::trace::{direction_in, trace_out};
use crate::{Genealogy, store};

fn lot_in(text: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let lot = platform::shape::id(text, "lot", &mut faults);
    Ok(faults.into_result(lot)?)
}

/// Where a lot came from or went.
pub async fn trace(
    service: &Genealogy,
    request: Request<v1::TraceLotRequest>,
) -> Result<Response<v1::Trace>, Status> {
    let request = request.into_inner();
    let (lot, direction) = (lot_in(&request.lot)?, direction_in(&request.direction));
    let reached = service
        .db
        .read("genealogy.trace_lot", |conn| {
            Box::pin(store::making::trace::trace(conn, lot, direction))
        })
        .await?;
    Ok(Response::new(trace_out(lot, &request.direction, reached)))
}

/// A lot with all its ancestors and their versions.
pub async fn closure(
    service: &Genealogy,
    request: Request<v1::GetClosureRequest>,
) -> Result<Response<v1::Closure>, Status> {
    let lot = lot_in(&request.get_ref().lot)?;
    let closure = service
        .db
        .read("genealogy.get_closure", |conn| {
            Box::pin(async move { store::closure::graph(conn, &[lot]).await })
        })
        .await?;
    let out = closure.out(lot).ok_or_else(|| Failure::not_found("lot"))?;
    Ok(Response::new(out))
}
