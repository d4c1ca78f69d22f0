//! What other services ask of the lot graph.
//! It never answers anybody but a service.

use std::collections::HashMap;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1 as internal;

use crate::shape::closure::OpenCase;
use crate::shape::masses::{Asked, asked_in, masses_out};
use crate::shape::on_hand::{on_hand_out, wanted_in};
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

/// Lots of materials on hand, the oldest first.
pub async fn lots_on_hand(
    service: &Genealogy,
    request: Request<internal::LotsOnHandRequest>,
) -> Result<Response<internal::LotsOnHandResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let today = service.house.plant.date_of(call.received_at);
    let wanted = wanted_in(request.get_ref(), today)?;
    let found = service
        .db
        .read("genealogy.lots_on_hand", |conn| {
            Box::pin(async move { store::on_hand::find(conn, &wanted).await })
        })
        .await?;
    Ok(Response::new(on_hand_out(found)))
}

/// Lots with all that they came of and all that came of them.
pub async fn masses_of(
    service: &Genealogy,
    request: Request<internal::MassesOfRequest>,
) -> Result<Response<internal::MassesOfResponse>, Status> {
    let (asked, alone) = (asked_in(request.get_ref())?, request.get_ref().alone);
    let (roots, masses) = service
        .db
        .read("genealogy.masses_of", |conn| {
            Box::pin(async move {
                let roots = match asked {
                    Asked::Lots(lots) => lots,
                    Asked::Day(day, material) => {
                        store::masses::of_day(conn, day, &material).await?
                    }
                };
                let masses = store::masses::around(conn, &roots, alone).await?;
                Ok((roots, masses))
            })
        })
        .await?;
    Ok(Response::new(masses_out(&roots, masses)?))
}

/// The closure of lots, and of each its cases that have not left.
pub async fn closure_of(
    service: &Genealogy,
    request: Request<internal::ClosureOfRequest>,
) -> Result<Response<internal::ClosureOfResponse>, Status> {
    let mut lots = lots_in(&request.get_ref().lots)?;
    lots.sort_unstable();
    lots.dedup();
    let asked = lots.clone();
    let (closure, cases) = service
        .db
        .read("genealogy.closure_of", |conn| {
            Box::pin(async move {
                let closure = store::closure::closure(conn, &asked).await?;
                Ok((closure, store::closure::open_cases(conn, &asked).await?))
            })
        })
        .await?;
    let ships = closure.ships_out(&lots, cases);
    Ok(Response::new(internal::ClosureOfResponse { lots: closure.lots_out(), ships }))
}

/// The closures of several lots, each with the cases of that lot that have not left.
pub async fn closures_of(
    service: &Genealogy,
    request: Request<internal::ClosuresOfRequest>,
) -> Result<Response<internal::ClosuresOfResponse>, Status> {
    let lots = lots_in(&request.get_ref().lots)?;
    let asked = lots.clone();
    let (closures, cases) = service
        .db
        .read("genealogy.closures_of", |conn| {
            Box::pin(async move {
                let closures = store::closure::closures(conn, &asked).await?;
                Ok((closures, store::closure::open_cases(conn, &asked).await?))
            })
        })
        .await?;
    let mut of_lot: HashMap<Uuid, Vec<OpenCase>> = HashMap::new();
    for case in cases {
        of_lot.entry(case.lot).or_default().push(case);
    }
    let told = closures.iter().zip(&lots).map(|(closure, lot)| {
        let cases = of_lot.get(lot).cloned().unwrap_or_default();
        let ships = closure.ships_out(&[*lot], cases);
        internal::ClosureOfResponse { lots: closure.lots_out(), ships }
    });
    Ok(Response::new(internal::ClosuresOfResponse { closures: told.collect() }))
}

fn lots_in(lots: &[String]) -> Result<Vec<Uuid>, Failure> {
    let mut faults = Faults::new();
    let lots = platform::shape::ids(lots, "lots", &mut faults);
    Ok(faults.into_result(Some(lots))?)
}
