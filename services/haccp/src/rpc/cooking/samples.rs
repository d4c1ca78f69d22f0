//! Samples: written by the short way, and judged in one transaction where they touch a judgement.
//! It never takes a value in place of another: a command that brings one is refused.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use platform::records::Leaf;
use tonic::{Request, Response, Status};
use wire::v1;

use super::judging::Judge;
use crate::Haccp;
use crate::rpc::instruments;
use crate::shape::cooking::judged::Judging;
use crate::shape::cooking::lines::line;
use crate::shape::cooking::out::block_out;
use crate::shape::cooking::samples::{NewBlock, block_in};
use crate::store::cooking::whole::{BlockRow, Head, Whole, blocks_of, head};
use crate::store::cooking::{block, written};
use crate::store::rows;

/// What is known before a block is written.
struct Before {
    is_known: bool,
    head: Option<Head>,
    blocks: Vec<BlockRow>,
}

/// Records a block.
pub async fn record(
    service: &Haccp,
    request: Request<v1::RecordSamplesRequest>,
) -> Result<Response<v1::SampleBlock>, Status> {
    let call = Call::of(request.extensions())?;
    let mut new = block_in(&call, &service.house.plant, request.get_ref())?;
    if let Some(instrument) = new.instrument {
        let used = instruments::used(service, instrument, &new.moments).await?;
        new = new.with_instrument(used)?;
    }
    let Before { is_known, head, mut blocks } = before(service, &new).await?;
    let head = head.ok_or_else(|| Failure::not_found("load"))?;
    new.check(&head)?;
    if !is_known && !new.moments.happened {
        refuse_clashes(&new, &blocks)?;
    }
    let judge = service.judge(&head).await?;
    let leaf = new.leaf()?;
    let new = Arc::new(new);
    let mut reasons = match new.touches_what_was_judged(&head) {
        true => judged(service, &new, &leaf, &judge).await?,
        false => written(service, &new, &leaf, &judge).await?,
    };
    if !is_known {
        blocks.push(new.row());
    }
    reasons.extend(at_once(&new, (head, blocks), &judge, call.received_at)?);
    Ok(Response::new(block_out(&new, &new.row(), reasons)))
}

async fn before(service: &Haccp, new: &NewBlock) -> Result<Before, Failure> {
    let (stamp, load, probe) = (new.stamp.clone(), new.load, new.probe.clone());
    service
        .db
        .read("haccp.before_samples", |conn| {
            Box::pin(async move {
                let is_known = rows::known(conn, written::BLOCK, &stamp).await?;
                let head = head(conn, load).await?;
                let air = head.iter().flat_map(|head| &head.probes).filter(|p| p.seat == "air");
                let mut names: Vec<String> = air.map(|row| row.probe.clone()).collect();
                names.push(probe);
                let blocks = blocks_of(conn, load, &names).await?;
                Ok(Before { is_known, head, blocks })
            })
        })
        .await
}

fn refuse_clashes(new: &NewBlock, blocks: &[BlockRow]) -> Result<(), Failure> {
    let same = |row: &&BlockRow| {
        (&row.probe, &row.source) == (&new.probe, &new.source)
            && (row.source == "probe" || row.lot == new.lot)
    };
    let clashes = line(blocks.iter().filter(same))?.clashes(&new.block);
    if clashes.is_empty() { Ok(()) } else { Err(new.differs(&clashes)) }
}

/// The short way: one statement. A pull that came between is judged again after it.
async fn written(
    service: &Haccp,
    new: &Arc<NewBlock>,
    leaf: &Leaf,
    judge: &Judge,
) -> Result<Vec<String>, Failure> {
    let (work, leaf_again) = (new.clone(), leaf.clone());
    service
        .db
        .append("haccp.record_samples", move |conn| {
            let (work, leaf) = (work.clone(), leaf_again.clone());
            Box::pin(async move { block::insert(conn, &work, &leaf).await })
        })
        .await?;
    let load = new.load;
    let now = service.db.read("haccp.pulls_since", |conn| Box::pin(head(conn, load))).await?;
    match now.filter(|head| new.touches_what_was_judged(head)) {
        Some(_) => judged(service, new, leaf, judge).await,
        None => Ok(Vec::new()),
    }
}

/// The long way: the block, and what it changes, together.
async fn judged(
    service: &Haccp,
    new: &Arc<NewBlock>,
    leaf: &Leaf,
    judge: &Judge,
) -> Result<Vec<String>, Failure> {
    let (work, leaf, judge) = (new.clone(), leaf.clone(), judge.clone());
    let reasons = service
        .db
        .write("haccp.judge_samples", move |conn| {
            let (work, leaf, judge) = (work.clone(), leaf.clone(), judge.clone());
            Box::pin(async move {
                block::hold(conn, work.load).await?;
                if !block::insert(conn, &work, &leaf).await? {
                    rows::known(conn, written::BLOCK, &work.stamp).await?;
                }
                judge.again(conn, (work.load, &work.stamp), &[]).await
            })
        })
        .await?;
    service.outbox.wake();
    Ok(reasons)
}

/// What a person at the house should know at once of the probe itself.
fn at_once(
    new: &NewBlock,
    (head, blocks): (Head, Vec<BlockRow>),
    judge: &Judge,
    now: jiff::Timestamp,
) -> Result<Vec<String>, Failure> {
    if new.source != "probe" {
        return Ok(Vec::new());
    }
    let mut head = head;
    head.probes.retain(|row| row.probe == new.probe || row.seat == "air");
    let whole = Whole { head, blocks, hand: Vec::new() };
    let judging = Judging::of(&whole, &judge.plans)?;
    let seated = judging.cooked().into_iter().filter(|cooked| cooked.has_probe());
    Ok(seated.flat_map(|cooked| cooked.now(now).reasons).collect())
}
