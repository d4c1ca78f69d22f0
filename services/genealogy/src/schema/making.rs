//! The tables of what makes lots of lots, moves them, takes them up and destroys them.
//! It never holds a query.

diesel::table! {
    genealogy.transformation (id) {
        id -> Uuid,
        kind -> Text,
        place -> Uuid,
        place_version -> Integer,
        place_name -> Text,
        additions -> Jsonb,
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
    genealogy.input_added (id) {
        id -> Uuid,
        transformation -> Uuid,
        reason -> Text,
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
    genealogy.transformation_input (record, lot) {
        record -> Uuid,
        transformation -> Uuid,
        lot -> Uuid,
        mass_value -> Numeric,
        mass_unit -> Text,
        mass_g -> Numeric,
        taken_g -> Numeric,
    }
}

diesel::table! {
    genealogy.opening_statement (id) {
        id -> Uuid,
        statement -> Text,
        ticket -> Uuid,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.destruction (id) {
        id -> Uuid,
        lot -> Uuid,
        mass_value -> Numeric,
        mass_unit -> Text,
        mass_g -> Numeric,
        deviation -> Nullable<Uuid>,
        reason -> Text,
        ticket -> Uuid,
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
    genealogy.destroyed_case (destruction, serial) {
        destruction -> Uuid,
        serial -> Text,
    }
}

diesel::table! {
    genealogy.transfer (id) {
        id -> Uuid,
        place -> Uuid,
        place_version -> Integer,
        place_name -> Text,
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
    genealogy.batch (id) {
        id -> Uuid,
        transformation -> Uuid,
        cause -> Uuid,
        formula -> Uuid,
        formula_version -> Integer,
        hold_for_label -> Bool,
        answer -> Uuid,
        question -> Bytea,
        judgement -> Bytea,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.transfer_lot (lot, transfer) {
        transfer -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    genealogy.transfer_pallet (pallet, transfer) {
        transfer -> Uuid,
        pallet -> Uuid,
    }
}

diesel::table! {
    genealogy.open_item (id) {
        id -> Uuid,
        code -> Text,
        record -> Uuid,
        what -> Text,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.open_item_lot (lot, open_item) {
        open_item -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    genealogy.open_item_end (id) {
        id -> Uuid,
        open_item -> Uuid,
        answer -> Text,
        ticket -> Uuid,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}
