//! The order of steps on every path: what every raw lot must have passed after it joined.
//! It never looks further where a check already stands in the way: that is said once, by the check.

use std::collections::HashMap;

use super::fates::{self, Fate};
use super::items;
use super::lots::has_route;
use super::question::{Kind, LotKind, Obstacle, Plan};
use super::{Facts, words};

/// One obstacle for each lot at which a path begins that misses a step.
pub(super) fn obstacles(facts: &Facts) -> Vec<Obstacle> {
    let mut found = Vec::new();
    let mut routes: HashMap<usize, (Route, Vec<usize>)> = HashMap::new();
    for (ship, shipped) in facts.question.ships.iter().enumerate() {
        let lot = &facts.question.lots[shipped.lot];
        let Some(plan) = lot.plan.filter(|_| has_route(lot.kind)) else { continue };
        let (route, progress) = routes.entry(plan).or_insert_with(|| {
            let route = Route::of(facts, plan);
            let progress = route.progress();
            (route, progress)
        });
        if progress[shipped.lot] < route.steps.len() {
            found.extend(route.missing(ship));
        }
    }
    found
}

/// The steps of a plan that every path must pass, over the lots of the question.
struct Route<'f, 'q> {
    facts: &'f Facts<'q>,
    plan: &'q Plan,
    /// By their place in the plan.
    steps: Vec<usize>,
    /// For each version of a plan and step: whether a lot bound to it passes there.
    known: Vec<Vec<Passes>>,
}

/// Whether a lot of the step's kind passes it, by the version to which it is bound.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Passes {
    /// It is bound to another plan.
    Never,
    /// Its own version asks for the same checks there: what it lacks is said of the check.
    AsItsChecks,
    /// Its own version does not ask for these checks of the step.
    ByHand(Vec<usize>),
}

impl<'f, 'q> Route<'f, 'q> {
    fn of(facts: &'f Facts<'q>, plan: usize) -> Self {
        let plans = &facts.question.plans;
        let plan = &plans[plan];
        let steps: Vec<usize> =
            (0..plan.steps.len()).filter(|&step| plan.steps[step].on_every_path).collect();
        let of_version =
            |version: &Plan| steps.iter().map(|&step| passes(plan, step, version)).collect();
        let known = plans.iter().map(of_version).collect();
        Self { facts, plan, steps, known }
    }

    /// How many of the steps, in order, the worst path into and over each lot has passed.
    fn progress(&self) -> Vec<usize> {
        let mut progress = vec![0; self.facts.question.lots.len()];
        for &lot in &self.facts.graph.order {
            let joined = self.joined(lot).map(|input| self.arrives(input, lot, &progress)).min();
            progress[lot] = self.advance(joined.unwrap_or(0), lot);
        }
        progress
    }

