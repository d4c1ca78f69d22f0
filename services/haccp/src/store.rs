//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas, but for the safety versions that it raises.

pub mod challenges;
pub mod clearance;
pub mod cooking;
pub mod deviations;
pub mod drafts;
pub mod files;
pub mod foreign_material;
pub mod holds;
pub mod insert_reading;
pub mod instruments;
pub mod missed_checks;
pub mod plans;
pub mod readings;
pub mod reviews;
pub mod rows;
pub mod safety;
pub mod stations;

/// A connection, for whoever only hands one on.
pub type Connection = diesel_async::AsyncPgConnection;
