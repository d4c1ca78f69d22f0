//! Exact numbers, so that a limit met exactly passes and nothing is rounded towards a pass.
//! It never rounds in a calculation: only writing a number without end as text cuts digits.

use std::cmp::Ordering;
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::str::FromStr;

use num_bigint::BigInt;
use num_integer::Integer;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive, Zero};
use rust_decimal::Decimal;

/// The most digits that a decimal may have as it is entered.
pub const MOST_DIGITS: usize = 28;
/// Digits written of a number whose decimal form has no end.
const DIGITS_WITHOUT_END: usize = 30;
/// Digits up to which a decimal form with an end is written whole.
const DIGITS_WITH_END: usize = 60;

/// A rational number of any size.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Exact(BigRational);

/// The text is no decimal number of at most [`MOST_DIGITS`] digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotADecimal;

impl fmt::Display for NotADecimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "must be a decimal number of at most {MOST_DIGITS} digits")
    }
}

impl std::error::Error for NotADecimal {}

/// Reads decimal text exactly, as JSON writes numbers (`-12.50`, `1.35e-7`).
/// Refused: anything else, and what does not fit 28 digits.
pub fn decimal(text: &str) -> Result<Decimal, NotADecimal> {
    if !is_json_number(text) {
        return Err(NotADecimal);
    }
    let read = if text.contains(['e', 'E']) {
        exponent_form(text)
    } else {
        Decimal::from_str_exact(text).ok()
    };
    read.ok_or(NotADecimal)
}

/// `from_scientific` of the library rounds in silence, so the exponent is applied here.
fn exponent_form(text: &str) -> Option<Decimal> {
    let (mantissa, exponent) = text.split_once(['e', 'E'])?;
    let exponent: i32 = exponent.parse().ok()?;
    let (whole, part) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits: i128 = format!("{whole}{part}").parse().ok()?;
    if digits == 0 {
        return Some(Decimal::ZERO);
    }
    let mut scale = i32::try_from(part.len()).ok()?.checked_sub(exponent)?;
    // Beyond this the number cannot have 28 digits, and stepping there would take for ever.
    if scale.unsigned_abs() as usize > 2 * MOST_DIGITS + part.len() {
        return None;
    }
    let mut digits = digits;
    while scale < 0 {
        digits = digits.checked_mul(10)?;
        scale += 1;
    }
    while scale > 0 && digits % 10 == 0 {
        digits /= 10;
        scale -= 1;
    }
    Decimal::try_from_i128_with_scale(digits, u32::try_from(scale).ok()?).ok()
}

/// True when the whole text is a number as JSON writes it.
fn is_json_number(text: &str) -> bool {
    let rest = text.strip_prefix('-').unwrap_or(text);
    let (mantissa, exponent) = match rest.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, Some(exponent)),
        None => (rest, None),
    };
    let (whole, part) = match mantissa.split_once('.') {
        Some((whole, part)) => (whole, Some(part)),
        None => (mantissa, None),
    };
    let digits = |t: &str| !t.is_empty() && t.bytes().all(|b| b.is_ascii_digit());
    digits(whole)
        && (whole == "0" || !whole.starts_with('0'))
        && part.is_none_or(digits)
        && exponent.is_none_or(|e| digits(e.strip_prefix(['+', '-']).unwrap_or(e)))
}

impl Exact {
    /// The whole number `value`.
    pub fn whole(value: i64) -> Self {
        Self(BigRational::from_integer(BigInt::from(value)))
    }

    /// `numerator / denominator`; nothing when the denominator is 0.
    pub fn ratio(numerator: i64, denominator: i64) -> Option<Self> {
        (denominator != 0)
            .then(|| Self(BigRational::new(BigInt::from(numerator), BigInt::from(denominator))))
    }

    /// 0.
    pub fn zero() -> Self {
        Self(BigRational::zero())
    }

    /// 1.
    pub fn one() -> Self {
        Self(BigRational::one())
    }

    /// The exact value of a finite float; nothing for NaN and infinities.
    pub fn from_float(value: f64) -> Option<Self> {
        BigRational::from_float(value).map(Self)
    }

    /// True for 0.
    pub fn is_zero(&self) -> bool {
        self.0.is_zero()
    }

    /// True below 0.
    pub fn is_negative(&self) -> bool {
        self.0.is_negative()
    }

    /// True above 0.
    pub fn is_positive(&self) -> bool {
        self.0.is_positive()
    }

    /// The magnitude.
    pub fn abs(&self) -> Self {
        Self(self.0.abs())
    }

    /// `self / divisor`; nothing when the divisor is 0.
    pub fn checked_div(&self, divisor: &Self) -> Option<Self> {
        (!divisor.is_zero()).then(|| Self(&self.0 / &divisor.0))
    }

    /// The greatest whole number not above it.
    pub fn floor(&self) -> Self {
        Self(self.0.floor())
    }

    /// The least whole number not below it.
    pub fn ceil(&self) -> Self {
        Self(self.0.ceil())
    }

    /// The nearest whole number, halves away from 0.
    pub fn round(&self) -> Self {
        Self(self.0.round())
    }

    /// The nearest float, for drawing and for numerical methods, never for a verdict.
    pub fn to_f64(&self) -> f64 {
        self.0.to_f64().unwrap_or(f64::NAN)
    }

    /// The exact decimal, when it has an end within 28 digits.
    pub fn to_decimal(&self) -> Option<Decimal> {
        decimal(&self.to_string()).ok().filter(|d| Self::from(*d) == *self)
    }

