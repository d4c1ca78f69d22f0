//! Ways out for a batch over a limit, and the room that a target leaves on its scale.
//! It never offers a way that mends one agent and leaves or breaks another: each is judged whole.

use super::agents::{Agent, Basis, Batch, Holding, assess};
use super::{rounded_down, rounded_up};
use crate::exact::Exact;
use crate::units::Quantity;
use crate::verdict::Verdict;

/// How often a rounded way is mended again before it is given up.
const MOST_ROUNDS: usize = 8;

/// The ways out of a batch whose verdict is FAIL; a way that does not exist is left out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WaysOut {
    /// More meat, all else unchanged.
    pub more_meat: Option<MoreMeat>,
    /// Less of the lines that bring what is over, all else unchanged.
    pub less_of: Option<Vec<LessOf>>,
}

/// A meat block that mends every agent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MoreMeat {
    /// The least meat block, exactly.
    pub least: Quantity,
    /// The least that the floor scale can show, not below it.
    pub on_scale: Quantity,
    /// What to add to reach `on_scale`.
    pub add: Quantity,
}

/// A line and the most of it that is allowed; all such lines together mend the batch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LessOf {
    /// The line's index from 0.
    pub line: usize,
    /// The most, exactly; lines of one agent keep their shares.
    pub most: Quantity,
    /// The most that the line's scale can show, not above it.
    pub on_scale: Quantity,
    /// What to take out to reach `on_scale`.
    pub take_out: Quantity,
}

/// The ways out of a batch. `meat_division` is the division of the scale of the meat,
/// `line_divisions` that of each line's scale by its index; without one nothing is rounded.
/// A batch that does not fail has none.
pub fn ways_out(
    batch: &Batch,
    meat_division: Option<&Quantity>,
    line_divisions: &[Option<Quantity>],
) -> WaysOut {
    if assess(batch).verdict != Verdict::Fail {
        return WaysOut::default();
    }
    WaysOut { more_meat: more_meat(batch, meat_division), less_of: less_of(batch, line_divisions) }
}

/// The room between a target and the most of its line that would pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TargetRoom {
    /// The most of the line, exactly; nothing when no amount of it is too much.
    pub most: Option<Quantity>,
    /// The target passes, and one division more would not: approval must warn.
    pub stands_on_the_limit: bool,
    /// A target that leaves the wanted divisions of room; nothing when there is none above 0.
    pub proposal: Option<Quantity>,
}

/// Judges the target mass of line `line` on a scale of `division`, and proposes one from which
/// `divisions_of_room` more divisions still pass. Nothing when there is no such line.
pub fn target_room(
    batch: &Batch,
    line: usize,
    division: &Quantity,
    divisions_of_room: u32,
) -> Option<TargetRoom> {
    let target = &batch.lines.get(line)?.mass;
    let step = division.to(target.unit)?.value;
    let one_more = Quantity::new(&target.value + &step, target.unit);
    let passes = |mass: Quantity| assess(&with_line(batch, line, mass)).verdict != Verdict::Fail;
    let most = most_of_line(batch, line);
    let room = &step * &Exact::whole(divisions_of_room.into());
    let proposal = most.as_ref().and_then(|most| {
        let top = rounded_down(most, Some(division));
        let proposal = Quantity::new(&top.value - &room, target.unit);
        let keeps_its_room = proposal.value.is_positive() && passes(proposal.clone());
        (keeps_its_room && passes(top)).then_some(proposal)
    });
    let stands_on_the_limit = passes(target.clone()) && !passes(one_more);
    Some(TargetRoom { most, stands_on_the_limit, proposal })
}

/// The batch with another mass of a line; the formula grows by the part of it that is taken up.
fn with_line(batch: &Batch, line: usize, mass: Quantity) -> Batch {
    let mut changed = batch.clone();
    changed.lines[line].mass = mass;
    changed.formula_mass = less_removed(batch, &changed, batch.formula_mass.as_ref());
    changed
}

