//! Batch sheets.
//! It never weighs: a sheet says what the scales should show, and from which lots.

use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1;

use super::genealogy;
use crate::book::{Book, Recipe};
use crate::judge::on_hand::Shelf;
use crate::judge::sheet::lines;
use crate::shape::on_hand::{AWAY, words};
use crate::shape::sheets::suggest;
use crate::shape::{one_id, sheets as shape_sheets};
use crate::store::book::Wanted;
use crate::store::kits::KitRow;
use crate::store::sheets::SheetRow;
use crate::{Formulas, shape, store};

/// Scales the version in force to a meat block.
pub async fn make(
    service: &Formulas,
    request: Request<v1::MakeBatchSheetRequest>,
) -> Result<Response<v1::BatchSheet>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape_sheets::asked_in(&call, &service.house.plant, request.get_ref())?;
    let at = call.received_at;
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
    Ok(Response::new(with_lots(service, row, at).await?))
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
    let call = Call::of(request.extensions())?;
    let sheet = one_id(&request.get_ref().sheet, "sheet")?;
    let row = service
        .db
        .read("formulas.get_batch_sheet", |conn| Box::pin(store::sheets::find(conn, sheet)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("batch sheet"))?;
    Ok(Response::new(with_lots(service, row, call.received_at).await?))
}

/// The sheet with the lots and kits that are on hand now. They are no part of its record, and where
/// genealogy is away the sheet comes without them and says so.
async fn with_lots(
    service: &Formulas,
    row: SheetRow,
    at: Timestamp,
) -> Result<v1::BatchSheet, Failure> {
    let sheet = shape_sheets::sheet_out(&row)?;
    let of = (row.formula, row.formula_version);
    let (recipe, book, kits) = known(service, of).await?;
    let kits = suggest::kits_for(&sheet, &recipe, &kits)?;
    let materials = recipe.lines.iter().filter_map(|line| book.materials.get(&line.material));
    let lots = kits.iter().map(|kit| kit.lot.to_string()).collect();
    let shelf = genealogy::on_hand(service, words(materials), lots).await;
    if matches!(shelf, Shelf::Away) {
        return Ok(v1::BatchSheet { no_lots_because: AWAY.to_owned(), ..sheet });
    }
    // What is stated of those lots themselves counts for them.
    let mut lots: Vec<_> = shelf.lots().iter().map(|lot| lot.lot).collect();
    lots.extend(kits.iter().flat_map(suggest::KitMade::lots));
    let wanted = Wanted { lots, ..shape::drafts::wanted(&recipe) };
    let book = service.book("formulas.sheet_lots", wanted).await?;
    Ok(suggest::suggested(sheet, (&recipe, &book), (&shelf, &kits), at))
}

/// The formula of a sheet, what is known of all that it names, and its newest kits that are not
/// used.
async fn known(
    service: &Formulas,
    of: (Uuid, i32),
) -> Result<(Recipe, Book, Vec<KitRow>), Failure> {
    service
        .db
        .read("formulas.sheet_known", |conn| {
            Box::pin(async move {
                let formula = store::formulas::version(conn, of).await?;
                let formula = formula.ok_or_else(|| Failure::not_found("formula"))?;
                let recipe = shape::drafts::recipe(&formula.content)?;
                let rows = store::book::read(conn, &shape::drafts::wanted(&recipe)).await?;
                let kits = store::kits::unused(conn, of).await?;
                Ok((recipe, shape::book::book(rows)?, kits))
            })
        })
        .await
}
