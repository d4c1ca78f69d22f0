//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod agents;
pub mod blend;
pub mod brine;
pub mod composition;
pub mod convert;
pub mod declaration;
pub mod kinds;
mod masses;
pub mod scale;
mod shape;
pub mod shrink;