/// The most of one line, all other lines unchanged.
fn most_of_line(batch: &Batch, at: usize) -> Option<Quantity> {
    let line = &batch.lines[at];
    let active = line.active.as_ref().filter(|active| active.pct.is_positive() && !line.rework)?;
    let without = with_line(batch, at, Quantity::new(Exact::zero(), line.mass.unit));
    let held = assess(batch).agents.into_iter().find(|held| held.agent == active.agent)?;
    let limit = held.limit_ppm.as_ref()? / &Exact::whole(1_000_000);
    let others = without.agent_base(active.agent);
    // agent / base <= limit, where the line is itself a part of a formula.
    let base = Exact::one().checked_div(&without.share_per_gram(held.basis)?)?;
    let pct = &active.pct / &Exact::whole(100);
    let own_part = if held.basis == Basis::Formula { limit.clone() } else { Exact::zero() };
    let per_line = Some(pct - own_part).filter(Exact::is_positive)?;
    let most = (limit * base - others) / per_line;
    (!most.is_negative()).then(|| Quantity::from_base(&most, line.mass.unit))
}

/// The agents that stand above their limit.
fn over(batch: &Batch) -> Vec<Holding> {
    let is_over = |held: &Holding| {
        let judged = held.judgement.as_ref().is_some_and(|j| j.verdict == Verdict::Fail);
        let above = |limit: &Exact| held.ppm.as_ref().is_none_or(|ppm| ppm > limit);
        judged && held.limit_ppm.as_ref().is_some_and(above)
    };
    assess(batch).agents.into_iter().filter(is_over).collect()
}

/// True when nothing fails and each agent that was over is known to pass.
fn is_mended(before: &[Holding], after: &Batch) -> bool {
    let after = assess(after);
    let passes = |held: &Holding| {
        let same = after.agents.iter().find(|now| now.agent == held.agent);
        let judgement = same.and_then(|now| now.judgement.as_ref());
        judgement.is_none_or(|judgement| judgement.verdict == Verdict::Pass)
    };
    after.verdict != Verdict::Fail && before.iter().all(passes)
}

fn more_meat(batch: &Batch, division: Option<&Quantity>) -> Option<MoreMeat> {
    let meat = batch.meat.as_ref()?;
    let mut least = meat.base();
    let before = over(batch);
    for held in &before {
        let limit = held.limit_ppm.as_ref()? / &Exact::whole(1_000_000);
        let base_needed = batch.agent_base(held.agent).checked_div(&limit)?;
        let base_now = match held.basis {
            Basis::Product => return None,
            basis => Exact::one().checked_div(&batch.share_per_gram(basis)?)?,
        };
        let needed = meat.base() + base_needed - base_now;
        least = least.max(needed);
    }
    let least = Quantity::from_base(&least, meat.unit);
    let on_scale = rounded_up(&least, division);
    let mends = |mass: &Quantity| is_mended(&before, &with_meat(batch, mass));
    if !mends(&least) || !mends(&on_scale) {
        return None;
    }
    let add = Quantity::new(&on_scale.value - &meat.value, meat.unit);
    Some(MoreMeat { least, on_scale, add })
}

fn with_meat(batch: &Batch, mass: &Quantity) -> Batch {
    let mut changed = batch.clone();
    let before = batch.meat.as_ref().map_or_else(Exact::zero, Quantity::base);
    changed.formula_mass = changed.formula_mass.map(|formula| {
        Quantity::from_base(&(formula.base() - &before + mass.base()), formula.unit)
    });
    changed.meat = Some(mass.clone());
    changed
}

fn less_of(batch: &Batch, divisions: &[Option<Quantity>]) -> Option<Vec<LessOf>> {
    let before = over(batch);
    let exact = reduced(batch)?;
    let mut on_scale = batch.clone();
    for _ in 0..MOST_ROUNDS {
        let mut next = reduced(&on_scale)?;
        for (at, line) in next.lines.iter_mut().enumerate() {
            if line.mass != on_scale.lines[at].mass {
                line.mass = rounded_down(&line.mass, divisions.get(at).and_then(Option::as_ref));
            }
        }
        next.formula_mass = less_removed(&on_scale, &next, on_scale.formula_mass.as_ref());
        next.finished_mass = less_removed(&on_scale, &next, on_scale.finished_mass.as_ref());
        on_scale = next;
        if is_mended(&before, &on_scale) {
            break;
        }
    }
    let mended = is_mended(&before, &exact) && is_mended(&before, &on_scale);
    mended.then(|| changes(batch, &exact, &on_scale))
}

