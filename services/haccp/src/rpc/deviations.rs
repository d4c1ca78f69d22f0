//! Deviations: opened by readings, closed by QA with all four parts and a signature.
//! It never frees a lot by itself: genealogy ends the hold when the disposition frees it.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::pages::Page;
use platform::shape::id;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::internal::v1::EndHoldForDeviationRequest;
use wire::v1;

use crate::shape::deviations::{Closing, check_disposition, closing_in, deviation_out};
use crate::store::deviations::{Wanted, Whole};
use crate::{Haccp, store};

/// The method by which genealogy is told that a deviation's lots are free.
const END_HOLD: &str = "/hankbook.internal.v1.GenealogyInternal/EndHoldForDeviation";
/// The one disposition that frees a lot as it is.
const FREES: &str = "release_with_support";

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
    faults.into_result(Some(())).map_err(Failure::from)?;
    let (asked, wanted) = (page.clone(), Wanted { open: request.open, lot });
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
                let ticket = tickets.redeem(&call, &closing.stamp.subject)?;
                store::deviations::close(conn, &closing, &ticket).await?;
                if closing.disposition == FREES {
                    let message = EndHoldForDeviationRequest {
                        deviation: closing.deviation.to_string(),
                        signed_by_name: ticket.name,
                        reason: closing.disposition_text.chars().take(300).collect(),
                    };
                    outbox.put(conn, &closing.stamp.subject, END_HOLD, &message).await?;
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
