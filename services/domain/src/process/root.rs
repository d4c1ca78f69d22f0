//! Finds where a function passes zero between two bounds, for equations without a closed form.
//! It never leaves its bounds, so no input can make it run away or give a value that is no number.

/// Halvings after which no float lies between the bounds, even from the widest start.
const MOST_HALVINGS: usize = 1100;

/// The place between `lower` and `upper` where `value` turns from below zero to zero or above.
/// The caller's function is below zero at `lower` or the answer is `lower`; where it stays below
/// zero the answer is `upper`.
pub(super) fn rising(lower: f64, upper: f64, value: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (lower, upper);
    if value(low) >= 0.0 {
        return low;
    }
    for _ in 0..MOST_HALVINGS {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if value(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// Parts of the golden section taken; each leaves 0.618 of what was left.
const GOLDEN_PARTS: usize = 16;

/// The place between `low` and `high` where `cost` is lowest, to a thousandth of their distance;
/// a cost with several valleys gives the bottom of one of them.
pub(super) fn lowest(low: f64, high: f64, cost: impl Fn(f64) -> f64) -> f64 {
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (low, high);
    let (mut left, mut right) = (high - golden * (high - low), low + golden * (high - low));
    let (mut left_cost, mut right_cost) = (cost(left), cost(right));
    for _ in 0..GOLDEN_PARTS {
        if left_cost < right_cost {
            (high, right, right_cost) = (right, left, left_cost);
            left = high - golden * (high - low);
            left_cost = cost(left);
        } else {
            (low, left, left_cost) = (left, right, right_cost);
            right = low + golden * (high - low);
            right_cost = cost(right);
        }
    }
    low + (high - low) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_root_is_found_to_the_last_digit() {
        assert!((rising(0.0, 2.0, |x| x * x - 2.0) - 2.0_f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn the_bottom_of_a_valley_is_found() {
        assert!((lowest(-1.0, 4.0, |x| (x - 1.5).powi(2)) - 1.5).abs() < 3e-3);
        assert!((lowest(-1.0, 4.0, |x| x) + 1.0).abs() < 3e-3);
    }

    #[test]
    fn without_a_crossing_a_bound_is_the_answer() {
        assert_eq!(rising(1.0, 2.0, |_| 1.0), 1.0);
        assert_eq!(rising(1.0, 2.0, |_| -1.0), 2.0);
        assert_eq!(rising(1.0, 2.0, |_| f64::NAN), 1.0 + f64::EPSILON);
    }
}
