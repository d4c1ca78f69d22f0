//! What lets a person sign in: the version in force together with the password's verifier.
//! It never judges a password.

use diesel_async::AsyncPgConnection;
use platform::error::Failure;
use uuid::Uuid;

use crate::shape::Act;
use crate::store::credentials::{self, CredentialRow};
use crate::store::people::{self, PersonRow};
use crate::store::sessions::{self, Why};

/// A person in use, with what proves that it is them.
#[derive(Clone)]
pub struct Proved {
    pub person: PersonRow,
    pub credential: CredentialRow,
}

/// The person in use who signs in under a name and has a password.
pub async fn named(
    conn: &mut AsyncPgConnection,
    sign_in_name: &str,
) -> Result<Option<Proved>, Failure> {
    let person = people::named(conn, sign_in_name).await?;
    with_credential(conn, person).await
}

/// The person of an id, if in use and with a password.
pub async fn of(conn: &mut AsyncPgConnection, person: Uuid) -> Result<Option<Proved>, Failure> {
    let person = people::last(conn, person).await?;
    with_credential(conn, person).await
}

async fn with_credential(
    conn: &mut AsyncPgConnection,
    person: Option<PersonRow>,
) -> Result<Option<Proved>, Failure> {
    // The query runs for nobody too, so that a known name takes no longer.
    let id = person.as_ref().map_or(Uuid::nil(), |person| person.id);
    let credential = credentials::find(conn, id).await?;
    let in_use = person.filter(|person| person.in_use);
    Ok(in_use.zip(credential).map(|(person, credential)| Proved { person, credential }))
}

/// What a new version of a person brings with it: another password, the end of sessions.
pub async fn follow(
    conn: &mut AsyncPgConnection,
    (person, in_use): (Uuid, bool),
    credential: Option<CredentialRow>,
    act: &Act,
) -> Result<(), Failure> {
    let why = match (in_use, &credential) {
        (false, _) => Why::PersonNotInUse,
        (true, Some(_)) => Why::PasswordChanged,
        (true, None) => return Ok(()),
    };
    if let Some(credential) = credential {
        credentials::put(conn, &credential, act).await?;
    }
    let living = sessions::living(conn, person, None).await?;
    sessions::end(conn, &living, why, act).await?;
    Ok(())
}
