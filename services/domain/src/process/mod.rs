//! Air, cook and instruments: humid air, the heat in a link, thermometers and scales.
//! It never stores a reading and never releases a product: it answers over what it is given.

pub mod air;
pub mod conduction;
pub mod cook;
pub mod correction;
pub mod cylinder;
pub mod food;
pub mod instrument;
mod root;
