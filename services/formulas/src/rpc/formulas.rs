//! Formulas: approved with a signature, then in force.
//! It never changes an approved version, and approves none above a limit.

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::records::Stamp;
use platform::shape::{id, record_id};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::judge::formula::judge;
use crate::shape::formulas::{Approval, formula_out, summary_out};
use crate::shape::one_id;
use crate::{Formulas, shape, store};

/// Approves a draft.
pub async fn approve(
    service: &Formulas,
    request: Request<v1::ApproveFormulaRequest>,
) -> Result<Response<v1::Formula>, Status> {
    let call = Call::of(request.extensions())?;
    let approval = approval(service, &call, request.get_ref())?;
    let (tickets, of) = (service.house.tickets.clone(), approval.formula);
    let (row, in_force) = service
        .db
        .write("formulas.approve_formula", move |conn| {
            let (call, approval, tickets) = (call.clone(), approval.clone(), tickets.clone());
            Box::pin(async move {
                if let Some(known) = store::formulas::approved(conn, &approval.stamp).await? {
                    let number = store::formulas::number_in_force(conn, of).await?;
                    return Ok((known.clone(), number == Some(known.version)));
                }
                let ticket = tickets.redeem(&call, &approval.stamp.subject)?;
                let draft = store::drafts::find(conn, approval.formula).await?;
                let draft = approval.of_draft(draft)?;
                let recipe = shape::drafts::recipe(&draft.content)?;
                let rows = store::book::read(conn, &shape::drafts::wanted(&recipe)).await?;
                let judged = judge(&recipe, &shape::book::book(rows)?, call.received_at);
                let approved = approval.by(recipe, draft, judged)?;
                Ok((store::formulas::approve(conn, &approved, &ticket).await?, true))
            })
        })
        .await?;
    Ok(Response::new(formula_out(row, in_force)?))
}

fn approval(
    service: &Formulas,
    call: &Call,
    request: &v1::ApproveFormulaRequest,
) -> Result<Approval, Failure> {
    let mut faults = Faults::new();
    let record = record_id(&request.id, "id", &mut faults);
    let formula = id(&request.formula, "formula", &mut faults);
    let (record, formula) = faults.into_result(record.zip(formula))?;
    let subject = format!("formula:{formula}");
    let stamp = Stamp::of(call, &service.house.plant, record, subject, request)?;
    let draft_version = request.draft_version.unwrap_or_default();
    Ok(Approval { formula, draft_version, accept_warnings: request.accept_warnings, stamp })
}

/// The version in force, or the one that is named.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetFormulaRequest>,
) -> Result<Response<v1::Formula>, Status> {
    let formula = one_id(&request.get_ref().formula, "formula")?;
    let named = request.get_ref().version;
    let (row, number) = service
        .db
        .read("formulas.get_formula", |conn| {
            Box::pin(async move {
                let number = store::formulas::number_in_force(conn, formula).await?;
                let wanted = named.or(number).unwrap_or_default();
                Ok((store::formulas::version(conn, (formula, wanted)).await?, number))
            })
        })
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("formula in force"))?;
    let in_force = number == Some(row.version);
    Ok(Response::new(formula_out(row, in_force)?))
}

/// The formulas in force.
pub async fn list(
    service: &Formulas,
    request: Request<v1::ListFormulasRequest>,
) -> Result<Response<v1::ListFormulasResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let (asked, search) = (page.clone(), request.search);
    let mut rows = service
        .db
        .read("formulas.list_formulas", |conn| {
            Box::pin(async move { store::formulas::list(conn, &asked, &search).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |(row, _)| row.id.to_string());
    let formulas = rows.into_iter().map(summary_out).collect::<Result<_, Failure>>()?;
    Ok(Response::new(v1::ListFormulasResponse { formulas, next_page_token }))
}
