//! Drafts of formulas: written until they are good, checked as they are typed.
//! It never puts a formula in force.

use platform::caller::Call;
use platform::condition::{Condition, etag};
use platform::error::Failure;
use platform::idempotency::Keyed;
use tonic::metadata::MetadataValue;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::judge::formula::judge;
use crate::shape::one_id;
use crate::store::drafts::DraftRow;
use crate::{Formulas, shape, store};

/// Replaces a draft whole.
pub async fn put(
    service: &Formulas,
    request: Request<v1::PutFormulaDraftRequest>,
) -> Result<Response<v1::FormulaDraft>, Status> {
    let call = Call::of(request.extensions())?;
    let condition = Condition::of(&call)?;
    let draft = shape::drafts::draft_in(&call, request.into_inner())?;
    let row = service
        .db
        .write("formulas.put_formula_draft", move |conn| {
            let draft = draft.clone();
            Box::pin(async move { store::drafts::replace(conn, &draft, condition).await })
        })
        .await?;
    answer(service, &call, row).await
}

/// The draft of a formula.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetFormulaDraftRequest>,
) -> Result<Response<v1::FormulaDraft>, Status> {
    let call = Call::of(request.extensions())?;
    let formula = one_id(&request.get_ref().formula, "formula")?;
    let row = service
        .db
        .read("formulas.get_formula_draft", |conn| Box::pin(store::drafts::find(conn, formula)))
        .await?;
    answer(service, &call, row.ok_or_else(|| Failure::not_found("draft"))?).await
}

/// Throws a draft away.
pub async fn delete(
    service: &Formulas,
    request: Request<v1::DeleteFormulaDraftRequest>,
) -> Result<Response<v1::DeleteFormulaDraftResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let formula = one_id(&request.get_ref().formula, "formula")?;
    let keyed = Keyed::of("formulas", &call, request.get_ref())?;
    let response = service
        .db
        .write("formulas.delete_formula_draft", move |conn| {
            let keyed = keyed.clone();
            Box::pin(async move {
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let was_there = store::drafts::delete(conn, formula).await?;
                let response = v1::DeleteFormulaDraftResponse { was_there };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    Ok(Response::new(response))
}

/// The draft with its checks against what is in force now.
async fn answer(
    service: &Formulas,
    call: &Call,
    row: DraftRow,
) -> Result<Response<v1::FormulaDraft>, Status> {
    let recipe = shape::drafts::recipe(&row.content)?;
    let book = service.book("formulas.check_draft", shape::drafts::wanted(&recipe)).await?;
    let judged = judge(&recipe, &book, call.received_at);
    let tag = MetadataValue::try_from(etag(row.version)).map_err(Failure::internal)?;
    let mut response = Response::new(shape::drafts::draft_out(row, &judged)?);
    response.metadata_mut().insert("etag", tag);
    Ok(response)
}
