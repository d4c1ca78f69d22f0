//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas, but for the safety version that it raises.

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

pub mod book;
pub mod drafts;
pub mod formulas;
pub mod kits;
pub mod labels;
pub mod materials;
pub mod products;
pub mod safety;
pub mod sheets;

use platform::pages::Page;
use uuid::Uuid;

/// The id after which a page begins; the nil id, before all others, at the first.
fn after(page: &Page) -> Uuid {
    page.after.as_deref().and_then(|key| key.parse().ok()).unwrap_or(Uuid::nil())
}

/// A text as a pattern that finds it anywhere, whatever signs stand in it.
fn holding(text: &str) -> String {
    let mut pattern = String::from("%");
    for sign in text.chars() {
        if matches!(sign, '%' | '_' | '\\') {
            pattern.push('\\');
        }
        pattern.push(sign);
    }
    pattern.push('%');
    pattern
}

#[cfg(test)]
mod tests {
    #[test]
    fn signs_of_a_pattern_are_found_as_they_stand() {
        assert_eq!(super::holding("50% a_b\\"), "%50\\% a\\_b\\\\%");
    }
}
