//! The making of a batch: its formula, its kits, its label, and the stops before the tip.
//! It never tips anything: what genealogy does with the answers has journeys of its own.

mod kitchen;
mod label;
mod refusals;
mod short_block;
