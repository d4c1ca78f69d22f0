//! Kits: what each holds, and for what batch.
//! It never makes the lot: genealogy does.

use std::sync::Arc;

use jiff::Timestamp;
use platform::caller::Call;
use platform::error::{Failure, Reason};
use platform::records::Stamp;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::book::Book;
use crate::judge::kit::judge;
use crate::shape::kits::{NewKit, kit_in, kit_out};
use crate::shape::one_id;
use crate::store::kits::Kit;
use crate::{Formulas, shape, store};

/// Records a kit.
pub async fn record(
    service: &Formulas,
    request: Request<v1::RecordKitRequest>,
) -> Result<Response<v1::Kit>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(kit_in(&call, &service.house.plant, request.get_ref())?);
    if let Some(known) = known(service, &new.stamp).await? {
        return Ok(Response::new(kit_out(known)?));
    }
    let reasons = refusals(service, &new, call.received_at).await?;
    if !reasons.is_empty() {
        return Err(Failure::refused(reasons).into());
    }
    let row = service
        .db
        .write("formulas.record_kit", move |conn| {
            let new = new.clone();
            Box::pin(async move {
                match store::kits::known(conn, &new.stamp).await? {
                    Some(known) => Ok(known),
                    None => store::kits::record(conn, &new).await,
                }
            })
        })
        .await?;
    Ok(Response::new(kit_out(row)?))
}

async fn known(service: &Formulas, stamp: &Stamp) -> Result<Option<Kit>, Failure> {
    let stamp = stamp.clone();
    let read = service.db.read("formulas.known_kit", |conn| {
        Box::pin(async move { store::kits::known(conn, &stamp).await })
    });
    read.await
}

async fn refusals(
    service: &Formulas,
    new: &Arc<NewKit>,
    at: Timestamp,
) -> Result<Vec<Reason>, Failure> {
    let asked = new.clone();
    let (number, recipe, book) = service
        .db
        .read("formulas.check_kit", |conn| {
            Box::pin(async move {
                let number = store::formulas::number_in_force(conn, asked.formula.0).await?;
                let formula = store::formulas::version(conn, asked.formula).await?;
                let formula = formula.ok_or_else(|| shape::sheets::not_in_force(asked.formula))?;
                let recipe = shape::drafts::recipe(&formula.content)?;
                let mut wanted = shape::drafts::wanted(&recipe);
                for held in &asked.contents {
                    shape::covers::name(&held.material, &mut wanted);
                    wanted.lots.extend(held.lot);
                }
                let book: Book = shape::book::book(store::book::read(conn, &wanted).await?)?;
                Ok((number, recipe, book))
            })
        })
        .await?;
    if number != Some(new.formula.1) {
        return Err(shape::sheets::not_in_force(new.formula));
    }
    Ok(judge((&recipe, &book), (&new.code, &new.block), &new.held(&book), at))
}

/// A kit by its lot.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetKitRequest>,
) -> Result<Response<v1::Kit>, Status> {
    let lot = one_id(&request.get_ref().lot, "lot")?;
    let kit = service
        .db
        .read("formulas.get_kit", |conn| {
            Box::pin(async move { Ok(store::kits::of_lots(conn, &[lot]).await?.pop()) })
        })
        .await?;
    Ok(Response::new(kit_out(kit.ok_or_else(|| Failure::not_found("kit"))?)?))
}
