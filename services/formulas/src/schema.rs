//! The tables of the schema as queries see them; a test compares them with the database.
//! It never holds a query.

diesel::table! {
    formulas.material (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        kind -> Text,
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
    formulas.material_in_force (material) {
        material -> Uuid,
        version -> Integer,
        name -> Text,
    }
}

diesel::table! {
    formulas.specification (id) {
        id -> Uuid,
        material -> Uuid,
        version -> Integer,
        lot -> Nullable<Uuid>,
        in_force_from -> Timestamptz,
        content -> Bytea,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    formulas.product (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        product_class -> Text,
        standard_id -> Text,
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
    formulas.label (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        item -> Text,
        revision -> Text,
        statement -> Text,
        allergens -> Array<Text>,
        in_force_from -> Timestamptz,
        in_force_to -> Nullable<Timestamptz>,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    formulas.formula_draft (formula) {
        formula -> Uuid,
        version -> Integer,
        content -> Bytea,
        edited_by -> Text,
        edited_by_name -> Text,
        edited_at -> Timestamptz,
    }
}

diesel::table! {
    formulas.formula (id, version) {
        id -> Uuid,
        version -> Integer,
        record_id -> Uuid,
        name -> Text,
        product -> Uuid,
        label -> Uuid,
        content -> Bytea,
        warnings -> Bytea,
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
    formulas.formula_in_force (formula) {
        formula -> Uuid,
        version -> Integer,
    }
}

diesel::table! {
    formulas.batch_sheet (id) {
        id -> Uuid,
        formula -> Uuid,
        formula_version -> Integer,
        content -> Bytea,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    formulas.kit (id) {
        id -> Uuid,
        lot -> Uuid,
        formula -> Uuid,
        formula_version -> Integer,
        content -> Bytea,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::table! {
    formulas.kit_use (id) {
        id -> Uuid,
        lot -> Uuid,
        batch -> Uuid,
        recorded_at -> Timestamptz,
        day -> Date,
        entered_by -> Text,
        entered_by_name -> Text,
        station -> Text,
        fingerprint -> Bytea,
    }
}

diesel::allow_tables_to_appear_in_same_query!(material, material_in_force);
diesel::allow_tables_to_appear_in_same_query!(formula, formula_in_force, product);
