//! Refused tries of a password, counted by name over a short window.
//! It never asks whether a name exists: unknown ones are counted alike.

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::Bool;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::{Failure, Kind};
use platform::records;

use crate::schema::refused_sign_in;

/// The most refused tries of a name in the window.
const TRIES_MAX: i64 = 10;
/// True for a try inside the window, by the database's own clock.
const IN_WINDOW: &str = "tried_at > clock_timestamp() - interval '5 minutes'";

/// Counts a try as refused before it is judged, so that tries made at once are all counted.
/// Refused: one more than the limit; it is not counted, so that the window ends.
pub async fn count(conn: &mut AsyncPgConnection, sign_in_name: &str) -> Result<(), Failure> {
    let refused: i64 = refused_sign_in::table
        .filter(refused_sign_in::sign_in_name.eq(sign_in_name))
        .filter(sql::<Bool>(IN_WINDOW))
        .count()
        .get_result(conn)
        .await?;
    if refused >= TRIES_MAX {
        let text = "Too many wrong passwords for this name; wait five minutes.";
        return Err(Failure::new(Kind::TooMany, text));
    }
    let row =
        (refused_sign_in::id.eq(records::new_id()), refused_sign_in::sign_in_name.eq(sign_in_name));
    diesel::insert_into(refused_sign_in::table).values(row).execute(conn).await?;
    Ok(())
}

/// Forgets the tries of a name whose password was right.
pub async fn forget(conn: &mut AsyncPgConnection, sign_in_name: &str) -> Result<(), Failure> {
    let tries = refused_sign_in::table.filter(refused_sign_in::sign_in_name.eq(sign_in_name));
    diesel::delete(tries).execute(conn).await?;
    Ok(())
}

/// Removes what no window counts any more.
pub async fn prune(conn: &mut AsyncPgConnection) -> Result<(), Failure> {
    let old = refused_sign_in::table.filter(diesel::dsl::not(sql::<Bool>(IN_WINDOW)));
    diesel::delete(old).execute(conn).await?;
    Ok(())
}
