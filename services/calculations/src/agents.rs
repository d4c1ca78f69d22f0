//! Restricted ingredients of a batch, from message to message.
//! It never holds a limit: those are rules of the domain.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::formula::agents::{
    Active, Agent, Assessment, Batch, Holding, Line, Pickle, ProductClass, assess,
};
use domain::units::{Quantity, Unit};
use wire::v1::{AgentFloor, AgentLine, AgentResult, AgentsRequest, AgentsResponse};

use crate::{masses, shape};

/// Judges every agent of a batch. Faults: an unknown word, no meat where it is needed or meat given
/// twice, a pickle without its pump or the other way round, a line that is meat and something else.
pub fn calculate(request: AgentsRequest) -> Result<AgentsResponse, Faults> {
    let mut faults = Faults::new();
    let mut cautions = Vec::new();
    let batch = read(&request, &mut faults, &mut cautions);
    let batch = faults.into_result(batch)?;
    Ok(answer(&assess(&batch), cautions))
}

/// The lines of a request, meat apart.
struct Lines {
    meat: Vec<(usize, Quantity)>,
    others: Vec<Line>,
    unit: Unit,
}

fn read(request: &AgentsRequest, faults: &mut Faults, cautions: &mut Vec<String>) -> Option<Batch> {
    let class = ProductClass::from_word(&request.product_class);
    if class.is_none() {
        let allowed = format!("must be one of: {}", ProductClass::words());
        faults.add_value("product_class", &request.product_class, allowed);
    }
    masses::not_empty(&request.lines, "lines", faults);
    let lines = read_lines(&request.lines, faults, cautions);
    let given = masses::positive(request.meat_mass.as_ref(), "meat_mass", faults);
    let formula_mass = masses::positive(request.formula_mass.as_ref(), "formula_mass", faults);
    let finished_mass = masses::positive(request.finished_mass.as_ref(), "finished_mass", faults);
    let pickle_mass = masses::positive(request.pickle_mass.as_ref(), "pickle_mass", faults);
    let pump_pct = shape::percentage(request.pump_pct.as_deref(), "pump_pct", faults);
    let pickle = class.and_then(|class| {
        check_pickle(request, class, faults, cautions);
        pickle_mass.filter(|_| takes_pickle(class)).map(|mass| Pickle { mass, pump_pct })
    });
    let has_meat_lines = request.lines.iter().any(|line| line.meat == Some(true));
    let does_without = request.pickle_mass.is_some() && request.pump_pct.is_some();
    if request.meat_mass.is_some() && has_meat_lines {
        faults.add("meat_mass", "must not stand beside lines marked meat");
    }
    let needs_meat = !does_without || class.is_some_and(|class| !takes_pickle(class));
    if request.meat_mass.is_none() && !has_meat_lines && needs_meat {
        faults.add("meat_mass", "is needed, or lines marked meat");
    }
    let lines = lines?;
    let meat = given.or_else(|| sum_of_meat(&lines, faults));
    let unit = lines.unit;
    let batch = Batch {
        class: class?,
        unit,
        meat,
        lines: lines.others,
        formula_mass,
        finished_mass,
        pickle,
    };
    caution_of_formula(&batch, cautions);
    Some(batch)
}

fn takes_pickle(class: ProductClass) -> bool {
    class.is_pumped() || class.is_immersion()
}

/// A pickle needs its pump in a pumped class, and an immersed class needs its pickle.
fn check_pickle(
    request: &AgentsRequest,
    class: ProductClass,
    faults: &mut Faults,
    cautions: &mut Vec<String>,
) {
    let (has_pickle, has_pump) = (request.pickle_mass.is_some(), request.pump_pct.is_some());
    if !takes_pickle(class) {
        if has_pickle || has_pump {
            let word = class.word();
            cautions.push(format!("pickle_mass and pump_pct are not used for {word}."));
        }
        return;
    }
    if !has_pickle && (has_pump || class.is_immersion()) {
        shape::missing("pickle_mass", faults);
    }
    if has_pickle && !has_pump && class.is_pumped() {
        shape::missing("pump_pct", faults);
    }
}

fn sum_of_meat(lines: &Lines, faults: &mut Faults) -> Option<Quantity> {
    let (first, mass) = lines.meat.first()?;
    let total: Exact = lines.meat.iter().map(|(_, mass)| mass.base()).sum();
    if !total.is_positive() {
        let field = format!("lines[{first}].mass.value");
        faults.add_value(field, &mass.value, "the lines marked meat must weigh more than 0");
        return None;
    }
    Some(Quantity::from_base(&total, mass.unit))
}

