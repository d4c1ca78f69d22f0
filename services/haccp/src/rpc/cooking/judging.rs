//! Judging a load again from all that was recorded of it, and recording what has changed.
//! It never trusts an earlier judgement: all that it rests on is read each time.

use domain::haccp::gate::question::Kind;
use jiff::Timestamp;
use platform::error::Failure;
use platform::outbox::Outbox;
use platform::records::Stamp;
use uuid::Uuid;
use wire::v1;

use crate::shape::cooking::changes::{NewJudgement, changes};
use crate::shape::cooking::evidence::{Missed, against};
use crate::shape::cooking::judged::Judging;
use crate::shape::cooking::lines::Plans;
use crate::shape::cooking::out::load_out;
use crate::shape::plans::{Check, PlanVersion};
use crate::shape::readings::NewReading;
use crate::store::cooking::block;
use crate::store::cooking::whole::{self, BlockRow, Head, Sources, Whole};
use crate::{Haccp, store};

/// What a load is judged with, inside the transaction that changes it.
#[derive(Clone)]
pub struct Judge {
    pub outbox: Outbox,
    /// Versions of plans read before the transaction.
    pub plans: Plans,
}

impl Haccp {
    /// Whatever is needed to judge a load; its plans are read before any transaction.
    pub(super) async fn judge(&self, head: &Head) -> Result<Judge, Failure> {
        let mut plans = Plans::new();
        for bound in head.racks.iter().filter_map(|rack| rack.bound()) {
            plans.insert(bound, self.plan(bound.0, bound.1).await?);
        }
        Ok(Judge { outbox: self.outbox.clone(), plans })
    }

    /// A load with its racks and probes.
    pub(super) async fn load_head(&self, load: Uuid) -> Result<Head, Failure> {
        let found =
            self.db.read("haccp.load_head", |conn| Box::pin(whole::head(conn, load))).await?;
        found.ok_or_else(|| Failure::not_found("load"))
    }

    /// A load with all that is proved of it now.
    pub(super) async fn load_now(&self, load: Uuid, now: Timestamp) -> Result<v1::Load, Failure> {
        let head = self.load_head(load).await?;
        let loads = self.loads_now(vec![head], now).await?;
        loads.into_iter().next().ok_or_else(|| Failure::not_found("load"))
    }

    /// Loads with all that is proved of each now, in the order given. What was judged before by
    /// the very same records, and cannot change by time alone, is not judged again.
    pub(super) async fn loads_now(
        &self,
        heads: Vec<Head>,
        now: Timestamp,
    ) -> Result<Vec<v1::Load>, Failure> {
        let judged = self.judged.clone();
        let (sources, known, mut blocks) = self
            .db
            .read("haccp.loads_now", |conn| {
                Box::pin(async move {
                    let sources = whole::sources(conn, heads).await?;
                    let known: Vec<Option<v1::Load>> =
                        sources.iter().map(|sources| judged.find(sources)).collect();
                    let new = sources.iter().zip(&known).filter(|(_, known)| known.is_none());
                    let new: Vec<Uuid> =
                        new.flat_map(|(sources, _)| sources.blocks.iter().copied()).collect();
                    let blocks = whole::blocks_by_id(conn, &new).await?;
                    Ok((sources, known, blocks))
                })
            })
            .await?;
        let mut loads = Vec::with_capacity(sources.len());
        for (sources, known) in sources.into_iter().zip(known) {
            loads.push(match known {
                Some(load) => load,
                None => {
                    let blocks = blocks.remove(&sources.head.load.id).unwrap_or_default();
                    self.judge_now(sources, blocks, now).await?
                }
            });
        }
        Ok(loads)
    }

    async fn judge_now(
        &self,
        sources: Sources,
        blocks: Vec<BlockRow>,
        now: Timestamp,
    ) -> Result<v1::Load, Failure> {
        let plans = self.judge(&sources.head).await?.plans;
        let Sources { head, hand, blocks: ids } = sources;
        let whole = Whole { head, blocks, hand };
        let judging = Judging::of(&whole, &plans)?;
        let load = load_out(&judging, now);
        if judging.is_settled(now) {
            let Whole { head, hand, .. } = whole;
            self.judged.keep(Sources { head, hand, blocks: ids }, load.clone());
        }
        Ok(load)
    }

    async fn load_whole(&self, load: Uuid) -> Result<Whole, Failure> {
        let found =
            self.db.read("haccp.load_whole", |conn| Box::pin(whole::whole(conn, load))).await?;
        found.ok_or_else(|| Failure::not_found("load"))
    }

    /// Why the curves of a load do not stand for a check that was missed; empty: they do.
    pub async fn load_against(&self, load: Uuid, missed: &Missed) -> Result<Vec<String>, Failure> {
        let whole = self.load_whole(load).await?;
        let plans = self.judge(&whole.head).await?.plans;
        Ok(against(&Judging::of(&whole, &plans)?, missed))
    }
}

/// A reading by hand counts for the cook of the racks that it names, also when it comes after their
/// pull was judged: their loads are judged again.
pub async fn after_reading(
    service: &Haccp,
    check: &Check,
    reading: &NewReading,
) -> Result<(), Failure> {
    if check.kind != Kind::Attain {
        return Ok(());
    }
    let lots = reading.lots.clone();
    let loads = service
        .db
        .read("haccp.loads_pulled", |conn| {
            Box::pin(async move { whole::pulled(conn, &lots).await })
        })
        .await?;
    for load in loads {
        let judge = service.judge(&service.load_head(load).await?).await?;
        let stamp = reading.stamp.clone();
        service
            .db
            .write("haccp.judge_reading", move |conn| {
                let (judge, stamp) = (judge.clone(), stamp.clone());
                Box::pin(async move {
                    block::hold(conn, load).await?;
                    judge.again(conn, (load, &stamp), &[]).await
                })
            })
            .await?;
        service.outbox.wake();
    }
    Ok(())
}

impl Judge {
    /// Judges the load again and records what has changed; the caller holds the load. `pulled` are
    /// racks that are pulled by this very call. Gives what was recorded, in words.
    pub async fn again(
        &self,
        conn: &mut store::Connection,
        (load, stamp): (Uuid, &Stamp),
        pulled: &[Uuid],
    ) -> Result<Vec<String>, Failure> {
        let whole = whole::whole(conn, load).await?;
        let whole = whole.ok_or_else(|| Failure::not_found("load"))?;
        let plans = self.plans_of(conn, &whole.head).await?;
        let new = self.changes(&whole, &plans, stamp, pulled)?;
        store::cooking::written::judgements(conn, &self.outbox, &new).await?;
        Ok(new.into_iter().map(|judgement| judgement.what).collect())
    }

    fn changes(
        &self,
        whole: &Whole,
        plans: &Plans,
        stamp: &Stamp,
        pulled: &[Uuid],
    ) -> Result<Vec<NewJudgement>, Failure> {
        let found = Judging::of(whole, plans)?.found();
        changes(whole.head.load.id, (&found, &whole.head.standing), stamp, pulled)
    }

    /// The plans; one that was bound meanwhile is read on the connection at hand.
    pub async fn plans_of(
        &self,
        conn: &mut store::Connection,
        head: &Head,
    ) -> Result<Plans, Failure> {
        let mut plans = self.plans.clone();
        for bound in head.racks.iter().filter_map(|rack| rack.bound()) {
            if plans.contains_key(&bound) {
                continue;
            }
            if let Some(row) = store::plans::version(conn, bound).await? {
                plans.insert(bound, std::sync::Arc::new(PlanVersion::of(&row)?));
            }
        }
        Ok(plans)
    }
}
