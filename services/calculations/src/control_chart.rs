//! Control charts from lists of numbers.
//! It never fills in a value that was not given.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::packs::control_chart::{
    self, Capability, ControlChart, Limits, Points, RunRule, Signal, Specification,
};
use prost_types::value::Kind;
use prost_types::{ListValue, Value};
use wire::v1;

use crate::shape;

/// Charts the values. Faults: neither or both of the lists, a value that is no decimal, subgroups
/// of other sizes than 2 to 25 or of uneven size, an unknown rule, limits that do not rise.
pub fn calculate(request: v1::ControlChartRequest) -> Result<v1::ControlChartResponse, Faults> {
    let mut faults = Faults::new();
    let points = match (request.subgroups.is_empty(), request.individuals.is_empty()) {
        (false, true) => subgroups(&request.subgroups, &mut faults),
        (true, false) => individuals(&request.individuals, &mut faults),
        (true, true) => {
            faults.add("subgroups", "exactly one of subgroups and individuals is needed");
            faults.add("individuals", "exactly one of subgroups and individuals is needed");
            None
        }
        (false, false) => {
            faults.add("individuals", "must not stand beside subgroups");
            None
        }
    };
    let run_rules = run_rules(&request.run_rules, &mut faults);
    let specification = specification(request.spec.as_ref(), &mut faults);
    let points = faults.into_result(points)?;
    let chart = control_chart::chart(&points, &run_rules, &specification);
    // Points are only made in sizes that have constants, so that the chart is never missing.
    Faults::new().into_result(chart).map(|chart| response(&chart))
}

fn subgroups(given: &[ListValue], faults: &mut Faults) -> Option<Points> {
    let mut read = Vec::with_capacity(given.len());
    let mut whole = true;
    for (group, list) in given.iter().enumerate() {
        let mut values = Vec::with_capacity(list.values.len());
        for (at, value) in list.values.iter().enumerate() {
            values.extend(cell(value, &format!("subgroups[{group}][{at}]"), faults));
        }
        whole &= values.len() == list.values.len();
        read.push(values);
    }
    if !whole {
        return None;
    }
    taken(Points::of_subgroups(&read), "subgroups", faults)
}

fn individuals(given: &[String], faults: &mut Faults) -> Option<Points> {
    let read: Vec<Exact> = given
        .iter()
        .enumerate()
        .filter_map(|(at, text)| shape::number(Some(text), &format!("individuals[{at}]"), faults))
        .collect();
    if read.len() < given.len() {
        return None;
    }
    taken(Points::of_individuals(read), "individuals", faults)
}

fn taken(points: Result<Points, Faults>, field: &str, faults: &mut Faults) -> Option<Points> {
    points.map_err(|found| faults.take_from(field, found)).ok()
}

/// A number, or a decimal as text; a number counts as the shortest decimal that means it.
fn cell(value: &Value, field: &str, faults: &mut Faults) -> Option<Exact> {
    let text = match &value.kind {
        Some(Kind::NumberValue(number)) => number.to_string(),
        Some(Kind::StringValue(text)) => text.clone(),
        _ => {
            faults.add(field, "must be a number");
            return None;
        }
    };
    shape::number(Some(&text), field, faults)
}

fn run_rules(given: &[String], faults: &mut Faults) -> Vec<RunRule> {
    let mut rules = Vec::with_capacity(given.len());
    for (at, word) in given.iter().enumerate() {
        match RunRule::of(word) {
            Some(rule) => rules.push(rule),
            None => {
                let asked = format!("must be one of: {}", RunRule::words());
                faults.add_value(format!("run_rules[{at}]"), word, asked);
            }
        }
    }
    rules
}

fn specification(given: Option<&v1::ChartSpecification>, faults: &mut Faults) -> Specification {
    let Some(given) = given else {
        return Specification::default();
    };
    if given.lower.is_none() && given.upper.is_none() {
        faults.add("spec.lower", "lower, upper or both are needed");
    }
    let lower = shape::number(given.lower.as_deref(), "spec.lower", faults);
    let upper = shape::number(given.upper.as_deref(), "spec.upper", faults);
    if let Some((lower, upper)) = lower.as_ref().zip(upper.as_ref()).filter(|(l, u)| l >= u) {
        faults.add_value("spec.upper", upper, format!("must be above spec.lower ({lower})"));
    }
    Specification { lower, upper }
}

