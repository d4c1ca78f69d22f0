//! Deviations: opened by what was found or by hand, closed by QA with four parts and a signature.
//! It never frees a lot by itself: genealogy ends the hold when the disposition frees it.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::pages::Page;
use platform::shape::{id, optional_instant};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use crate::plans::not_in_force;
use crate::shape::closings::{Closing, check_disposition, check_wrong, closing_in};
use crate::shape::deviations::{by_hand_in, deviation_out, opened_by_hand};
use crate::store::deviations::{Wanted, Whole};
use crate::{Haccp, store};

/// One deviation.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetDeviationRequest>,
) -> Result<Response<v1::Deviation>, Status> {
    let mut faults = Faults::new();
    let deviation = id(&request.get_ref().deviation, "deviation", &mut faults);
    let deviation = faults.into_result(deviation).map_err(Failure::from)?;
    let whole = whole(service, deviation).await?;
    Ok(Response::new(shown(service, whole).await?))
}

async fn whole(service: &Haccp, id: Uuid) -> Result<Whole, Failure> {
    let found = service
        .db
        .read("haccp.get_deviation", |conn| Box::pin(store::deviations::find(conn, id)))
        .await?;
    found.ok_or_else(|| Failure::not_found("deviation"))
}

async fn shown(service: &Haccp, whole: Whole) -> Result<v1::Deviation, Failure> {
    let plan = service.plan(whole.opened.plan, whole.opened.plan_version).await?;
    Ok(deviation_out(whole, &plan))
}

/// Deviations in the order in which they opened, those of one lot when a lot is named.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListDeviationsRequest>,
) -> Result<Response<v1::ListDeviationsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let mut faults = Faults::new();
    let lot = (!request.lot.is_empty()).then(|| id(&request.lot, "lot", &mut faults)).flatten();
    let since = &request.opened_since;
    let opened_since = optional_instant(since, "opened_since", &mut faults);
    faults.into_result(Some(())).map_err(Failure::from)?;
    let (asked, wanted) = (page.clone(), Wanted { open: request.open, lot, opened_since });
    let mut rows = service
        .db
        .read("haccp.list_deviations", |conn| {
            Box::pin(async move { store::deviations::list(conn, &wanted, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.opened.id.to_string());
    let mut deviations = Vec::with_capacity(rows.len());
    for whole in rows {
        deviations.push(shown(service, whole).await?);
    }
    Ok(Response::new(v1::ListDeviationsResponse { deviations, next_page_token }))
}

/// Opens a deviation by hand.
pub async fn open(
    service: &Haccp,
    request: Request<v1::OpenDeviationRequest>,
) -> Result<Response<v1::Deviation>, Status> {
    let call = Call::of(request.extensions())?;
    let new = by_hand_in(&call, &service.house.plant, request.get_ref())?;
    let plan = service.plan(new.plan.0, new.plan.1).await?;
    let opening = opened_by_hand(&new, &plan)?;
    let (id, outbox) = (opening.row.id, service.outbox.clone());
    let work = Arc::new((new, opening));
    service
        .db
        .write("haccp.open_deviation", move |conn| {
            let (work, outbox) = (work.clone(), outbox.clone());
            Box::pin(async move {
                let (new, opening) = &*work;
                if store::rows::known(conn, store::deviations::DEVIATION, &new.stamp).await? {
                    return Ok(());
                }
                let plan = (new.plan.0, new.plan.1);
                if !store::plans::may_use(conn, plan, &new.lots).await? {
                    return Err(not_in_force(plan.0, plan.1));
                }
                store::deviations::open(conn, &outbox, opening).await
            })
        })
        .await
        .map_err(|failure| lots_fault(failure, "deviation_lot_lot_fkey"))?;
    service.outbox.wake();
    let whole = whole(service, id).await?;
    Ok(Response::new(deviation_out(whole, &plan)))
}

/// A foreign key that does not hold means a lot that nobody made.
pub fn lots_fault(failure: Failure, constraint: &str) -> Failure {
    match failure.names_constraint(constraint) {
        true => Failure::fault("lots", "", "each must be a lot of the plant"),
        false => failure,
    }
}

/// Closes a deviation, signed.
pub async fn close(
    service: &Haccp,
    request: Request<v1::CloseDeviationRequest>,
) -> Result<Response<v1::Deviation>, Status> {
    let call = Call::of(request.extensions())?;
    let closing = closing_in(&call, &service.house.plant, request.get_ref())?;
    let standing = whole(service, closing.deviation).await?;
    let plan = service.plan(standing.opened.plan, standing.opened.plan_version).await?;
    if let Some(check) = plan.check(&standing.opened.check_code) {
        check_disposition(&closing, check)?;
    }
    write(service, call, closing.clone(), standing.end.is_some()).await?;
    let closed = whole(service, closing.deviation).await?;
    Ok(Response::new(deviation_out(closed, &plan)))
}

async fn write(
    service: &Haccp,
    call: Call,
    closing: Closing,
    is_closed: bool,
) -> Result<(), Failure> {
    let (tickets, outbox) = (service.house.tickets.clone(), service.outbox.clone());
    service
        .db
        .write("haccp.close_deviation", move |conn| {
            let (call, closing) = (call.clone(), closing.clone());
            let (tickets, outbox) = (tickets.clone(), outbox.clone());
            Box::pin(async move {
                if store::deviations::closed(conn, &closing).await?.is_some() {
                    return Ok(());
                }
                if is_closed {
                    return Err(already_closed(closing.deviation));
                }
                if closing.is_wrong() {
                    let wrong = store::deviations::wrong(conn, closing.deviation).await?;
                    check_wrong(&closing, &wrong)?;
                }
                let ticket = tickets.redeem(&call, &closing.stamp.subject)?;
                store::deviations::close(conn, &closing, &ticket).await?;
                if let Some(message) = closing.end_hold(&ticket.name) {
                    store::holds::end(conn, &outbox, &message).await?;
                }
                Ok(())
            })
        })
        .await?;
    service.outbox.wake();
    Ok(())
}

fn already_closed(deviation: Uuid) -> Failure {
    Failure::refused(vec![Reason {
        code: "DEVIATION_CLOSED",
        subject: format!("deviation {deviation}"),
        message: "It has been closed before.".into(),
        who: "QA".into(),
        way_on: "Read it: its corrective action stands in the record.".into(),
    }])
}
