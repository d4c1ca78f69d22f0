//! What somebody must look at, of the lots of a production day.
//! It never lists a lot of which nobody told haccp.

use std::collections::BTreeSet;

use domain::fault::Faults;
use jiff::Timestamp;
use jiff::civil::Date;
use platform::error::Failure;
use platform::pages::Page;
use platform::shape::date;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use super::clearance;
use crate::shape::open_items::items;
use crate::{Haccp, store};

/// The most lots of a page: so many closures are asked for at once.
const LOTS_MAX: i64 = 200;

/// The open items of a day. A page has so many lots, with all that is open of each.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListOpenItemsRequest>,
) -> Result<Response<v1::ListOpenItemsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let day = date(&request.day, "day", &mut faults);
    let day = faults.into_result(day).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let page = Page { size: page.size.min(LOTS_MAX), ..page };
    let asked = page.clone();
    let mut lots = service
        .db
        .read("haccp.lots_of_day", |conn| {
            Box::pin(async move { store::plans::bound_on(conn, day, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut lots, Uuid::to_string);
    if lots.is_empty() {
        return Ok(Response::new(v1::ListOpenItemsResponse::default()));
    }
    let items = of_lots(service, day, &lots).await?;
    Ok(Response::new(v1::ListOpenItemsResponse { items, next_page_token }))
}

/// The open items of those lots that were made on the day, which genealogy says.
async fn of_lots(service: &Haccp, day: Date, lots: &[Uuid]) -> Result<Vec<v1::OpenItem>, Failure> {
    let cleared = clearance::for_review(service, lots).await?;
    let made = |us: i64| Timestamp::from_microsecond(us).map(|at| service.house.plant.day_of(at));
    let asked: BTreeSet<Uuid> = lots.iter().copied().collect();
    let closure = cleared.closure.lots.iter();
    let of_day = closure.filter(|lot| made(lot.said.made_at_us).is_ok_and(|made| made == day));
    let of_day = of_day.map(|lot| lot.id).filter(|lot| asked.contains(lot)).collect();
    Ok(items(&cleared, &of_day))
}
