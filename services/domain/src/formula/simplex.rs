//! A linear programme with few rows, solved in exact arithmetic, so that an optimum is one and a
//! price is a price. It never rounds, and it never cycles: after some idle steps it takes Bland's
//! rule. Method: the simplex method for bounded variables (Dantzig 1955; Bland 1977).

use crate::exact::Exact;

/// Steps without progress after which the smallest index is taken (Bland's rule).
const IDLE_STEPS: usize = 20;

/// One of the two bounds of a variable.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Lower,
    Upper,
}

/// The bounds of a variable; an absent one does not bind.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Bounds {
    pub(super) lower: Option<Exact>,
    pub(super) upper: Option<Exact>,
}

impl Bounds {
    fn allow_more(&self, value: &Exact) -> bool {
        self.upper.as_ref().is_none_or(|upper| value < upper)
    }

    fn allow_less(&self, value: &Exact) -> bool {
        self.lower.as_ref().is_none_or(|lower| value > lower)
    }

    /// The bound of a side.
    pub(super) fn at(&self, side: Side) -> Option<&Exact> {
        match side {
            Side::Lower => self.lower.as_ref(),
            Side::Upper => self.upper.as_ref(),
        }
    }
}

/// The variables of the columns come first, then one for the value of each row. Every basic
/// variable, and the cost, is a sum over the others.
#[derive(Clone, Debug)]
pub(super) struct Tableau {
    rows: Vec<Vec<Exact>>,
    costs: Vec<Exact>,
    basic: Vec<usize>,
    others: Vec<usize>,
    bounds: Vec<Bounds>,
    values: Vec<Exact>,
}

impl Tableau {
    /// A programme: minimise the sum of cost times column, within the bounds of every column and
    /// then of every row's value. All rows are as long as `costs`.
    pub(super) fn new(rows: Vec<Vec<Exact>>, costs: Vec<Exact>, bounds: Vec<Bounds>) -> Self {
        let (columns, count) = (costs.len(), costs.len() + rows.len());
        Self {
            basic: (columns..count).collect(),
            others: (0..columns).collect(),
            values: vec![Exact::zero(); count],
            rows,
            costs,
            bounds,
        }
    }

    /// The value of a variable.
    pub(super) fn value(&self, variable: usize) -> &Exact {
        &self.values[variable]
    }

    /// The cost at the present values.
    pub(super) fn cost(&self) -> Exact {
        self.others.iter().zip(&self.costs).map(|(other, cost)| cost * &self.values[*other]).sum()
    }

    /// Replaces all bounds.
    pub(super) fn set_bounds(&mut self, bounds: Vec<Bounds>) {
        self.bounds = bounds;
    }

    /// Finds values within all bounds; else names bounds that cannot hold together.
    pub(super) fn make_feasible(&mut self) -> Result<(), Vec<(usize, Side)>> {
        self.settle();
        let mut idle_steps = 0;
        while idle_steps < IDLE_STEPS {
            let outside = self.outside();
            if outside.is_empty() {
                return Ok(());
            }
            let pull = self.pull(&outside);
            let Some(column) = self.strongest(&pull) else {
                return Err(self.conflict(&outside, &pull));
            };
            let is_up = pull[column].is_positive();
            let Some((step, row)) = self.longest_step(column, is_up) else { break };
            if step.is_zero() {
                idle_steps += 1;
            }
            self.shift(column, &if is_up { step } else { -step });
            if let Some(row) = row {
                self.pivot(row, column);
            }
        }
        self.make_feasible_by_index()
    }

    /// The same by the smallest index alone: slower, and known to end.
    fn make_feasible_by_index(&mut self) -> Result<(), Vec<(usize, Side)>> {
        let first = |all: Vec<(usize, Side)>, basic: &[usize]| {
            all.into_iter().min_by_key(|(row, _)| basic[*row])
        };
        while let Some((row, side)) = first(self.outside(), &self.basic) {
            let pull = self.pull(&[(row, side)]);
            let columns = (0..self.others.len()).filter(|column| self.follows(&pull, *column));
            let Some(column) = columns.min_by_key(|column| self.others[*column]) else {
                return Err(self.conflict(&[(row, side)], &pull));
            };
            let leaving = self.basic[row];
            let wanted = self.bounds[leaving].at(side).cloned();
            let missing = wanted.unwrap_or_else(Exact::zero) - self.values[leaving].clone();
            self.shift(column, &(missing / self.rows[row][column].clone()));
            self.pivot(row, column);
        }
        Ok(())
    }

    /// Puts every variable outside the basis on a bound, and the basic ones where that puts them.
    fn settle(&mut self) {
        for other in &self.others {
            let bounds = &self.bounds[*other];
            let is_at = |side| bounds.at(side) == Some(&self.values[*other]);
            if is_at(Side::Lower) || is_at(Side::Upper) {
                continue;
            }
            let bound = bounds.lower.clone().or_else(|| bounds.upper.clone());
            self.values[*other] = bound.unwrap_or_else(Exact::zero);
        }
        for (row, basic) in self.rows.iter().zip(&self.basic) {
            let parts =
                self.others.iter().zip(row).map(|(other, part)| part * &self.values[*other]);
            self.values[*basic] = parts.sum();
        }
    }

