//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

mod making;
mod shipping;

pub use making::*;
pub use shipping::*;

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

diesel::table! {
    genealogy.lot (id) {
        id -> Uuid,
        code -> Text,
        kind -> Text,
        material -> Text,
        supplier -> Nullable<Uuid>,
        supplier_version -> Nullable<Integer>,
        supplier_name -> Nullable<Text>,
        supplier_lot -> Nullable<Text>,
        mass_value -> Numeric,
        mass_unit -> Text,
        mass_g -> Numeric,
        place -> Uuid,
        place_version -> Integer,
        place_name -> Text,
        plan -> Nullable<Uuid>,
        plan_version -> Nullable<Integer>,
        plan_name -> Nullable<Text>,
        observed_at -> Timestamptz,
        entered_at -> Timestamptz,
        recorded_at -> Timestamptz,
        offset_ms -> BigInt,
        happened -> Bool,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
        made_by -> Nullable<Uuid>,
        use_by -> Nullable<Date>,
        run -> Nullable<Text>,
    }
}

diesel::table! {
    genealogy.lot_on_hand (lot) {
        lot -> Uuid,
        on_hand_g -> Numeric,
    }
}

diesel::table! {
    genealogy.lot_safety (lot) {
        lot -> Uuid,
        version -> BigInt,
    }
}

diesel::table! {
    genealogy.lot_code_counter (series) {
        series -> Text,
        last -> Integer,
    }
}

diesel::table! {
    genealogy.hold (id) {
        id -> Uuid,
        reason -> Text,
        deviation -> Nullable<Uuid>,
        scope -> Text,
        ticket -> Nullable<Uuid>,
        recorded_at -> Timestamptz,
        entered_by -> Text,
        entered_by_name -> Text,
        fingerprint -> Bytea,
        place -> Nullable<Uuid>,
        span_from -> Nullable<Timestamptz>,
        span_to -> Nullable<Timestamptz>,
    }
}

diesel::table! {
    genealogy.hold_lot (lot, hold) {
        hold -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    genealogy.hold_end (id) {
        id -> Uuid,
        hold -> Uuid,
        reason -> Text,
        signed_by_name -> Text,
        ticket -> Nullable<Uuid>,
        recorded_at -> Timestamptz,
        entered_by -> Text,
        entered_by_name -> Text,
        fingerprint -> Bytea,
    }
}

diesel::joinable!(lot_on_hand -> lot (lot));
diesel::joinable!(hold_lot -> hold (hold));
diesel::joinable!(hold_end -> hold (hold));
diesel::joinable!(transfer_lot -> transfer (transfer));
diesel::allow_tables_to_appear_in_same_query!(lot, lot_on_hand);
diesel::allow_tables_to_appear_in_same_query!(hold, hold_lot, hold_end);
diesel::allow_tables_to_appear_in_same_query!(transfer, transfer_lot);
diesel::allow_tables_to_appear_in_same_query!(lot, transformation_input, input_added);
diesel::allow_tables_to_appear_in_same_query!(open_item, open_item_end);
diesel::allow_tables_to_appear_in_same_query!(packed_case, case_state);
