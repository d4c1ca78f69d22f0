//! Label items and their revisions.
//! It never removes one: a revision whose time is over stands beside the others.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::one_id;
use crate::{Formulas, shape, store};

/// Adds a label item or a record about one of its revisions.
pub async fn put(
    service: &Formulas,
    request: Request<v1::PutLabelRequest>,
) -> Result<Response<v1::Label>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::labels::label_in(&call, &service.house.plant, request.into_inner())?);
    let row = service
        .db
        .write("formulas.put_label", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::labels::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::labels::label_out(row)))
}

/// A label item with its revisions, as it stands now.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetLabelRequest>,
) -> Result<Response<v1::LabelItem>, Status> {
    let call = Call::of(request.extensions())?;
    let id = one_id(&request.get_ref().label, "label")?;
    let rows = service
        .db
        .read("formulas.get_label", |conn| {
            Box::pin(async move { store::labels::of_ids(conn, &[id]).await })
        })
        .await?;
    if rows.is_empty() {
        return Err(Failure::not_found("label").into());
    }
    Ok(Response::new(shape::labels::item_out(id, rows, call.received_at)))
}

/// Labels in the order in which they were made.
pub async fn list(
    service: &Formulas,
    request: Request<v1::ListLabelsRequest>,
) -> Result<Response<v1::ListLabelsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("formulas.list_labels", |conn| {
            Box::pin(async move { store::labels::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let labels = rows.into_iter().map(shape::labels::label_out).collect();
    Ok(Response::new(v1::ListLabelsResponse { labels, next_page_token }))
}
