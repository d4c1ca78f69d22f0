//! Trying and changing passwords.
//! It never tells a wrong name from a wrong password, by its answer or by the time it takes.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::idempotency::Keyed;
use tonic::{Request, Response, Status};
use wire::v1;

use crate::shape::Act;
use crate::store::credentials::CredentialRow;
use crate::store::sessions::Why;
use crate::store::sign_in::Proved;
use crate::{Identity, NAME, password, store};

impl Identity {
    /// Tries a password under a sign-in name: nothing when either is wrong, or the person is not
    /// in use. The try is counted as refused until it has proved right.
    pub async fn prove(
        &self,
        sign_in_name: &str,
        password: String,
    ) -> Result<Option<Proved>, Failure> {
        let turn = self.hasher.turn().await?;
        let name: Arc<str> = sign_in_name.into();
        let counted = name.clone();
        self.db
            .write("identity.count_try", move |conn| {
                let name = counted.clone();
                Box::pin(async move { store::tries::count(conn, &name).await })
            })
            .await?;
        let asked = name.clone();
        let known = self
            .db
            .read("identity.find_sign_in", |conn| {
                Box::pin(async move { store::sign_in::named(conn, &asked).await })
            })
            .await?;
        let verifier = known.as_ref().map(|known| known.credential.verifier.clone());
        let is_right = self.hasher.is_right(&turn, password, verifier).await?;
        let Some(proved) = known.filter(|_| is_right) else { return Ok(None) };
        self.db
            .write("identity.forget_tries", move |conn| {
                let name = name.clone();
                Box::pin(async move { store::tries::forget(conn, &name).await })
            })
            .await?;
        Ok(Some(proved))
    }
}

/// Changes the caller's password and ends their other sessions.
pub async fn change(
    service: &Identity,
    request: Request<v1::ChangePasswordRequest>,
) -> Result<Response<v1::ChangePasswordResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let keyed = Keyed::of(NAME, &call, request.get_ref())?;
    let request = request.into_inner();
    check(&request)?;
    let caller = call.person()?.clone();
    let row = service
        .db
        .read("identity.get_person", |conn| Box::pin(store::people::last(conn, caller.id)))
        .await?;
    let row = row.ok_or_else(|| Failure::not_found("person"))?;
    let proved = service.prove(&row.sign_in_name, request.old_password).await?;
    let verifier = service.hasher.verifier(request.new_password).await?;
    let act = Act::of(&call, &service.house.plant);
    let new = CredentialRow { person: caller.id, verifier, must_change: false };
    let response = service
        .db
        .write("identity.change_password", move |conn| {
            let (keyed, proved) = (keyed.clone(), proved.clone());
            let (new, act) = (new.clone(), act.clone());
            Box::pin(async move {
                // A repeated call finds its answer, though the old password is no longer right.
                if let Some(kept) = keyed.take(conn).await? {
                    return Ok(kept);
                }
                let proved = proved.ok_or_else(wrong)?;
                let standing = store::credentials::find(conn, new.person).await?;
                if standing.is_none_or(|row| row.verifier != proved.credential.verifier) {
                    return Err(wrong());
                }
                store::credentials::put(conn, &new, &act).await?;
                let others =
                    store::sessions::living(conn, new.person, Some(caller.session)).await?;
                let ended = store::sessions::end(conn, &others, Why::PasswordChanged, &act).await?;
                let response = v1::ChangePasswordResponse { sessions_ended: ended as i32 };
                keyed.keep(conn, &response).await?;
                Ok(response)
            })
        })
        .await?;
    service.changed.notify_waiters();
    Ok(Response::new(response))
}

fn check(request: &v1::ChangePasswordRequest) -> Result<(), Failure> {
    let mut faults = Faults::new();
    password::check_new(&request.new_password, "new_password", &mut faults);
    if request.new_password == request.old_password {
        faults.add("new_password", "must differ from the old one");
    }
    Ok(faults.into_result(Some(()))?)
}

fn wrong() -> Failure {
    let mut faults = Faults::new();
    faults.add("old_password", "is wrong");
    faults.into()
}
