//! Batch sheets.
//! It never weighs: a sheet says what the scales should show.

use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use wire::v1;

use crate::judge::sheet::lines;
use crate::shape::{one_id, sheets as shape_sheets};
use crate::{Formulas, shape, store};

/// Scales the version in force to a meat block.
pub async fn make(
    service: &Formulas,
    request: Request<v1::MakeBatchSheetRequest>,
) -> Result<Response<v1::BatchSheet>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape_sheets::asked_in(&call, &service.house.plant, request.get_ref())?;
    let row = service
        .db
        .write("formulas.make_batch_sheet", move |conn| {
            let (call, asked) = (call.clone(), asked.clone());
            Box::pin(async move {
                if let Some(known) = store::sheets::known(conn, &asked.stamp).await? {
                    return Ok(known);
                }
                let number = store::formulas::number_in_force(conn, asked.formula.0).await?;
                let formula = store::formulas::version(conn, asked.formula).await?;
                let formula = formula.filter(|row| number == Some(row.version));
                let formula = formula.ok_or_else(|| shape_sheets::not_in_force(asked.formula))?;
                let recipe = shape::drafts::recipe(&formula.content)?;
                let rows = store::book::read(conn, &shape::drafts::wanted(&recipe)).await?;
                let book = shape::book::book(rows)?;
                let lines = lines(&recipe, &book, (&asked.block, call.received_at));
                let lines = lines.ok_or_else(not_scaled)?;
                let sheet = shape_sheets::sheet(&asked, &formula, &lines, &book)?;
                store::sheets::record(conn, &sheet).await
            })
        })
        .await?;
    Ok(Response::new(shape_sheets::sheet_out(row)?))
}

fn not_scaled() -> Failure {
    Failure::refused(vec![Reason {
        code: "CANNOT_BE_SCALED",
        subject: "formula".into(),
        message: "It has no raw meat, or names a material or product that is not known.".into(),
        who: "developer".into(),
        way_on: "Approve a version of the formula that names them.".into(),
    }])
}

/// One batch sheet.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetBatchSheetRequest>,
) -> Result<Response<v1::BatchSheet>, Status> {
    let sheet = one_id(&request.get_ref().sheet, "sheet")?;
    let row = service
        .db
        .read("formulas.get_batch_sheet", |conn| Box::pin(store::sheets::find(conn, sheet)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("batch sheet"))?;
    Ok(Response::new(shape_sheets::sheet_out(row)?))
}
