//! Inputs that a transformation gets after it was recorded.
//! It never tells whom a recall calls: that is found when its message is carried out.

use std::sync::Arc;

use platform::caller::Call;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::TellLessSafeRequest;
use wire::v1;

use crate::shape::making::{NewInput, transformation_out};
use crate::{Genealogy, shape, store};

/// What this service tells itself when something of which product may have left is less safe.
const TELL_LESS_SAFE: &str = "/hankbook.internal.v1.GenealogyInternal/TellLessSafe";

/// Adds an input. Where anything had gone on by then, a message finds what has left with it.
pub async fn add(
    service: &Genealogy,
    request: Request<v1::AddInputRequest>,
) -> Result<Response<v1::Transformation>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::making::input_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((new, service.outbox.clone()));
    let made = service
        .db
        .write("genealogy.add_input", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (new, outbox) = &*of;
                let added = store::making::inputs::record(conn, new).await?;
                if !added.may_have_left.is_empty() {
                    let message = less_safe(new, &added.may_have_left);
                    outbox.put(conn, &message.about, TELL_LESS_SAFE, &message).await?;
                }
                Ok(added.made)
            })
        })
        .await?;
    service.outbox.wake();
    Ok(Response::new(transformation_out(made)))
}

fn less_safe(new: &NewInput, lots: &[Uuid]) -> TellLessSafeRequest {
    let what = format!("An input was added after the first use: {}", new.reason);
    TellLessSafeRequest {
        about: format!("input_added:{}", new.stamp.id),
        what: what.chars().take(300).collect(),
        lots: lots.iter().map(Uuid::to_string).collect(),
    }
}