    /// The rows whose basic variable stands outside a bound.
    fn outside(&self) -> Vec<(usize, Side)> {
        let outside = self.basic.iter().enumerate().filter_map(|(row, basic)| {
            let (bounds, value) = (&self.bounds[*basic], &self.values[*basic]);
            if bounds.lower.as_ref().is_some_and(|lower| value < lower) {
                return Some((row, Side::Lower));
            }
            let is_above = bounds.upper.as_ref().is_some_and(|upper| value > upper);
            is_above.then_some((row, Side::Upper))
        });
        outside.collect()
    }

    /// By how much each column brings these rows back, for each unit that it rises.
    fn pull(&self, outside: &[(usize, Side)]) -> Vec<Exact> {
        let mut pull = vec![Exact::zero(); self.others.len()];
        for (row, side) in outside {
            for (sum, part) in pull.iter_mut().zip(&self.rows[*row]).filter(|(_, p)| !p.is_zero()) {
                *sum = if *side == Side::Lower { &*sum + part } else { &*sum - part };
            }
        }
        pull
    }

    /// True where the variable of a column may go where it is pulled.
    fn follows(&self, pull: &[Exact], column: usize) -> bool {
        let other = self.others[column];
        let (bounds, value) = (&self.bounds[other], &self.values[other]);
        (pull[column].is_positive() && bounds.allow_more(value))
            || (pull[column].is_negative() && bounds.allow_less(value))
    }

    fn strongest(&self, pull: &[Exact]) -> Option<usize> {
        let columns = (0..pull.len()).filter(|column| self.follows(pull, *column));
        columns.max_by_key(|column| pull[*column].abs())
    }

    /// The bounds that are not met, and every bound that holds the pulled variables where they are.
    fn conflict(&self, outside: &[(usize, Side)], pull: &[Exact]) -> Vec<(usize, Side)> {
        let missed = outside.iter().map(|(row, side)| (self.basic[*row], *side));
        let held = self.others.iter().zip(pull).filter(|(_, pull)| !pull.is_zero());
        let held = held.map(|(other, pull)| {
            (*other, if pull.is_positive() { Side::Upper } else { Side::Lower })
        });
        missed.chain(held).collect()
    }

    /// Lowers the cost to its least from values within all bounds; false where it has none.
    pub(super) fn minimise(&mut self) -> bool {
        let mut idle_steps = 0;
        while let Some(column) = self.entering(idle_steps >= IDLE_STEPS) {
            let is_up = self.costs[column].is_negative();
            let Some((step, row)) = self.longest_step(column, is_up) else {
                return false;
            };
            if step.is_zero() {
                idle_steps += 1;
            }
            self.shift(column, &if is_up { step } else { -step });
            if let Some(row) = row {
                self.pivot(row, column);
            }
        }
        true
    }

    /// The column whose change lowers the cost: the steepest, or the first by Bland's rule.
    fn entering(&self, is_first: bool) -> Option<usize> {
        let pull: Vec<Exact> = self.costs.iter().map(|cost| -cost.clone()).collect();
        if !is_first {
            return self.strongest(&pull);
        }
        let columns = (0..pull.len()).filter(|column| self.follows(&pull, *column));
        columns.min_by_key(|column| self.others[*column])
    }

    /// How far a column may go, and the row that stops it, if it is not its own other bound.
    /// Nothing when nothing stops it.
    fn longest_step(&self, column: usize, is_up: bool) -> Option<(Exact, Option<usize>)> {
        let other = self.others[column];
        let end = self.bounds[other].at(if is_up { Side::Upper } else { Side::Lower });
        let own = end.map(|end| ((end - &self.values[other]).abs(), None));
        let rows = self.basic.iter().enumerate().filter_map(|(row, basic)| {
            let part = &self.rows[row][column];
            let is_rising = part.is_positive() == is_up;
            let (bounds, value) = (&self.bounds[*basic], &self.values[*basic]);
            // A value that is outside stops at the bound that it comes back to.
            let (first, second) = if is_rising {
                (bounds.lower.as_ref().filter(|lower| value < lower), &bounds.upper)
            } else {
                (bounds.upper.as_ref().filter(|upper| value > upper), &bounds.lower)
            };
            // One that moves away from its bound is stopped by none.
            let is_ahead = |end: &&Exact| if is_rising { value <= *end } else { value >= *end };
            let room = (first.or(second.as_ref().filter(is_ahead))? - value).abs();
            Some((room.checked_div(&part.abs())?, Some(row)))
        });
        let index = |stop: &Option<usize>| stop.map(|row| self.basic[row]);
        own.into_iter().chain(rows).min_by(|(a, a_stop), (b, b_stop)| {
            a.cmp(b).then_with(|| index(a_stop).cmp(&index(b_stop)))
        })
    }

    fn shift(&mut self, column: usize, step: &Exact) {
        let other = self.others[column];
        self.values[other] = &self.values[other] + step;
        for (row, basic) in self.rows.iter().zip(&self.basic) {
            self.values[*basic] = &self.values[*basic] + &(&row[column] * step);
        }
    }

