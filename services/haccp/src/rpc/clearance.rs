//! Whether what ships is proved: the facts go to the gate, its obstacles come back.
//! It never answers by itself: the gate judges, and what could not be read is no answer.

use std::collections::BTreeSet;

use domain::fault::Faults;
use domain::haccp::gate::{self, Reviewable};
use platform::error::Failure;
use platform::records::new_id;
use platform::shape::{id, ids};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1 as internal_v1;
use wire::v1;

use super::genealogy;
use crate::Haccp;
use crate::shape::clearance::{Cleared, Closure, Plans, obstacle_out, question, said, view};
use crate::store::clearance::{Asked, Facts, facts};

/// What stands in the way of shipping. It asks nobody.
pub async fn clear(
    service: &Haccp,
    request: Request<internal_v1::ClearRequest>,
) -> Result<Response<internal_v1::ClearResponse>, Status> {
    let request = request.into_inner();
    let closure = Closure::of(request.lots, request.ships)?;
    let cleared = judged(service, closure, false).await?;
    let Cleared { closure, obstacles, .. } = cleared;
    let obstacles = obstacles.into_iter().map(|found| obstacle_out(&closure, found)).collect();
    Ok(Response::new(internal_v1::ClearResponse { answer: new_id().to_string(), obstacles }))
}

/// Reads the facts and asks the gate: whether it may ship, or whether it may be reviewed, for which
/// the items are shown too.
async fn judged(service: &Haccp, closure: Closure, is_review: bool) -> Result<Cleared, Failure> {
    let (facts, plans) = known(service, closure.asked()).await?;
    judge(closure, facts, &plans, (now(service), is_review))
}

async fn known(service: &Haccp, asked: Asked) -> Result<(Facts, Plans), Failure> {
    let facts = service
        .db
        .read("haccp.clearance", |conn| Box::pin(async move { facts(conn, &asked).await }))
        .await?;
    let plans = plans(service, &facts).await?;
    Ok((facts, plans))
}

fn now(service: &Haccp) -> i64 {
    service.house.clock.now().as_microsecond()
}

fn judge(
    closure: Closure,
    facts: Facts,
    plans: &Plans,
    (now, is_review): (i64, bool),
) -> Result<Cleared, Failure> {
    let asking = question(&closure, &facts, plans, (now, is_review))?;
    let found = match is_review {
        true => gate::reviewable(&asking.question),
        false => Reviewable { obstacles: gate::judge(&asking.question), ..Default::default() },
    };
    let Reviewable { mut obstacles, items, unmet } = found;
    said::say(&mut obstacles, (&closure, &facts, &asking));
    Ok(Cleared { closure, facts, asking, obstacles, items, unmet })
}

/// The closures of lots, asked of genealogy, as a reviewer sees them.
pub async fn for_review(service: &Haccp, lots: &[Uuid]) -> Result<Cleared, Failure> {
    let answer = genealogy::closure_of(service, lots).await?;
    judged(service, Closure::of(answer.lots, answer.ships)?, true).await
}

/// The versions to which the lots are bound; each is read once and stays in memory.
async fn plans(service: &Haccp, facts: &Facts) -> Result<Plans, Failure> {
    let mut plans = Plans::new();
    let versions: BTreeSet<_> =
        facts.bound.iter().map(|bound| (bound.plan, bound.version)).collect();
    for (plan, version) in versions {
        plans.insert((plan, version), service.plan(plan, version).await?);
    }
    Ok(plans)
}

/// What is proved of a lot and its ancestors.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetClearanceRequest>,
) -> Result<Response<v1::Clearance>, Status> {
    let mut faults = Faults::new();
    let lot = id(&request.get_ref().lot, "lot", &mut faults);
    let lot = faults.into_result(lot).map_err(Failure::from)?;
    let cleared = for_review(service, &[lot]).await?;
    let ship = cleared.closure.ship_lots.iter().position(|ship| *ship == lot);
    let ship = ship.ok_or_else(|| Failure::not_found("lot"))?;
    Ok(Response::new(view::clearance_out(&cleared, ship)))
}

/// What is proved of several lots: all facts are read at once, and each lot is judged alone.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListClearancesRequest>,
) -> Result<Response<v1::ListClearancesResponse>, Status> {
    let mut faults = Faults::new();
    let lots = ids(&request.get_ref().lots, "lots", &mut faults);
    let lots = faults.into_result(Some(lots)).map_err(Failure::from)?;
    let closures = genealogy::closures_of(service, &lots).await?.into_iter();
    let closures: Vec<Closure> =
        closures.map(|answer| Closure::of(answer.lots, answer.ships)).collect::<Result<_, _>>()?;
    let asked: Vec<Asked> = closures.iter().map(Closure::asked).collect();
    let (facts, plans) = known(service, Asked::together(&asked)).await?;
    let now = now(service);
    let clearance = |(closure, asked): (Closure, &Asked)| {
        let cleared = judge(closure, facts.about(asked), &plans, (now, true))?;
        Ok::<_, Failure>(view::clearance_out(&cleared, 0))
    };
    let clearances = closures.into_iter().zip(&asked).map(clearance).collect::<Result<_, _>>()?;
    Ok(Response::new(v1::ListClearancesResponse { clearances }))
}
