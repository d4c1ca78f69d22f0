//! Heat and cold: whether a cook killed enough and a chill was fast enough, from probe curves.
//! It never judges one probe alone where several watch, and never fills a gap in a curve.

pub mod bounds;
pub mod cooling;
pub mod dwell;
pub mod fallen_probe;
mod fraction;
pub mod growth;
pub mod heating;
pub mod humidity;
pub mod integral;
pub mod model;
pub mod probes;
pub mod product;
mod sweep;
pub mod tenths;
#[cfg(test)]
mod tests;
mod track;

use crate::exact::Exact;

/// How the time between two readings is understood.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Between {
    /// Straight lines: readings of a logger.
    #[default]
    Linear,
    /// Nothing is known but the readings: a person read by hand.
    Bounds,
}

/// A time in seconds for a person: whole or to the thousandth, never cut to a limit it is not at.
fn in_words(seconds: &Exact) -> String {
    let thousand = Exact::whole(1000);
    let rounded = (seconds * &thousand).round() / thousand;
    if rounded == *seconds { format!("{rounded} s") } else { format!("about {rounded} s") }
}
