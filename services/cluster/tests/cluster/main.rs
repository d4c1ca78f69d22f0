//! Drives real clusters of the installed Postgres from outside the crate.
//! It never uses a network port, so it can run beside any other Postgres.

mod crashing;
mod starting;
mod support;
