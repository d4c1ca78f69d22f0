//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod challenges;
pub mod deviations;
pub mod drafts;
pub mod follows;
pub mod instruments;
pub mod plans;
pub mod readings;
