//! Between the contract's messages and this service's rows.
//! It never asks the database.

pub mod challenges;
pub mod clearance;
pub mod closings;
pub mod cooking;
pub mod deviations;
pub mod drafts;
pub mod files;
pub mod follows;
pub mod foreign_material;
pub mod instruments;
pub mod missed_checks;
pub mod open_items;
pub mod plans;
pub mod readings;
pub mod reviews;
pub mod stations;
