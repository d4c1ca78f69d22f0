//! Sessions with their refresh tokens, and the records of their begin and end.
//! It never keeps a token, only the hash of one.

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::SignedDuration;
use jiff_diesel::{Timestamp, ToDiesel as _};
use platform::error::Failure;
use platform::records::{self, Leaf};
use platform::tokens;
use serde_json::json;
use uuid::Uuid;

use crate::schema::{refresh_token, session, session_begin, session_end};
use crate::shape::Act;
use crate::store::people::PersonRow;

/// How long a session lives unless it is refreshed: longer than a shift without the network.
const IDLE: SignedDuration = SignedDuration::from_hours(24);
/// How long a session lives at all.
const WHOLE: SignedDuration = SignedDuration::from_hours(7 * 24);

/// A session.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = session, check_for_backend(diesel::pg::Pg))]
pub struct SessionRow {
    pub id: Uuid,
    pub person: Uuid,
    pub station: String,
    pub begun_at: Timestamp,
    pub refresh_until: Timestamp,
    pub tokens_until: Timestamp,
    pub ended_at: Option<Timestamp>,
}

/// The record of a sign-in.
#[derive(Insertable)]
#[diesel(table_name = session_begin, check_for_backend(diesel::pg::Pg))]
struct BeginRow {
    id: Uuid,
    person: Uuid,
    person_version: i32,
    station: String,
    recorded_at: Timestamp,
}

/// The record of a session's end.
#[derive(Insertable)]
#[diesel(table_name = session_end, check_for_backend(diesel::pg::Pg))]
struct EndRow {
    id: Uuid,
    session: Uuid,
    reason: &'static str,
    entered_by: String,
    entered_by_name: String,
    recorded_at: Timestamp,
}

/// Why a session has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// Its person signed out.
    SignedOut,
    /// A refresh token came a second time: somebody has a copy.
    TokenReused,
    /// The password was changed.
    PasswordChanged,
    /// The person is no longer in use.
    PersonNotInUse,
}

impl Why {
    fn word(self) -> &'static str {
        match self {
            Self::SignedOut => "signed_out",
            Self::TokenReused => "refresh_token_reused",
            Self::PasswordChanged => "password_changed",
            Self::PersonNotInUse => "person_not_in_use",
        }
    }
}

/// Opens a session: its record with a leaf, and the hash of its first refresh token.
pub async fn begin(
    conn: &mut AsyncPgConnection,
    (id, hash): (Uuid, &[u8]),
    person: &PersonRow,
    act: &Act,
) -> Result<SessionRow, Failure> {
    let begin = BeginRow {
        id,
        person: person.id,
        person_version: person.version,
        station: act.station.clone(),
        recorded_at: act.at.to_diesel(),
    };
    diesel::insert_into(session_begin::table).values(&begin).execute(conn).await?;
    let entry = json!({ "person": person.id.to_string(), "person_version": person.version });
    let stamp = act.stamp(id, format!("person:{}", person.id));
    records::insert_leaves(conn, vec![stamp.leaf("identity.session_begin/1", entry)?]).await?;
    let row = SessionRow {
        id,
        person: person.id,
        station: act.station.clone(),
        begun_at: act.at.to_diesel(),
        refresh_until: refresh_until(act.at, act.at).to_diesel(),
        tokens_until: tokens_until(act.at).to_diesel(),
        ended_at: None,
    };
    diesel::insert_into(session::table).values(&row).execute(conn).await?;
    add_token(conn, id, hash).await?;
    Ok(row)
}

fn refresh_until(begun: jiff::Timestamp, now: jiff::Timestamp) -> jiff::Timestamp {
    now.saturating_add(IDLE).unwrap_or(now).min(begun.saturating_add(WHOLE).unwrap_or(now))
}

fn tokens_until(now: jiff::Timestamp) -> jiff::Timestamp {
    let life = SignedDuration::from_secs(tokens::LIFE_S);
    now.saturating_add(life).unwrap_or(now)
}

async fn add_token(
    conn: &mut AsyncPgConnection,
    session: Uuid,
    hash: &[u8],
) -> Result<(), Failure> {
    let row = (
        refresh_token::hash.eq(hash),
        refresh_token::session.eq(session),
        refresh_token::is_used.eq(false),
    );
    diesel::insert_into(refresh_token::table).values(row).execute(conn).await?;
    Ok(())
}

/// What came of a refresh.
pub enum Refreshed {
    /// The session goes on.
    Renewed(SessionRow),
    /// No such token, or its session has ended or lapsed.
    Refused,
    /// The token was used before: the session has been ended.
    Reused,
}

