//! Materials and their specifications.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::{materials as shape, one_id};
use crate::{Formulas, store};

/// Adds a material or a version of one.
pub async fn put(
    service: &Formulas,
    request: Request<v1::PutMaterialRequest>,
) -> Result<Response<v1::Material>, Status> {
    let call = Call::of(request.extensions())?;
    let new = Arc::new(shape::material_in(&call, &service.house.plant, request.into_inner())?);
    let row = service
        .db
        .write("formulas.put_material", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::materials::record(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::material_out(row, None)?))
}

/// One material as it stands now.
pub async fn get(
    service: &Formulas,
    request: Request<v1::GetMaterialRequest>,
) -> Result<Response<v1::Material>, Status> {
    let call = Call::of(request.extensions())?;
    let id = one_id(&request.get_ref().material, "material")?;
    let (row, specifications) = service
        .db
        .read("formulas.get_material", |conn| {
            Box::pin(async move {
                let row = store::materials::last(conn, id).await?;
                let row = row.ok_or_else(|| Failure::not_found("material"))?;
                Ok((row, store::materials::specifications_of(conn, &[id], &[]).await?))
            })
        })
        .await?;
    let now = call.received_at;
    let in_force = specifications.into_iter().filter(|one| one.in_force_from.to_jiff() <= now);
    let newest = in_force.max_by_key(|one| (one.in_force_from.to_jiff(), one.version));
    Ok(Response::new(shape::material_out(row, newest)?))
}

/// Materials in the order in which they were made.
pub async fn list(
    service: &Formulas,
    request: Request<v1::ListMaterialsRequest>,
) -> Result<Response<v1::ListMaterialsResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let (asked, search) = (page.clone(), request.search);
    let mut rows = service
        .db
        .read("formulas.list_materials", |conn| {
            Box::pin(async move { store::materials::list(conn, &asked, &search).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let materials = rows.into_iter().map(|row| shape::material_out(row, None));
    let materials = materials.collect::<Result<_, Failure>>()?;
    Ok(Response::new(v1::ListMaterialsResponse { materials, next_page_token }))
}

/// Adds a specification.
pub async fn specify(
    service: &Formulas,
    request: Request<v1::AddSpecificationRequest>,
) -> Result<Response<v1::Specification>, Status> {
    let call = Call::of(request.extensions())?;
    let new = shape::specification_in(&call, &service.house.plant, request.get_ref())?;
    let row = service
        .db
        .write("formulas.add_specification", move |conn| {
            let new = new.clone();
            Box::pin(async move { store::materials::specify(conn, &new).await })
        })
        .await?;
    Ok(Response::new(shape::specification_out(row)?))
}

/// Every specification of a material.
pub async fn specifications(
    service: &Formulas,
    request: Request<v1::ListSpecificationsRequest>,
) -> Result<Response<v1::ListSpecificationsResponse>, Status> {
    let request = request.into_inner();
    let id = one_id(&request.material, "material")?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("formulas.list_specifications", |conn| {
            Box::pin(async move { store::materials::specifications(conn, id, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.version.to_string());
    let specifications = rows.into_iter().map(shape::specification_out);
    let specifications = specifications.collect::<Result<_, Failure>>()?;
    Ok(Response::new(v1::ListSpecificationsResponse { specifications, next_page_token }))
}
