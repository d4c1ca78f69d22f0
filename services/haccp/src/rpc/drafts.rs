//! Drafts of plans: written until they are good, then approved elsewhere.
//! It never puts a plan in force.

use domain::fault::Faults;
use platform::caller::Call;
use platform::condition::{Condition, etag};
use platform::error::Failure;
use platform::idempotency::Keyed;
use tonic::metadata::MetadataValue;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::store::drafts::DraftRow;
use crate::{Haccp, shape, store};

/// Replaces a draft whole.
pub async fn put(
    service: &Haccp,
    request: Request<v1::PutPlanDraftRequest>,
) -> Result<Response<v1::PlanDraft>, Status> {
    let call = Call::of(request.extensions())?;
    let condition = Condition::of(&call)?;
    let draft = shape::draft_in(&call, request.into_inner())?;
    let row = service
        .db
        .write("haccp.put_plan_draft", move |conn| {
            let draft = draft.clone();
            Box::pin(async move { store::drafts::replace(conn, &draft, condition).await })
        })
        .await?;
    answer(row)
}

/// The draft of a plan.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetPlanDraftRequest>,
) -> Result<Response<v1::PlanDraft>, Status> {
    let plan = plan(&request.get_ref().plan)?;
    let row = service
        .db
        .read("haccp.get_plan_draft", |conn| Box::pin(store::drafts::find(conn, plan)))
        .await?;
    answer(row.ok_or_else(|| Failure::not_found("draft"))?)
}

/// Throws a draft away.
pub async fn delete(
    service: &Haccp,
    request: Request<v1::DeletePlanDraftRequest>,
) -> Result<Response<v1::DeletePlanDraftResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let plan = plan(&request.get_ref().plan)?;
    let keyed = Keyed::of("haccp", &call, request.get_ref())?;
    let response = service
        .db
        .write("haccp.delete_plan_draft", move |conn| {
            let keyed = keyed.clone();
            Box::pin(async move {
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let was_there = store::drafts::delete(conn, plan).await?;
                let response = v1::DeletePlanDraftResponse { was_there };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

fn plan(text: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let plan = platform::shape::id(text, "plan", &mut faults);
    Ok(faults.into_result(plan)?)
}

fn answer(row: DraftRow) -> Result<Response<v1::PlanDraft>, Status> {
    let tag = MetadataValue::try_from(etag(row.version)).map_err(Failure::internal)?;
    let mut response = Response::new(shape::draft_out(row)?);
    response.metadata_mut().insert("etag", tag);
    Ok(response)
}
