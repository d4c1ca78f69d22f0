//! What the inputs of lots cost, through the lot graph.
//! It never guesses a price: a lot without one is named, and the sum is then not known.

use super::flow::Graph;
use crate::exact::Exact;

/// A price: so many minor units of money for so many grams.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Price {
    /// Cents, or the least coin of another currency.
    pub amount_minor: Exact,
    /// For this mass in grams; above 0.
    pub per_g: Exact,
}

/// One input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its place among the lots.
    pub lot: usize,
    /// So much of it is in what was asked for, in grams.
    pub mass_g: Exact,
    /// What that costs in minor units; nothing without a price.
    pub cost_minor: Option<Exact>,
}

/// What goes into lots, by what nothing of the plant made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cost {
    /// The inputs, in the order of the lots.
    pub lines: Vec<Line>,
    /// What is known of the cost, in minor units.
    pub known_minor: Exact,
}

impl Cost {
    /// All of it in minor units; nothing while a price is missing.
    pub fn total_minor(&self) -> Option<Exact> {
        let is_whole = self.lines.iter().all(|line| line.cost_minor.is_some());
        is_whole.then(|| self.known_minor.clone())
    }
}

/// The cost of `roots`; `prices` stand in the order of the lots.
pub fn of(graph: &Graph, roots: &[usize], prices: &[Option<Price>]) -> Cost {
    let parts = graph.back(roots, |_| false);
    let held = graph.lots().iter().zip(parts).map(|(lot, part)| (lot, &part * &lot.mass_g));
    let inputs = held.enumerate();
    let inputs = inputs.filter(|(_, (lot, held))| lot.made_by.is_none() && held.is_positive());
    let line = |(lot, (_, mass_g)): (usize, (_, Exact))| {
        let price = prices.get(lot).and_then(Option::as_ref);
        let cost =
            price.and_then(|price| (&mass_g * &price.amount_minor).checked_div(&price.per_g));
        Line { lot, mass_g, cost_minor: cost }
    };
    let lines: Vec<Line> = inputs.map(line).collect();
    let known_minor = lines.iter().filter_map(|line| line.cost_minor.as_ref()).sum();
    Cost { lines, known_minor }
}
