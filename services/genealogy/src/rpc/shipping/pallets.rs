//! Pallets.
//! It never says whether one may leave.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::shipping::{listed, pallets as shape};
use crate::{Genealogy, store};

/// Builds a pallet.
pub async fn build(
    service: &Genealogy,
    request: Request<v1::BuildPalletRequest>,
) -> Result<Response<v1::Pallet>, Status> {
    let call = Call::of(request.extensions())?;
    let asked = shape::pallet_in(&call, &service.house.plant, request.get_ref())?;
    let (stamp, place) = (asked.stamp.clone(), asked.place);
    let (known, place) = service
        .db
        .read("genealogy.before_pallet", |conn| {
            Box::pin(async move {
                let known = store::shipping::pallets::known(conn, &stamp).await?;
                Ok((known, store::places::last(conn, place).await?))
            })
        })
        .await?;
    if let Some((row, cases)) = known {
        return Ok(Response::new(shape::pallet_out(row, cases)));
    }
    let new = Arc::new(asked.content(place)?);
    let (row, cases) = service
        .db
        .write("genealogy.build_pallet", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::shipping::pallets::build(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::pallet_out(row, cases)))
}

/// Puts cases on a pallet or takes cases off.
pub async fn change(
    service: &Genealogy,
    request: Request<v1::ChangePalletRequest>,
) -> Result<Response<v1::Pallet>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::change_in(&call, &service.house.plant, request.get_ref())?;
    let new = Arc::new(new);
    let (row, cases) = service
        .db
        .write("genealogy.change_pallet", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::shipping::pallets::change(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::pallet_out(row, cases)))
}

/// One pallet as it stands now.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetPalletRequest>,
) -> Result<Response<v1::Pallet>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().pallet, "pallet", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let found = service
        .db
        .read("genealogy.get_pallet", |conn| Box::pin(store::shipping::pallets::find(conn, id)))
        .await?;
    let (row, cases) = found.ok_or_else(|| Failure::not_found("pallet"))?;
    Ok(Response::new(shape::pallet_out(row, cases)))
}

/// Pallets, the newest first.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListPalletsRequest>,
) -> Result<Response<v1::ListPalletsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let (asked, label, is_here) = (page.clone(), request.label, request.here);
    let rows = service
        .db
        .read("genealogy.list_pallets", |conn| {
            Box::pin(async move {
                store::shipping::listed::pallets(conn, (&label, is_here), &asked).await
            })
        })
        .await?;
    let mut pallets = listed::pallets_out(rows);
    let next_page_token = page.cut(&mut pallets, |pallet| pallet.pallet.clone());
    Ok(Response::new(v1::ListPalletsResponse { pallets, next_page_token }))
}
