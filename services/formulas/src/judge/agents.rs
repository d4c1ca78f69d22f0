//! The checks of restricted ingredients, one an agent.
//! It never judges rework as meat and never an average of batches.

use domain::formula::agents::{Assessment, assess};
use domain::rules::Rule;
use domain::verdict::{Judgement, Verdict};

use super::{Check, Whole};

/// Every agent of a batch, then the floors that a plan may rest on, which change no verdict.
pub fn checks(whole: &Whole<'_>) -> Vec<Check> {
    let (batch, owners) = whole.batch();
    let assessed = assess(&batch);
    let mut checks = Vec::new();
    for held in &assessed.agents {
        let brings = |at: &usize| {
            let active = batch.lines[*at].active.as_ref();
            active.is_some_and(|active| active.agent == held.agent)
        };
        let portions = (0..owners.len()).filter(brings).map(|at| owners[at]).collect();
        let judgement = held.judgement.clone().unwrap_or_else(|| {
            let reason = "rework alone brings it: shown, not judged";
            Judgement::because(Verdict::Pass, reason)
        });
        let mut check = Check::new("AGENT", held.agent.word(), judgement).about(portions);
        check.counts = held.judgement.is_some();
        check.holding = Some(held.clone());
        check.cautions = assessed.cautions.clone();
        checks.push(check.under(rule(&assessed, held.agent.word())));
    }
    for floor in &assessed.floors {
        let rule = assessed.rules.iter().find(|rule| rule.word("floor_id") == Some(floor.id));
        let rule = rule.or_else(|| assessed.rules.iter().find(|rule| rule.id == floor.id));
        let check = Check::new("FLOOR", floor.id, floor.judgement.clone());
        checks.push(Check { counts: false, ..check }.under(rule.copied()));
    }
    checks
}

/// The rule of an agent among those that were used: `us.agent.nitrite.comminuted`.
fn rule(assessed: &Assessment, agent: &str) -> Option<&'static Rule> {
    let own = format!("us.agent.{}.", agent.replace('_', "-"));
    let is_floor = |rule: &Rule| rule.number("floor_ppm").is_some();
    let mut rules = assessed.rules.iter().filter(|rule| rule.id.starts_with(&own));
    rules.find(|rule| !is_floor(rule)).copied()
}
