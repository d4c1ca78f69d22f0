//! Whether a chill was fast enough, by every option of an edition, with growth as support.
//! It never lets the prediction of growth touch the verdict.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::heat::Between;
use domain::heat::cooling::{self, Chill, ChilledProduct, EDITIONS, OptionResult};
use domain::heat::growth::{self, Parameters, Start};
use domain::heat::probes::{Probes, Worst};
use domain::rules::Rule;
use domain::units::Unit;
use domain::verdict::{Judgement, Verdict};
use wire::v1;

use crate::probes::{self, Given};
use crate::shape;

/// Judges a chill. Faults: every one of the input, by its field.
pub fn calculate(request: v1::CoolingRequest) -> Result<v1::CoolingResponse, Faults> {
    let mut faults = Faults::new();
    let max_gap_s = probes::max_gap(request.max_gap_s.as_deref(), &mut faults);
    let word = request.between_readings.as_deref();
    let between = probes::between(word, "between_readings", &mut faults);
    let by_lines = between == Between::Linear;
    let given = Given {
        curve: request.curve.as_ref(),
        curves: &request.curves,
        tolerance: request.probe_tolerance.as_ref(),
        max_gap_s: by_lines.then_some(max_gap_s),
        shares_time: by_lines,
    };
    let read = probes::read(&given, Worst::Warmest, &mut faults);
    let product = product(request.product.as_ref(), &mut faults);
    let edition = edition(request.edition.as_deref(), &mut faults);
    let model = growth_model(request.growth_model.as_ref(), &mut faults);
    let times = times(&request, read.as_ref().map(|(probes, _)| probes), &mut faults);
    let answer = read.zip(model).and_then(|((probes, unit), model)| {
        let (cook_ended_s, chill_started_s) = times?;
        let product = &product;
        let chill = Chill { probes: &probes, product, cook_ended_s, chill_started_s, between };
        let options = cooling::judge(&chill, edition?);
        let growth = growth_part(&chill, model);
        let mut answer = answer(&options, growth, between, unit);
        answer.cautions.extend(unused(request.product.as_ref()));
        Some(answer)
    });
    faults.into_result(answer)
}

fn answer(
    options: &[OptionResult],
    (growth, set): (v1::GrowthPrediction, Option<&Parameters>),
    between: Between,
    unit: Unit,
) -> v1::CoolingResponse {
    let overall = cooling::overall(options);
    let growth_rule = Rule::newest(growth::RULE);
    let rules: Vec<&Rule> = options.iter().map(|option| option.rule).chain(growth_rule).collect();
    let own = [growth::CAUTION.to_owned()];
    let own = if growth.log10_growth.is_some() { own.as_slice() } else { &[] };
    let mut references = shape::rules_out(&rules);
    references.extend(set.map(|set| v1::RuleReference {
        id: set.id.to_owned(),
        title: set.title.to_owned(),
        citation: set.citation.to_owned(),
        edition: set.edition.to_owned(),
    }));
    v1::CoolingResponse {
        options: options.iter().map(|option| option_out(option, between, unit)).collect(),
        growth: Some(growth),
        verdict: shape::verdict_out(overall.verdict),
        reasons: overall.reasons,
        rules: references,
        cautions: shape::cautions_out(&rules, own),
    }
}

fn option_out(option: &OptionResult, between: Between, unit: Unit) -> v1::CoolingOption {
    let limbs = option.limbs.iter().map(|limb| v1::CoolingLimb {
        from: probes::temperature_out(&limb.from_f, unit),
        to: probes::temperature_out(&limb.to_f, unit),
        limit_s: shape::number_out(&limb.limit_s),
        taken_s: probes::taken_out(limb.taken.as_ref(), between),
        verdict: shape::verdict_out(limb.judgement.verdict),
        reasons: limb.judgement.reasons.clone(),
    });
    v1::CoolingOption {
        rule_id: Some(option.rule.id.to_owned()),
        edition: Some(option.rule.edition.to_owned()),
        applies: Some(option.applies),
        verdict: shape::verdict_out(option.judgement.verdict),
        limbs: limbs.collect(),
        reasons: option.judgement.reasons.clone(),
    }
}

