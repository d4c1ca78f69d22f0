//! Salt in the water of a product, the water activity that it suggests, and the salt for a target.
//! It never judges: a claim on water activity needs a measured value.

use super::{hundred, percent_of};
use crate::exact::Exact;

/// The brine strength above which the polynomial is not used, %.
const STRONGEST_BRINE_PCT: i64 = 20;
/// Resnik and Chirife 1988, water activity of sodium chloride in water; from memory.
const PER_PCT: (i64, i64) = (52_471, 10_000_000);
/// The square term of the same.
const PER_PCT_SQUARED: (i64, i64) = (12_206, 100_000_000);

/// Salt in per cent of salt and moisture: salt / (salt + moisture). Nothing when both are 0.
pub fn water_phase_salt_pct(salt_pct: &Exact, moisture_pct: &Exact) -> Option<Exact> {
    percent_of(salt_pct, &(salt_pct + moisture_pct))
}

/// Water activity at a brine strength, by the polynomial of Resnik and Chirife (1988), from memory:
/// 1 - 0.0052471 w - 0.00012206 w². Nothing above a brine of 20 %.
pub fn water_activity(brine_pct: &Exact) -> Option<Exact> {
    if *brine_pct > Exact::whole(STRONGEST_BRINE_PCT) {
        return None;
    }
    let coefficient = |(numerator, denominator)| Exact::ratio(numerator, denominator);
    let linear = &coefficient(PER_PCT)? * brine_pct;
    let square = coefficient(PER_PCT_SQUARED)? * (brine_pct * brine_pct);
    Some(Exact::one() - linear - square)
}

/// Salt in per cent of the product that gives a brine of `target_pct` at this moisture. Nothing at
/// 100 %, and where salt and moisture would be more than the whole.
pub fn salt_pct_needed(target_pct: &Exact, moisture_pct: &Exact) -> Option<Exact> {
    let salt = (target_pct * moisture_pct).checked_div(&(hundred() - target_pct.clone()))?;
    (!salt.is_negative() && &salt + moisture_pct <= hundred()).then_some(salt)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn exact(text: &str) -> Exact {
        text.parse().expect("a decimal")
    }

    #[test]
    fn a_smoked_link_has_a_weak_brine() {
        // Worked by hand: 2.2 / 57.2 = 3.84615 %.
        let brine = water_phase_salt_pct(&exact("2.2"), &exact("55")).expect("a brine");
        assert_eq!(format!("{:.4}", brine.to_f64()), "3.8462");
        let activity = water_activity(&brine).expect("an estimate");
        assert_eq!(format!("{:.5}", activity.to_f64()), "0.97801");
    }

    #[test]
    fn the_polynomial_ends_at_twenty_per_cent() {
        assert!(water_activity(&exact("20")).is_some());
        assert_eq!(water_activity(&exact("20.0001")), None);
    }

    #[test]
    fn the_estimate_agrees_with_osmotic_coefficients() {
        // Robinson & Stokes, osmotic coefficient of NaCl at 2 mol/kg: 0.9833, so water activity
        // exp(-2 x 0.9833 x 2 x 0.018015); from memory.
        let molal = 2.0;
        let measured = (-2.0 * 0.9833 * molal * 0.018_015_f64).exp();
        let brine = 100.0 * molal * 58.443 / (molal * 58.443 + 1000.0);
        let brine = Exact::from_float(brine).expect("finite");
        let estimate = water_activity(&brine).expect("an estimate").to_f64();
        assert!((estimate - measured).abs() < 0.001, "{estimate} {measured}");
    }

    #[test]
    fn what_does_not_fit_the_product_is_left_out() {
        assert_eq!(salt_pct_needed(&exact("50"), &exact("80")), None);
        assert_eq!(salt_pct_needed(&exact("100"), &exact("50")), None);
    }

    proptest! {
        #[test]
        fn the_salt_needed_gives_the_target(target in 0i64..5_000, moisture in 1i64..5_000) {
            let target = Exact::whole(target) / Exact::whole(100);
            let moisture = Exact::whole(moisture) / Exact::whole(100);
            if let Some(salt) = salt_pct_needed(&target, &moisture) {
                prop_assert_eq!(water_phase_salt_pct(&salt, &moisture), Some(target));
            }
        }
    }
}
