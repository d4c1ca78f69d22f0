//! The columns that every record of the gate has besides its own, said once.
//! It never knows a table: the caller names it.

/// Who recorded it and when, as values of a table's own columns.
macro_rules! stamped {
    ($table:ident, $stamp:expr) => {{
        let stamp: &platform::records::Stamp = $stamp;
        (
            $table::recorded_at.eq(stamp.recorded_at.to_diesel()),
            $table::day.eq(stamp.day.to_diesel()),
            $table::entered_by.eq(&stamp.entered_by),
            $table::entered_by_name.eq(&stamp.entered_by_name),
            $table::station.eq(&stamp.station),
            $table::fingerprint.eq(&stamp.fingerprint),
        )
    }};
}

/// When it was observed, as values of a table's own columns.
macro_rules! moments {
    ($table:ident, $moments:expr) => {{
        let moments: &platform::moments::Moments = $moments;
        (
            $table::observed_at.eq(moments.observed_at.to_diesel()),
            $table::entered_at.eq(moments.entered_at.to_diesel()),
            $table::offset_ms.eq(moments.offset_ms),
            $table::happened.eq(moments.happened),
        )
    }};
}

/// Whether a record of this id stands: true for this very call made before; another call on the
/// id is refused.
macro_rules! is_known {
    ($conn:expr, $table:ident, $stamp:expr) => {{
        let stamp: &platform::records::Stamp = $stamp;
        let known: Option<(String, Vec<u8>)> = $table::table
            .find(stamp.id)
            .select(($table::entered_by, $table::fingerprint))
            .first($conn)
            .await
            .optional()?;
        match known {
            Some((entered_by, fingerprint)) => {
                stamp.same_as(&entered_by, &fingerprint)?;
                true
            }
            None => false,
        }
    }};
}
