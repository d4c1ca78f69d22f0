//! The first start of a plant: one administrator, so that somebody can add the others.
//! It never touches a plant that has a person.

use std::sync::Arc;

use platform::db::Db;
use platform::error::Failure;
use platform::records::{self, NewVersion};
use platform::service::House;

use crate::password::{self, Hasher};
use crate::shape::{Act, PersonContent, administrator};
use crate::store;
use crate::store::credentials::CredentialRow;

/// The name under which the first administrator signs in.
const SIGN_IN_NAME: &str = "administrator";

/// Adds an administrator with a one-time password where nobody is there yet, and gives the
/// password: it is kept nowhere and must be changed at the first sign-in.
pub async fn first_administrator(db: &Db, house: &House) -> Result<Option<String>, Failure> {
    let is_empty =
        db.read("identity.is_empty", |conn| Box::pin(store::people::is_empty(conn))).await?;
    if !is_empty {
        return Ok(None);
    }
    let password = password::one_time();
    let verifier = Hasher::default().verifier(password.clone()).await?;
    let act = Act::of_system(house.clock.now(), &house.plant);
    let id = records::new_id();
    let content = PersonContent {
        sign_in_name: SIGN_IN_NAME.into(),
        name: "Administrator".into(),
        roles: vec![administrator().to_owned()],
        language: "en".into(),
        in_use: true,
    };
    let stamp = act.stamp(id, format!("person:{id}"));
    let new = Arc::new(NewVersion { of: id, is_known: false, stamp, content });
    let credential = CredentialRow { person: id, verifier, must_change: true };
    let is_made = db
        .write("identity.first_administrator", move |conn| {
            let (new, credential, act) = (new.clone(), credential.clone(), act.clone());
            Box::pin(async move {
                // Another process may have been faster.
                if !store::people::is_empty(conn).await? {
                    return Ok(false);
                }
                store::people::record(conn, &new).await?;
                store::credentials::put(conn, &credential, &act).await?;
                Ok(true)
            })
        })
        .await?;
    Ok(is_made.then_some(password))
}
