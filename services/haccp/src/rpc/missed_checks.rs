//! Missed checks that other evidence covers, signed by QA.
//! It never takes evidence that has not met the limit, or that has a gap.

use std::sync::Arc;

use platform::caller::Call;
use tonic::{Request, Response, Status};
use wire::v1;

use super::deviations::lots_fault;
use crate::Haccp;
use crate::plans::not_in_force;
use crate::shape::missed_checks::{check, cover_in, missed_out};
use crate::store::missed_checks::{MISSED, find};
use crate::store::plans::may_use;
use crate::store::rows::{self, Record};

/// Covers a missed check.
pub async fn cover(
    service: &Haccp,
    request: Request<v1::CoverMissedCheckRequest>,
) -> Result<Response<v1::MissedCheck>, Status> {
    let call = Call::of(request.extensions())?;
    let new = cover_in(&call, &service.house.plant, request.get_ref())?;
    let plan = service.plan(new.plan.0, new.plan.1).await?;
    let check = check(&new, &plan)?.clone();
    let stamp = new.stamp.clone();
    let is_known = service
        .db
        .read("haccp.known_missed_check", |conn| {
            Box::pin(async move { rows::known(conn, MISSED, &stamp).await })
        })
        .await?;
    if !is_known {
        // Asked before the write: no connection is held while a load is judged.
        let against = service.load_against(new.evidence, &new.missed(&check)).await?;
        new.judge(against)?;
    }
    let tickets = service.house.tickets.clone();
    let work = Arc::new((call, new));
    let row = service
        .db
        .write("haccp.cover_missed_check", move |conn| {
            let (work, tickets) = (work.clone(), tickets.clone());
            Box::pin(async move {
                let (call, new) = &*work;
                if rows::known(conn, MISSED, &new.stamp).await? {
                    return find(conn, new.stamp.id).await;
                }
                if !may_use(conn, (new.plan.0, new.plan.1), &new.lots).await? {
                    return Err(not_in_force(new.plan.0, new.plan.1));
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                let (columns, entry) = new.record(&ticket);
                let record = Record {
                    table: MISSED,
                    form: "haccp.missed_check/1",
                    stamp: new.stamp.clone(),
                    moments: None,
                    columns,
                    entry,
                };
                rows::insert(conn, &record).await?;
                let links = ("haccp.missed_check_lot", "missed_check");
                rows::link(conn, links, new.stamp.id, &new.lots).await?;
                find(conn, new.stamp.id).await
            })
        })
        .await
        .map_err(|failure| lots_fault(failure, "missed_check_lot_lot_fkey"))?;
    Ok(Response::new(missed_out(row)))
}
