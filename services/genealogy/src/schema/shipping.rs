//! The tables of cases, pallets and shipments, and of what was told of them.
//! It never holds a query.

diesel::table! {
    genealogy.packing (id) {
        id -> Uuid,
        lot -> Uuid,
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
        label_revision -> Text,
    }
}

diesel::table! {
    genealogy.packed_case (serial) {
        serial -> Text,
        packing -> Uuid,
        lot -> Uuid,
        mass_value -> Numeric,
        mass_unit -> Text,
        mass_g -> Numeric,
        packed_at -> Timestamptz,
    }
}

diesel::table! {
    genealogy.rerun (id) {
        id -> Uuid,
        place -> Uuid,
        place_version -> Integer,
        place_name -> Text,
        note -> Text,
        hold -> Nullable<Uuid>,
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
    genealogy.rerun_case (serial, rerun) {
        rerun -> Uuid,
        serial -> Text,
        is_rejected -> Bool,
        passed_at -> Timestamptz,
    }
}

diesel::table! {
    genealogy.pallet (id) {
        id -> Uuid,
        label -> Text,
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
    genealogy.pallet_change (id) {
        id -> Uuid,
        pallet -> Uuid,
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
    genealogy.pallet_case (record, serial) {
        record -> Uuid,
        pallet -> Uuid,
        serial -> Text,
        is_on -> Bool,
    }
}

diesel::table! {
    genealogy.shipment (id) {
        id -> Uuid,
        customer -> Uuid,
        customer_version -> Integer,
        customer_name -> Text,
        place -> Uuid,
        place_version -> Integer,
        place_name -> Text,
        truck -> Text,
        clearance -> Nullable<Uuid>,
        is_unclear -> Bool,
        reasons -> Jsonb,
        closure_lots -> Integer,
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
        label_cover -> Nullable<Uuid>,
    }
}

diesel::table! {
    genealogy.shipment_case (shipment, serial) {
        shipment -> Uuid,
        serial -> Text,
        pallet -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    genealogy.shipment_lot (lot, shipment) {
        shipment -> Uuid,
        lot -> Uuid,
        mass_g -> Numeric,
        taken_g -> Numeric,
    }
}

diesel::table! {
    genealogy.case_state (serial) {
        serial -> Text,
        pallet -> Nullable<Uuid>,
        shipment -> Nullable<Uuid>,
        destruction -> Nullable<Uuid>,
    }
}

diesel::table! {
    genealogy.after_shipment (id) {
        id -> Uuid,
        what -> Text,
        about -> Text,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.after_shipment_case (after_shipment, serial) {
        after_shipment -> Uuid,
        shipment -> Uuid,
        serial -> Text,
    }
}

diesel::table! {
    genealogy.refused_message (id) {
        id -> Uuid,
        method -> Text,
        reason -> Text,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    genealogy.refused_message_lot (lot, refused_message) {
        refused_message -> Uuid,
        lot -> Uuid,
    }
}

diesel::table! {
    genealogy.hold_case (serial, hold) {
        hold -> Uuid,
        serial -> Text,
    }
}
