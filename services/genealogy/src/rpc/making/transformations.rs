//! Transformations: lots used up to make lots, each bound to its plan, a batch judged before.
//! It never judges a plan, a batch or a label itself: haccp and formulas are asked, or nothing is
//! recorded.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::rpc::formulas::{self, TELL_KIT_USED};
use crate::rpc::lots::{BIND_LOT, binding, plan_in_force};
use crate::shape::lots::PlanVersion;
use crate::shape::making::batch::{Judged, PACK_OFF, Told};
use crate::shape::making::{
    NewTransformation, Transformation, Wanted, no_plan_named, transformation_out,
};
use crate::{Genealogy, shape, store};

/// Records a transformation.
pub async fn record(
    service: &Genealogy,
    request: Request<v1::RecordTransformationRequest>,
) -> Result<Response<v1::Transformation>, Status> {
    let call = Call::of(request.extensions())?;
    let plant = &service.house.plant;
    let asked = shape::making::transformation_in(&call, plant, request.get_ref())?;
    let (stamp, place) = (asked.stamp.clone(), asked.place);
    let (known, place) = service
        .db
        .read("genealogy.before_transformation", |conn| {
            Box::pin(async move {
                let known = store::making::known(conn, &stamp).await?;
                Ok((known, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some(made) = known {
        return Ok(Response::new(transformation_out(made)));
    }
    let (stamp, content, place) = asked.at(place)?;
    let plans = plans(service, &content.wanted).await?;
    let judged = judged(service, &content).await?;
    let uncovered = uncovered(service, &content).await?;
    let pattern = shape::lots::pattern(plant)?;
    let mut new = content.bound((stamp, place), &plans, pattern);
    if let Some(judged) = judged {
        let made: Vec<Uuid> = new.outputs.iter().map(|lot| lot.stamp.id).collect();
        new.told = judged.refusals();
        new.waits = judged.waits(&made);
        new.batch = judged.record(&new.stamp, new.stamp.id);
    }
    new.told.extend(uncovered);
    let made = write(service, new).await?;
    Ok(Response::new(transformation_out(made)))
}

/// Asks formulas about a batch, by the lots that really go in; nothing of another transformation.
async fn judged(service: &Genealogy, content: &Transformation) -> Result<Option<Judged>, Failure> {
    if !content.makes_batch() {
        return Ok(None);
    }
    let used: Vec<Uuid> = content.uses.iter().map(|one| one.lot).collect();
    let (seen, (graph, made_of)) = service
        .db
        .read("genealogy.before_batch", |conn| {
            Box::pin(async move {
                store::making::refuse_unknown(conn, &used).await?;
                let seen = store::making::batch::seen(conn, &used).await?;
                Ok((seen, store::making::batch::origins(conn, &used).await?))
            })
        })
        .await?;
    let question = content.question(&seen, graph.origins_out(&made_of))?;
    let on = (!content.moments.happened).then_some(content.used_on);
    Ok(Some(formulas::judge(service, question, on).await?))
}

/// Asks formulas whether the label in force covers what is packed off.
async fn uncovered(service: &Genealogy, content: &Transformation) -> Result<Vec<Told>, Failure> {
    if content.kind != PACK_OFF || content.packed_off().is_empty() {
        return Ok(Vec::new());
    }
    let used: Vec<Uuid> = content.uses.iter().map(|one| one.lot).collect();
    let (graph, made_of) = service
        .db
        .read("genealogy.before_pack_off", |conn| {
            Box::pin(async move {
                store::making::refuse_unknown(conn, &used).await?;
                store::making::batch::origins(conn, &used).await
            })
        })
        .await?;
    let question = content.label_question(&graph, &made_of);
    formulas::uncovered(service, &question).await
}

/// Asks haccp once for each plan that is named; gives what binds each lot, or why nothing does.
async fn plans(
    service: &Genealogy,
    wanted: &[Wanted],
) -> Result<Vec<Result<PlanVersion, Reason>>, Failure> {
    let named: BTreeSet<Uuid> = wanted.iter().filter_map(|wanted| wanted.plan).collect();
    let mut answers = HashMap::with_capacity(named.len());
    for plan in named {
        answers.insert(plan, plan_in_force(service, plan).await?);
    }
    let bound = |wanted: &Wanted| match wanted.plan.and_then(|plan| answers.get_key_value(&plan)) {
        Some((plan, answer)) => shape::lots::plan_in(*plan, &wanted.kind, answer),
        None => Err(no_plan_named(wanted.lot)),
    };
    Ok(wanted.iter().map(bound).collect())
}

/// Records it, and owes haccp a message for each lot that it bound.
async fn write(
    service: &Genealogy,
    new: NewTransformation,
) -> Result<store::making::Made, Failure> {
    let (new, outbox) = (Arc::new(new), service.outbox.clone());
    let made = service
        .db
        .write("genealogy.record_transformation", move |conn| {
            let (new, outbox) = (new.clone(), outbox.clone());
            Box::pin(async move {
                let (made, is_new) = store::making::record(conn, &new).await?;
                for message in new.kits_used().iter().filter(|_| is_new) {
                    let subject = format!("lot:{}", message.lot);
                    outbox.put(conn, &subject, TELL_KIT_USED, message).await?;
                }
                for lot in new.outputs.iter().filter(|_| is_new) {
                    if let Some(message) = binding(lot) {
                        outbox.put(conn, &lot.stamp.subject, BIND_LOT, &message).await?;
                    }
                }
                Ok(made)
            })
        })
        .await?;
    service.outbox.wake();
    Ok(made)
}

/// One transformation.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetTransformationRequest>,
) -> Result<Response<v1::Transformation>, Status> {
    let mut faults = Faults::new();
    let asked = &request.get_ref().transformation;
    let id = platform::shape::id(asked, "transformation", &mut faults);
    let id: Uuid = faults.into_result(id).map_err(Failure::from)?;
    let made = service
        .db
        .read("genealogy.get_transformation", |conn| Box::pin(store::making::find(conn, id)))
        .await?;
    let made = made.ok_or_else(|| Failure::not_found("transformation"))?;
    Ok(Response::new(transformation_out(made)))
}
