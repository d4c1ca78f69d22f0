//! Plans: approved with a signature, then in force.
//! It never changes an approved version.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::records::Stamp;
use platform::shape::{id, record_id};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::plans::{Approval, plan_out};
use crate::{Haccp, store};

/// Approves a draft.
pub async fn approve(
    service: &Haccp,
    request: Request<v1::ApprovePlanRequest>,
) -> Result<Response<v1::Plan>, Status> {
    let call = Call::of(request.extensions())?;
    let approval = approval(service, &call, request.get_ref())?;
    let tickets = service.house.tickets.clone();
    let row = service
        .db
        .write("haccp.approve_plan", move |conn| {
            let (call, approval, tickets) = (call.clone(), approval.clone(), tickets.clone());
            Box::pin(async move {
                if let Some(known) = store::plans::approved(conn, &approval).await? {
                    return Ok(known);
                }
                let ticket = tickets.redeem(&call, &approval.stamp.subject)?;
                store::plans::approve(conn, &approval, &ticket).await
            })
        })
        .await?;
    Ok(Response::new(plan_out(row)?))
}

fn approval(
    service: &Haccp,
    call: &Call,
    request: &v1::ApprovePlanRequest,
) -> Result<Approval, Failure> {
    let mut faults = Faults::new();
    let record = record_id(&request.id, "id", &mut faults);
    let plan = id(&request.plan, "plan", &mut faults);
    let (record, plan) = faults.into_result(record.zip(plan))?;
    let subject = format!("plan:{plan}");
    let stamp = Stamp::of(call, &service.house.plant, record, subject, request)?;
    Ok(Approval { plan, draft_version: request.draft_version.unwrap_or_default(), stamp })
}

/// The version in force.
pub async fn get(
    service: &Haccp,
    request: Request<v1::GetPlanRequest>,
) -> Result<Response<v1::Plan>, Status> {
    let mut faults = Faults::new();
    let plan = id(&request.get_ref().plan, "plan", &mut faults);
    let plan = faults.into_result(plan).map_err(Failure::from)?;
    let row = service
        .db
        .read("haccp.get_plan", |conn| Box::pin(store::plans::in_force(conn, plan)))
        .await?;
    Ok(Response::new(plan_out(row.ok_or_else(|| Failure::not_found("plan in force"))?)?))
}

/// The plans in force.
pub async fn list(
    service: &Haccp,
    request: Request<v1::ListPlansRequest>,
) -> Result<Response<v1::ListPlansResponse>, Status> {
    let page = Page::of(request.get_ref().page_size, &request.get_ref().page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("haccp.list_plans", |conn| {
            Box::pin(async move { store::plans::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let plans = rows.into_iter().map(plan_out).collect::<Result<_, _>>()?;
    Ok(Response::new(v1::ListPlansResponse { plans, next_page_token }))
}
