//! Signing in and out, and the tokens of a session.
//! It never says which of a name and a password was wrong.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::{Call, role_word};
use platform::error::{Failure, Kind};
use platform::{records, tokens};
use sha2::{Digest, Sha256};
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::v1::{self, Role};

use crate::shape::{Act, roles_out};
use crate::store::sessions::{Refreshed, SessionRow, Why};
use crate::store::sign_in::Proved;
use crate::{Identity, store};

/// What asks for the tokens, as RFC 9068 wants it named.
const CLIENT: &str = "hankbook";

/// A refresh token that is about to be given out.
struct NewToken {
    text: String,
    hash: Vec<u8>,
}

impl NewToken {
    fn make() -> Self {
        let text = format!("{}{}", records::new_secret().simple(), records::new_secret().simple());
        let hash = hash(&text);
        Self { text, hash }
    }
}

fn hash(token: &str) -> Vec<u8> {
    Sha256::digest(token.as_bytes()).to_vec()
}

/// Opens a session.
pub async fn sign_in(
    service: &Identity,
    request: Request<v1::SignInRequest>,
) -> Result<Response<v1::Session>, Status> {
    let call = Call::of(request.extensions())?;
    let request = request.into_inner();
    let name: Arc<str> = request.sign_in_name.trim().to_lowercase().into();
    let proved = service.prove(&name, request.password).await?.ok_or_else(wrong)?;
    let station = station(service, &request.station).await?;
    let act = Act::of_person(&proved.person, &station, call.received_at, &service.house.plant);
    let token = NewToken::make();
    let (id, hash) = (records::new_id(), token.hash.clone());
    let (row, proved) = service
        .db
        .write("identity.sign_in", move |conn| {
            let (name, hash, act) = (name.clone(), hash.clone(), act.clone());
            let verifier = proved.credential.verifier.clone();
            Box::pin(async move {
                // The password or the person may have changed since the password was tried.
                let standing = store::sign_in::named(conn, &name).await?;
                let same = standing.filter(|now| now.credential.verifier == verifier);
                let now = same.ok_or_else(wrong)?;
                let begun = store::sessions::begin(conn, (id, &hash), &now.person, &act).await?;
                Ok((begun, now))
            })
        })
        .await?;
    Ok(Response::new(granted(service, row, &proved, token)?))
}

fn wrong() -> Failure {
    Failure::new(Kind::NotSignedIn, "The sign-in name or the password is wrong.")
}

/// The id of a station in use; empty where none was named.
async fn station(service: &Identity, text: &str) -> Result<String, Failure> {
    let mut faults = Faults::new();
    let id = platform::shape::optional_id(text, "station", &mut faults);
    faults.into_result(Some(()))?;
    let Some(id) = id else { return Ok(String::new()) };
    let found = service
        .db
        .read("identity.get_station", |conn| Box::pin(store::stations::last(conn, id)))
        .await?;
    match found.filter(|station| station.in_use) {
        Some(station) => Ok(station.id.to_string()),
        None => Err(Failure::fault("station", text, "must be a station in use")),
    }
}

/// Gives the next tokens of a session.
pub async fn refresh(
    service: &Identity,
    request: Request<v1::RefreshSessionRequest>,
) -> Result<Response<v1::Session>, Status> {
    let call = Call::of(request.extensions())?;
    let old = hash(&request.get_ref().refresh_token);
    let system = Act::of_system(call.received_at, &service.house.plant);
    let token = NewToken::make();
    let new = token.hash.clone();
    let over = || Failure::new(Kind::NotSignedIn, "The session has ended; sign in.");
    let (refreshed, proved) = service
        .db
        .write("identity.refresh", move |conn| {
            let (old, new, system) = (old.clone(), new.clone(), system.clone());
            Box::pin(async move {
                let refreshed = store::sessions::refresh(conn, &old, &new, &system).await?;
                let person = match &refreshed {
                    Refreshed::Renewed(row) => store::sign_in::of(conn, row.person).await?,
                    _ => None,
                };
                Ok((refreshed, person))
            })
        })
        .await?;
    match (refreshed, proved) {
        (Refreshed::Renewed(row), Some(proved)) => {
            Ok(Response::new(granted(service, row, &proved, token)?))
        }
        (Refreshed::Reused, _) => {
            service.changed.notify_waiters();
            Err(over().into())
        }
        _ => Err(over().into()),
    }
}

/// The session as its owner sees it. While the password must be changed its token has no roles.
fn granted(
    service: &Identity,
    row: SessionRow,
    proved: &Proved,
    refresh_token: NewToken,
) -> Result<v1::Session, Failure> {
    let person = &proved.person;
    let must_change_password = proved.credential.must_change;
    let roles = if must_change_password { Vec::new() } else { person.roles.clone() };
    let iat = service.house.clock.now().as_second();
    let claims = tokens::Claims {
        iss: tokens::ISSUER.into(),
        aud: vec![tokens::AUDIENCE.into()],
        sub: subject(person.id, &roles),
        client_id: CLIENT.into(),
        iat,
        exp: row.tokens_until.to_jiff().as_second(),
        jti: records::new_id().to_string(),
        sid: row.id.to_string(),
        name: person.name.clone(),
        roles: roles.clone(),
        station: row.station.clone(),
        version: person.version,
    };
    let access_token = service.house.signer.sign(&claims).map_err(Failure::internal)?;
    Ok(v1::Session {
        session: row.id.to_string(),
        access_token,
        expires_in_s: (claims.exp - iat).max(0) as i32,
        refresh_token: refresh_token.text,
        refresh_until: row.refresh_until.to_jiff().to_string(),
        person: person.id.to_string(),
        name: person.name.clone(),
        roles: roles_out(&roles),
        language: person.language.clone(),
        station: row.station,
        must_change_password,
    })
}

/// A scale or a probe signs in like a person; its records say that it is a device.
fn subject(id: Uuid, roles: &[String]) -> String {
    let is_device = roles.iter().any(|role| role == role_word(Role::Device));
    format!("{}:{id}", if is_device { "device" } else { "person" })
}

/// Ends the caller's session.
pub async fn sign_out(
    service: &Identity,
    request: Request<v1::SignOutRequest>,
) -> Result<Response<v1::SignOutResponse>, Status> {
    let call = Call::of(request.extensions())?;
    let session = call.person()?.session;
    let act = Act::of(&call, &service.house.plant);
    service
        .db
        .write("identity.sign_out", move |conn| {
            let act = act.clone();
            Box::pin(
                async move { store::sessions::end(conn, &[session], Why::SignedOut, &act).await },
            )
        })
        .await?;
    service.changed.notify_waiters();
    Ok(Response::new(v1::SignOutResponse { session: session.to_string() }))
}
