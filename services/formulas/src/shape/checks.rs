//! Judgements as messages.
//! It never judges.

use domain::exact::Exact;
use domain::formula::agents::Holding;
use domain::formula::composition::{Finished, Limit};
use wire::v1;

use super::{number_out, quantity_out, rule_out, verdict_out};
use crate::judge::formula::{Judged, Warning};
use crate::judge::{Check, verdict};

/// What a formula was judged, as a message.
pub fn checks_out(judged: &Judged) -> v1::FormulaChecks {
    v1::FormulaChecks {
        verdict: verdict_out(verdict(&judged.checks)),
        checks: judged.checks.iter().map(check_out).collect(),
        warnings: judged.warnings.iter().map(warning_out).collect(),
        statement: judged.held.statement(),
        allergens: judged.held.allergens.iter().map(|one| (*one).to_owned()).collect(),
        finished: judged.finished.as_ref().map(finished_out),
    }
}

/// A check as a message.
pub fn check_out(check: &Check) -> v1::FormulaCheck {
    v1::FormulaCheck {
        code: check.code.to_owned(),
        subject: check.subject.clone(),
        verdict: verdict_out(check.verdict()),
        reasons: check.judgement.reasons.clone(),
        rules: check.rules.iter().map(|rule| rule_out(rule)).collect(),
        cautions: check.cautions.clone(),
        // A formula has 200 lines at most, and a batch 50,000 portions.
        lines: check.portions.iter().map(|at| *at as i32).collect(),
        agent: check.holding.as_ref().map(holding_out),
        composition: check.limit.as_ref().map(limit_out),
    }
}

/// The numbers of a restricted ingredient as a message.
pub fn holding_out(held: &Holding) -> v1::AgentResult {
    let number = |value: &Option<Exact>| value.as_ref().and_then(number_out);
    v1::AgentResult {
        agent: Some(held.agent.word().to_owned()),
        mass: Some(quantity_out(&held.mass)),
        ppm: number(&held.ppm),
        rework_ppm: number(&held.rework_ppm),
        limit_ppm: number(&held.limit_ppm),
        minimum_ppm: number(&held.minimum_ppm),
        limit_mass: held.limit_mass.as_ref().map(quantity_out),
        basis: Some(held.basis.word().to_owned()),
        verdict: held.judgement.as_ref().map(|judgement| verdict_out(judgement.verdict)),
        reasons: held.judgement.as_ref().map(|one| one.reasons.clone()).unwrap_or_default(),
    }
}

fn limit_out(limit: &Limit) -> v1::CompositionLimit {
    v1::CompositionLimit {
        id: Some(limit.id.to_owned()),
        basis: Some(limit.basis.to_owned()),
        bound: Some(limit.bound.to_owned()),
        value_pct: limit.value_pct.as_ref().and_then(number_out),
        limit_pct: number_out(&limit.limit_pct),
        verdict: Some(verdict_out(limit.judgement.verdict)),
        reasons: limit.judgement.reasons.clone(),
    }
}

fn finished_out(finished: &Finished) -> v1::FinishedComposition {
    let number = |value: &Option<Exact>| value.as_ref().and_then(number_out);
    let [fat, moisture, protein, salt] = &finished.pct;
    v1::FinishedComposition {
        mass: Some(quantity_out(&finished.mass)),
        fat_pct: number(fat),
        moisture_pct: number(moisture),
        protein_pct: number(protein),
        salt_pct: number(salt),
        added_water_pct: number(&finished.added_water_pct),
        moisture_protein_ratio: number(&finished.moisture_protein_ratio),
        water_phase_salt_pct: number(&finished.water_phase_salt_pct),
    }
}

/// A warning as a message.
pub fn warning_out(warning: &Warning) -> v1::FormulaWarning {
    v1::FormulaWarning {
        code: warning.code.to_owned(),
        subject: warning.subject.clone(),
        message: warning.message.clone(),
        line: warning.line.map(|at| at as i32),
        proposal: warning.proposal.as_ref().map(quantity_out),
        proposal_pct: warning.proposal_pct.as_ref().and_then(number_out),
    }
}
