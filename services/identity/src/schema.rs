//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    identity.person (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        sign_in_name -> Text,
        name -> Text,
        roles -> Array<Text>,
        language -> Text,
        in_use -> Bool,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    identity.person_in_force (person) {
        person -> Uuid,
        version -> Integer,
        sign_in_name -> Text,
        rights_version -> Integer,
        is_administrator -> Bool,
    }
}

diesel::table! {
    identity.station (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        place -> Text,
        in_use -> Bool,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    identity.plant_settings (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        establishment_name -> Text,
        establishment_number -> Text,
        zone -> Text,
        day_start -> Text,
        temperature_unit -> Text,
        mass_unit -> Text,
        lot_code_pattern -> Text,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    identity.session_begin (id) {
        id -> Uuid,
        person -> Uuid,
        person_version -> Integer,
        station -> Text,
        recorded_at -> Timestamptz,
    }
}

diesel::table! {
    identity.session_end (id) {
        id -> Uuid,
        session -> Uuid,
        reason -> Text,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
    }
}

diesel::table! {
    identity.credential_change (id) {
        id -> Uuid,
        person -> Uuid,
        must_change -> Bool,
        entered_by -> Text,
        entered_by_name -> Text,
        recorded_at -> Timestamptz,
    }
}

diesel::table! {
    identity.credential (person) {
        person -> Uuid,
        verifier -> Text,
        must_change -> Bool,
    }
}

diesel::table! {
    identity.session (id) {
        id -> Uuid,
        person -> Uuid,
        station -> Text,
        begun_at -> Timestamptz,
        refresh_until -> Timestamptz,
        tokens_until -> Timestamptz,
        ended_at -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    identity.refresh_token (hash) {
        hash -> Bytea,
        session -> Uuid,
        is_used -> Bool,
    }
}

diesel::table! {
    identity.refused_sign_in (id) {
        id -> Uuid,
        sign_in_name -> Text,
        tried_at -> Timestamptz,
    }
}

diesel::allow_tables_to_appear_in_same_query!(person, person_in_force);
