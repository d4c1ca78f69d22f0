//! The making of a batch: its formula, its kits, its label, and the stops before the tip.
//! It never knows more than the contract.

mod dock;
mod journey;
mod kitchen;
mod label;
mod lots;
mod mixer;
mod packed;
mod refusals;
mod short_block;
mod tipped;
