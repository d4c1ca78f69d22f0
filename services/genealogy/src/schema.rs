//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    genealogy.place (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        kind -> Text,
        in_use -> Bool,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.partner (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        is_supplier -> Bool,
        is_customer -> Bool,
        address -> Text,
        phone -> Text,
        in_use -> Bool,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
        fingerprint -> Bytea,
    }
}
