//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod cooking;
pub mod deviations;
pub mod drafts;
pub mod plans;
pub mod readings;
