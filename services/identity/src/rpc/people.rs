//! People of the plant.
//! It never removes one: a version that is not in use stands beside it.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::Act;
use crate::store::credentials::CredentialRow;
use crate::{Identity, shape, store};

/// Adds a person or a version of one, with a one-time password where one was sent.
pub async fn put(
    service: &Identity,
    request: Request<v1::PutPersonRequest>,
) -> Result<Response<v1::Person>, Status> {
    let call = Call::of(request.extensions())?;
    let request = request.into_inner();
    let new = Arc::new(shape::person_in(&call, &service.house.plant, &request)?);
    let credential = match request.one_time_password.is_empty() {
        true => None,
        false => {
            let verifier = service.hasher.verifier(request.one_time_password).await?;
            Some(CredentialRow { person: new.of, verifier, must_change: true })
        }
    };
    let act = Act::of(&call, &service.house.plant);
    let row = service
        .db
        .write("identity.put_person", move |conn| {
            let (new, act, credential) = (new.clone(), act.clone(), credential.clone());
            Box::pin(async move {
                let recorded = store::people::record(conn, &new).await?;
                if recorded.is_new {
                    let of = (new.of, new.content.in_use);
                    store::sign_in::follow(conn, of, credential, &act).await?;
                }
                Ok(recorded.row)
            })
        })
        .await?;
    service.changed.notify_waiters();
    Ok(Response::new(shape::person_out(row)))
}

/// One person as they stand now.
pub async fn get(
    service: &Identity,
    request: Request<v1::GetPersonRequest>,
) -> Result<Response<v1::Person>, Status> {
    let call = Call::of(request.extensions())?;
    let id = match request.get_ref().person.as_str() {
        "me" => call.person()?.id,
        text => {
            let mut faults = Faults::new();
            let id = platform::shape::id(text, "person", &mut faults);
            faults.into_result(id).map_err(Failure::from)?
        }
    };
    let row = service
        .db
        .read("identity.get_person", |conn| Box::pin(store::people::last(conn, id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("person"))?;
    Ok(Response::new(shape::person_out(row)))
}

/// People in the order in which they were added.
pub async fn list(
    service: &Identity,
    request: Request<v1::ListPeopleRequest>,
) -> Result<Response<v1::ListPeopleResponse>, Status> {
    let request = request.into_inner();
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let mut rows = service
        .db
        .read("identity.list_people", |conn| {
            Box::pin(async move { store::people::list(conn, &asked).await })
        })
        .await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let people = rows.into_iter().map(shape::person_out).collect();
    Ok(Response::new(v1::ListPeopleResponse { people, next_page_token }))
}
