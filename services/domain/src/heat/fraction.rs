//! Exact instants and durations as small fractions, so that crossing times cost nanoseconds.
//! It never rounds: what does not fit 128 bits is carried on with numbers of any size.

use std::cmp::Ordering;

use crate::exact::Exact;

/// A rational number, small where it fits. Comparison is by value.
#[derive(Clone, Debug)]
pub(super) enum Fraction {
    /// `numerator / denominator`, denominator above 0, not reduced.
    Small {
        /// Above the line.
        numerator: i128,
        /// Below the line, above 0.
        denominator: i128,
    },
    /// Anything that does not fit.
    Big(Box<Exact>),
}

impl Fraction {
    /// A whole number.
    pub(super) fn whole(value: i128) -> Self {
        Self::Small { numerator: value, denominator: 1 }
    }

    /// A number of any size.
    pub(super) fn big(value: Exact) -> Self {
        Self::Big(Box::new(value))
    }

    /// `numerator / denominator`; nothing when the denominator is 0 or the sign does not fit.
    pub(super) fn new(numerator: i128, denominator: i128) -> Option<Self> {
        match denominator.cmp(&0) {
            Ordering::Greater => Some(Self::Small { numerator, denominator }),
            Ordering::Equal => None,
            Ordering::Less => Some(Self::Small {
                numerator: numerator.checked_neg()?,
                denominator: denominator.checked_neg()?,
            }),
        }
    }

    /// The exact number.
    pub(super) fn exact(&self) -> Exact {
        match self {
            Self::Small { numerator, denominator } => {
                // A denominator is above 0 by construction, so zero is never taken.
                Exact::ratio_wide(*numerator, *denominator).unwrap_or_else(Exact::zero)
            }
            Self::Big(value) => value.as_ref().clone(),
        }
    }

    /// `self - other`.
    pub(super) fn minus(&self, other: &Self) -> Self {
        self.small_minus(other).unwrap_or_else(|| Self::big(self.exact() - other.exact()))
    }

    fn small_minus(&self, other: &Self) -> Option<Self> {
        let (
            Self::Small { numerator: a, denominator: b },
            Self::Small { numerator: c, denominator: d },
        ) = (self, other)
        else {
            return None;
        };
        if b == d {
            return Some(Self::Small { numerator: a.checked_sub(*c)?, denominator: *b });
        }
        let numerator = product(*a, *d)?.checked_sub(product(*c, *b)?)?;
        Some(Self::Small { numerator, denominator: product(*b, *d)? })
    }

    fn small_cmp(&self, other: &Self) -> Option<Ordering> {
        let (
            Self::Small { numerator: a, denominator: b },
            Self::Small { numerator: c, denominator: d },
        ) = (self, other)
        else {
            return None;
        };
        if b == d {
            return Some(a.cmp(c));
        }
        Some(product(*a, *d)?.cmp(&product(*c, *b)?))
    }
}

/// `a x b`; nothing when it does not fit. Nearly all factors fit 64 bits, where it is much faster.
pub(super) fn product(a: i128, b: i128) -> Option<i128> {
    match (i64::try_from(a), i64::try_from(b)) {
        (Ok(a), Ok(b)) => Some(i128::from(a) * i128::from(b)),
        _ => a.checked_mul(b),
    }
}

impl PartialEq for Fraction {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Fraction {}

impl PartialOrd for Fraction {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Fraction {
    fn cmp(&self, other: &Self) -> Ordering {
        self.small_cmp(other).unwrap_or_else(|| self.exact().cmp(&other.exact()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_does_not_fit_is_still_exact() {
        let wide = Fraction::new(i128::MAX, 3).expect("a fraction");
        let other = Fraction::new(i128::MAX - 1, 7).expect("a fraction");
        assert!(wide > other);
        assert_eq!(wide.minus(&other).exact(), wide.exact() - other.exact());
        assert!(Fraction::new(1, 0).is_none());
    }

    proptest! {
        #[test]
        fn small_and_big_agree(
            a in any::<i64>(), b in 1i64..1_000_000, c in any::<i64>(), d in 1i64..1_000_000,
        ) {
            let left = Fraction::new(a.into(), b.into()).expect("a fraction");
            let right = Fraction::new(c.into(), d.into()).expect("a fraction");
            prop_assert_eq!(left.cmp(&right), left.exact().cmp(&right.exact()));
            prop_assert_eq!(left.minus(&right).exact(), left.exact() - right.exact());
        }
    }
}
