//! Weighings from the dock to the case, the shrink between them and what the inputs cost, through
//! the real program. It never weighs what the lot graph did not make.

mod cost;
mod floor;
mod pages;
mod shrink;
mod weighings;
