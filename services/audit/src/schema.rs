//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    audit.sealed (position) {
        position -> BigInt,
        leaf -> Uuid,
        hash -> Bytea,
    }
}

diesel::table! {
    audit.checkpoint (size) {
        size -> BigInt,
        root -> Bytea,
        note -> Text,
        key -> Text,
        signed_at -> Timestamptz,
    }
}
