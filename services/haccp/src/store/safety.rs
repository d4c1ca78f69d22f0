//! The safety versions of lots: a write that makes a lot less safe raises them by 1.
//! It never lowers one and never raises those of descendants.

use diesel::sql_types::{Array, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use platform::error::Failure;
use platform::outbox::Outbox;
use platform::statement::statement;
use uuid::Uuid;

use super::{deviations, holds};
use crate::shape::follows::{Follows, LessSafe};

/// The method by which genealogy is told what is less safe.
const TELL: &str = "/hankbook.internal.v1.GenealogyInternal/TellLessSafe";

/// The most lots that one write raises by name.
const NAMED_MAX: usize = 1000;

/// Raises the versions of the lots that a write names; the plant's own row when it names none, or
/// too many: every ship reads and locks that row. Locked in id order as everywhere.
pub async fn raise(conn: &mut AsyncPgConnection, lots: &[Uuid]) -> Result<(), Failure> {
    let plant = [Uuid::nil()];
    let lots = if lots.is_empty() || lots.len() > NAMED_MAX { &plant } else { lots };
    statement(
        "WITH locked AS (SELECT lot FROM genealogy.lot_safety WHERE lot = ANY($1) \
         ORDER BY lot FOR NO KEY UPDATE) \
         UPDATE genealogy.lot_safety AS safety SET version = safety.version + 1 \
         FROM locked WHERE safety.lot = locked.lot",
    )
    .bind::<Array<SqlUuid>, _>(lots)
    .execute(conn)
    .await?;
    Ok(())
}

/// Raises what is less safe and owes genealogy the message, where lots are known.
pub async fn tell(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    less: &LessSafe,
) -> Result<(), Failure> {
    raise(conn, &less.named).await?;
    if !less.message.lots.is_empty() {
        outbox.put(conn, &less.message.about, TELL, &less.message).await?;
    }
    Ok(())
}

/// Writes what follows of a reading, in its transaction.
pub async fn follow(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    follows: &Follows,
) -> Result<(), Failure> {
    match follows {
        Follows::Nothing => Ok(()),
        Follows::MayEndHold { check: (plan, code), lots } => {
            holds::end_recooked(conn, outbox, (*plan, code), lots).await
        }
        Follows::LessSafe(less) => tell(conn, outbox, less).await,
        Follows::Opens(opening) => deviations::open(conn, outbox, opening).await,
    }
}
