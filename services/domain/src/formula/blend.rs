//! The cheapest blend of materials that meets every limit, what each limit costs, and, where there
//! is none, which limits cannot hold together. It never reports a blend that misses a limit: it is
//! solved in exact arithmetic, so the tolerance is none.

use super::simplex::{Bounds, Side, Tableau};
use crate::exact::Exact;

/// A property of a material that a target may limit, in per cent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Property {
    /// Fat.
    Fat,
    /// Moisture.
    Moisture,
    /// Protein.
    Protein,
}

impl Property {
    /// Every property, in the order of the contract.
    pub const ALL: [Self; 3] = [Self::Fat, Self::Moisture, Self::Protein];

    /// Its word in the contract.
    pub fn word(self) -> &'static str {
        match self {
            Self::Fat => "fat_pct",
            Self::Moisture => "moisture_pct",
            Self::Protein => "protein_pct",
        }
    }

    /// The property of a word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|property| property.word() == word)
    }
}

/// A material that may go into the blend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Material {
    /// Its name, its own in the blend.
    pub name: String,
    /// Per cent by [`Property`]; one that no target limits may be unknown.
    pub pct: [Option<Exact>; 3],
    /// Cost of a kilogram, in any one currency.
    pub cost_per_kg: Exact,
    /// The least that must be used, not negative.
    pub min_kg: Option<Exact>,
    /// The most that there is, not below the least.
    pub max_kg: Option<Exact>,
}

/// Bounds on a property of the whole blend, in per cent, of which one at least is set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Target {
    /// What is limited.
    pub property: Property,
    /// The least.
    pub min: Option<Exact>,
    /// The most, not below the least.
    pub max: Option<Exact>,
}

/// A limit that the cheapest blend meets exactly.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Binding {
    /// `fat_pct.max`, `Beef 90/10.min_kg`.
    pub limit: String,
    /// What loosening it saves at first, per kg, or per percentage point of a target.
    pub shadow_price: Exact,
}

/// A cheapest blend; others may cost the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Optimum {
    /// What it costs.
    pub total_cost: Exact,
    /// Kilograms of each material, in order.
    pub kg: Vec<Exact>,
    /// Per cent by [`Property`]; nothing where a material that is used lacks it.
    pub achieved: [Option<Exact>; 3],
    /// The limits met exactly: targets, then materials.
    pub binding: Vec<Binding>,
}

/// The answer of a blend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Blend {
    /// There is a blend.
    Optimal(Box<Optimum>),
    /// There is none: limits that cannot hold together, while any of them left out lets the others
    /// hold.
    Infeasible(Vec<String>),
}

/// A limit by the variable that it bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Limit {
    variable: usize,
    side: Side,
}

struct Programme<'a> {
    materials: &'a [Material],
    targets: &'a [Target],
    total_kg: &'a Exact,
}

/// Minimises cost for `total_kg` above 0 with each property targeted once. Nothing when a material
/// lacks a property that a target limits. Method: a linear programme, solved exactly.
pub fn blend(materials: &[Material], targets: &[Target], total_kg: &Exact) -> Option<Blend> {
    let programme = Programme { materials, targets, total_kg };
    let mut tableau = programme.tableau()?;
    if let Err(found) = tableau.make_feasible() {
        let found = found.into_iter().map(|(variable, side)| Limit { variable, side });
        let found = found.filter(|limit| programme.bound(*limit).is_some()).collect();
        let conflicts = programme.fewest_conflicts(&mut tableau, found);
        let conflicts = conflicts.into_iter().map(|limit| programme.name(limit)).collect();
        return Some(Blend::Infeasible(conflicts));
    }
    tableau.minimise().then(|| Blend::Optimal(Box::new(programme.optimal(&tableau))))
}

