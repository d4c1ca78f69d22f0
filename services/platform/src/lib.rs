//! The plumbing that every service shares: clock, doors to Postgres, tokens, hops, errors.
//! It never holds a rule of the plant, and its files are a closed list, not an attic.

pub mod caller;
pub mod clock;
pub mod condition;
pub mod db;
pub mod error;
pub mod hop;
pub mod idempotency;
pub mod moments;
pub mod outbox;
pub mod pages;
pub mod plant;
pub mod records;
pub mod revocation;
pub mod server;
pub mod service;
pub mod shape;
pub mod statement;
pub mod tasks;
pub mod telemetry;
pub mod tickets;
pub mod tokens;
pub mod traces;
pub mod watch;
