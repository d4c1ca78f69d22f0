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
