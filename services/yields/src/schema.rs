//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    yields.scale (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        division -> Numeric,
        unit -> Text,
        in_use -> Bool,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    yields.weighing (id) {
        id -> Uuid,
        stage -> Nullable<Text>,
        gross -> Numeric,
        tare -> Numeric,
        net -> Numeric,
        unit -> Text,
        scale -> Nullable<Uuid>,
        scale_version -> Nullable<Integer>,
        scale_name -> Nullable<Text>,
        note -> Text,
        supersedes -> Nullable<Uuid>,
        reason -> Nullable<Text>,
        ticket -> Nullable<Uuid>,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
        observed_at -> Timestamptz,
        entered_at -> Timestamptz,
        offset_ms -> BigInt,
        happened -> Bool,
    }
}

diesel::table! {
    yields.weighing_lot (lot, weighing) {
        weighing -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    yields.cost (id) {
        id -> Uuid,
        lot -> Uuid,
        version -> Integer,
        amount_minor -> Numeric,
        currency -> Text,
        per_value -> Numeric,
        per_unit -> Text,
        source -> Text,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::joinable!(weighing_lot -> weighing (weighing));
diesel::allow_tables_to_appear_in_same_query!(weighing, weighing_lot);
