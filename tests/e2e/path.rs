//! The path of one reading, from a person to a record with its leaf, through the real program.
//! It never takes a word for it: what was answered is looked up in the database too.

mod crash;
pub mod crew;
pub mod forms;
pub mod goods;
pub mod grpc;
mod journey;
pub mod ledger;
mod refusals;
mod schemathesis;
mod tickets;
