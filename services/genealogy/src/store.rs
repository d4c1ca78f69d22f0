//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas.

#[macro_use]
mod stamped;

pub mod closure;
pub mod holds;
pub mod items;
pub mod lots;
pub mod making;
pub mod masses;
pub mod on_hand;
pub mod partners;
pub mod places;
mod safety;
pub mod shipping;

use platform::pages::Page;
use uuid::Uuid;

/// The id after which a page begins; the nil id, before all others, at the first.
fn after(page: &Page) -> Uuid {
    page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil())
}
