//! Composition of the finished product, from message to message.
//! It never holds a limit: those are rules of the domain.

use domain::fault::Faults;
use domain::formula::composition::{self, Constituent, Finished, Formula, Limit, Part, PartKind};
use domain::rules::Rule;
use domain::verdict::Verdict;
use wire::v1::{
    CompositionLimit, CompositionPart, CompositionRequest, CompositionResponse, FinishedComposition,
};

use crate::{masses, shape};

/// The composition, judged where a standard is named. Faults: an unknown kind or standard,
/// percentages above 100 together, a yield that cannot be.
pub fn calculate(request: CompositionRequest) -> Result<CompositionResponse, Faults> {
    let mut faults = Faults::new();
    masses::not_empty(&request.parts, "parts", &mut faults);
    let parts: Vec<Option<Part>> = request
        .parts
        .iter()
        .enumerate()
        .map(|(at, part)| read_part(part, at, &mut faults))
        .collect();
    let added_water = masses::mass(request.added_water.as_ref(), "added_water", &mut faults);
    let finished_mass = masses::mass(request.finished_mass.as_ref(), "finished_mass", &mut faults);
    let standard = request.standard_id.as_deref().and_then(|id| {
        let standard = composition::standard(id);
        if standard.is_none() {
            let allowed = format!("must be one of: {}", composition::standard_ids());
            faults.add_value("standard_id", id, allowed);
        }
        standard
    });
    let parts: Option<Vec<Part>> = parts.into_iter().collect();
    let formula =
        faults.into_result(parts.map(|parts| Formula { parts, added_water, finished_mass }))?;
    let finished = composition::finished(&formula)?;
    Ok(answer(&formula, &finished, standard))
}

fn read_part(part: &CompositionPart, at: usize, faults: &mut Faults) -> Option<Part> {
    let whole = format!("parts[{at}]");
    let kind = PartKind::from_word(&part.kind);
    if kind.is_none() {
        let allowed = format!("must be one of: {}", PartKind::words());
        faults.add_value(format!("{whole}.kind"), &part.kind, allowed);
    }
    let mass = masses::needed(part.mass.as_ref(), &format!("{whole}.mass"), faults);
    let given = [
        ("fat_pct", part.fat_pct.as_deref()),
        ("moisture_pct", part.moisture_pct.as_deref()),
        ("protein_pct", part.protein_pct.as_deref()),
        ("salt_pct", part.salt_pct.as_deref()),
    ];
    let pct = masses::parts(given, &whole, faults);
    Some(Part { kind: kind?, mass: mass?, pct: pct? })
}

fn answer(
    formula: &Formula,
    finished: &Finished,
    standard: Option<&'static Rule>,
) -> CompositionResponse {
    let limits = standard.map(|rule| composition::judge(formula, finished, rule));
    let verdict = limits
        .as_ref()
        .map(|limits| Verdict::of_all(limits.iter().map(|limit| limit.judgement.verdict)));
    let limits = limits.unwrap_or_default();
    let deciding = limits.iter().filter(|limit| Some(limit.judgement.verdict) == verdict);
    let reasons = deciding.flat_map(|limit| limit.judgement.reasons.iter().cloned()).collect();
    let rules: Vec<&Rule> = standard.into_iter().collect();
    let own: Vec<String> = formula
        .finished_mass
        .is_some()
        .then(|| {
            "What was lost is taken as water alone; where fat renders, take it off its part first."
                .to_owned()
        })
        .into_iter()
        .collect();
    let cautions = if rules.is_empty() { own } else { shape::cautions_out(&rules, &own) };
    CompositionResponse {
        finished: Some(finished_out(finished)),
        limits: limits.iter().map(limit_out).collect(),
        verdict: verdict.and_then(shape::verdict_out),
        reasons,
        rules: shape::rules_out(&rules),
        cautions,
    }
}

fn finished_out(finished: &Finished) -> FinishedComposition {
    let pct = |constituent: Constituent| {
        finished.pct[constituent as usize].as_ref().and_then(shape::number_out)
    };
    FinishedComposition {
        mass: Some(shape::quantity_out(&finished.mass)),
        fat_pct: pct(Constituent::Fat),
        moisture_pct: pct(Constituent::Moisture),
        protein_pct: pct(Constituent::Protein),
        salt_pct: pct(Constituent::Salt),
        added_water_pct: finished.added_water_pct.as_ref().and_then(shape::number_out),
        moisture_protein_ratio: finished
            .moisture_protein_ratio
            .as_ref()
            .and_then(shape::number_out),
        water_phase_salt_pct: finished.water_phase_salt_pct.as_ref().and_then(shape::number_out),
    }
}

fn limit_out(limit: &Limit) -> CompositionLimit {
    CompositionLimit {
        id: Some(limit.id.to_owned()),
        basis: Some(limit.basis.to_owned()),
        bound: Some(limit.bound.to_owned()),
        value_pct: limit.value_pct.as_ref().and_then(shape::number_out),
        limit_pct: shape::number_out(&limit.limit_pct),
        verdict: shape::verdict_out(limit.judgement.verdict),
        reasons: limit.judgement.reasons.clone(),
    }
}
