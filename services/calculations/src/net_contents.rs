//! Net contents of a sample of packages, from masses as weighed.
//! It never judges by a rule that was not named.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::packs::net_contents::{self, Below, NetContents, RULE_IDS, Sample, least_packages};
use domain::rules::Rule;
use domain::units::{Dimension, Quantity, Unit};
use wire::v1;

use crate::shape;

/// Judges the sample. Faults: no label or no package, a label of 0, a package lighter than the
/// tare, an unknown rule, fewer packages than the rule can judge.
pub fn calculate(request: v1::NetContentsRequest) -> Result<v1::NetContentsResponse, Faults> {
    let mut faults = Faults::new();
    let label = label(&request, &mut faults);
    let rule = rule(request.rule_id.as_deref(), &mut faults);
    let net = net(&request, &mut faults);
    if let Some(least) = rule.map(least_packages).filter(|least| *least > request.packages.len()) {
        faults.add("packages", format!("must hold at least {least} for this rule"));
    }
    let variation = request.maximum_allowable_variation.as_ref();
    let field = "maximum_allowable_variation";
    let variation = shape::quantity(variation, Dimension::Mass, field, &mut faults);
    let sample = label.map(|label| Sample { label, net, rule, variation });
    let sample = faults.into_result(sample)?;
    let unit = sample.label.unit;
    let found = net_contents::judge(&sample);
    // Whatever the judgement needs was read above, so that nothing is missing here.
    let found = Faults::new().into_result(found)?;
    Ok(response(found, rule, unit))
}

fn label(request: &v1::NetContentsRequest, faults: &mut Faults) -> Option<Quantity> {
    if request.label_mass.is_none() {
        shape::missing("label_mass", faults);
    }
    let label = request.label_mass.as_ref();
    let label = shape::quantity(label, Dimension::Mass, "label_mass", faults)?;
    if label.value.is_zero() {
        faults.add_value("label_mass.value", &label.value, "must be above 0");
    }
    Some(label)
}

fn rule(id: Option<&str>, faults: &mut Faults) -> Option<&'static Rule> {
    let id = id?;
    let rule = Rule::newest(id).filter(|rule| RULE_IDS.contains(&rule.id));
    if rule.is_none() {
        faults.add_value("rule_id", id, format!("must be one of: {}", RULE_IDS.join(" ")));
    }
    rule
}

/// The net masses of the packages that could be read.
fn net(request: &v1::NetContentsRequest, faults: &mut Faults) -> Vec<Quantity> {
    let tare = shape::quantity(request.tare.as_ref(), Dimension::Mass, "tare", faults);
    if request.packages.is_empty() {
        faults.add("packages", "must hold at least one package");
    }
    let mut net = Vec::with_capacity(request.packages.len());
    for (at, package) in request.packages.iter().enumerate() {
        let field = format!("packages[{at}]");
        let gross = shape::quantity(Some(package), Dimension::Mass, &field, faults);
        let Some(gross) = gross else { continue };
        let empty = tare.as_ref().and_then(|tare| tare.to(gross.unit)).map(|tare| tare.value);
        let value = &gross.value - &empty.unwrap_or_else(Exact::zero);
        if value.is_negative() {
            let field = format!("{field}.value");
            faults.add_value(field, &gross.value, "must not be less than the tare");
        }
        net.push(Quantity::new(value, gross.unit));
    }
    net
}

fn response(
    found: NetContents,
    rule: Option<&'static Rule>,
    unit: Unit,
) -> v1::NetContentsResponse {
    let rules: Vec<&Rule> = rule.into_iter().collect();
    let mass = |value: f64| {
        let value = shape::float_out(value);
        value.map(|value| v1::Quantity { value: Some(value), unit: unit.code().to_owned() })
    };
    let mut reasons = found.average.reasons;
    for reason in found.packages.reasons {
        if !reasons.contains(&reason) {
            reasons.push(reason);
        }
    }
    v1::NetContentsResponse {
        mean_error: Some(shape::quantity_out(&found.mean_error)),
        standard_deviation: found.standard_deviation.and_then(mass),
        correction_factor: found.correction_factor.and_then(shape::float_out),
        sample_error_limit: found.sample_error_limit.and_then(mass),
        average_verdict: shape::verdict_out(found.average.verdict),
        maximum_allowable_variation: found.variation.as_ref().map(shape::quantity_out),
        packages_below: found.below.iter().map(below).collect(),
        packages_verdict: shape::verdict_out(found.packages.verdict),
        division_limit: found.division_limit.as_ref().map(shape::quantity_out),
        verdict: shape::verdict_out(found.verdict),
        reasons,
        rules: shape::rules_out(&rules),
        cautions: shape::cautions_out(&rules, &[]),
    }
}

fn below(below: &Below) -> v1::PackageBelow {
    v1::PackageBelow {
        at: u32::try_from(below.at).ok(),
        error: Some(shape::quantity_out(&below.error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mass(value: &str, unit: &str) -> v1::Quantity {
        v1::Quantity { value: Some(value.to_owned()), unit: unit.to_owned() }
    }

    fn request(label: &str, packages: &[&str], rule: &str) -> v1::NetContentsRequest {
        v1::NetContentsRequest {
            label_mass: Some(mass(label, "g")),
            packages: packages.iter().map(|value| mass(value, "g")).collect(),
            rule_id: Some(rule.to_owned()),
            ..Default::default()
        }
    }

    fn fields(request: v1::NetContentsRequest) -> Vec<String> {
        let faults = calculate(request).expect_err("faults").into_vec();
        faults.into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn every_fault_is_named() {
        let mut wrong = request("0", &["10", "30"], "us.cook.patty");
        wrong.tare = Some(mass("20", "g"));
        wrong.maximum_allowable_variation = Some(mass("1", "Cel"));
        assert_eq!(
            fields(wrong),
            [
                "label_mass.value",
                "rule_id",
                "packages[0].value",
                "maximum_allowable_variation.unit"
            ]
        );
        assert_eq!(fields(request("340", &["340"], "us.net.general")), ["packages"]);
        assert_eq!(fields(v1::NetContentsRequest::default()), ["label_mass", "packages"]);
    }

    #[test]
    fn a_recalled_number_is_said_to_be_recalled() {
        let answer = calculate(request("340", &["340"], "us.net.meat")).expect("an answer");
        assert_eq!(answer.rules[0].id, "us.net.meat");
        assert!(answer.cautions.iter().any(|caution| caution.contains("recalled")));
        assert_eq!(answer.correction_factor.as_deref(), Some("0"));
    }

    proptest! {
        #[test]
        fn any_input_is_answered_or_refused(
            label in "-?[0-9]{0,12}(\\.[0-9]{1,8})?",
            packages in prop::collection::vec(
                ("[0-9]{0,12}(\\.[0-9]{1,8})?", "g|kg|Cel|\\[lb_av\\]|"),
                0..6,
            ),
            rule in "us\\.net\\.(meat|general|other)",
        ) {
            let mut given = request(&label, &[], &rule);
            given.packages = packages.iter().map(|(value, unit)| mass(value, unit)).collect();
            if let Err(faults) = calculate(given) {
                prop_assert!(!faults.is_empty());
            }
        }
    }
}
