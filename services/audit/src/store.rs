//! This service's rows in Postgres.
//! It never speaks of messages or of other schemas.

pub mod entries;
pub mod seal;
pub mod tree;

use domain::record::Hash;
use platform::error::Failure;

/// A hash column; its length is checked by the table.
fn hash_of(bytes: &[u8]) -> Result<Hash, Failure> {
    bytes.try_into().map_err(Failure::internal)
}
