//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas, but for the safety versions that it raises.

pub mod challenges;
pub mod deviations;
pub mod drafts;
pub mod insert_reading;
pub mod instruments;
pub mod plans;
pub mod readings;
pub mod rows;
pub mod safety;