fn changes(batch: &Batch, exact: &Batch, on_scale: &Batch) -> Vec<LessOf> {
    let lines = batch.lines.iter().enumerate();
    let changed = lines.filter(|(at, line)| on_scale.lines[*at].mass != line.mass);
    changed
        .map(|(at, line)| LessOf {
            line: at,
            most: exact.lines[at].mass.clone(),
            on_scale: on_scale.lines[at].mass.clone(),
            take_out: Quantity::new(
                &line.mass.value - &on_scale.lines[at].mass.value,
                line.mass.unit,
            ),
        })
        .collect()
}

/// A whole less what its lines lost, or with what they gained; the meat takes up the same part of
/// it as of each line.
fn less_removed(before: &Batch, after: &Batch, whole: Option<&Quantity>) -> Option<Quantity> {
    let total = |batch: &Batch| batch.lines.iter().map(|line| line.mass.base()).sum::<Exact>();
    let removed = (total(before) - total(after)) * before.taken_up()?;
    whole.map(|whole| Quantity::from_base(&(whole.base() - removed), whole.unit))
}

/// One agent that is over, with what its share of its basis must become.
struct Over {
    agent: Agent,
    basis: Basis,
    /// Pure agent taken up, in grams.
    agent_base: Exact,
    /// The lines that bring it, taken up, in grams.
    lines_base: Exact,
    /// The limit as a fraction.
    limit: Exact,
    /// The basis as it is, in grams.
    whole: Exact,
}

impl Over {
    /// Line mass allowed for each gram of the basis.
    fn lines_per_gram(&self) -> Option<Exact> {
        (&self.limit * &self.lines_base).checked_div(&self.agent_base)
    }
}

/// The batch with the lines of every agent that is over cut to exactly its limit. What is taken
/// out leaves formula and product as well, so those agents are solved for together.
fn reduced(batch: &Batch) -> Option<Batch> {
    let all: Vec<Over> =
        over(batch).into_iter().map(|held| over_of(batch, held)).collect::<Option<_>>()?;
    let mut removed = Exact::zero();
    let mut shares = Exact::zero();
    for one in &all {
        let share = one.lines_per_gram()?;
        removed = removed + &one.lines_base - &share * &one.whole;
        if one.basis != Basis::Green {
            shares = shares + share;
        }
    }
    let rest = Exact::one() - shares;
    if !rest.is_positive() {
        return None;
    }
    let removed = removed / rest;
    let mut changed = batch.clone();
    for one in &all {
        let whole =
            if one.basis == Basis::Green { one.whole.clone() } else { &one.whole - &removed };
        let kept = (&one.limit * &whole).checked_div(&one.agent_base)?;
        for line in changed.lines.iter_mut().filter(|line| !line.rework) {
            if line.active.as_ref().is_some_and(|active| active.agent == one.agent) {
                line.mass = Quantity::new(&line.mass.value * &kept, line.mass.unit);
            }
        }
    }
    changed.formula_mass = less_removed(batch, &changed, batch.formula_mass.as_ref());
    changed.finished_mass = less_removed(batch, &changed, batch.finished_mass.as_ref());
    Some(changed)
}

fn over_of(batch: &Batch, held: Holding) -> Option<Over> {
    let taken_up = batch.taken_up()?;
    let of_agent = |line: &&super::agents::Line| {
        !line.rework && line.active.as_ref().is_some_and(|active| active.agent == held.agent)
    };
    let lines: Exact = batch.lines.iter().filter(of_agent).map(|line| line.mass.base()).sum();
    let limit = held.limit_ppm.as_ref()? / &Exact::whole(1_000_000);
    let agent_base = batch.agent_base(held.agent);
    if limit.is_zero() {
        // What is not allowed leaves whole; its basis need not be known.
        let lines_base = lines * &taken_up;
        let (agent, whole) = (held.agent, Exact::zero());
        return Some(Over { agent, basis: held.basis, agent_base, lines_base, limit, whole });
    }
    let whole = taken_up.checked_div(&batch.share_per_gram(held.basis)?)?;
    Some(Over {
        agent: held.agent,
        basis: held.basis,
        agent_base: agent_base * &taken_up,
        lines_base: lines * taken_up,
        limit,
        whole,
    })
}

#[cfg(test)]
mod tests;
