//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas.

pub mod drafts;
