//! A formula scaled to a meat block, a total or a factor, and weighed on scales with divisions.
//! It never lets a rounding change the factor, the percentages or another line.

use super::{percent_of, rounded};
use crate::exact::Exact;
use crate::units::{Quantity, Unit};

/// A line of the formula.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its mass in the formula, not negative.
    pub mass: Quantity,
    /// True for raw meat.
    pub meat: bool,
    /// The division of the scale on which it is weighed, above 0.
    pub division: Option<Quantity>,
}

/// To what a formula is scaled.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The lines marked meat weigh this together.
    MeatMass(Quantity),
    /// All lines weigh this together.
    TotalMass(Quantity),
    /// Every line this many times.
    Factor(Exact),
}

/// A scaled line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScaledLine {
    /// Exactly what is wanted.
    pub exact: Quantity,
    /// What the scale can show, halves up.
    pub mass: Quantity,
    /// In per cent of the meat block; nothing without one.
    pub meat_block_pct: Option<Exact>,
    /// In per cent of all lines.
    pub total_pct: Option<Exact>,
}

/// A scaled formula; masses in the unit of the first line, sums before rounding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scaled {
    /// The lines in their order.
    pub lines: Vec<ScaledLine>,
    /// By how much every line was multiplied.
    pub factor: Exact,
    /// The meat block; nothing when no line is marked meat.
    pub meat_mass: Option<Quantity>,
    /// All lines.
    pub total_mass: Quantity,
}

/// Scales a formula. Nothing when the lines that the aim is about weigh nothing.
pub fn scale(lines: &[Line], aim: &Aim) -> Option<Scaled> {
    let unit = lines.first().map_or(Unit::Gram, |line| line.mass.unit);
    let total: Exact = lines.iter().map(|line| line.mass.base()).sum();
    let has_meat = lines.iter().any(|line| line.meat);
    let meat: Exact = lines.iter().filter(|line| line.meat).map(|line| line.mass.base()).sum();
    let factor = match aim {
        Aim::MeatMass(wanted) => wanted.base().checked_div(&meat)?,
        Aim::TotalMass(wanted) => wanted.base().checked_div(&total)?,
        Aim::Factor(factor) => factor.clone(),
    };
    let scaled = |base: &Exact| Quantity::from_base(&(base * &factor), unit);
    let line = |line: &Line| {
        let base = line.mass.base();
        let exact = scaled(&base);
        ScaledLine {
            mass: rounded(&exact, line.division.as_ref()),
            exact,
            meat_block_pct: percent_of(&base, &meat),
            total_pct: percent_of(&base, &total),
        }
    };
    Some(Scaled {
        lines: lines.iter().map(line).collect(),
        meat_mass: has_meat.then(|| scaled(&meat)),
        total_mass: scaled(&total),
        factor,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn grams(value: i64) -> Quantity {
        Quantity::new(Exact::whole(value), Unit::Gram)
    }

    fn line(mass: i64, meat: bool, division: Option<i64>) -> Line {
        Line { mass: grams(mass), meat, division: division.map(grams) }
    }

    #[test]
    fn two_parts_to_one_are_two_thirds_and_one_third_of_the_block() {
        // common practice, no source
        let lines = [line(2, true, None), line(1, true, None)];
        let scaled = scale(&lines, &Aim::Factor(Exact::one())).expect("a scaling");
        let shares = scaled.lines.iter().filter_map(|line| line.meat_block_pct.clone());
        let shares: Vec<_> = shares.map(|pct| format!("{:.2}", pct.to_f64())).collect();
        assert_eq!(shares, ["66.67", "33.33"]);
    }

    #[test]
    fn a_stronger_herb_stands_in_at_two_thirds_of_the_mass() {
        // common practice, no source: a dried herb replaced by a stronger one
        let factor = Exact::ratio(2, 3).expect("a ratio");
        let scaled = scale(&[line(300, false, None)], &Aim::Factor(factor)).expect("a scaling");
        assert_eq!(scaled.lines[0].exact, grams(200));
        assert_eq!(scaled.meat_mass, None);
    }

    #[test]
    fn half_a_division_goes_up() {
        let lines = [line(25, false, Some(10)), line(24, false, Some(10))];
        let scaled = scale(&lines, &Aim::Factor(Exact::one())).expect("a scaling");
        assert_eq!(scaled.lines[0].mass, grams(30));
        assert_eq!(scaled.lines[1].mass, grams(20));
    }

    #[test]
    fn nothing_cannot_be_scaled_to_something() {
        assert_eq!(scale(&[line(5, false, None)], &Aim::MeatMass(grams(10))), None);
        assert_eq!(scale(&[line(0, true, None)], &Aim::TotalMass(grams(10))), None);
    }

    proptest! {
        #[test]
        fn mass_is_kept_within_the_divisions(
            lines in prop::collection::vec((0i64..100_000, any::<bool>(), 1i64..500), 1..12),
            factor in 1i64..5_000,
        ) {
            let lines = lines.into_iter().map(|(mass, meat, step)| line(mass, meat, Some(step)));
            let lines: Vec<_> = lines.collect();
            let factor = Exact::whole(factor) / Exact::whole(700);
            let scaled = scale(&lines, &Aim::Factor(factor)).expect("a scaling");
            let weighed: Exact = scaled.lines.iter().map(|line| line.mass.value.clone()).sum();
            let divisions: Exact =
                lines.iter().filter_map(|l| l.division.as_ref()).map(|d| d.value.clone()).sum();
            let apart = (&weighed - &scaled.total_mass.value).abs();
            prop_assert!(apart * Exact::whole(2) <= divisions);
            let wanted: Exact = scaled.lines.iter().map(|line| line.exact.value.clone()).sum();
            prop_assert_eq!(wanted, scaled.total_mass.value);
        }
    }
}
