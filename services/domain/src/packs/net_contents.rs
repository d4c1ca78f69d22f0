//! Net contents of a sample: its average against the label, each package against the variation.
//! It never judges a lot beyond the packages that it is given.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::exact::Exact;
use crate::rules::Rule;
use crate::units::{Quantity, Unit};
use crate::verdict::{Judgement, Verdict};

/// The rules for net contents, in the order in which messages list them.
pub const RULE_IDS: [&str; 2] = ["us.net.meat", "us.net.general"];

/// A sample of packages as weighed.
#[derive(Clone, Debug)]
pub struct Sample {
    /// What the label says, a mass above 0.
    pub label: Quantity,
    /// The net masses, at least one.
    pub net: Vec<Quantity>,
    /// The rule to judge by; without one nothing is judged.
    pub rule: Option<&'static Rule>,
    /// The variation allowed to one package, in place of the rule's own.
    pub variation: Option<Quantity>,
}

/// A package that is short by more than the variation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Below {
    /// Its place in the sample, from 0.
    pub at: usize,
    /// Its net mass less the label, below 0, in the unit of the label.
    pub error: Quantity,
}

/// What the sample says; masses in the unit of the label.
#[derive(Clone, Debug)]
pub struct NetContents {
    /// The mean of net mass less label.
    pub mean_error: Quantity,
    /// Of the errors; nothing for one package.
    pub standard_deviation: Option<f64>,
    /// What the standard deviation is multiplied by; nothing without a rule.
    pub correction_factor: Option<f64>,
    /// Factor times standard deviation: how far the mean may lie below the label.
    pub sample_error_limit: Option<f64>,
    /// Of the average.
    pub average: Judgement,
    /// The variation allowed to one package; nothing when there is none to judge by.
    pub variation: Option<Quantity>,
    /// The greatest division of a scale fit for this check.
    pub division_limit: Option<Quantity>,
    /// The packages that are short by more than the variation, in order.
    pub below: Vec<Below>,
    /// Of the packages one by one.
    pub packages: Judgement,
    /// Of the whole.
    pub verdict: Verdict,
}

/// The fewest packages that the rule can judge.
pub fn least_packages(rule: &Rule) -> usize {
    rule.number("least_packages").map_or(1, |least| least.to_f64() as usize)
}

/// Judges a sample. The average passes when mean error + factor x standard deviation is at least
/// 0, compared by squares so that no root is rounded; a package fails when it is short by more
/// than the variation (NIST Handbook 133, chapter 2; 9 CFR 442.2).
/// Nothing when the sample is empty or a unit is no mass.
pub fn judge(sample: &Sample) -> Option<NetContents> {
    let unit = sample.label.unit;
    let errors = errors(sample)?;
    let count = Exact::whole(i64::try_from(errors.len()).ok()?);
    let mean = errors.iter().sum::<Exact>().checked_div(&count)?;
    let variance = variance(&errors, &mean);
    let quantile = sample.rule.map(|rule| quantile(rule, errors.len()));
    let factor = quantile.map(|t| t / count.to_f64().sqrt());
    let deviation = variance.as_ref().map(|variance| variance.to_f64().sqrt());
    let average = average(&mean, variance.as_ref(), quantile, &count);

    let variation = match &sample.variation {
        Some(given) => Some(given.to(unit)?),
        None => sample.rule.and_then(|rule| own_variation(rule, &sample.label)),
    };
    let (below, packages) = packages(&errors, variation.as_ref(), unit);
    let part = sample.rule.and_then(|rule| rule.number("divisions_in_variation"));
    let division_limit = variation.as_ref().zip(part).and_then(|(variation, part)| {
        Some(Quantity::new(variation.value.checked_div(&part)?, unit))
    });
    let packages = if sample.rule.is_some() { packages } else { no_rule() };
    Some(NetContents {
        mean_error: Quantity::new(mean, unit),
        standard_deviation: deviation,
        correction_factor: factor,
        sample_error_limit: factor.and_then(|factor| {
            if factor == 0.0 { Some(0.0) } else { deviation.map(|deviation| factor * deviation) }
        }),
        verdict: Verdict::of_all([average.verdict, packages.verdict]),
        average,
        variation,
        division_limit,
        below,
        packages,
    })
}

/// Net mass less label, in the unit of the label.
fn errors(sample: &Sample) -> Option<Vec<Exact>> {
    let unit = sample.label.unit;
    sample.net.iter().map(|net| Some(net.to(unit)?.value - &sample.label.value)).collect()
}

/// The variance of the sample (divisor n - 1); nothing for fewer than two.
fn variance(errors: &[Exact], mean: &Exact) -> Option<Exact> {
    let divisor = i64::try_from(errors.len()).ok()? - 1;
    let squares = errors.iter().map(|error| {
        let apart = error - mean;
        &apart * &apart
    });
    squares.sum::<Exact>().checked_div(&Exact::whole(divisor))
}

