//! Whether a cook killed enough: integral, table, humidity and come-up, each with its own verdict.
//! It never lets one part stand for another.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::heat::Between;
use domain::heat::dwell::{self, TableResult};
use domain::heat::heating::{self, HeatingResult};
use domain::heat::humidity;
use domain::heat::integral::{self, Integral};
use domain::heat::model::Model;
use domain::heat::probes::{Probes, Stretch, Worst};
use domain::rules::Rule;
use domain::units::{Quantity, Unit};
use domain::verdict::{Judgement, Verdict};
use wire::v1;

use crate::kinetics;
use crate::probes::{self, Given};
use crate::shape;

mod input;

use input::Input;

/// Judges what the request asks for. Faults: every one of the input, by its field.
pub fn calculate(request: v1::LethalityRequest) -> Result<v1::LethalityResponse, Faults> {
    let mut faults = Faults::new();
    let max_gap_s = probes::max_gap(request.max_gap_s.as_deref(), &mut faults);
    let input = input::read(&request, &mut faults);
    let needs_lines = request.model.is_some() || request.rule_id.is_some();
    let by_hand = input.heating.as_ref().is_some_and(|limit| limit.between == Between::Bounds);
    let given = Given {
        curve: request.curve.as_ref(),
        curves: &request.curves,
        tolerance: request.probe_tolerance.as_ref(),
        max_gap_s: (needs_lines || !by_hand).then_some(max_gap_s),
        shares_time: needs_lines || !by_hand,
    };
    let read = probes::read(&given, Worst::Coldest, &mut faults);
    let answer = read.and_then(|(probes, unit)| answer(&input, &probes, unit, &mut faults));
    faults.into_result(answer)
}

