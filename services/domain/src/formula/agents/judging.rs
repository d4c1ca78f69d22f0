//! The judgement of a batch's restricted ingredients against the rules of its class.
//! It never holds a limit of its own: every number comes from a rule.

use super::{Agent, Basis, Batch, ProductClass};
use crate::exact::Exact;
use crate::formula::in_text;
use crate::rules::Rule;
use crate::units::Quantity;
use crate::verdict::{Judgement, Verdict};

/// The floors that are shown beside a nitrite result.
const FLOORS: [&str; 2] = ["us.agent.nitrite.chill-option-3", "us.agent.nitrite.keep-refrigerated"];

/// What a batch holds of one agent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holding {
    /// Which agent.
    pub agent: Agent,
    /// Pure agent of the batch's own lines.
    pub mass: Quantity,
    /// That in its basis; nothing when the basis is not known.
    pub ppm: Option<Exact>,
    /// What rework brings, on the same base; nothing when it brings none.
    pub rework_ppm: Option<Exact>,
    /// The most that is allowed, itself allowed.
    pub limit_ppm: Option<Exact>,
    /// The least that must be held, itself enough.
    pub minimum_ppm: Option<Exact>,
    /// Pure agent that would stand at the limit.
    pub limit_mass: Option<Quantity>,
    /// What the ppm is a part of.
    pub basis: Basis,
    /// Nothing for an agent that rework alone brings.
    pub judgement: Option<Judgement>,
}

/// A floor that a plan may rest on; it changes no verdict on the limits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Floor {
    /// Its identifier.
    pub id: &'static str,
    /// The least ppm of green weight.
    pub floor_ppm: Exact,
    /// Whether the batch reaches it.
    pub judgement: Judgement,
}

/// What a batch holds of all restricted agents, judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assessment {
    /// In the order of the lines, then what the class must hold and lacks.
    pub agents: Vec<Holding>,
    /// When nitrite is used.
    pub floors: Vec<Floor>,
    /// Of all agents together.
    pub verdict: Verdict,
    /// The rules of the numbers.
    pub rules: Vec<&'static Rule>,
    /// What a person should know beside the numbers.
    pub cautions: Vec<String>,
}

/// Judges every agent of a batch, exactly; a limit met exactly passes.
/// Sources: 9 CFR 424.21(c); FSIS Processing Inspectors' Calculations Handbook (1995), ch. 3.
pub fn assess(batch: &Batch) -> Assessment {
    let mut rules = Vec::new();
    let agents: Vec<Holding> = agents_to_list(batch)
        .into_iter()
        .map(|agent| {
            let rule = rule_of(agent, batch.class);
            rules.extend(rule);
            holding(batch, agent, rule)
        })
        .collect();
    let floors = floors(&agents, &mut rules);
    let verdicts = agents.iter().filter_map(|one| one.judgement.as_ref()).map(|j| j.verdict);
    let verdict = Verdict::of_all(verdicts);
    let cautions = cautions(batch, &agents);
    Assessment { agents, floors, verdict, rules, cautions }
}

/// The rule of an agent in a class: `us.agent.nitrite.comminuted`.
fn rule_of(agent: Agent, class: ProductClass) -> Option<&'static Rule> {
    let id = format!("us.agent.{}.{}", agent.word(), class.word()).replace('_', "-");
    Rule::newest(&id)
}

/// True where the class must hold the agent of the rule.
fn is_needed(rule: &Rule) -> bool {
    rule.number("minimum_ppm").is_some() || rule.word("presence").is_some()
}

fn agents_to_list(batch: &Batch) -> Vec<Agent> {
    let mut listed: Vec<Agent> = Vec::new();
    let brought = batch.lines.iter().filter_map(|line| line.active.as_ref().map(|a| a.agent));
    let needed = Agent::ALL
        .iter()
        .copied()
        .filter(|agent| rule_of(*agent, batch.class).is_some_and(is_needed));
    for agent in brought.chain(needed) {
        if !listed.contains(&agent) {
            listed.push(agent);
        }
    }
    listed
}

