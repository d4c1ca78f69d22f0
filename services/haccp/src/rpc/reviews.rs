//! The signed review before shipment.
//! It never covers what the gate does not let through, but for named cases that it leaves out.

use std::collections::BTreeSet;
use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::shape::{id, optional_id};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use super::clearance;
use crate::Haccp;
use crate::shape::clearance::Cleared;
use crate::shape::reviews::{self as shape, NewReview, review_in, review_out};
use crate::store::reviews::{self as store, REVIEW};
use crate::store::rows::{self, Record};

/// Signs that the records of lots were reviewed.
pub async fn sign(
    service: &Haccp,
    request: Request<v1::SignReviewRequest>,
) -> Result<Response<v1::Review>, Status> {
    let call = Call::of(request.extensions())?;
    let new = review_in(&call, &service.house.plant, request.get_ref())?;
    let stamp = new.stamp.clone();
    let is_known = service
        .db
        .read("haccp.known_review", |conn| {
            Box::pin(async move { rows::known(conn, REVIEW, &stamp).await })
        })
        .await?;
    if !is_known {
        // Before anything is looked up: who cannot sign learns nothing of the lots.
        service.house.tickets.redeem(&call, &new.stamp.subject)?;
        write(service, call, new.clone()).await?;
    }
    shown(service, new.stamp.id).await
}

async fn write(service: &Haccp, call: Call, new: NewReview) -> Result<(), Failure> {
    let lots: Vec<Uuid> = new.lots.iter().map(|(lot, _)| *lot).collect();
    let cleared = clearance::for_review(service, &lots).await?;
    let recorded = recorded(service, &new, &cleared).await?;
    let covered = shape::covered(&new, &cleared, &recorded)?;
    let tickets = service.house.tickets.clone();
    let work = Arc::new((call, new, covered));
    service
        .db
        .write("haccp.sign_review", move |conn| {
            let (work, tickets) = (work.clone(), tickets.clone());
            Box::pin(async move {
                let (call, new, covered) = &*work;
                if rows::known(conn, REVIEW, &new.stamp).await? {
                    return Ok(());
                }
                let ticket = tickets.redeem(call, &new.stamp.subject)?;
                let (columns, entry) = shape::record(new, covered, &ticket);
                let record = Record {
                    table: REVIEW,
                    form: "haccp.review/1",
                    stamp: new.stamp.clone(),
                    moments: None,
                    columns,
                    entry,
                };
                rows::insert(conn, &record).await?;
                store::cover(conn, new.stamp.id, covered).await
            })
        })
        .await
}

/// The lots of which the reviewer recorded something, in their closures.
async fn recorded(
    service: &Haccp,
    new: &NewReview,
    cleared: &Cleared,
) -> Result<BTreeSet<Uuid>, Failure> {
    let closures: Vec<_> = (0..cleared.closure.ships.len())
        .map(|ship| (ship, cleared.closure.of_ship(ship)))
        .collect();
    let person = new.stamp.entered_by.clone();
    let found = service
        .db
        .read("haccp.reviewer_recorded", |conn| {
            Box::pin(async move { store::recorded_by(conn, &person, &closures).await })
        })
        .await?;
    Ok(found.into_iter().map(|ship| cleared.closure.ship_lots[ship]).collect())
}

/// One review.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetReviewRequest>,
) -> Result<Response<v1::Review>, Status> {
    let mut faults = Faults::new();
    let review = id(&request.get_ref().review, "review", &mut faults);
    shown(service, faults.into_result(review).map_err(Failure::from)?).await
}

/// Reviews, the newest first.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListReviewsRequest>,
) -> Result<Response<v1::ListReviewsResponse>, Status> {
    let request = request.into_inner();
    let mut faults = Faults::new();
    let lot = optional_id(&request.lot, "lot", &mut faults);
    let lot = faults.into_result(Some(lot)).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("haccp.list_reviews", |conn| {
            Box::pin(async move { store::list(conn, lot, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |(row, _)| row.id.to_string());
    let reviews = rows.into_iter().map(|(row, covered)| review_out(row, covered)).collect();
    Ok(Response::new(v1::ListReviewsResponse { reviews, next_page_token }))
}

async fn shown(service: &Haccp, review: Uuid) -> Result<Response<v1::Review>, Status> {
    let found =
        service.db.read("haccp.get_review", |conn| Box::pin(store::find(conn, review))).await?;
    let (row, covered) = found.ok_or_else(|| Failure::not_found("review"))?;
    Ok(Response::new(review_out(row, covered)))
}
