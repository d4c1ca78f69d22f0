//! Heat and cold held against published values, two days of a plant, and what must never change.
//! It never leaves the tests.

mod days;
mod invariants;
mod published;
mod samples;