/// The quantile of Student's t that the rule asks for; 0 for a rule without a correction.
fn quantile(rule: &Rule, count: usize) -> f64 {
    let asked = rule.number("quantile").map(|quantile| quantile.to_f64());
    let freedom = count.saturating_sub(1) as f64;
    let student = StudentsT::new(0.0, 1.0, freedom).ok();
    asked.zip(student).map_or(0.0, |(quantile, student)| student.inverse_cdf(quantile))
}

/// Whether the mean lies at most factor x deviation below 0: mean squared against
/// t squared x variance / n.
fn average(
    mean: &Exact,
    variance: Option<&Exact>,
    quantile: Option<f64>,
    count: &Exact,
) -> Judgement {
    let Some(quantile) = quantile else {
        return no_rule();
    };
    let shown = mean.to_f64();
    if !mean.is_negative() {
        let reason = format!("The mean error {shown} is not below 0.");
        return Judgement::because(Verdict::Pass, reason);
    }
    let room = variance
        .zip(Exact::from_float(quantile))
        .map(|(variance, quantile)| &(&quantile * &quantile) * variance / count.clone());
    let met = room.is_some_and(|room| mean * mean <= room);
    let found = if met { "within" } else { "outside" };
    let reason = format!("The mean error {shown} is below 0, {found} the sample error limit.");
    Judgement::because(Verdict::met(met), reason)
}

fn packages(errors: &[Exact], variation: Option<&Quantity>, unit: Unit) -> (Vec<Below>, Judgement) {
    let Some(variation) = variation else {
        let reason = "No allowable variation for one package is given, and the rule holds none.";
        return (Vec::new(), Judgement::because(Verdict::Undetermined, reason));
    };
    let limit = -variation.value.clone();
    let short = errors.iter().enumerate().filter(|(_, error)| **error < limit);
    let below: Vec<Below> =
        short.map(|(at, error)| Below { at, error: Quantity::new(error.clone(), unit) }).collect();
    let reason = match below.len() {
        0 => format!("No package is short by more than {variation}."),
        1 => format!("1 package is short by more than {variation}."),
        count => format!("{count} packages are short by more than {variation}."),
    };
    let verdict = Verdict::met(below.is_empty());
    (below, Judgement::because(verdict, reason))
}

fn no_rule() -> Judgement {
    Judgement::because(Verdict::Undetermined, "No rule is named to judge by.")
}

