//! What is kept of passwords, replaced when one changes, and the record that it changed.
//! It never writes a verifier into a record or a leaf.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records;
use serde_json::json;
use uuid::Uuid;

use crate::schema::{credential, credential_change};
use crate::shape::Act;

/// The verifier of a person's password.
#[derive(Clone, Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = credential, check_for_backend(diesel::pg::Pg))]
pub struct CredentialRow {
    pub person: Uuid,
    pub verifier: String,
    pub must_change: bool,
}

/// The record that a password was changed.
#[derive(Insertable)]
#[diesel(table_name = credential_change, check_for_backend(diesel::pg::Pg))]
struct ChangeRow {
    id: Uuid,
    person: Uuid,
    must_change: bool,
    entered_by: String,
    entered_by_name: String,
    recorded_at: Timestamp,
}

/// The verifier of a person's password, where there is one.
pub async fn find(
    conn: &mut AsyncPgConnection,
    person: Uuid,
) -> Result<Option<CredentialRow>, Failure> {
    let found = credential::table.find(person).select(CredentialRow::as_select()).first(conn);
    Ok(found.await.optional()?)
}

/// Puts a verifier in place of the one before and records who did.
pub async fn put(
    conn: &mut AsyncPgConnection,
    row: &CredentialRow,
    act: &Act,
) -> Result<(), Failure> {
    let put = diesel::insert_into(credential::table).values(row);
    put.on_conflict(credential::person).do_update().set(row).execute(conn).await?;
    let stamp = act.stamp(records::new_id(), format!("person:{}", row.person));
    let change = ChangeRow {
        id: stamp.id,
        person: row.person,
        must_change: row.must_change,
        entered_by: act.by.clone(),
        entered_by_name: act.by_name.clone(),
        recorded_at: act.at.to_diesel(),
    };
    diesel::insert_into(credential_change::table).values(&change).execute(conn).await?;
    let entry = json!({ "person": row.person.to_string(), "must_change": row.must_change });
    records::insert_leaves(conn, vec![stamp.leaf("identity.credential_change/1", entry)?]).await
}
