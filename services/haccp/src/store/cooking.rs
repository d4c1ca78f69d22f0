//! Loads of a house, their samples, pulls and judgements as rows.
//! It never changes one: what is found anew stands beside what was found before.

pub mod block;
pub mod lists;
pub mod whole;
pub mod written;
