//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod convert;
pub mod cook_projection;
pub mod instrument_check;
pub mod kinds;
pub mod psychrometrics;
mod shape;
