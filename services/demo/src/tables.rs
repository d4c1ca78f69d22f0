//! The plant as it stands: its people, places, partners, products and week, in tables to read.
//! It never holds anything real: every name and brand is invented.

pub mod materials;
pub mod partners;
pub mod people;
pub mod places;
pub mod products;
pub mod specifications;
pub mod week;
