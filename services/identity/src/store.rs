//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas.

pub mod credentials;
pub mod people;
pub mod sessions;
pub mod settings;
pub mod sign_in;
pub mod stations;
pub mod tries;
