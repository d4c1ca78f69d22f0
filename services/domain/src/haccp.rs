//! The judgement of HACCP checks.
//! It never records anything and never heals a check that was not met.

pub mod gate;
pub mod reading;
