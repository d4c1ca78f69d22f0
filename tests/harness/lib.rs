//! What every end-to-end test stands on: a private Postgres, the real program, a plant's clients.
//! It never stands in for a part of the product.

pub mod client;
pub mod dock;
pub mod embedded;
pub mod pages;
pub mod plant;
pub mod program;
pub mod shared;
pub mod stock;
pub mod tokens;

pub use client::{Answer, Client};
pub use embedded::Embedded;
pub use plant::{Options, Plant};
