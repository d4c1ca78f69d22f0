//! Messages of other services: carried out, or recorded as refused where no repetition mends them.
//! It never takes a message for done of which a part could not be.

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff_diesel::ToDiesel as _;
use platform::error::Failure;
use platform::records;
use uuid::Uuid;

use super::after;
use crate::schema::{lot, refused_message, refused_message_lot};
use crate::shape::holds::{NewHold, others};
use crate::shape::shipping::after::{LessSafe, NewAfter, NewRefused, Told, no_such_lots};
use crate::shape::shipping::beside;
use crate::store::{holds, items};

/// Holds what a deviation concerns, once, and records what of it has left. Gives the hold; none
/// where the message names nothing that could be held.
pub async fn hold(conn: &mut AsyncPgConnection, told: &Told<'_>) -> Result<Option<Uuid>, Failure> {
    let (known, unknown) = apart(conn, &told.new.lots).await?;
    let new = NewHold { lots: known, ..told.new.clone() };
    let standing = holds::find_of_deviation(conn, told.deviation).await?;
    if let Some(standing) = standing {
        let others = others(&standing, &new);
        if !others.is_empty() || !unknown.is_empty() {
            let reason = format!(
                "The hold {} of deviation {} lacks lots that a later message names.",
                standing.row.id, told.deviation
            );
            refuse(conn, told, reason, others).await?;
        }
        return Ok(Some(standing.row.id));
    }
    if new.lots.is_empty() && new.covers.span().is_none() {
        refuse(conn, told, no_such_lots(&unknown), Vec::new()).await?;
        return Ok(None);
    }
    let hold = holds::insert(conn, &new, None).await?;
    if !unknown.is_empty() {
        refuse(conn, told, no_such_lots(&unknown), new.lots.clone()).await?;
    }
    let cases = match new.covers.span() {
        Some(span) => after::left_of_span(conn, span).await?,
        None => after::left_of_lots(conn, &new.lots).await?,
    };
    let about = format!("deviation:{}", told.deviation);
    let stamp = beside(&new.stamp, |_| about.clone());
    after::record(conn, &NewAfter { stamp, what: new.reason, about, cases }).await?;
    Ok(Some(hold.row.id))
}

async fn refuse(
    conn: &mut AsyncPgConnection,
    told: &Told<'_>,
    reason: String,
    lots: Vec<Uuid>,
) -> Result<(), Failure> {
    let message = (told.message, told.method);
    let refused = NewRefused::of(&told.new.stamp, message, reason, lots);
    record_refused(conn, &refused).await
}

/// Records what has left of lots that became less safe; gives the record, none where nothing had.
pub async fn less_safe(
    conn: &mut AsyncPgConnection,
    told: &LessSafe,
) -> Result<Option<Uuid>, Failure> {
    let (known, unknown) = apart(conn, &told.lots).await?;
    if !unknown.is_empty() {
        let message = (told.message, told.method);
        let reason = no_such_lots(&unknown);
        let refused = NewRefused::of(&told.stamp, message, reason, known.clone());
        record_refused(conn, &refused).await?;
    }
    let cases = after::left_of_lots(conn, &known).await?;
    let (what, about) = (told.what.clone(), told.about.clone());
    after::record(conn, &NewAfter { stamp: told.stamp.clone(), what, about, cases }).await
}

/// The lots that exist, and those that do not.
async fn apart(
    conn: &mut AsyncPgConnection,
    named: &[Uuid],
) -> Result<(Vec<Uuid>, Vec<Uuid>), Failure> {
    let found: Vec<Uuid> =
        lot::table.filter(lot::id.eq_any(named)).select(lot::id).load(conn).await?;
    let found: BTreeSet<_> = found.into_iter().collect();
    Ok(named.iter().partition(|lot| found.contains(lot)))
}

/// Records a message that was refused, with its leaf and the open item that counts it until QA
/// has answered.
async fn record_refused(conn: &mut AsyncPgConnection, new: &NewRefused) -> Result<(), Failure> {
    let stamp = &new.stamp;
    let row = (
        refused_message::id.eq(stamp.id),
        refused_message::method.eq(new.method),
        refused_message::reason.eq(&new.reason),
        refused_message::recorded_at.eq(stamp.recorded_at.to_diesel()),
        refused_message::day.eq(stamp.day.to_diesel()),
        refused_message::entered_by.eq(&stamp.entered_by),
        refused_message::entered_by_name.eq(&stamp.entered_by_name),
        refused_message::station.eq(&stamp.station),
        refused_message::fingerprint.eq(&stamp.fingerprint),
    );
    diesel::insert_into(refused_message::table).values(row).execute(conn).await?;
    let link = |lot: &Uuid| {
        (refused_message_lot::refused_message.eq(stamp.id), refused_message_lot::lot.eq(*lot))
    };
    for some in new.lots.chunks(10_000) {
        let links: Vec<_> = some.iter().map(link).collect();
        diesel::insert_into(refused_message_lot::table).values(links).execute(conn).await?;
    }
    let leaf = stamp.leaf("genealogy.refused_message/1", new.entry())?;
    records::insert_leaves(conn, vec![leaf]).await?;
    items::record(conn, (stamp, "Message"), &[new.broken()], &[]).await
}
