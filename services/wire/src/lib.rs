//! The contract in Rust: types, clients and servers made from proto/, and the one JSON codec.
//! It holds no business rule, opens no connection and reads no file.

pub mod checks;
pub mod codec;
pub mod contract;
pub mod json;

mod clear;
mod format;
mod options;
mod rules;
#[cfg(test)]
#[path = "tests/sample.rs"]
mod sample;
mod shape;

/// What the build script makes from proto/, in the tree of its packages.
#[expect(clippy::allow_attributes, reason = "the generator writes its own allow attributes")]
mod generated {
    include!(concat!(env!("OUT_DIR"), "/generated.rs"));
}

// The packages hankbook.v1 and hankbook.internal.v1 as `v1` and `internal::v1`.
pub use generated::google;
pub use generated::hankbook::*;