/// Takes a refresh token, given by its hash, and puts another in its place.
pub async fn refresh(
    conn: &mut AsyncPgConnection,
    old: &[u8],
    new: &[u8],
    system: &Act,
) -> Result<Refreshed, Failure> {
    let owner: Option<Uuid> = refresh_token::table
        .find(old)
        .select(refresh_token::session)
        .first(conn)
        .await
        .optional()?;
    let Some(owner) = owner else { return Ok(Refreshed::Refused) };
    let row = session::table.find(owner).for_no_key_update().select(SessionRow::as_select());
    let row = row.first(conn).await.optional()?;
    let living =
        row.filter(|row| row.ended_at.is_none() && row.refresh_until.to_jiff() > system.at);
    let Some(mut row) = living else { return Ok(Refreshed::Refused) };
    let fresh = refresh_token::table.find(old).filter(refresh_token::is_used.eq(false));
    let used = diesel::update(fresh).set(refresh_token::is_used.eq(true)).execute(conn).await?;
    if used == 0 {
        end(conn, &[owner], Why::TokenReused, system).await?;
        return Ok(Refreshed::Reused);
    }
    add_token(conn, owner, new).await?;
    row.refresh_until = refresh_until(row.begun_at.to_jiff(), system.at).to_diesel();
    row.tokens_until = tokens_until(system.at).to_diesel();
    diesel::update(session::table.find(owner))
        .set((
            session::refresh_until.eq(row.refresh_until),
            session::tokens_until.eq(row.tokens_until),
        ))
        .execute(conn)
        .await?;
    Ok(Refreshed::Renewed(row))
}

/// The sessions of a person that have not ended, but for one.
pub async fn living(
    conn: &mut AsyncPgConnection,
    person: Uuid,
    but: Option<Uuid>,
) -> Result<Vec<Uuid>, Failure> {
    let rows = session::table
        .filter(session::person.eq(person))
        .filter(session::ended_at.is_null())
        .filter(session::id.ne(but.unwrap_or(Uuid::nil())))
        .select(session::id)
        .load(conn)
        .await?;
    Ok(rows)
}

/// Ends those of the sessions that have not ended, each with its record; gives how many.
pub async fn end(
    conn: &mut AsyncPgConnection,
    sessions: &[Uuid],
    why: Why,
    act: &Act,
) -> Result<usize, Failure> {
    let rows: Vec<SessionRow> = session::table
        .filter(session::id.eq_any(sessions))
        .filter(session::ended_at.is_null())
        .order(session::id)
        .for_no_key_update()
        .select(SessionRow::as_select())
        .load(conn)
        .await?;
    let mut leaves: Vec<Leaf> = Vec::new();
    for row in &rows {
        let stamp = act.stamp(records::new_id(), format!("person:{}", row.person));
        let end = EndRow {
            id: stamp.id,
            session: row.id,
            reason: why.word(),
            entered_by: act.by.clone(),
            entered_by_name: act.by_name.clone(),
            recorded_at: act.at.to_diesel(),
        };
        diesel::insert_into(session_end::table).values(&end).execute(conn).await?;
        diesel::update(session::table.find(row.id))
            .set(session::ended_at.eq(act.at.to_diesel()))
            .execute(conn)
            .await?;
        let entry = json!({ "session": row.id.to_string(), "reason": why.word() });
        leaves.push(stamp.leaf("identity.session_end/1", entry)?);
    }
    if !leaves.is_empty() {
        records::insert_leaves(conn, leaves).await?;
    }
    Ok(rows.len())
}

/// Ended sessions of which a token may still live.
pub async fn ended(
    conn: &mut AsyncPgConnection,
    now: jiff::Timestamp,
) -> Result<Vec<(Uuid, Timestamp)>, Failure> {
    let rows = session::table
        .filter(session::ended_at.is_not_null())
        .filter(session::tokens_until.gt(now.to_diesel()))
        .select((session::id, session::tokens_until))
        .load(conn)
        .await?;
    Ok(rows)
}

/// Removes sessions of which nothing lives any more; their records stay.
pub async fn prune(conn: &mut AsyncPgConnection, now: jiff::Timestamp) -> Result<(), Failure> {
    let now = now.to_diesel();
    let over = session::ended_at.is_not_null().or(session::refresh_until.lt(now));
    let dead = session::table.filter(session::tokens_until.lt(now)).filter(over);
    diesel::delete(dead).execute(conn).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_that_is_refreshed_still_ends_after_a_week() {
        let begun: jiff::Timestamp = "2026-03-02T04:00:00Z".parse().expect("an instant");
        let at = |text: &str| text.parse::<jiff::Timestamp>().expect("an instant");
        let next = refresh_until(begun, at("2026-03-02T10:00:00Z"));
        assert_eq!(next, at("2026-03-03T10:00:00Z"));
        assert_eq!(refresh_until(begun, at("2026-03-09T03:00:00Z")), at("2026-03-09T04:00:00Z"));
    }
}
