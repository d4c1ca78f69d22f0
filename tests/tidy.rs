//! Placeholder while the rules are written.
//! It never stays.
