//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas.

/// A row of a record: its own columns, and those by which every record is stamped.
macro_rules! record_row {
    ($(#[$doc:meta])* $row:ident of $table:ident { $($field:ident: $kind:ty),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Queryable, Selectable, Insertable)]
        #[diesel(table_name = $table, check_for_backend(diesel::pg::Pg))]
        pub struct $row {
            $(pub $field: $kind,)*
            pub recorded_at: jiff_diesel::Timestamp,
            pub day: jiff_diesel::Date,
            pub entered_by: String,
            pub entered_by_name: String,
            pub station: String,
            pub fingerprint: Vec<u8>,
        }

        impl $row {
            /// The row of a record with its stamp.
            fn stamped(stamp: &platform::records::Stamp, ($($field,)*): ($($kind,)*)) -> Self {
                use jiff_diesel::ToDiesel as _;
                Self {
                    $($field,)*
                    recorded_at: stamp.recorded_at.to_diesel(),
                    day: stamp.day.to_diesel(),
                    entered_by: stamp.entered_by.clone(),
                    entered_by_name: stamp.entered_by_name.clone(),
                    station: stamp.station.clone(),
                    fingerprint: stamp.fingerprint.clone(),
                }
            }
        }
    };
}

pub mod costs;
pub mod scales;
pub mod weighings;

use platform::pages::Page;
use uuid::Uuid;

/// The id after which a page begins; the nil id, before all others, at the first.
fn after(page: &Page) -> Uuid {
    page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil())
}