/// The variation of the rule's own table: the last row that starts at or before the label mass.
fn own_variation(rule: &Rule, label: &Quantity) -> Option<Quantity> {
    let ounces = label.to(Unit::Ounce)?.value;
    let starts = |row: &&crate::rules::Row| {
        let counts = row.word("from_counts") == Some("yes");
        row.number("from_oz").is_some_and(|from| from < ounces || counts && from == ounces)
    };
    let row = rule.rows.iter().rfind(starts)?;
    match row.number("limit_oz") {
        Some(limit) => Quantity::new(limit, Unit::Ounce).to(label.unit),
        None => {
            let part = row.number("limit_pct")?.checked_div(&Exact::whole(100))?;
            Some(Quantity::new(&label.value * &part, label.unit))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn grams(text: &str) -> Quantity {
        Quantity::new(text.parse().expect("a decimal"), Unit::Gram)
    }

    fn ounces(text: &str) -> Quantity {
        Quantity::new(text.parse().expect("a decimal"), Unit::Ounce)
    }

    fn sample(id: &str, label: Quantity, net: &[Quantity]) -> Sample {
        Sample { label, net: net.to_vec(), rule: Rule::newest(id), variation: None }
    }

    #[test]
    fn a_published_sample_gives_its_numbers() {
        // NIST Handbook 133, Table 2-1: correction factor of 12 packages 0.635.
        let errors = ["2", "-1", "0.5", "3", "-2.5", "1", "0", "1.5", "-0.5", "2.5", "-1.5", "1"];
        let net: Vec<_> = errors
            .iter()
            .map(|error| Quantity::new(grams(error).value + Exact::whole(340), Unit::Gram))
            .collect();
        let mut sample = sample("us.net.general", grams("340"), &net);
        sample.variation = Some(grams("14"));
        let found = judge(&sample).expect("an answer");
        assert_eq!(found.mean_error, grams("0.5"));
        assert!((found.standard_deviation.expect("two") - 1.665_150_5).abs() < 1e-6);
        assert!((found.correction_factor.expect("a rule") - 0.635).abs() < 5e-4);
        assert_eq!(found.verdict, Verdict::Pass);
    }

    #[test]
    fn correction_factors_are_the_published_ones() {
        // NIST Handbook 133, Table 2-1 (12, 24, 48); Student's t of 1: 12.7062 (any t table).
        let rule = Rule::newest("us.net.general").expect("the rule");
        for (count, factor) in [(12, 0.635), (24, 0.422), (48, 0.290), (10, 0.715), (30, 0.373)] {
            let found = quantile(rule, count) / (count as f64).sqrt();
            assert!((found - factor).abs() < 5.1e-4, "{count}: {found}");
        }
        assert!((quantile(rule, 2) - 12.706_204_736).abs() < 1e-6);
        assert!((quantile(rule, 10_000) - 1.960_2).abs() < 1e-3);
    }

    #[test]
    fn a_mean_below_the_label_fails_for_meat_only() {
        let net = [ounces("15.9"), ounces("16.05"), ounces("16.02")];
        let meat = judge(&sample("us.net.meat", ounces("16"), &net)).expect("an answer");
        assert_eq!(meat.average.verdict, Verdict::Fail);
        assert_eq!(meat.sample_error_limit, Some(0.0));
        let general = judge(&sample("us.net.general", ounces("16"), &net)).expect("an answer");
        assert_eq!(general.average.verdict, Verdict::Pass);
        assert_eq!(general.verdict, Verdict::Undetermined);
    }

    #[test]
    fn short_by_the_variation_itself_passes() {
        let net = [ounces("16.5"), ounces("15.5"), ounces("15.49999999999999999999")];
        let found = judge(&sample("us.net.meat", ounces("16"), &net)).expect("an answer");
        assert_eq!(found.below.iter().map(|below| below.at).collect::<Vec<_>>(), [2]);
        assert_eq!(found.division_limit.map(|d| d.value), Exact::ratio(1, 12));
    }

    #[test]
    fn the_variation_follows_the_label() {
        // From memory: NIST Handbook 133, Table 2-9, all products but fluids.
        let rule = Rule::newest("us.net.meat").expect("the rule");
        for (label, variation) in [
            ("2", "0.2"),
            ("3", "0.25"),
            ("7", "0.25"),
            ("7.01", "0.5"),
            ("48", "0.5"),
            ("160", "1"),
            ("240", "1.5"),
            ("400", "2"),
            ("500", "5"),
        ] {
            assert_eq!(own_variation(rule, &ounces(label)), Some(ounces(variation)), "{label}");
        }
        let grams = own_variation(rule, &grams("340")).expect("a mass");
        assert_eq!(grams.unit, Unit::Gram);
        assert_eq!(grams.to(Unit::Ounce), Some(ounces("0.5")));
    }

    #[test]
    fn one_package_has_no_deviation() {
        let found = judge(&sample("us.net.meat", ounces("16"), &[ounces("16")]));
        let found = found.expect("an answer");
        assert_eq!(found.standard_deviation, None);
        assert_eq!(found.verdict, Verdict::Pass);
        assert!(judge(&sample("us.net.meat", ounces("16"), &[])).is_none());
    }

    #[test]
    fn without_a_rule_nothing_is_judged() {
        let mut sample = sample("none", ounces("16"), &[ounces("12"), ounces("16")]);
        sample.variation = Some(ounces("1"));
        let found = judge(&sample).expect("an answer");
        assert_eq!(found.verdict, Verdict::Undetermined);
        assert_eq!(found.mean_error, ounces("-2"));
    }

    proptest! {
        #[test]
        fn scaling_every_mass_changes_no_verdict(
            errors in prop::collection::vec(-40i64..40, 2..20),
            factor in 1i64..1000,
            general in any::<bool>(),
        ) {
            let id = RULE_IDS[usize::from(general)];
            let scaled = |by: &Exact| {
                let mass = |n: i64| Quantity::new(&Exact::whole(n) * by, Unit::Gram);
                let net: Vec<_> = errors.iter().map(|error| mass(340 + error)).collect();
                let mut sample = sample(id, mass(340), &net);
                sample.variation = Some(mass(14));
                judge(&sample).expect("an answer")
            };
            let (one, other) = (scaled(&Exact::one()), scaled(&Exact::whole(factor)));
            prop_assert_eq!(one.average.verdict, other.average.verdict);
            prop_assert_eq!(one.packages.verdict, other.packages.verdict);
            prop_assert_eq!(one.below.len(), other.below.len());
        }

        #[test]
        fn a_heavier_package_never_harms_the_packages(
            errors in prop::collection::vec(-40i64..40, 1..20),
            at in any::<prop::sample::Index>(),
        ) {
            let judged = |errors: &[i64]| {
                let mass = |error: &i64| Quantity::new(Exact::whole(340 + error), Unit::Gram);
                let net: Vec<_> = errors.iter().map(mass).collect();
                judge(&sample("us.net.meat", grams("340"), &net)).expect("an answer")
            };
            let mut heavier = errors.clone();
            heavier[at.index(errors.len())] += 5;
            let (before, after) = (judged(&errors), judged(&heavier));
            prop_assert!(before.verdict != Verdict::Pass || after.verdict == Verdict::Pass);
        }
    }
}
