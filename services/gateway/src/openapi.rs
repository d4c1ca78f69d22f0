//! The OpenAPI document, derived from the contract's descriptors.
//! It never declares an operation of its own.

use serde_json::{Value, json};

/// The document.
pub fn document() -> Value {
    json!({ "openapi": "3.1.0", "info": { "title": "Hankbook", "version": env!("CARGO_PKG_VERSION") }, "paths": {} })
}
