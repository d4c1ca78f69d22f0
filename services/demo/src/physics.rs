//! What a link really does in a house and in a cooler, so that the demo's numbers could be true.
//! It never judges: the plant's services are given these numbers as any probe would show them.

pub mod house;
pub mod link;

pub use house::{Programme, Shown};
