//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    haccp.plan_draft (plan) {
        plan -> Uuid,
        version -> Integer,
        content -> Bytea,
        edited_by -> Text,
        edited_by_name -> Text,
        edited_at -> Timestamptz,
    }
}

diesel::table! {
    haccp.plan (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        binds -> Text,
        content -> Bytea,
        ticket -> Uuid,
        recorded_at -> Timestamptz,
        entered_by -> Text,
        entered_by_name -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    haccp.plan_in_force (plan) {
        plan -> Uuid,
        version -> Integer,
    }
}

diesel::table! {
    haccp.lot_bound (lot) {
        lot -> Uuid,
        plan -> Uuid,
        version -> Integer,
        bound_on -> Nullable<Date>,
    }
}

diesel::table! {
    haccp.deviation (id) {
        id -> Uuid,
        reading -> Nullable<Uuid>,
        plan -> Uuid,
        plan_version -> Integer,
        check_code -> Text,
        hazard -> Text,
        is_ccp -> Bool,
        what -> Text,
        recorded_at -> Timestamptz,
        judgement -> Nullable<Uuid>,
        challenge -> Nullable<Uuid>,
        place -> Nullable<Uuid>,
        span_from -> Nullable<Timestamptz>,
        span_to -> Nullable<Timestamptz>,
        entered_by -> Text,
        entered_by_name -> Text,
        fingerprint -> Nullable<Bytea>,
    }
}

diesel::table! {
    haccp.deviation_lot (lot, deviation) {
        deviation -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    haccp.deviation_end (id) {
        id -> Uuid,
        deviation -> Uuid,
        cause -> Text,
        control -> Text,
        prevention -> Text,
        disposition -> Text,
        disposition_text -> Text,
        ticket -> Uuid,
        recorded_at -> Timestamptz,
        entered_by -> Text,
        entered_by_name -> Text,
        fingerprint -> Bytea,
        evidence -> Nullable<Text>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(plan, plan_in_force);
diesel::allow_tables_to_appear_in_same_query!(deviation, deviation_end, deviation_lot);