fn response(chart: &ControlChart) -> v1::ControlChartResponse {
    v1::ControlChartResponse {
        mean_chart: Some(limits(&chart.mean)),
        range_chart: Some(limits(&chart.range)),
        sigma: shape::number_out(&chart.sigma),
        capability: chart.capability.as_ref().map(capability),
        signals: chart.signals.iter().map(signal).collect(),
        cautions: Vec::new(),
    }
}

fn limits(limits: &Limits) -> v1::ChartLimits {
    v1::ChartLimits {
        centre: shape::number_out(&limits.centre),
        lower: shape::number_out(&limits.lower),
        upper: shape::number_out(&limits.upper),
    }
}

fn capability(capability: &Capability) -> v1::ChartCapability {
    v1::ChartCapability {
        cp: capability.cp.as_ref().and_then(shape::number_out),
        cpk: shape::number_out(&capability.cpk),
    }
}

fn signal(signal: &Signal) -> v1::ChartSignal {
    v1::ChartSignal {
        rule: Some(signal.rule.word().to_owned()),
        chart: Some(signal.chart.word().to_owned()),
        at: u32::try_from(signal.at).ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn list(values: impl IntoIterator<Item = Kind>) -> ListValue {
        ListValue { values: values.into_iter().map(|kind| Value { kind: Some(kind) }).collect() }
    }

    fn fields(request: v1::ControlChartRequest) -> Vec<String> {
        let faults = calculate(request).expect_err("faults").into_vec();
        faults.into_iter().map(|fault| fault.field).collect()
    }

    fn texts(texts: &[&str]) -> Vec<String> {
        texts.iter().map(|text| (*text).to_owned()).collect()
    }

    #[test]
    fn a_number_counts_as_the_decimal_it_was_written_as() {
        let numbers = list([14.3, 14.1].map(Kind::NumberValue));
        let request = v1::ControlChartRequest { subgroups: vec![numbers], ..Default::default() };
        let answer = calculate(request).expect("an answer");
        let range = answer.range_chart.and_then(|chart| chart.centre);
        assert_eq!(range.as_deref(), Some("0.2"));
    }

    #[test]
    fn every_fault_is_named() {
        let wrong = v1::ControlChartRequest {
            subgroups: vec![
                list([Kind::NumberValue(f64::NAN), Kind::StringValue("x".to_owned())]),
                list([Kind::BoolValue(true)]),
            ],
            run_rules: texts(&["six_trend", "seven"]),
            spec: Some(v1::ChartSpecification {
                lower: Some("2".to_owned()),
                upper: Some("2".to_owned()),
            }),
            ..Default::default()
        };
        assert_eq!(
            fields(wrong),
            ["subgroups[0][0]", "subgroups[0][1]", "subgroups[1][0]", "run_rules[1]", "spec.upper"]
        );
        assert_eq!(fields(v1::ControlChartRequest::default())[0], "subgroups");
        let one = v1::ControlChartRequest { individuals: texts(&["3"]), ..Default::default() };
        assert_eq!(fields(one), ["individuals"]);
        let both = v1::ControlChartRequest {
            individuals: texts(&["3", "4"]),
            subgroups: vec![list([1.0, 2.0].map(Kind::NumberValue))],
            ..Default::default()
        };
        assert_eq!(fields(both), ["individuals"]);
        let open = v1::ControlChartRequest {
            individuals: texts(&["3", "4"]),
            spec: Some(v1::ChartSpecification::default()),
            ..Default::default()
        };
        assert_eq!(fields(open), ["spec.lower"]);
    }

    proptest! {
        #[test]
        fn any_input_is_answered_or_refused(
            subgroups in prop::collection::vec(prop::collection::vec(any::<f64>(), 0..5), 0..4),
            individuals in prop::collection::vec(
                "-?[0-9]{0,9}(\\.[0-9]{1,9})?(e[0-9]{1,3})?",
                0..6,
            ),
            rules in prop::collection::vec("six_trend|eight_one_side|other", 0..3),
            lower in prop::option::of(any::<f64>().prop_map(|limit| limit.to_string())),
        ) {
            let spec = v1::ChartSpecification { lower, upper: None };
            let request = v1::ControlChartRequest {
                subgroups: subgroups
                    .into_iter()
                    .map(|values| list(values.into_iter().map(Kind::NumberValue)))
                    .collect(),
                individuals,
                run_rules: rules,
                spec: Some(spec),
            };
            if let Err(faults) = calculate(request) {
                prop_assert!(!faults.is_empty());
            }
        }
    }
}
