//! The judgement of HACCP checks.
//! It never records anything and never heals a check that was not met.

pub mod chill;
pub mod cook;
pub mod fall;
pub mod gate;
pub mod reading;
pub mod samples;
