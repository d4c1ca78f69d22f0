//! Yield and shrink from stage to stage, each of two weights.
//! It never judges a yield: a gain is said, and left to a person.

use super::percent_of;
use crate::exact::Exact;
use crate::fault::Faults;
use crate::units::Quantity;

/// A stage of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stage {
    /// Its mass, in the unit of the first stage.
    pub mass: Quantity,
    /// This mass in per cent of the stage before; nothing for the first.
    pub step_yield_pct: Option<Exact>,
    /// What the step lost; negative for a gain.
    pub step_shrink_pct: Option<Exact>,
    /// This mass in per cent of the first.
    pub cumulative_yield_pct: Exact,
}

/// A chain of stages; the product of the step yields is the total yield.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chain {
    /// The stages in their order.
    pub stages: Vec<Stage>,
    /// The last mass in per cent of the first.
    pub total_yield_pct: Exact,
    /// What the whole chain lost; negative for a gain.
    pub total_shrink_pct: Exact,
    /// Indices of the stages that weigh more than the one before.
    pub gains: Vec<usize>,
}

/// Yields of at least two stages. Faults: fewer stages; nothing left before the last of them.
pub fn chain(masses: &[Quantity]) -> Result<Chain, Faults> {
    let mut faults = Faults::new();
    let [first, .., last] = masses else {
        faults.add("stages", "must hold at least two stages");
        return Err(faults);
    };
    for (at, mass) in masses[..masses.len() - 1].iter().enumerate() {
        if !mass.value.is_positive() {
            faults.add_value(format!("stages[{at}].mass.value"), &mass.value, "must be above 0");
        }
    }
    let shrink = |yield_pct: &Exact| &super::hundred() - yield_pct;
    let stage = |(at, mass): (usize, &Quantity)| {
        let before = at.checked_sub(1).map(|before| masses[before].base());
        let step_yield_pct = before.and_then(|before| percent_of(&mass.base(), &before));
        Some(Stage {
            mass: mass.to(first.unit)?,
            step_shrink_pct: step_yield_pct.as_ref().map(shrink),
            step_yield_pct,
            cumulative_yield_pct: percent_of(&mass.base(), &first.base())?,
        })
    };
    let stages: Option<Vec<Stage>> = masses.iter().enumerate().map(stage).collect();
    let chain = stages.zip(percent_of(&last.base(), &first.base())).map(|(stages, total)| Chain {
        gains: (1..masses.len()).filter(|at| masses[*at].base() > masses[at - 1].base()).collect(),
        stages,
        total_shrink_pct: shrink(&total),
        total_yield_pct: total,
    });
    faults.into_result(chain)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unit;
    use proptest::prelude::*;

    fn kilograms(value: i64) -> Quantity {
        Quantity::new(Exact::whole(value), Unit::Kilogram)
    }

    #[test]
    fn a_chain_of_weights_gives_its_yields() {
        // Mass balance: 1000 -> 996 -> 893 kg.
        let chain = chain(&[kilograms(1000), kilograms(996), kilograms(893)]).expect("a chain");
        assert_eq!(chain.stages[0].step_yield_pct, None);
        assert_eq!(chain.stages[1].step_yield_pct, "99.6".parse().ok());
        assert_eq!(chain.total_yield_pct.to_string(), "89.3");
        assert_eq!(chain.total_shrink_pct.to_string(), "10.7");
        assert!(chain.gains.is_empty());
    }

    #[test]
    fn a_gain_is_negative_shrink_and_is_said() {
        let chain = chain(&[kilograms(200), kilograms(203)]).expect("a chain");
        assert_eq!(chain.total_shrink_pct.to_string(), "-1.5");
        assert_eq!(chain.gains, [1]);
    }

    #[test]
    fn nothing_can_shrink_no_further() {
        let fields = |masses: &[Quantity]| {
            let faults = chain(masses).expect_err("faults").into_vec();
            faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
        };
        assert_eq!(fields(&[kilograms(1)]), ["stages"]);
        let weightless = [kilograms(0), kilograms(0), kilograms(1)];
        assert_eq!(fields(&weightless), ["stages[0].mass.value", "stages[1].mass.value"]);
        assert!(chain(&[kilograms(1), kilograms(0)]).is_ok());
    }

    proptest! {
        #[test]
        fn the_steps_reconcile_with_the_total(
            masses in prop::collection::vec(1i64..1_000_000, 2..9),
        ) {
            let masses: Vec<_> = masses.into_iter().map(kilograms).collect();
            let chain = chain(&masses).expect("a chain");
            let product = chain.stages.iter().filter_map(|stage| stage.step_yield_pct.clone());
            let product = product.fold(Exact::whole(100), |p, y| p * y / Exact::whole(100));
            prop_assert_eq!(product, chain.total_yield_pct);
        }
    }
}
