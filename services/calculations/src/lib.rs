//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod convert;
pub mod cooling;
pub mod kinds;
mod kinetics;
pub mod lethality;
mod probes;
mod shape;
