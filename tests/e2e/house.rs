//! The house itself: doors, contract, write doors, starts and stops.
//! It never tests a rule of the plant.

mod access;
mod bad_input;
pub mod rpc;
mod start;
mod stop;
mod traces;
mod writes;
