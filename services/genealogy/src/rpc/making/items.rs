//! What facts have broken, listed and answered.
//! It never ends a hold: that is signed for itself.

use std::sync::Arc;

use platform::caller::Call;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::making::items::{answer_in, item_out};
use crate::{Genealogy, store};

/// Items in the order in which they were recorded.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListLotItemsRequest>,
) -> Result<Response<v1::ListLotItemsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let (asked, answered) = (page.clone(), request.answered);
    let mut items = service
        .db
        .read("genealogy.list_lot_items", |conn| {
            Box::pin(async move { store::items::list(conn, answered, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut items, |item| item.row.id.to_string());
    let items = items.into_iter().map(item_out).collect();
    Ok(Response::new(v1::ListLotItemsResponse { items, next_page_token }))
}

/// Answers an item, signed.
pub async fn answer(
    service: &Genealogy,
    request: Request<v1::AnswerLotItemRequest>,
) -> Result<Response<v1::LotItem>, Status> {
    let call = Call::of(request.extensions())?;
    let new = answer_in(&call, &service.house.plant, request.get_ref())?;
    let of = Arc::new((call, new, service.house.tickets.clone()));
    let item = service
        .db
        .write("genealogy.answer_lot_item", move |conn| {
            let of = of.clone();
            Box::pin(async move {
                let (call, new, tickets) = &*of;
                // A repeated call is told by its record: its ticket may have expired since.
                if let Some(item) = store::items::known_answer(conn, new).await? {
                    return Ok(item);
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                store::items::answer(conn, new, &ticket).await
            })
        })
        .await?;
    Ok(Response::new(item_out(item)))
}
