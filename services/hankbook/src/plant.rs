//! The mark of a plant, made once: an id, and whether its clock is simulated.
//! It never lets a real plant's folder take a simulated clock, nor the other way round.

use std::error::Error;

use diesel::sql_types::{Bool, Timestamptz, Uuid as SqlUuid};
use diesel::{QueryableByName, sql_query};
use diesel_async::{AsyncConnection, AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff_diesel::ToDiesel as _;
use platform::clock::Clock;
use platform::records::{self, Leaf};
use serde_json::json;
use uuid::Uuid;

use crate::database::Database;

type Failed = Box<dyn Error + Send + Sync>;

/// The folder is of the other sort.
#[derive(Debug, thiserror::Error)]
enum OtherSort {
    #[error("this plant's clock is real; it cannot be started as simulated (use another folder)")]
    Real,
    #[error("this plant is simulated; start it with --simulated-clock, or use another folder")]
    Simulated,
}

#[derive(QueryableByName)]
struct Mark {
    #[diesel(sql_type = Bool)]
    is_simulated: bool,
}

#[derive(QueryableByName)]
struct Latest {
    #[diesel(sql_type = diesel::sql_types::Nullable<Timestamptz>)]
    at: Option<jiff_diesel::Timestamp>,
}

/// Reads or makes the mark, and gives the clock that goes with it.
pub async fn clock(database: &Database, simulated: Option<Timestamp>) -> Result<Clock, Failed> {
    let mut conn = AsyncPgConnection::establish(&database.migrator()).await?;
    let marks = sql_query("SELECT is_simulated FROM house.plant");
    let mark: Option<Mark> = marks.load(&mut conn).await?.pop();
    let clock = match simulated {
        Some(start) => Clock::simulated(start),
        None => Clock::of_the_machine(),
    };
    match (mark, simulated) {
        (None, _) => make(&mut conn, &clock).await?,
        (Some(Mark { is_simulated: true }), None) => return Err(OtherSort::Simulated.into()),
        (Some(Mark { is_simulated: false }), Some(_)) => return Err(OtherSort::Real.into()),
        (Some(Mark { is_simulated: true }), Some(_)) => {
            // A simulated clock goes on from where its records end.
            let query = sql_query("SELECT max(recorded_at) AS at FROM audit.leaf");
            let latest: Latest = query.get_result(&mut conn).await?;
            if let Some(at) = latest.at {
                clock.move_to(at.to_jiff()).ok();
            }
        }
        (Some(_), None) => {}
    }
    Ok(clock)
}

/// The mark and its leaf, the first of the log.
async fn make(conn: &mut AsyncPgConnection, clock: &Clock) -> Result<(), Failed> {
    let (id, now, is_simulated) = (records::new_id(), clock.now(), clock.is_simulated());
    let entry = json!({
        "form": "house.plant/1", "id": id.to_string(), "is_simulated": is_simulated,
        "made_at": now.to_string(), "subject": format!("plant:{id}"),
    });
    let day: Date = now.to_zoned(jiff::tz::TimeZone::UTC).date();
    let leaf = Leaf::of((id, "house.plant/1"), format!("plant:{id}"), day, now, &entry)
        .map_err(|failure| failure.detail)?;
    conn.transaction::<_, Failed, _>(async move |conn| {
        sql_query("SET LOCAL ROLE hankbook_identity").execute(conn).await?;
        sql_query("INSERT INTO house.plant (id, is_simulated, made_at) VALUES ($1, $2, $3)")
            .bind::<SqlUuid, Uuid>(id)
            .bind::<Bool, _>(is_simulated)
            .bind::<Timestamptz, _>(now.to_diesel())
            .execute(conn)
            .await?;
        records::insert_leaves(conn, vec![leaf]).await.map_err(|failure| failure.detail)?;
        Ok(())
    })
    .await
}
