//! The plant's arithmetic, rules and science, so that every verdict has one home.
//! Pure: it never reads a file, a clock, a network or a random source, and holds no state.

pub mod curve;
pub mod exact;
pub mod fault;
pub mod formula;
pub mod gs1;
pub mod haccp;
pub mod heat;
pub mod lot_code;
pub mod merkle;
pub mod packs;
pub mod process;
pub mod record;
pub mod rules;
pub mod tree;
pub mod units;
pub mod verdict;
pub mod yields;
