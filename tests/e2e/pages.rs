//! The pages through the real program: as a browser asks for them, and as a person sees them.
//! It never reads a page's source to learn what it would show.

mod browser;
mod busy;
mod cooked;
mod doors;
mod file;
mod running;
mod scene;
mod tasks;
pub mod visitor;
mod work;