fn holding(batch: &Batch, agent: Agent, rule: Option<&'static Rule>) -> Holding {
    let basis = rule
        .and_then(|rule| rule.word("basis"))
        .and_then(Basis::from_word)
        .unwrap_or_else(|| agent.usual_basis());
    let limit_ppm = rule.and_then(|rule| rule.number("limit_ppm"));
    let minimum_ppm = rule.and_then(|rule| rule.number("minimum_ppm"));
    let per_gram = batch.share_per_gram(basis).map(|share| share * Exact::whole(1_000_000));
    let grams = batch.agent_base(agent);
    let ppm = if grams.is_zero() {
        Some(Exact::zero())
    } else {
        per_gram.as_ref().map(|per_gram| &grams * per_gram)
    };
    let brings = |rework: bool| {
        let of_agent = |line: &super::Line| line.active.as_ref().is_some_and(|a| a.agent == agent);
        batch.lines.iter().any(|line| line.rework == rework && of_agent(line))
    };
    let rework: Exact = batch.lines.iter().filter(|l| l.rework).map(|l| l.agent_base(agent)).sum();
    let rework_ppm = per_gram.as_ref().filter(|_| brings(true)).map(|each| &rework * each);
    let limit_grams = limit_ppm.as_ref().zip(per_gram).and_then(|(l, each)| l.checked_div(&each));
    let is_judged = brings(false) || rule.is_some_and(is_needed);
    let mut holding = Holding {
        agent,
        mass: Quantity::from_base(&grams, batch.unit),
        ppm,
        rework_ppm,
        limit_ppm,
        minimum_ppm,
        limit_mass: limit_grams.map(|grams| Quantity::from_base(&grams, batch.unit)),
        basis,
        judgement: None,
    };
    holding.judgement = is_judged.then(|| judge(batch, &holding, rule));
    holding
}

fn judge(batch: &Batch, held: &Holding, rule: Option<&'static Rule>) -> Judgement {
    let (agent, class) = (held.agent.word(), batch.class.word());
    let Some(rule) = rule else {
        return judge_without_rule(held.agent, class);
    };
    let is_held = held.mass.value.is_positive();
    if is_held && held.limit_ppm.as_ref().is_some_and(Exact::is_zero) {
        let reason = format!("{agent} is not allowed in {class}");
        return Judgement::because(Verdict::Fail, reason);
    }
    if !is_held && is_needed(rule) {
        let least = held.minimum_ppm.as_ref().map(|least| format!(" at least {least} ppm of"));
        let reason = format!("{class} must hold{} {agent}", least.unwrap_or_default());
        return Judgement::because(Verdict::Fail, reason);
    }
    let Some(ppm) = &held.ppm else {
        let field = match held.basis {
            Basis::Product => "finished_mass",
            Basis::Formula => "formula_mass",
            Basis::Green => "meat_mass",
        };
        let reason = format!("{agent} is judged on {field}, which is not given");
        return Judgement::because(Verdict::Undetermined, reason);
    };
    let shown = format!("{agent} {} ppm of {}", in_text(ppm), held.basis.word());
    if let Some(limit) = held.limit_ppm.as_ref().filter(|limit| ppm > limit) {
        let mut reasons = vec![format!("{shown}: above the limit of {limit} ppm")];
        reasons.extend(most_of_line(batch, held));
        return Judgement { verdict: Verdict::Fail, reasons };
    }
    if let Some(least) = held.minimum_ppm.as_ref().filter(|least| ppm < least) {
        return Judgement::because(
            Verdict::Fail,
            format!("{shown}: below the least of {least} ppm"),
        );
    }
    let met = match (&held.limit_ppm, &held.minimum_ppm) {
        (Some(limit), Some(least)) => format!(": within {least} to {limit} ppm"),
        (Some(limit), None) => format!(": within the limit of {limit} ppm"),
        (None, Some(least)) => format!(": at least {least} ppm"),
        (None, None) => ": held, as it must be".to_owned(),
    };
    Judgement::because(Verdict::Pass, shown + &met)
}

