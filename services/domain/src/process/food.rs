//! Density, heat capacity and conductivity of a food from its composition.
//! It never guesses a share that was not given and never answers for frozen food.

use crate::exact::Exact;
use crate::rules::Rule;

/// The rule that carries the table and its citation.
pub const RULE_ID: &str = "science.food.thermal-properties";

/// The components of the table, in the order of a [`Composition`].
const COMPONENTS: [&str; 5] = ["moisture", "protein", "fat", "carbohydrate", "ash"];

/// Mass shares that sum to 1: moisture, protein, fat, carbohydrate, ash.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Composition([f64; 5]);

/// What conduction needs to know of a food.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Properties {
    /// kg/m3
    pub density_kg_m3: f64,
    /// J/(kg K)
    pub cp_j_kgk: f64,
    /// W/(m K)
    pub conductivity_w_mk: f64,
    /// Thermal diffusivity, m2/s.
    pub alpha_m2_s: f64,
}

impl Composition {
    /// Percentages of moisture, protein, fat, carbohydrate and ash, normalised to their sum;
    /// nothing when the sum lies outside 99 to 101 %.
    pub fn new(percentages: &[Exact; 5]) -> Option<Self> {
        let sum: Exact = percentages.iter().sum();
        if sum < Exact::whole(99) || sum > Exact::whole(101) {
            return None;
        }
        Some(Self(percentages.each_ref().map(|part| (part / &sum).to_f64())))
    }

    /// Properties at a temperature in Cel within the range of the table; nothing outside it.
    /// Choi and Okos 1986: densities mix by 1/density, heat capacities by mass, conductivities by
    /// volume.
    pub fn properties(&self, temperature_c: f64) -> Option<Properties> {
        let rule = Rule::newest(RULE_ID)?;
        let (lowest, highest) = (rule.number("lowest_cel")?, rule.number("highest_cel")?);
        if !(lowest.to_f64()..=highest.to_f64()).contains(&temperature_c) {
            return None;
        }
        let (mut volume, mut cp_j_kgk, mut conducting) = (0.0, 0.0, 0.0);
        for (share, component) in self.0.into_iter().zip(COMPONENTS) {
            let of = |property| value(rule, component, property, temperature_c);
            let part = share / of("density")?;
            volume += part;
            cp_j_kgk += share * of("cp")?;
            conducting += part * of("conductivity")?;
        }
        let (density_kg_m3, conductivity_w_mk) = (1.0 / volume, conducting / volume);
        let alpha_m2_s = conductivity_w_mk / (density_kg_m3 * cp_j_kgk);
        Some(Properties { density_kg_m3, cp_j_kgk, conductivity_w_mk, alpha_m2_s })
    }
}

fn value(rule: &Rule, component: &str, property: &str, temperature_c: f64) -> Option<f64> {
    let row = rule.rows.iter().find(|row| {
        row.word("component") == Some(component) && row.word("property") == Some(property)
    })?;
    let [a0, a1, a2] = ["a0", "a1", "a2"].map(|name| row.number(name).map(|a| a.to_f64()));
    Some(a0? + temperature_c * (a1? + temperature_c * a2?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn composition(parts: [i64; 5]) -> Option<Composition> {
        Composition::new(&parts.map(Exact::whole))
    }

    #[test]
    fn a_sausage_batter_has_the_properties_of_its_parts() {
        // Choi and Okos 1986, equations worked out for this batter at 10, 40 and 70 Cel.
        let batter = composition([58, 14, 24, 1, 3]).expect("a composition");
        for (at_c, density, cp, conductivity) in [
            (10.0, 1034.50, 3206.0, 0.42852),
            (40.0, 1025.82, 3224.9, 0.45539),
            (70.0, 1012.93, 3246.8, 0.47490),
        ] {
            let got = batter.properties(at_c).expect("within the table");
            assert!((got.density_kg_m3 - density).abs() < 0.006, "{got:?}");
            assert!((got.cp_j_kgk - cp).abs() < 0.06, "{got:?}");
            assert!((got.conductivity_w_mk - conductivity).abs() < 6e-6, "{got:?}");
        }
        let alpha = batter.properties(40.0).expect("within the table").alpha_m2_s;
        assert!((alpha / 1.3766e-7 - 1.0).abs() < 1e-4, "{alpha}");
    }

    #[test]
    fn sums_from_99_to_101_are_normalised_and_others_refused() {
        assert!(composition([57, 14, 24, 1, 3]).is_some());
        assert!(composition([59, 14, 24, 1, 3]).is_some());
        assert!(composition([56, 14, 24, 1, 3]).is_none());
        assert!(composition([60, 14, 24, 1, 3]).is_none());
        let water = composition([100, 0, 0, 0, 0]).and_then(|c| c.properties(0.0));
        assert!((water.expect("water").density_kg_m3 - 997.18).abs() < 1e-9);
    }

    #[test]
    fn frozen_food_has_no_answer() {
        let batter = composition([58, 14, 24, 1, 3]).expect("a composition");
        assert!(batter.properties(-0.1).is_none());
        assert!(batter.properties(150.1).is_none());
        assert!(batter.properties(f64::NAN).is_none());
    }

    proptest! {
        #[test]
        fn a_mixture_lies_between_its_parts(fat in 0i64..=100, at_c in 0.0..150.0_f64) {
            let of = |parts| composition(parts).and_then(|c| c.properties(at_c)).expect("within");
            let (lean, oil) = (of([100, 0, 0, 0, 0]), of([0, 0, 100, 0, 0]));
            let mixed = of([100 - fat, 0, fat, 0, 0]);
            prop_assert!(mixed.cp_j_kgk <= lean.cp_j_kgk + 1e-9);
            prop_assert!(mixed.cp_j_kgk >= oil.cp_j_kgk - 1e-9);
            prop_assert!(mixed.conductivity_w_mk <= lean.conductivity_w_mk + 1e-12);
            prop_assert!(mixed.conductivity_w_mk >= oil.conductivity_w_mk - 1e-12);
        }
    }
}
