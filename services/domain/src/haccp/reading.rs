//! One reading against the limit of its check: every value must meet it.
//! It never rounds: values of other units compare exactly in the base unit.

use crate::exact::Exact;
use crate::units::{Quantity, Unit};
use crate::verdict::{Judgement, Verdict};

/// The limit of a check; met exactly is met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// The unit in which it is set.
    pub unit: Unit,
    /// The least value that meets it.
    pub at_least: Option<Exact>,
    /// The greatest value that meets it.
    pub at_most: Option<Exact>,
}

/// Judges every value; the reasons name each one that is not met.
/// Undetermined: no value, no bound, or a value whose unit measures something else.
pub fn judge(limit: &Limit, values: &[Quantity]) -> Judgement {
    let dimension = limit.unit.dimension();
    let is_comparable = values.iter().all(|value| value.unit.dimension() == dimension);
    let has_bound = limit.at_least.is_some() || limit.at_most.is_some();
    if values.is_empty() || !is_comparable || !has_bound {
        return Judgement::because(Verdict::Undetermined, "There is nothing to compare.");
    }
    let reasons: Vec<String> = values.iter().filter_map(|value| miss(limit, value)).collect();
    if reasons.is_empty() {
        return Judgement::because(Verdict::Pass, met(limit, values));
    }
    Judgement { verdict: Verdict::Fail, reasons }
}

fn miss(limit: &Limit, value: &Quantity) -> Option<String> {
    let base = |bound: &Exact| Quantity::new(bound.clone(), limit.unit).base();
    let (found, unit) = (value.base(), limit.unit);
    if let Some(least) = limit.at_least.as_ref().filter(|least| found < base(least)) {
        return Some(format!("{value} is below the limit of at least {least} {unit}."));
    }
    let most = limit.at_most.as_ref().filter(|most| found > base(most))?;
    Some(format!("{value} is above the limit of at most {most} {unit}."))
}

fn met(limit: &Limit, values: &[Quantity]) -> String {
    let unit = limit.unit;
    let asked = match (&limit.at_least, &limit.at_most) {
        (Some(least), Some(most)) => format!("from {least} to {most} {unit}"),
        (Some(least), None) => format!("at least {least} {unit}"),
        (None, Some(most)) => format!("at most {most} {unit}"),
        (None, None) => "nothing".to_owned(),
    };
    match values {
        [value] => format!("{value} meets {asked}."),
        _ => format!("All {} values meet {asked}{}.", values.len(), nearest(limit, values)),
    }
}

/// Of several values those that come nearest to the limit, named: the worst decides.
fn nearest(limit: &Limit, values: &[Quantity]) -> String {
    let by_base = |one: &&Quantity, other: &&Quantity| one.base().cmp(&other.base());
    let lowest = values.iter().min_by(by_base).filter(|_| limit.at_least.is_some());
    let highest = values.iter().max_by(by_base).filter(|_| limit.at_most.is_some());
    let named = |word: &str, value: &Quantity| format!("; the {word} is {value}");
    let lowest = lowest.map(|value| named("lowest", value)).unwrap_or_default();
    lowest + &highest.map(|value| named("highest", value)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn exact(text: &str) -> Exact {
        text.parse().expect("a decimal")
    }

    fn at_most(value: &str) -> Limit {
        Limit { unit: Unit::Fahrenheit, at_least: None, at_most: Some(exact(value)) }
    }

    fn read(values: &[&str], unit: Unit) -> Vec<Quantity> {
        values.iter().map(|value| Quantity::new(exact(value), unit)).collect()
    }

    #[test]
    fn a_limit_met_exactly_passes_in_any_unit() {
        let limit = at_most("40");
        assert_eq!(judge(&limit, &read(&["40.0"], Unit::Fahrenheit)).verdict, Verdict::Pass);
        // 40 [degF] lies between 4.44 and 4.45 Cel (plain arithmetic: 40/9).
        assert_eq!(judge(&limit, &read(&["4.44"], Unit::Celsius)).verdict, Verdict::Pass);
        assert_eq!(judge(&limit, &read(&["4.45"], Unit::Celsius)).verdict, Verdict::Fail);
    }

    #[test]
    fn the_worst_of_many_decides_and_is_named() {
        let judged = judge(&at_most("40"), &read(&["38.6", "39.1", "40.4"], Unit::Fahrenheit));
        assert_eq!(judged.verdict, Verdict::Fail);
        assert_eq!(judged.reasons, ["40.4 [degF] is above the limit of at most 40 [degF]."]);
    }

    #[test]
    fn what_cannot_be_compared_is_undetermined() {
        assert_eq!(judge(&at_most("40"), &[]).verdict, Verdict::Undetermined);
        let grams = read(&["3"], Unit::Gram);
        assert_eq!(judge(&at_most("40"), &grams).verdict, Verdict::Undetermined);
    }

    proptest! {
        #[test]
        fn a_value_more_never_turns_a_failure_into_a_pass(
            values in proptest::collection::vec(-400i64..4000, 1..8),
            extra in -400i64..4000,
        ) {
            let ten = Exact::whole(10);
            let tenth = |v: &i64| Quantity::new(&Exact::whole(*v) / &ten, Unit::Fahrenheit);
            let mut read: Vec<_> = values.iter().map(tenth).collect();
            let before = judge(&at_most("40"), &read).verdict;
            read.push(tenth(&extra));
            let after = judge(&at_most("40"), &read).verdict;
            prop_assert!(!(before == Verdict::Fail && after == Verdict::Pass));
        }
    }
}
