//! Units of the trade with their exact conversions: a weight in pounds is judged as weighed.
//! It never rounds and never guesses a unit.

use std::fmt;

use crate::exact::Exact;

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Mass, base gram.
    Mass,
    /// Temperature, base degree Fahrenheit (every unit converts into it exactly).
    Temperature,
    /// Length, base millimetre.
    Length,
}

/// A unit by its UCUM code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// `kg`
    Kilogram,
    /// `g`
    Gram,
    /// `mg`
    Milligram,
    /// `t`
    Tonne,
    /// `[lb_av]`, exactly 453.59237 g (international pound, 1959 agreement).
    Pound,
    /// `[oz_av]`, a sixteenth of a pound.
    Ounce,
    /// `[degF]`
    Fahrenheit,
    /// `Cel`
    Celsius,
    /// `K`
    Kelvin,
    /// `mm`
    Millimetre,
    /// `cm`
    Centimetre,
    /// `m`
    Metre,
    /// `[in_i]`, exactly 25.4 mm.
    Inch,
}

/// Every unit, in the order in which messages list them.
const ALL: [Unit; 13] = [
    Unit::Fahrenheit,
    Unit::Celsius,
    Unit::Kelvin,
    Unit::Kilogram,
    Unit::Gram,
    Unit::Milligram,
    Unit::Tonne,
    Unit::Pound,
    Unit::Ounce,
    Unit::Millimetre,
    Unit::Centimetre,
    Unit::Metre,
    Unit::Inch,
];

impl Unit {
    /// The unit of a UCUM code, case-sensitive.
    pub fn from_code(code: &str) -> Option<Self> {
        ALL.into_iter().find(|unit| unit.code() == code)
    }

    /// The UCUM code.
    pub fn code(self) -> &'static str {
        match self {
            Self::Kilogram => "kg",
            Self::Gram => "g",
            Self::Milligram => "mg",
            Self::Tonne => "t",
            Self::Pound => "[lb_av]",
            Self::Ounce => "[oz_av]",
            Self::Fahrenheit => "[degF]",
            Self::Celsius => "Cel",
            Self::Kelvin => "K",
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Metre => "m",
            Self::Inch => "[in_i]",
        }
    }

    /// What it measures.
    pub fn dimension(self) -> Dimension {
        match self {
            Self::Fahrenheit | Self::Celsius | Self::Kelvin => Dimension::Temperature,
            Self::Millimetre | Self::Centimetre | Self::Metre | Self::Inch => Dimension::Length,
            _ => Dimension::Mass,
        }
    }

    /// How many of the base unit (g, [degF], mm) one step of it is.
    fn step(self) -> Exact {
        let (numerator, denominator) = match self {
            Self::Kilogram | Self::Metre => (1000, 1),
            Self::Gram | Self::Fahrenheit | Self::Millimetre => (1, 1),
            Self::Milligram => (1, 1000),
            Self::Tonne => (1_000_000, 1),
            Self::Pound => (45_359_237, 100_000),
            Self::Ounce => (45_359_237, 1_600_000),
            Self::Celsius | Self::Kelvin => (9, 5),
            Self::Centimetre => (10, 1),
            Self::Inch => (254, 10),
        };
        match denominator {
            1 => Exact::whole(numerator),
            _ => Exact::whole(numerator) / Exact::whole(denominator),
        }
    }

    /// The base value of its own zero point.
    fn zero_point(self) -> Exact {
        match self {
            Self::Celsius => Exact::whole(32),
            Self::Kelvin => Exact::whole(-45_967) / Exact::whole(100),
            _ => Exact::zero(),
        }
    }

    /// The codes of a dimension, for a message that says what is allowed.
    pub fn codes(dimension: Dimension) -> String {
        let codes: Vec<_> =
            ALL.iter().filter(|u| u.dimension() == dimension).map(|u| u.code()).collect();
        codes.join(" ")
    }

    /// Every code, for a message that says what is allowed.
    pub fn all_codes() -> String {
        ALL.map(Unit::code).join(" ")
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// A value in the unit in which it was shown or entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quantity {
    /// The number as entered.
    pub value: Exact,
    /// Its unit.
    pub unit: Unit,
}

impl Quantity {
    /// `value` in `unit`.
    pub fn new(value: Exact, unit: Unit) -> Self {
        Self { value, unit }
    }

    /// The value in the base unit of its dimension (g, [degF], mm).
    pub fn base(&self) -> Exact {
        &(&self.value * &self.unit.step()) + &self.unit.zero_point()
    }

    /// The value of a difference in the base unit: no zero point is added.
    pub fn base_difference(&self) -> Exact {
        &self.value * &self.unit.step()
    }

    /// The quantity whose base value is `base`, in `unit`.
    pub fn from_base(base: &Exact, unit: Unit) -> Self {
        Self { value: &(base - &unit.zero_point()) / &unit.step(), unit }
    }

    /// The difference whose base value is `base`, in `unit`.
    pub fn from_base_difference(base: &Exact, unit: Unit) -> Self {
        Self { value: base / &unit.step(), unit }
    }

    /// The same quantity in another unit of its dimension; nothing when the dimensions differ.
    pub fn to(&self, unit: Unit) -> Option<Self> {
        if self.unit == unit {
            return Some(self.clone());
        }
        (self.unit.dimension() == unit.dimension()).then(|| Self::from_base(&self.base(), unit))
    }

    /// The same difference in another unit of its dimension; nothing when the dimensions differ.
    pub fn difference_to(&self, unit: Unit) -> Option<Self> {
        (self.unit.dimension() == unit.dimension())
            .then(|| Self::from_base_difference(&self.base_difference(), unit))
    }

    /// True for a temperature below absolute zero.
    pub fn is_below_absolute_zero(&self) -> bool {
        self.unit.dimension() == Dimension::Temperature && self.base() < Unit::Kelvin.zero_point()
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn quantity(value: &str, unit: Unit) -> Quantity {
        Quantity::new(value.parse().expect("a decimal"), unit)
    }

    #[test]
    fn a_pound_is_exact() {
        // NIST Handbook 44, appendix C: 1 lb = 453.59237 g exactly.
        let grams = quantity("1", Unit::Pound).to(Unit::Gram).expect("same dimension");
        assert_eq!(grams.value.to_string(), "453.59237");
        let ounces = quantity("0.25", Unit::Ounce).to(Unit::Pound).expect("same dimension");
        assert_eq!(ounces.value.to_string(), "0.015625");
    }

    #[test]
    fn a_difference_has_no_zero_point() {
        let difference = quantity("9", Unit::Fahrenheit).difference_to(Unit::Celsius);
        assert_eq!(difference.expect("same dimension").value, Exact::whole(5));
        assert_eq!(quantity("9", Unit::Fahrenheit).to(Unit::Gram), None);
    }

    #[test]
    fn absolute_zero_is_the_floor() {
        assert!(!quantity("0", Unit::Kelvin).is_below_absolute_zero());
        assert!(!quantity("-459.67", Unit::Fahrenheit).is_below_absolute_zero());
        assert!(quantity("-273.1501", Unit::Celsius).is_below_absolute_zero());
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same(
            value in -1_000_000i64..1_000_000,
            from in 0usize..ALL.len(),
            to in 0usize..ALL.len(),
        ) {
            let quantity = Quantity::new(Exact::whole(value) / Exact::whole(1000), ALL[from]);
            if let Some(other) = quantity.to(ALL[to]) {
                prop_assert_eq!(other.to(ALL[from]), Some(quantity));
            }
        }
    }
}