    /// The inputs that need steps; packaging needs none.
    fn joined(&self, lot: usize) -> impl Iterator<Item = usize> + '_ {
        let question = self.facts.question;
        question.lots[lot].inputs.iter().copied().filter(move |&input| {
            let plan = question.lots[input].plan.map(|plan| &question.plans[plan]);
            !plan.is_some_and(|plan| plan.is_packaging)
        })
    }

    /// With how many steps an input joins: opening stock with all on kinds before the lot's.
    fn arrives(&self, input: usize, lot: usize, progress: &[usize]) -> usize {
        match self.facts.question.lots[input].kind {
            LotKind::OpeningStock => self.stands_for(input, lot),
            _ => progress[input],
        }
    }

    /// How far opening stock's statement stands when it joins a lot: for all steps on kinds before
    /// that lot's, and further where QA has released it by hand.
    fn stands_for(&self, stock: usize, lot: usize) -> usize {
        self.advance(self.before(self.facts.question.lots[lot].kind), stock)
    }

    fn before(&self, kind: LotKind) -> usize {
        let is_before = |&&step: &&usize| {
            let on = rank(self.plan.steps[step].on);
            on > 0 && on < rank(kind)
        };
        self.steps.iter().take_while(is_before).count()
    }

    fn advance(&self, from: usize, lot: usize) -> usize {
        let further = (from..self.steps.len()).take_while(|&at| self.counts(at, lot)).count();
        from + further
    }

    /// Whether the lot passes the step, checks that stand in the way by themselves put aside.
    fn counts(&self, at: usize, lot: usize) -> bool {
        self.is_released(at, lot) || {
            let of = &self.facts.question.lots[lot];
            let step = &self.plan.steps[self.steps[at]];
            of.kind == step.on
                && of.plan.is_some_and(|version| match &self.known[version][at] {
                    Passes::Never => false,
                    Passes::AsItsChecks => true,
                    Passes::ByHand(checks) => {
                        checks.iter().all(|&check| self.is_answered(check, lot))
                    }
                })
        }
    }

    /// Whether QA has freed the lot of this step by deviations opened by hand: of each gating check
    /// of it, or where none gates of any.
    fn is_released(&self, at: usize, lot: usize) -> bool {
        if self.facts.fates[lot].is_empty() {
            return false;
        }
        let of_step = self.plan.checks.iter().filter(|check| check.step == self.steps[at]);
        let (gating, other): (Vec<_>, Vec<_>) = of_step.partition(|check| check.class.gates());
        let is_freed = |code: &str| self.is_freed(code, lot);
        match gating.as_slice() {
            [] => other.iter().any(|check| is_freed(&check.code)),
            gating => gating.iter().all(|check| is_freed(&check.code)),
        }
    }

    fn is_freed(&self, code: &str, lot: usize) -> bool {
        let about = (self.plan.identity, code);
        self.facts.fates[lot].iter().any(|named| {
            named.fate == Fate::Released && fates::is_by_hand(self.facts.question, named, about)
        })
    }

    /// A check that the lot's own version does not demand there: satisfied all the same, or freed.
    fn is_answered(&self, check: usize, lot: usize) -> bool {
        let question = self.facts.question;
        let of = &question.lots[lot];
        let code = &self.plan.checks[check].code;
        let version = of.plan.map(|plan| &question.plans[plan]);
        let own = version.and_then(|plan| plan.checks.iter().position(|own| own.code == *code));
        let is_met = own.is_some_and(|own| {
            items::of_check(question, of, own, &self.facts.fates[lot]).is_satisfied(false)
        });
        is_met || self.is_freed(code, lot)
    }

    /// The lots at which a path to the ship begins that misses a step.
    fn missing(&self, ship: usize) -> Vec<Obstacle> {
        let graph = &self.facts.graph;
        let shipped = self.facts.question.ships[ship].lot;
        let mut found = Vec::new();
        let mut needs = vec![0; self.facts.question.lots.len()];
        needs[shipped] = self.steps.len();
        for &lot in graph.order.iter().rev().filter(|&&lot| graph.is_in(lot, ship)) {
            let entry = self.entry(lot, needs[lot]);
            let mut is_source = true;
            for input in self.joined(lot) {
                is_source = false;
                match self.facts.question.lots[input].kind {
                    LotKind::OpeningStock => {
                        let joins = self.stands_for(input, lot);
                        if joins < entry {
                            found.push(self.path(ship, &[input, lot], joins, &needs));
                        }
                    }
                    _ => needs[input] = needs[input].max(entry),
                }
            }
            if is_source && entry > 0 && self.facts.question.lots[lot].kind != LotKind::OpeningStock
            {
                found.push(self.path(ship, &[lot], 0, &needs));
            }
        }
        found
    }

    /// With how many steps a lot must be entered for so many when it is left.
    fn entry(&self, lot: usize, needed: usize) -> usize {
        let own = (0..needed).rev().take_while(|&at| self.counts(at, lot)).count();
        needed - own
    }

    /// Follows a path that misses a step, to say which and on what way.
    fn path(&self, ship: usize, start: &[usize], joins: usize, needs: &[usize]) -> Obstacle {
        let question = self.facts.question;
        let graph = &self.facts.graph;
        let mut path = start.to_vec();
        let mut at = start[start.len() - 1];
        let mut passed = self.advance(joins, at);
        while at != question.ships[ship].lot {
            let next = graph.children[at].iter().copied().find(|&child| {
                graph.is_in(child, ship) && passed < self.entry(child, needs[child])
            });
            let Some(next) = next else { break };
            path.push(next);
            at = next;
            passed = self.advance(passed, at);
        }
        let step = self.steps.get(passed).map_or("", |&step| self.plan.steps[step].code.as_str());
        words::path(question, ship, &path, step)
    }
}

fn passes(plan: &Plan, step: usize, version: &Plan) -> Passes {
    if version.identity != plan.identity {
        return Passes::Never;
    }
    let on = plan.steps[step].on;
    let gating = plan.checks.iter().enumerate().filter(|(_, check)| {
        check.step == step && check.class.gates() && check.kind != Kind::Bracket
    });
    let is_asked = |code: &str| {
        version.checks.iter().any(|own| {
            own.code == code
                && own.class.gates()
                && own.kind != Kind::Bracket
                && version.steps[own.step].on == on
        })
    };
    let missing: Vec<usize> =
        gating.filter(|(_, check)| !is_asked(&check.code)).map(|(at, _)| at).collect();
    if missing.is_empty() { Passes::AsItsChecks } else { Passes::ByHand(missing) }
}

/// Kinds in the order of making; 0 is none of them.
fn rank(kind: LotKind) -> u8 {
    match kind {
        LotKind::Finished => 3,
        LotKind::Rack => 2,
        LotKind::Batch => 1,
        LotKind::Received | LotKind::Kit | LotKind::Rework | LotKind::OpeningStock => 0,
    }
}
