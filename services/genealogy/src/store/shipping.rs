//! Rows of cases, pallets and shipments, and of what was told of them.
//! It never lets a case stand in two places: its state row is locked before it changes.

pub mod after;
pub mod cases;
pub mod listed;
pub mod messages;
pub mod packings;
pub mod pallets;
pub mod picture;
pub mod reruns;
pub mod scopes;
pub mod shipments;
