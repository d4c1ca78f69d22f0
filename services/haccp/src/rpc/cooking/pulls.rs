//! Pulls and probes left out: judged and recorded while nobody else adds to the load.
//! It never carries out a pull below the limit that was only asked for.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use tonic::{Request, Response, Status};
use wire::v1;

use super::judging::Judge;
use crate::shape::cooking::judged::Judging;
use crate::shape::cooking::racks::{LeavesOut, NewPull, leaves_out_in, pull_in};
use crate::store::cooking::whole::{Whole, whole};
use crate::store::cooking::{block, written};
use crate::store::rows;
use crate::{Haccp, store};

/// Pulls racks.
pub async fn pull(
    service: &Haccp,
    request: Request<v1::PullRacksRequest>,
) -> Result<Response<v1::Load>, Status> {
    let call = Call::of(request.extensions())?;
    let new = pull_in(&call, &service.house.plant, request.get_ref())?;
    let head = service.load_head(new.load).await?;
    let judge = service.judge(&head).await?;
    let load = new.load;
    let new = Arc::new(new);
    service
        .db
        .write("haccp.pull_racks", move |conn| {
            let (new, judge) = (new.clone(), judge.clone());
            Box::pin(async move { pulled(conn, &new, &judge).await })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(service.load_now(load, call.received_at).await?))
}

async fn pulled(conn: &mut store::Connection, new: &NewPull, judge: &Judge) -> Result<(), Failure> {
    block::hold(conn, new.load).await?;
    if rows::known(conn, written::PULL, &new.stamp).await? {
        return Ok(());
    }
    let Whole { head, blocks, hand } = found(conn, new.load).await?;
    new.check(&head)?;
    let whole = Whole { head: new.applied(head), blocks, hand };
    let plans = judge.plans_of(conn, &whole.head).await?;
    new.refusal(&whole.head, &Judging::of(&whole, &plans)?.found())?;
    written::pull(conn, new).await?;
    judge.again(conn, (new.load, &new.stamp), &new.racks).await?;
    Ok(())
}

async fn found(conn: &mut store::Connection, load: uuid::Uuid) -> Result<Whole, Failure> {
    whole(conn, load).await?.ok_or_else(|| Failure::not_found("load"))
}

/// Leaves a probe out, signed.
pub async fn leave_out(
    service: &Haccp,
    request: Request<v1::LeaveProbeOutRequest>,
) -> Result<Response<v1::Load>, Status> {
    let call = Call::of(request.extensions())?;
    let new = leaves_out_in(&call, &service.house.plant, request.get_ref())?;
    let head = service.load_head(new.load).await?;
    let judge = service.judge(&head).await?;
    let (load, now) = (new.load, call.received_at);
    let work = Arc::new((new, call, service.house.tickets.clone()));
    service
        .db
        .write("haccp.leave_probe_out", move |conn| {
            let (work, judge) = (work.clone(), judge.clone());
            Box::pin(async move {
                let (new, call, tickets) = &*work;
                block::hold(conn, new.load).await?;
                if rows::known(conn, written::LEFT_OUT, &new.stamp).await? {
                    return Ok(());
                }
                checked(conn, new).await?;
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                written::left_out(conn, new, &ticket).await?;
                judge.again(conn, (new.load, &new.stamp), &[]).await?;
                Ok(())
            })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(service.load_now(load, now).await?))
}

async fn checked(conn: &mut store::Connection, new: &LeavesOut) -> Result<(), Failure> {
    let Whole { head, blocks, .. } = found(conn, new.load).await?;
    new.check(&head, blocks.iter().any(|row| row.probe == new.probe))
}
