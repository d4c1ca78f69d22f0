//! Inputs that a transformation gets after it was recorded.
//! It never tells whom a recall calls: that is found when its message is carried out.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::{Failure, Kind};
use platform::shape::shortened;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::TellLessSafeRequest;
use wire::v1;

use crate::rpc::formulas::{self, TELL_KIT_USED};
use crate::shape::making::{NewInput, batch, transformation_out};
use crate::store::making::Made;
use crate::{Genealogy, shape, store};

/// What this service tells itself when something of which product may have left is less safe.
const TELL_LESS_SAFE: &str = "/hankbook.internal.v1.GenealogyInternal/TellLessSafe";

/// How often an input is judged anew when others added some meanwhile.
const TRIES: u32 = 3;

/// Adds an input. Where anything had gone on by then, a message finds what has left with it.
pub async fn add(
    service: &Genealogy,
    request: Request<v1::AddInputRequest>,
) -> Result<Response<v1::Transformation>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape::making::input_in(&call, &service.house.plant, request.get_ref())?;
    for _ in 0..TRIES {
        let new = judged(service, asked.clone()).await?;
        if let Some(made) = write(service, new).await? {
            service.outbox.wake();
            return Ok(Response::new(transformation_out(made)));
        }
    }
    let text = "Others added to the batch while it was judged; nothing was added.";
    Err(Failure::new(Kind::Contended, text).into())
}

/// Asks formulas about the batch with all that is in it and the input; nothing of others.
async fn judged(service: &Genealogy, mut new: NewInput) -> Result<NewInput, Failure> {
    let (transformation, lot) = (new.transformation, new.used.lot);
    let found = service
        .db
        .read("genealogy.before_input", |conn| {
            Box::pin(async move {
                let Some(last) = store::making::batch::last(conn, transformation).await? else {
                    return Ok(None);
                };
                if !store::lots::unknown(conn, &[lot]).await?.is_empty() {
                    return Err(Failure::fault("lot", lot, "there is no such lot"));
                }
                let seen = store::making::batch::seen(conn, &[lot]).await?;
                let lots = last.lots_with(lot)?;
                let (graph, made_of) = store::making::batch::origins(conn, &lots).await?;
                let made = store::making::made(conn, transformation).await?;
                Ok(Some((last, seen, graph.origins_out(&made_of), made)))
            })
        })
        .await?;
    let Some((last, seen, origins, made)) = found else { return Ok(new) };
    let seen = seen.first().ok_or_else(|| Failure::not_found("lot"))?;
    let about = (made.first(), origins);
    let question = batch::with_input(&last, (&new.used, seen), &new.again, about)?;
    let on = (!new.moments.happened).then_some(new.used_on);
    let judged = formulas::judge(service, question, on).await?;
    new.judged_before = Some(last.id);
    new.told = judged.refusals();
    new.waits = judged.waits(&made);
    new.batch = judged.record(&new.stamp, transformation);
    new.kit_for = made.first().copied().filter(|_| seen.kind == batch::KIT);
    Ok(new)
}

/// Writes it; None where the batch was judged anew since it was read.
async fn write(service: &Genealogy, new: NewInput) -> Result<Option<Made>, Failure> {
    let of = Arc::new((new, service.outbox.clone()));
    service
        .db
        .write("genealogy.add_input", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (new, outbox) = &*of;
                let Some(added) = store::making::inputs::record(conn, new).await? else {
                    return Ok(None);
                };
                if let Some(made) = new.kit_for {
                    let (subject, lot) = (format!("lot:{}", new.used.lot), new.used.lot);
                    let message = batch::kit_used(lot.to_string(), made);
                    outbox.put(conn, &subject, TELL_KIT_USED, &message).await?;
                }
                if !added.may_have_left.is_empty() {
                    let message = less_safe(new, &added.may_have_left);
                    outbox.put(conn, &message.about, TELL_LESS_SAFE, &message).await?;
                }
                Ok(Some(added.made))
            })
        })
        .await
}

fn less_safe(new: &NewInput, lots: &[Uuid]) -> TellLessSafeRequest {
    let what = format!("An input was added after the first use: {}", new.reason);
    TellLessSafeRequest {
        about: format!("input_added:{}", new.stamp.id),
        what: shortened(&what, 300),
        lots: lots.iter().map(Uuid::to_string).collect(),
    }
}