fn read_lines(
    given: &[AgentLine],
    faults: &mut Faults,
    cautions: &mut Vec<String>,
) -> Option<Lines> {
    let mut lines = Lines { meat: Vec::new(), others: Vec::new(), unit: Unit::Gram };
    let mut is_whole = true;
    for (at, line) in given.iter().enumerate() {
        let Some(read) = read_line(line, at, faults, cautions) else {
            is_whole = false;
            continue;
        };
        if at == 0 {
            lines.unit = read.mass.unit;
        }
        if line.meat == Some(true) {
            lines.meat.push((at, read.mass));
        } else {
            lines.others.push(read);
        }
    }
    is_whole.then_some(lines)
}

fn read_line(
    line: &AgentLine,
    at: usize,
    faults: &mut Faults,
    cautions: &mut Vec<String>,
) -> Option<Line> {
    let field = |part: &str| format!("lines[{at}].{part}");
    let mass = masses::needed(line.mass.as_ref(), &field("mass"), faults);
    let pct = shape::percentage(line.active_pct.as_deref(), &field("active_pct"), faults);
    let agent = line.agent.as_deref().map(|word| {
        let agent = Agent::of_line_word(word);
        if agent.is_none() {
            let allowed = format!("must be one of: {}", Agent::line_words());
            faults.add_value(field("agent"), word, allowed);
        }
        agent
    });
    let (is_meat, is_rework) = (line.meat == Some(true), line.rework == Some(true));
    if is_meat && is_rework {
        faults.add_value(field("rework"), "true", "rework is no part of the meat");
    }
    if let Some(word) = line.agent.as_deref().filter(|_| is_meat) {
        faults.add_value(field("agent"), word, "meat is raw meat and nothing else");
    }
    if line.agent.is_none() && line.active_pct.is_some() {
        let name = masses::name_or_place(&line.name, "line", at);
        cautions.push(format!("{name}: active_pct is not used without agent."));
    }
    if line.active_pct.is_some() && pct.is_none() {
        return None;
    }
    let active = match agent {
        Some(agent) => {
            Some(Active { agent: agent?, pct: pct.unwrap_or_else(|| Exact::whole(100)) })
        }
        None => None,
    };
    Some(Line { name: line.name.clone(), mass: mass?, rework: is_rework, active })
}

/// A formula that weighs less than what it is said to hold makes every share of it too large.
fn caution_of_formula(batch: &Batch, cautions: &mut Vec<String>) {
    let Some(formula) = batch.formula_mass.as_ref().filter(|_| batch.pickle.is_none()) else {
        return;
    };
    let meat = batch.meat.as_ref().map_or_else(Exact::zero, Quantity::base);
    let lines: Exact = batch.lines.iter().map(|line| line.mass.base()).sum();
    if formula.base() < meat + lines {
        cautions.push("formula_mass is less than the meat and the lines together.".to_owned());
    }
}

fn answer(assessed: &Assessment, mut cautions: Vec<String>) -> AgentsResponse {
    cautions.extend(assessed.cautions.iter().cloned());
    let floor = |floor: &domain::formula::agents::Floor| AgentFloor {
        id: Some(floor.id.to_owned()),
        floor_ppm: shape::number_out(&floor.floor_ppm),
        verdict: shape::verdict_out(floor.judgement.verdict),
        reasons: floor.judgement.reasons.clone(),
    };
    let judgements = assessed.agents.iter().filter_map(|held| held.judgement.as_ref());
    let deciding = judgements.filter(|judgement| judgement.verdict == assessed.verdict);
    AgentsResponse {
        agents: assessed.agents.iter().map(agent_out).collect(),
        floors: assessed.floors.iter().map(floor).collect(),
        verdict: shape::verdict_out(assessed.verdict),
        reasons: deciding.flat_map(|judgement| judgement.reasons.iter().cloned()).collect(),
        rules: shape::rules_out(&assessed.rules),
        cautions: shape::cautions_out(&assessed.rules, &cautions),
    }
}

fn agent_out(held: &Holding) -> AgentResult {
    let number = |value: &Option<Exact>| value.as_ref().and_then(shape::number_out);
    AgentResult {
        agent: Some(held.agent.word().to_owned()),
        mass: Some(shape::quantity_out(&held.mass)),
        ppm: number(&held.ppm),
        rework_ppm: number(&held.rework_ppm),
        limit_ppm: number(&held.limit_ppm),
        minimum_ppm: number(&held.minimum_ppm),
        limit_mass: held.limit_mass.as_ref().map(shape::quantity_out),
        basis: Some(held.basis.word().to_owned()),
        verdict: held.judgement.as_ref().and_then(|j| shape::verdict_out(j.verdict)),
        reasons: held.judgement.as_ref().map(|j| j.reasons.clone()).unwrap_or_default(),
    }
}
