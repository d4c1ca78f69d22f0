//! Cases that are packed and cases that pass a detector again.
//! It never judges a passing: what one proves is judged when a case is to leave.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::rpc::formulas;
use crate::shape::making::batch::Told;
use crate::shape::shipping::packing as shape;
use crate::store::shipping::packings::Packed;
use crate::{Genealogy, store};

/// Records cases packed.
pub async fn pack(
    service: &Genealogy,
    request: Request<v1::PackCasesRequest>,
) -> Result<Response<v1::Packing>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape::packing_in(&call, &service.house.plant, request.get_ref())?;
    let stamp = asked.stamp.clone();
    let (lot, place) = (asked.lot, asked.place);
    let (known, lot, place) = service
        .db
        .read("genealogy.before_packing", |conn| {
            Box::pin(async move {
                let known = store::shipping::packings::known(conn, &stamp).await?;
                let lot = store::shipping::packings::lot_kind(conn, lot).await?;
                Ok((known, lot, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some(packed) = known {
        return Ok(shown(packed));
    }
    let mut new = asked.content(lot, place)?;
    new.told = uncovered(service, &new).await?;
    let new = Arc::new(new);
    let packed = service
        .db
        .write("genealogy.pack_cases", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::shipping::packings::record(conn, &new).await })
        })
        .await?;
    Ok(shown(packed))
}

/// Asks formulas whether the label covers the lot.
async fn uncovered(service: &Genealogy, new: &shape::NewPacking) -> Result<Vec<Told>, Failure> {
    let lot = new.lot;
    let (graph, made_of) = service
        .db
        .read("genealogy.before_label", |conn| {
            Box::pin(async move { store::making::batch::origins(conn, &[lot]).await })
        })
        .await?;
    formulas::uncovered(service, &new.label_question(&graph, &made_of)).await
}

fn shown(packed: Packed) -> Response<v1::Packing> {
    let Packed { row, cases, mass_g, not_packed_g } = packed;
    Response::new(shape::packing_out(row, cases, (mass_g, not_packed_g)))
}

/// Records cases that passed again.
pub async fn run_again(
    service: &Genealogy,
    request: Request<v1::RunAgainRequest>,
) -> Result<Response<v1::Rerun>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape::rerun_in(&call, &service.house.plant, request.get_ref())?;
    let (stamp, place) = (asked.stamp.clone(), asked.place);
    let (known, place) = service
        .db
        .read("genealogy.before_rerun", |conn| {
            Box::pin(async move {
                let known = store::shipping::reruns::known(conn, &stamp).await?;
                Ok((known, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some((row, cases)) = known {
        return Ok(Response::new(shape::rerun_out(row, cases)));
    }
    let new = Arc::new(asked.content(place)?);
    let (row, cases) = service
        .db
        .write("genealogy.run_again", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::shipping::reruns::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::rerun_out(row, cases)))
}