    /// How many decimals the number has, when its decimal form has an end.
    fn decimals(&self) -> Option<usize> {
        let mut denominator = self.0.denom().clone();
        let mut count_of = |prime: u32| {
            let prime = BigInt::from(prime);
            let mut count = 0;
            while (&denominator % &prime).is_zero() {
                denominator /= &prime;
                count += 1;
            }
            count
        };
        let count = count_of(2).max(count_of(5));
        denominator.is_one().then_some(count)
    }
}

impl fmt::Display for Exact {
    /// The whole decimal form where it has an end, else 30 significant digits, nearest.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole_digits = self.0.to_integer().abs().to_string().len();
        let decimals = match self.decimals() {
            Some(decimals) if decimals + whole_digits <= DIGITS_WITH_END => decimals,
            _ => decimals_without_end(&self.0, whole_digits),
        };
        let scale = num_traits::pow(BigInt::from(10), decimals);
        let scaled = (self.0.abs() * BigRational::from_integer(scale.clone())).round();
        let (whole, part) = scaled.to_integer().div_rem(&scale);
        let sign = if self.is_negative() { "-" } else { "" };
        if decimals == 0 {
            return write!(f, "{sign}{whole}");
        }
        let part = format!("{part:0>decimals$}");
        match part.trim_end_matches('0') {
            "" => write!(f, "{sign}{whole}"),
            part => write!(f, "{sign}{whole}.{part}"),
        }
    }
}

/// Decimals needed so that 30 significant digits are written, leading zeros not counted.
fn decimals_without_end(value: &BigRational, whole_digits: usize) -> usize {
    if !value.to_integer().is_zero() {
        return DIGITS_WITHOUT_END.saturating_sub(whole_digits);
    }
    let numerator_digits = value.numer().abs().to_string().len();
    let denominator_digits = value.denom().to_string().len();
    DIGITS_WITHOUT_END + denominator_digits.saturating_sub(numerator_digits)
}

impl FromStr for Exact {
    type Err = NotADecimal;

    fn from_str(text: &str) -> Result<Self, NotADecimal> {
        decimal(text).map(Self::from)
    }
}

impl From<Decimal> for Exact {
    fn from(value: Decimal) -> Self {
        let scale = num_traits::pow(BigInt::from(10), value.scale() as usize);
        Self(BigRational::new(BigInt::from(value.mantissa()), scale))
    }
}

impl PartialOrd for Exact {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Exact {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.cmp(&other.0)
    }
}

impl Neg for Exact {
    type Output = Exact;

    fn neg(self) -> Exact {
        Exact(-self.0)
    }
}

macro_rules! operator {
    ($trait:ident, $method:ident) => {
        impl $trait<&Exact> for &Exact {
            type Output = Exact;

            fn $method(self, other: &Exact) -> Exact {
                Exact((&self.0).$method(&other.0))
            }
        }

        impl $trait for Exact {
            type Output = Exact;

            fn $method(self, other: Exact) -> Exact {
                Exact(self.0.$method(other.0))
            }
        }

        impl $trait<&Exact> for Exact {
            type Output = Exact;

            fn $method(self, other: &Exact) -> Exact {
                Exact(self.0.$method(&other.0))
            }
        }
    };
}

operator!(Add, add);
operator!(Sub, sub);
operator!(Mul, mul);
// Division by zero panics, as of whole numbers; `checked_div` is for divisors from outside.
operator!(Div, div);

impl std::iter::Sum for Exact {
    fn sum<I: Iterator<Item = Exact>>(values: I) -> Exact {
        values.fold(Exact::zero(), |sum, value| sum + value)
    }
}

impl<'a> std::iter::Sum<&'a Exact> for Exact {
    fn sum<I: Iterator<Item = &'a Exact>>(values: I) -> Exact {
        values.fold(Exact::zero(), |sum, value| sum + value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn exact(text: &str) -> Exact {
        text.parse().expect("a decimal")
    }

    #[test]
    fn a_thin_mix_stands_exactly_at_its_limit() {
        // 0.72 lb of a 6.25 % mix in 450 lb: 0.72 * 0.0625 / 450 = 0.0001 (plain arithmetic).
        let ppm = exact("0.72") * exact("6.25") * Exact::whole(10_000) / exact("450");
        assert_eq!(ppm, Exact::whole(100));
    }

    #[test]
    fn numbers_without_an_end_keep_thirty_digits() {
        assert_eq!(
            (Exact::whole(2) / Exact::whole(3)).to_string(),
            format!("0.{}7", "6".repeat(29))
        );
        assert_eq!(exact("156.25").to_string(), "156.25");
        assert_eq!(exact("-40").to_string(), "-40");
        assert_eq!(exact("1.35e-7").to_string(), "0.000000135");
        assert_eq!(exact("12e2").to_string(), "1200");
    }

    #[test]
    fn what_is_no_decimal_is_refused() {
        for text in ["", "1.", ".5", "+1", "01", "1e", "NaN", "inf", "1_000", "0x10", " 1", "1,5"] {
            assert_eq!(decimal(text), Err(NotADecimal), "{text:?}");
        }
        assert_eq!(decimal("0.12345678901234567890123456789"), Err(NotADecimal));
        assert_eq!(decimal("1e400"), Err(NotADecimal));
        assert_eq!(decimal("1e-400"), Err(NotADecimal));
        assert_eq!(decimal("1e2147483647"), Err(NotADecimal));
        assert_eq!(decimal("1e-2147483647"), Err(NotADecimal));
        assert_eq!(decimal("0e2147483647"), Ok(Decimal::ZERO));
    }

    proptest! {
        #[test]
        fn text_and_number_agree(mantissa in any::<i64>(), scale in 0u32..20) {
            let value = Exact::from(Decimal::from_i128_with_scale(mantissa.into(), scale));
            prop_assert_eq!(exact(&value.to_string()), value.clone());
            prop_assert_eq!(value.to_decimal().map(Exact::from), Some(value));
        }
    }
}