impl Programme<'_> {
    /// One column a material; one row for the whole mass, then one a target.
    fn tableau(&self) -> Option<Tableau> {
        let mut rows = vec![vec![Exact::one(); self.materials.len()]];
        for target in self.targets {
            let row = self.materials.iter().map(|one| one.pct[target.property as usize].clone());
            rows.push(row.collect::<Option<_>>()?);
        }
        let costs = self.materials.iter().map(|one| one.cost_per_kg.clone()).collect();
        Some(Tableau::new(rows, costs, self.bounds(&self.limits())))
    }

    fn whole_mass(&self) -> usize {
        self.materials.len()
    }

    /// Every limit that a person set, targets first; a least of 0 says nothing.
    fn limits(&self) -> Vec<Limit> {
        let rows = self.whole_mass() + 1..self.whole_mass() + 1 + self.targets.len();
        let both = |variable| [Side::Lower, Side::Upper].map(|side| Limit { variable, side });
        let all = rows.chain(0..self.materials.len()).flat_map(both);
        all.filter(|limit| self.bound(*limit).is_some()).collect()
    }

    /// The number of a limit, if a person set it: kg, or % x kg for a target.
    fn bound(&self, limit: Limit) -> Option<Exact> {
        let (pair, unit) = match self.materials.get(limit.variable) {
            Some(one) => ((&one.min_kg, &one.max_kg), Exact::one()),
            None => {
                let at = limit.variable.checked_sub(self.whole_mass() + 1)?;
                let target = self.targets.get(at)?;
                ((&target.min, &target.max), self.total_kg.clone())
            }
        };
        match limit.side {
            Side::Lower => pair.0.as_ref().filter(|min| min.is_positive()),
            Side::Upper => pair.1.as_ref(),
        }
        .map(|bound| bound * &unit)
    }

    /// The bounds when only these limits hold, beside the whole mass and that no mass is negative.
    fn bounds(&self, limits: &[Limit]) -> Vec<Bounds> {
        let count = self.whole_mass() + 1 + self.targets.len();
        let mut bounds = vec![Bounds::default(); count];
        for material in &mut bounds[..self.materials.len()] {
            material.lower = Some(Exact::zero());
        }
        let total = Some(self.total_kg.clone());
        bounds[self.whole_mass()] = Bounds { lower: total.clone(), upper: total };
        for limit in limits {
            let bound = self.bound(*limit);
            match limit.side {
                Side::Lower => bounds[limit.variable].lower = bound,
                Side::Upper => bounds[limit.variable].upper = bound,
            }
        }
        bounds
    }

    fn name(&self, limit: Limit) -> String {
        let is_min = limit.side == Side::Lower;
        match self.materials.get(limit.variable) {
            Some(one) => format!("{}.{}", one.name, if is_min { "min_kg" } else { "max_kg" }),
            None => {
                let at = limit.variable.saturating_sub(self.whole_mass() + 1);
                let word = self.targets.get(at).map_or("total_kg", |t| t.property.word());
                format!("{word}.{}", if is_min { "min" } else { "max" })
            }
        }
    }

    fn optimal(&self, tableau: &Tableau) -> Optimum {
        let kg: Vec<Exact> =
            (0..self.materials.len()).map(|at| tableau.value(at).clone()).collect();
        let achieved = Property::ALL.map(|property| {
            let used = self.materials.iter().zip(&kg).filter(|(_, kg)| kg.is_positive());
            let parts = used.map(|(one, kg)| Some(one.pct[property as usize].as_ref()? * kg));
            parts.sum::<Option<Exact>>()?.checked_div(self.total_kg)
        });
        let is_tight = |limit: &Limit| tableau.is_tight(limit.variable, limit.side);
        let binding = self.limits().into_iter().filter(is_tight).map(|limit| {
            let saving = tableau.saving(limit.variable, limit.side);
            let is_target = limit.variable > self.whole_mass();
            let unit = if is_target { self.total_kg.clone() } else { Exact::one() };
            Binding { limit: self.name(limit), shadow_price: saving * unit }
        });
        Optimum { total_cost: tableau.cost(), binding: binding.collect(), achieved, kg }
    }

    /// Drops limits from a set that cannot hold until each that is left is needed; few targets that
    /// clash by themselves are preferred to many materials.
    fn fewest_conflicts(&self, tableau: &mut Tableau, found: Vec<Limit>) -> Vec<Limit> {
        let mut kept = found;
        kept.sort_by_cached_key(|limit| (limit.variable >= self.whole_mass(), self.bound(*limit)));
        let mut tried = 0;
        while tried < kept.len() {
            let mut fewer = kept.clone();
            fewer.remove(tried);
            match self.conflict_within(tableau, &fewer) {
                Some(clash) => kept.retain(|limit| clash.contains(limit)),
                None => tried += 1,
            }
        }
        let targets = self.limits().into_iter().filter(|limit| limit.variable > self.whole_mass());
        let targets: Vec<Limit> = targets.collect();
        for count in 1..kept.len().min(targets.len() + 1) {
            let clash = subsets(&targets, count)
                .into_iter()
                .find(|subset| self.conflict_within(tableau, subset).is_some());
            if let Some(clash) = clash {
                return clash;
            }
        }
        let all = self.limits();
        all.into_iter().filter(|limit| kept.contains(limit)).collect()
    }

    /// Limits out of these that cannot hold together; nothing when all can.
    fn conflict_within(&self, tableau: &mut Tableau, limits: &[Limit]) -> Option<Vec<Limit>> {
        tableau.set_bounds(self.bounds(limits));
        let clash = tableau.make_feasible().err()?;
        let clash = clash.into_iter().map(|(variable, side)| Limit { variable, side });
        Some(clash.filter(|limit| limits.contains(limit)).collect())
    }
}

/// Every choice of `count` out of a few limits.
fn subsets(limits: &[Limit], count: usize) -> Vec<Vec<Limit>> {
    if count == 0 {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for (at, first) in limits.iter().enumerate() {
        for mut rest in subsets(&limits[at + 1..], count - 1) {
            rest.insert(0, *first);
            all.push(rest);
        }
    }
    all
}

#[cfg(test)]
mod tests;