/// The parts as they are judged, and what goes with them.
#[derive(Default)]
struct Gathering {
    judged: Vec<(&'static str, Judgement)>,
    rules: Vec<&'static Rule>,
    cautions: Vec<String>,
}

impl Gathering {
    fn judge(&mut self, part: &'static str, judgement: &Judgement) -> Option<i32> {
        self.judged.push((part, judgement.clone()));
        shape::verdict_out(judgement.verdict)
    }
}

fn answer(
    input: &Input,
    probes: &Probes,
    unit: Unit,
    faults: &mut Faults,
) -> Option<v1::LethalityResponse> {
    let mut parts = Gathering::default();
    let peak = probes.peak();
    let integrated = match &input.model {
        Some(model) => {
            let found = integral::integrate(probes, model, input.target_log.as_ref());
            if found.is_none() {
                faults.add("model", "gives rates beyond any number for this curve");
            }
            let hottest_f = peak.as_ref().map(|peak| &peak.value_f);
            parts.cautions.extend(kinetics::cautions(model, &input.points, hottest_f));
            Some(integrated_out(&found?, model, unit, &mut parts))
        }
        None => None,
    };
    let table = input.table.map(|rule| {
        let found = dwell::judge(probes, rule, &input.product);
        parts.rules.push(rule);
        table_out(&found, unit, &mut parts)
    });
    let humidity = match &input.humidity {
        Some(asked) => Some(humidity_out(input, asked, probes, faults, &mut parts)?),
        None => None,
    };
    let heating = input.heating.as_ref().map(|limit| {
        let found = heating::judge(probes, limit);
        heating_out(&found, limit, unit, &mut parts)
    });
    let verdict = Verdict::of_all(parts.judged.iter().map(|(_, part)| part.verdict));
    let reasons = parts.judged.iter().map(|(part, judgement)| {
        format!("{part}: {}, {}", judgement.verdict, judgement.reasons.join("; "))
    });
    Some(v1::LethalityResponse {
        integrated,
        table,
        humidity,
        heating,
        peak: peak.and_then(|peak| probes::temperature_out(&peak.value_f, unit)),
        verdict: if parts.judged.is_empty() { None } else { shape::verdict_out(verdict) },
        reasons: reasons.collect(),
        rules: shape::rules_out(&parts.rules),
        cautions: shape::cautions_out(&parts.rules, &parts.cautions),
    })
}

fn integrated_out(
    found: &Integral,
    model: &Model,
    unit: Unit,
    parts: &mut Gathering,
) -> v1::IntegratedLethality {
    // What was given is shown as given; a fit has no more digits than a float.
    let number = |value: &Exact| match model.r_squared {
        Some(_) => shape::float_out(value.to_f64()),
        None => shape::number_out(value),
    };
    let z = Quantity::from_base_difference(&model.z_f, unit).value;
    let z = v1::Quantity { value: number(&z), unit: unit.code().to_owned() };
    v1::IntegratedLethality {
        equivalent_s: shape::float_out(found.equivalent_s),
        lower_bound_s: shape::float_out(found.lower_bound_s),
        log_reduction: shape::float_out(found.log_reduction),
        reached_at_s: found.reached_at_s.and_then(shape::float_out),
        model: Some(v1::ModelUsed {
            reference: probes::temperature_out(&model.reference_f, unit),
            z: Some(z),
            d_s: number(&model.d_s),
            r_squared: model.r_squared.and_then(shape::float_out),
        }),
        verdict: found.judgement.as_ref().and_then(|j| parts.judge("integral", j)),
        reasons: found.judgement.as_ref().map(|j| j.reasons.clone()).unwrap_or_default(),
    }
}

fn table_out(found: &TableResult, unit: Unit, parts: &mut Gathering) -> v1::LethalityTable {
    parts.cautions.extend(found.cautions.iter().cloned());
    let rows = found.rows.iter().map(|row| v1::LethalityRow {
        temperature: probes::temperature_out(&row.temperature_f, unit),
        required_s: shape::number_out(&row.required_s),
        longest_s: shape::number_out(&length_s(row.longest.as_ref())),
        met: Some(row.met),
    });
    let met_row = found.met_row.and_then(|at| found.rows.get(at)).map(|row| v1::LethalityRowMet {
        temperature: probes::temperature_out(&row.temperature_f, unit),
        dwell_s: shape::number_out(&length_s(row.longest.as_ref())),
        from_s: row.longest.as_ref().and_then(|stay| shape::number_out(&stay.from_s)),
        to_s: row.longest.as_ref().and_then(|stay| shape::number_out(&stay.to_s)),
    });
    v1::LethalityTable {
        applies: Some(found.applies),
        rows: rows.collect(),
        met_row,
        verdict: parts.judge("table", &found.judgement),
        reasons: found.judgement.reasons.clone(),
    }
}

fn length_s(stay: Option<&Stretch>) -> Exact {
    stay.map_or_else(Exact::zero, Stretch::length_s)
}

fn humidity_out(
    input: &Input,
    asked: &input::Humidity,
    probes: &Probes,
    faults: &mut Faults,
    parts: &mut Gathering,
) -> Option<v1::HumidityResult> {
    let cook = Stretch {
        from_s: probes.first_s(),
        to_s: input.cook_ended_s.clone().unwrap_or_else(|| probes.last_s()),
    };
    if cook.to_s < cook.from_s {
        faults.add_value("cook_ended_t_s", &cook.to_s, "must not be before the first sample");
        return None;
    }
    let found = humidity::judge(asked.rule, &asked.readings, &cook)?;
    parts.rules.push(asked.rule);
    Some(v1::HumidityResult {
        required_s: shape::number_out(&found.required_s),
        held_s: shape::number_out(&found.held_s),
        verdict: parts.judge("humidity", &found.judgement),
        reasons: found.judgement.reasons,
    })
}

fn heating_out(
    found: &HeatingResult,
    limit: &heating::HeatingLimit,
    unit: Unit,
    parts: &mut Gathering,
) -> v1::HeatingResult {
    v1::HeatingResult {
        from: probes::temperature_out(&limit.from_f, unit),
        to: probes::temperature_out(&limit.to_f, unit),
        limit_s: shape::number_out(&limit.limit_s),
        taken_s: probes::taken_out(found.taken.as_ref(), limit.between),
        verdict: parts.judge("come-up", &found.judgement),
        reasons: found.judgement.reasons.clone(),
    }
}
