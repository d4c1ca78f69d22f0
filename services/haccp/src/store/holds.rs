//! What genealogy is told when the hold of a deviation ends.
//! It never ends one: genealogy does, and may not refuse.

use diesel_async::AsyncPgConnection;
use platform::error::Failure;
use platform::outbox::Outbox;
use uuid::Uuid;

use super::deviations;
use crate::shape::closings;
use crate::shape::closings::EndHold;

/// The method by which genealogy is told that a deviation's hold ends.
const END_HOLD: &str = "/hankbook.internal.v1.GenealogyInternal/EndHoldForDeviation";

/// Owes the message.
pub async fn end(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    message: &EndHold,
) -> Result<(), Failure> {
    let subject = format!("deviation:{}", message.deviation);
    outbox.put(conn, &subject, END_HOLD, message).await.map(|_| ())
}

/// Ends the holds of deviations whose product was to be cooked again, when with this finding, which
/// is met, each of their lots has met the check since.
pub async fn end_recooked(
    conn: &mut AsyncPgConnection,
    outbox: &Outbox,
    check: (Uuid, &str),
    lots: &[Uuid],
) -> Result<(), Failure> {
    for recooked in deviations::recooked(conn, check, lots).await? {
        end(conn, outbox, &closings::recooked(recooked)).await?;
    }
    Ok(())
}