/// Growth as support, and the set that gave a number or would have.
fn growth_part<'a>(
    chill: &Chill<'_>,
    (set, start): (&'a Parameters, Start),
) -> (v1::GrowthPrediction, Option<&'a Parameters>) {
    let organism = Some(growth::ORGANISM.to_owned());
    let without_number = |model: Option<&Parameters>, reason: &str| v1::GrowthPrediction {
        organism: organism.clone(),
        model: model.map(|set| set.id.to_owned()),
        verdict: shape::verdict_out(Verdict::Undetermined),
        reasons: vec![reason.to_owned()],
        ..v1::GrowthPrediction::default()
    };
    if chill.product.cured {
        let reason =
            "no set of parameters for cured product is held, and an uncured one says nothing";
        return (without_number(None, reason), None);
    }
    if chill.between == Between::Bounds {
        let reason = "between readings by hand the temperature is not known";
        return (without_number(Some(set), reason), Some(set));
    }
    let limit = Rule::newest(growth::RULE).and_then(|rule| rule.number("limit_log10"));
    let found = limit.and_then(|limit| growth::predict(chill.probes, set, start, limit.to_f64()));
    let Some(found) = found else {
        return (without_number(Some(set), "the numbers given lead beyond any number"), Some(set));
    };
    let Judgement { verdict, reasons } = found.judgement;
    let growth = v1::GrowthPrediction {
        organism,
        model: Some(set.id.to_owned()),
        log10_growth: shape::float_out(found.log10_growth),
        upper_log10_growth: shape::float_out(found.upper_log10_growth),
        potential_log10: shape::float_out(found.potential_log10),
        verdict: shape::verdict_out(verdict),
        reasons,
    };
    (growth, Some(set))
}

fn product(given: Option<&v1::ChilledProduct>, faults: &mut Faults) -> ChilledProduct {
    let Some(given) = given else { return ChilledProduct::default() };
    let salt = given.water_phase_salt_pct.as_deref();
    shape::percentage(salt, "product.water_phase_salt_pct", faults);
    let activity =
        shape::not_negative(given.water_activity.as_deref(), "product.water_activity", faults);
    if let Some(activity) = activity.filter(|activity| *activity > Exact::one()) {
        faults.add_value("product.water_activity", activity, "must not be above 1");
    }
    let mut ppm = |text: Option<&str>, field: &str| {
        let ppm = shape::not_negative(text, field, faults)?;
        if ppm > Exact::whole(1_000_000) {
            faults.add_value(field, &ppm, "must not be above 1000000");
        }
        Some(ppm)
    };
    ChilledProduct {
        cured: given.cured.unwrap_or(false),
        ingoing_nitrite_ppm: ppm(
            given.ingoing_nitrite_ppm.as_deref(),
            "product.ingoing_nitrite_ppm",
        ),
        erythorbate_ppm: ppm(given.erythorbate_ppm.as_deref(), "product.erythorbate_ppm"),
    }
}

/// That something was given which no option held here asks for.
fn unused(given: Option<&v1::ChilledProduct>) -> Option<String> {
    let given = given?;
    (given.water_phase_salt_pct.is_some() || given.water_activity.is_some()).then(|| {
        "Water-phase salt and water activity are recorded; no option held here asks for them."
            .to_owned()
    })
}

fn edition(given: Option<&str>, faults: &mut Faults) -> Option<&'static str> {
    let word = given.unwrap_or("2021");
    let edition = EDITIONS.into_iter().find(|edition| *edition == word);
    if edition.is_none() {
        faults.add_value("edition", word, format!("must be one of: {}", EDITIONS.join(" ")));
    }
    edition
}

/// The end of the cook and, when it is recorded, the begin of chilling.
fn times(
    request: &v1::CoolingRequest,
    probes: Option<&Probes>,
    faults: &mut Faults,
) -> Option<(Exact, Option<Exact>)> {
    let ended = shape::number(request.cook_ended_t_s.as_deref(), "cook_ended_t_s", faults);
    let started = shape::number(request.chill_started_t_s.as_deref(), "chill_started_t_s", faults);
    let ended = ended.or_else(|| probes.map(Probes::first_s))?;
    if let Some(early) = started.as_ref().filter(|started| **started < ended) {
        faults.add_value("chill_started_t_s", early, "must not be before the end of the cook");
        return None;
    }
    Some((ended, started))
}

fn growth_model(
    given: Option<&v1::GrowthModel>,
    faults: &mut Faults,
) -> Option<(&'static Parameters, Start)> {
    let given = given.cloned().unwrap_or_default();
    let id = given.id.as_deref().unwrap_or(growth::SETS[0].id);
    let set = Parameters::of(id);
    if set.is_none() {
        let ids = growth::SETS.map(|set| set.id).join(" ");
        faults.add_value("growth_model.id", id, format!("must be one of: {ids}"));
    }
    let h0 = shape::not_negative(given.h0.as_deref(), "growth_model.h0", faults);
    let y0 = shape::number(given.y0_log10.as_deref(), "growth_model.y0_log10", faults);
    let most = shape::number(given.ymax_log10.as_deref(), "growth_model.ymax_log10", faults);
    let number = |value: Option<Exact>, usual: f64| value.map_or(usual, |value| value.to_f64());
    let set = set?;
    let start = Start {
        h0: number(h0, set.h0),
        y0_log10: number(y0, growth::Y0_LOG10),
        ymax_log10: number(most, growth::YMAX_LOG10),
    };
    if start.ymax_log10 < start.y0_log10 {
        let field = if given.ymax_log10.is_some() { "ymax_log10" } else { "y0_log10" };
        faults.add(format!("growth_model.{field}"), "must leave ymax_log10 at or above y0_log10");
        return None;
    }
    Some((set, start))
}
