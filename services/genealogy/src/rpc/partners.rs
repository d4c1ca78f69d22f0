//! Suppliers and customers.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::{Genealogy, shape, store};

/// Adds a partner or a version of one.
pub async fn put(
    service: &Genealogy,
    request: Request<v1::PutPartnerRequest>,
) -> Result<Response<v1::Partner>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::partner_in(&call, &service.house.plant, request.into_inner())?);
    let row = service
        .db
        .write("genealogy.put_partner", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::partners::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::partner_out(row)))
}

/// One partner as it stands now.
pub async fn get(
    service: &Genealogy,
    request: Request<v1::GetPartnerRequest>,
) -> Result<Response<v1::Partner>, Status> {
    let mut faults = Faults::new();
    let id = platform::shape::id(&request.get_ref().partner, "partner", &mut faults);
    let id = faults.into_result(id).map_err(Failure::from)?;
    let row = service
        .db
        .read("genealogy.get_partner", |conn| Box::pin(store::partners::last(conn, id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("partner"))?;
    Ok(Response::new(shape::partner_out(row)))
}

/// Partners in the order in which they were made.
pub async fn list(
    service: &Genealogy,
    request: Request<v1::ListPartnersRequest>,
) -> Result<Response<v1::ListPartnersResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("genealogy.list_partners", |conn| {
            Box::pin(async move { store::partners::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let partners = rows.into_iter().map(shape::partner_out).collect();
    Ok(Response::new(v1::ListPartnersResponse { partners, next_page_token }))
}
