//! Calculations over what a caller sends: the shapes around the pure functions of `domain`.
//! It never stores anything and holds no formula or limit of its own.

pub mod control_chart;
pub mod convert;
pub mod gs1;
pub mod kinds;
pub mod net_contents;
mod shape;
