//! Every journey through the real program, one module each, in one binary.
//! It never looks inside the program: what it proves, a user could see.

mod batch;
mod demo;
mod gate;
mod house;
mod pages;
mod path;
mod replay;
mod sealed;
mod walk;
mod yields;