fn judge_without_rule(agent: Agent, class: &str) -> Judgement {
    let word = agent.word();
    match agent {
        Agent::Sugar | Agent::StarterCulture => {
            Judgement::because(Verdict::Pass, format!("{word} is not limited in {class}"))
        }
        _ => {
            let reason = format!("no limit is held for {word} in {class}");
            Judgement::because(Verdict::Undetermined, reason)
        }
    }
}

/// Where a single line brings the agent: its strength, and the most of it that would pass.
fn most_of_line(batch: &Batch, held: &Holding) -> Option<String> {
    let of_agent = |line: &&super::Line| {
        !line.rework && line.active.as_ref().is_some_and(|a| a.agent == held.agent)
    };
    let mut lines = batch.lines.iter().filter(of_agent);
    let (line, None) = (lines.next()?, lines.next()) else { return None };
    if held.basis == Basis::Formula && batch.formula_mass.is_none() {
        return None;
    }
    let pct = &line.active.as_ref()?.pct;
    let limit_grams = held.limit_mass.as_ref()?.base();
    let most = (limit_grams * Exact::whole(100)).checked_div(pct)?;
    let most = Quantity::from_base(&most, line.mass.unit);
    let name = if line.name.is_empty() { held.agent.word() } else { &line.name };
    Some(format!(
        "{name} at {pct} % {}: at most {} {}",
        held.agent.word(),
        in_text(&most.value),
        most.unit
    ))
}

fn floors(agents: &[Holding], rules: &mut Vec<&'static Rule>) -> Vec<Floor> {
    let nitrite = agents.iter().find(|held| held.agent == Agent::Nitrite);
    let ppm = nitrite.filter(|held| held.mass.value.is_positive()).and_then(|h| h.ppm.clone());
    let Some(ppm) = ppm else { return Vec::new() };
    let mut floors = Vec::new();
    for rule in FLOORS.iter().filter_map(|id| Rule::newest(id)) {
        let Some(floor_ppm) = rule.number("floor_ppm") else { continue };
        rules.push(rule);
        let verdict = Verdict::met(ppm >= floor_ppm);
        let side = if verdict == Verdict::Pass { "reaches" } else { "stays below" };
        let reason = format!("nitrite {} ppm {side} {floor_ppm} ppm", in_text(&ppm));
        let id = rule.word("floor_id").unwrap_or(rule.id);
        floors.push(Floor { id, floor_ppm, judgement: Judgement::because(verdict, reason) });
    }
    floors
}

fn cautions(batch: &Batch, agents: &[Holding]) -> Vec<String> {
    let held =
        |agent: Agent| agents.iter().any(|one| one.agent == agent && one.mass.value.is_positive());
    let mut cautions = Vec::new();
    let accelerators = [Agent::Erythorbate, Agent::ErythorbicAcid].map(held);
    if accelerators.contains(&true) && !held(Agent::Nitrite) && !held(Agent::Nitrate) {
        cautions.push(
            "A cure accelerator may be used only together with a curing agent; this batch has none."
                .to_owned(),
        );
    }
    if accelerators == [true, true] {
        cautions.push(
            "erythorbate and erythorbic_acid are each judged alone; together they may be a double \
             dose."
                .to_owned(),
        );
    }
    if batch.class.is_pumped() && batch.pickle.is_none() {
        cautions
            .push("No pickle is given: every line is taken as put on the meat whole.".to_owned());
    }
    if batch.pickle.as_ref().is_some_and(|p| p.pump_pct.is_some()) && batch.meat.is_none() {
        cautions.push("No meat is given: it is taken as what the pickle is enough for.".to_owned());
    }
    cautions
}