    /// Exchanges the basic variable of `row` and the variable of `column`, whose part is not 0.
    fn pivot(&mut self, row: usize, column: usize) {
        let part = self.rows[row][column].clone();
        let mut exchanged: Vec<Exact> = self.rows[row].iter().map(|own| -(own / &part)).collect();
        exchanged[column] = Exact::one() / part;
        let substitute = |sum: &mut Vec<Exact>| {
            let times = std::mem::replace(&mut sum[column], Exact::zero());
            if times.is_zero() {
                return;
            }
            for (own, new) in sum.iter_mut().zip(&exchanged) {
                *own = &*own + &(&times * new);
            }
        };
        for (at, sum) in self.rows.iter_mut().enumerate() {
            if at != row {
                substitute(sum);
            }
        }
        substitute(&mut self.costs);
        self.rows[row] = exchanged;
        std::mem::swap(&mut self.basic[row], &mut self.others[column]);
    }

    /// True when the variable stands on the bound.
    pub(super) fn is_tight(&self, variable: usize, side: Side) -> bool {
        self.bounds[variable].at(side) == Some(&self.values[variable])
    }

    /// At an optimum: by how much the cost falls for each unit by which the bound is loosened, at
    /// first. Of all optimal dual prices that is the least.
    pub(super) fn saving(&self, variable: usize, side: Side) -> Exact {
        let place = self.others.iter().position(|other| *other == variable);
        let Some(column) = place.filter(|_| self.is_tight(variable, side)) else {
            return Exact::zero();
        };
        let cost = &self.costs[column];
        let price = if side == Side::Lower { cost.clone() } else { -cost.clone() };
        if !price.is_positive() {
            return Exact::zero();
        }
        let is_loose = |basic: &usize| {
            !self.is_tight(*basic, Side::Lower) && !self.is_tight(*basic, Side::Upper)
        };
        if self.basic.iter().all(is_loose) {
            return price;
        }
        self.first_saving(variable, side)
    }

    /// The same where several dual prices are optimal: the best direction that the bounds which
    /// hold here allow, once this one gives way by a unit.
    fn first_saving(&self, variable: usize, side: Side) -> Exact {
        let hold = |at: usize, side| self.is_tight(at, side).then(Exact::zero);
        let bounds = (0..self.values.len())
            .map(|at| Bounds { lower: hold(at, Side::Lower), upper: hold(at, Side::Upper) });
        let mut bounds: Vec<Bounds> = bounds.collect();
        match side {
            Side::Lower => bounds[variable].lower = Some(-Exact::one()),
            Side::Upper => bounds[variable].upper = Some(Exact::one()),
        }
        let mut directions = self.clone();
        directions.values = vec![Exact::zero(); self.values.len()];
        directions.bounds = bounds;
        directions.minimise();
        -directions.cost()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn bounds(lower: Option<i64>, span: Option<i64>) -> Bounds {
        let upper = span.map(|span| Exact::whole(lower.unwrap_or(0) + span));
        Bounds { lower: lower.map(Exact::whole), upper }
    }

    fn holds(tableau: &Tableau) -> bool {
        let mut all = tableau.bounds.iter().zip(&tableau.values);
        all.all(|(bounds, value)| {
            bounds.lower.as_ref().is_none_or(|lower| value >= lower)
                && bounds.upper.as_ref().is_none_or(|upper| value <= upper)
        })
    }

    proptest! {
        #[test]
        fn both_ways_to_feasible_values_agree(
            parts in prop::collection::vec(-3i64..4, 12),
            columns in prop::collection::vec((0i64..3, prop::option::of(0i64..4)), 4),
            rows in prop::collection::vec((-9i64..9, prop::option::of(0i64..3)), 3),
        ) {
            let matrix = parts.chunks(4).map(|row| row.iter().map(|p| Exact::whole(*p)).collect());
            let all = columns.iter().chain(&rows).map(|(lower, span)| bounds(Some(*lower), *span));
            let costs = vec![Exact::one(); 4];
            let mut quick = Tableau::new(matrix.collect(), costs, all.collect());
            let mut sure = quick.clone();
            sure.settle();
            let (quickly, surely) = (quick.make_feasible(), sure.make_feasible_by_index());
            prop_assert_eq!(quickly.is_ok(), surely.is_ok());
            for (found, tableau) in [(quickly, quick), (surely, sure)] {
                let Err(clash) = found else {
                    prop_assert!(holds(&tableau));
                    continue;
                };
                // The bounds that are named cannot hold even with all others gone.
                let mut only = vec![Bounds::default(); tableau.bounds.len()];
                for (variable, side) in clash {
                    let bound = tableau.bounds[variable].at(side).cloned();
                    prop_assert!(bound.is_some());
                    match side {
                        Side::Lower => only[variable].lower = bound,
                        Side::Upper => only[variable].upper = bound,
                    }
                }
                let mut fewer = tableau.clone();
                fewer.set_bounds(only);
                prop_assert!(fewer.make_feasible().is_err());
            }
        }
    }
}
