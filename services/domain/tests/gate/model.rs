//! The plain model: whether one case could leave, word by word from the safety gate's rule.
//! It never shares a line with the judgement that it checks, and is never clever.

use std::collections::BTreeSet;

use domain::haccp::gate::question::{
    At, Case, Check, Class, Closing, Concerns, Disposition, Finding, Kind, LotKind, Plan, Question,
    Review, Step,
};
use domain::verdict::Verdict;

/// What ships, whole: everything but what is asked of each case.
pub struct Model<'q> {
    question: &'q Question,
    lot: usize,
    review: &'q Review,
    closure: BTreeSet<usize>,
    paths: Vec<Vec<usize>>,
    /// The same without packaging.
    eaten: Vec<Vec<usize>>,
}

impl<'q> Model<'q> {
    /// The closure and every path of a ship, written out.
    pub fn of(question: &'q Question, ship: usize) -> Self {
        let shipped = &question.ships[ship];
        let (mut paths, mut eaten) = (Vec::new(), Vec::new());
        walk_back(question, vec![shipped.lot], &mut paths, &|_| true);
        walk_back(question, vec![shipped.lot], &mut eaten, &|lot| {
            let plan = question.lots[lot].plan;
            !plan.is_some_and(|plan| question.plans[plan].is_packaging)
        });
        let closure = paths.iter().flatten().copied().collect();
        Self { question, lot: shipped.lot, review: &shipped.review, closure, paths, eaten }
    }

    /// Why nothing of the lot could leave; empty when nothing whole stands in the way.
    pub fn whole(&self) -> Vec<String> {
        let mut why = Vec::new();
        for &lot in &self.closure {
            why.extend(self.of_lot(lot));
        }
        if self.question.lots[self.lot].kind != LotKind::OpeningStock {
            for path in &self.eaten {
                if !self.is_in_order(path) {
                    why.push(format!("path {path:?}"));
                }
            }
        }
        match self.review {
            Review::NotAsked => {}
            Review::Missing => why.push("no review".to_owned()),
            Review::Signed { seen, .. } => {
                let names = self.unmet();
                why.extend(names.into_iter().filter(|name| !seen.contains(name)));
            }
        }
        why
    }

    /// What was not met of the lots, by the names that a review keeps: also an attempt that a
    /// later reading overtook, because the review may have counted on it before it was in doubt.
    pub fn unmet(&self) -> Vec<String> {
        let mut names = Vec::new();
        for &lot in &self.closure {
            let facts = &self.question.lots[lot];
            for deviation in self.naming(lot) {
                names.push(format!("deviation:{}", self.question.deviations[deviation].id));
            }
            let Some(plan) = self.plan(lot) else { continue };
            for found in &facts.findings {
                let check = &plan.checks[found.check];
                let is_asked = gates(check) && plan.steps[check.step].on == facts.kind;
                if is_asked && found.verdict != Verdict::Pass {
                    let (name, code) = (&facts.name, &check.code);
                    names.push(format!("finding:{name}:{code}:{}:{}", found.at, found.known_at));
                }
            }
            for gap in &facts.gaps {
                let check = &plan.checks[gap.check];
                if gates(check) && plan.steps[check.step].on == facts.kind {
                    names.push(format!("gap:{}:{}:{}", facts.name, check.code, gap.from));
                }
            }
        }
        names
    }

    /// Why this case could not leave, if nothing whole stands in the way.
    pub fn case(&self, case: &Case) -> Vec<String> {
        let mut why = Vec::new();
        let seen = match self.review {
            Review::Signed { excepted, seen } => {
                if excepted.contains(&case.serial) {
                    why.push("excepted".to_owned());
                }
                Some(seen)
            }
            _ => None,
        };
        for deviation in &self.question.deviations {
            let Concerns::Span { place, from, to } = deviation.concerns else { continue };
            let is_in = |at: At| from.is_none_or(|from| at > from) && at <= to;
            let passed = case.passings.iter().any(|&(at_place, at)| at_place == place && is_in(at));
            let frees = match deviation.closing {
                Closing::Closed { disposition, .. } => matches!(
                    disposition,
                    Disposition::ReleaseWithSupport | Disposition::RecordedWrongly
                ),
                Closing::Open => false,
            };
            let name = format!("deviation:{}", deviation.id);
            if passed && seen.is_some_and(|seen| !seen.contains(&name)) {
                why.push(format!("{name} was not reviewed"));
            }
            if passed && !frees {
                why.push(format!("span of {}", deviation.name));
            }
        }
        let lot = &self.question.lots[self.lot];
        let Some(plan) = self.plan(self.lot) else { return why };
        for check in plan.checks.iter().filter(|check| check.kind == Kind::Bracket) {
            if gates(check) && plan.steps[check.step].on == lot.kind && !self.passed(check, case) {
                why.push(format!("bracket {}", check.code));
            }
        }
        why
    }

    /// Whether the lot is what ships or an ancestor of it.
    pub fn is_in(&self, lot: usize) -> bool {
        self.closure.contains(&lot)
    }

    /// Whether a check of a lot is satisfied, for what ships here.
    pub fn is_satisfied(&self, lot: usize, check: usize) -> bool {
        self.wrong(lot, check).is_empty()
    }

    fn plan(&self, lot: usize) -> Option<&'q Plan> {
        self.question.lots[lot].plan.map(|plan| &self.question.plans[plan])
    }

    fn of_lot(&self, lot: usize) -> Vec<String> {
        let facts = &self.question.lots[lot];
        let mut why: Vec<String> = facts.blocks.iter().map(|block| block.what.clone()).collect();
        why.extend(facts.silent.iter().map(|station| format!("silent {station}")));
        for deviation in self.naming(lot) {
            if !self.is_carried_out(lot, deviation) {
                why.push(format!("deviation {deviation} of lot {lot}"));
            }
        }
        let Some(plan) = self.plan(lot) else {
            why.push(format!("lot {lot} has no plan"));
            return why;
        };
        for (at, check) in plan.checks.iter().enumerate() {
            if !gates(check) || plan.steps[check.step].on != facts.kind {
                continue;
            }
            if check.kind == Kind::Bracket {
                if lot != self.lot && !self.is_challenged_later(lot, check) {
                    why.push(format!("lot {lot} left {} unseen", check.code));
                }
            } else if check.fresh_for_us.is_none() || *self.review != Review::NotAsked {
                why.extend(self.wrong(lot, at));
            }
        }
        why
    }

    /// Deviations that name the lot whole.
    fn naming(&self, lot: usize) -> BTreeSet<usize> {
        let facts = &self.question.lots[lot];
        let mut all: BTreeSet<usize> = facts.deviations.iter().copied().collect();
        all.extend(facts.findings.iter().filter_map(|found| found.deviation));
        all.retain(|&at| self.question.deviations[at].concerns == Concerns::Lots);
        all
    }

    /// Closed, and what its disposition waits for is there.
    fn is_carried_out(&self, lot: usize, deviation: usize) -> bool {
        let Closing::Closed { disposition, at } = self.question.deviations[deviation].closing
        else {
            return false;
        };
        match disposition {
            Disposition::ReleaseWithSupport | Disposition::RecordedWrongly => true,
            Disposition::Destroy => false,
            Disposition::Recook => self.is_recooked(lot, deviation, at),
            Disposition::ReworkWithLethalStep => self.paths.iter().all(|path| {
                match path.iter().position(|&on_path| on_path == lot) {
                    None => true,
                    Some(at) => path[at + 1..].iter().any(|&later| self.is_lethal(later)),
                }
            }),
        }
    }

    fn is_recooked(&self, lot: usize, deviation: usize, closed: At) -> bool {
        let asked = &self.question.deviations[deviation];
        let Some(plan) = self.plan(lot).filter(|plan| plan.identity == asked.plan) else {
            return false;
        };
        let findings = &self.question.lots[lot].findings;
        findings.iter().any(|found| {
            let is_of_check = plan.checks[found.check].code == asked.check;
            let mut failed = findings.iter().filter(|one| one.deviation == Some(deviation));
            is_of_check
                && found.verdict == Verdict::Pass
                && found.at > closed
                && failed.all(|failed| found.at > failed.at)
        })
    }

    fn is_lethal(&self, lot: usize) -> bool {
        let kind = self.question.lots[lot].kind;
        let Some(plan) = self.plan(lot) else { return false };
        (0..plan.steps.len()).any(|step| {
            let of_step: Vec<usize> = (0..plan.checks.len())
                .filter(|&at| plan.checks[at].step == step && gates(&plan.checks[at]))
                .collect();
            plan.steps[step].is_lethal
                && plan.steps[step].on == kind
                && !of_step.is_empty()
                && of_step.iter().all(|&check| self.is_satisfied(lot, check))
        })
    }

    /// Everything about a check of a lot that nothing excuses.
    fn wrong(&self, lot: usize, at: usize) -> Vec<String> {
        let facts = &self.question.lots[lot];
        let Some(plan) = self.plan(lot) else { return vec!["no plan".to_owned()] };
        let check = &plan.checks[at];
        let mut found: Vec<&Finding> =
            facts.findings.iter().filter(|found| found.check == at).collect();
        found.sort_by_key(|found| found.at);
        let mut why = Vec::new();
        let is_last = |one: &Finding| found.last().is_some_and(|last| last.at == one.at);
        for one in &found {
            let counts = check.kind == Kind::Each || one.deviation.is_some() || is_last(one);
            if counts && one.verdict != Verdict::Pass && !self.is_excused(lot, check, one) {
                why.push(format!("lot {lot}: {} {} at {}", check.code, one.verdict, one.at));
            }
        }
        for gap in facts.gaps.iter().filter(|gap| gap.check == at) {
            let is_covered = facts
                .covers
                .iter()
                .any(|cover| cover.check == at && cover.from <= gap.from && cover.to >= gap.to);
            if !is_covered && !self.is_by_hand(lot, check, Some(gap.to)) {
                why.push(format!("lot {lot}: {} not looked at", check.code));
            }
        }
        if found.is_empty()
            && !facts.covers.iter().any(|cover| cover.check == at)
            && !self.is_by_hand(lot, check, None)
        {
            why.push(format!("lot {lot}: {} missing", check.code));
        }
        let is_met_last =
            found.iter().filter(|one| is_last(one)).all(|one| one.verdict == Verdict::Pass);
        if let (Some(fresh), Some(last), true) = (check.fresh_for_us, found.last(), is_met_last)
            && self.question.at - last.at > fresh
        {
            why.push(format!("lot {lot}: {} is old", check.code));
        }
        why
    }

    fn is_excused(&self, lot: usize, check: &Check, found: &Finding) -> bool {
        if let Some(deviation) = found.deviation
            && self.naming(lot).contains(&deviation)
        {
            let is_known = match self.question.deviations[deviation].closing {
                Closing::Closed {
                    disposition: Disposition::ReleaseWithSupport | Disposition::RecordedWrongly,
                    at,
                } => at >= found.known_at,
                _ => true,
            };
            if is_known {
                return self.is_carried_out(lot, deviation);
            }
        }
        let covers = &self.question.lots[lot].covers;
        let is_covered = found.verdict == Verdict::Undetermined
            && covers.iter().any(|cover| {
                cover.check == found.check && cover.from <= found.at && found.at <= cover.to
            });
        is_covered || self.is_by_hand(lot, check, Some(found.known_at))
    }

    /// Somebody opened a deviation about it by hand; it was closed, when this was known, and frees.
    fn is_by_hand(&self, lot: usize, check: &Check, known: Option<At>) -> bool {
        let Some(plan) = self.plan(lot) else { return false };
        self.naming(lot).into_iter().any(|deviation| {
            let of = &self.question.deviations[deviation];
            let Closing::Closed { disposition, at } = of.closing else { return false };
            of.by_hand
                && of.plan == plan.identity
                && of.check == check.code
                && disposition != Disposition::RecordedWrongly
                && known.is_none_or(|known| at >= known)
                && self.is_carried_out(lot, deviation)
        })
    }

    /// Released with support by a deviation that somebody opened by hand about this check.
    fn is_released(&self, lot: usize, plan: &Plan, code: &str) -> Option<At> {
        let releases = self.naming(lot).into_iter().filter_map(|deviation| {
            let of = &self.question.deviations[deviation];
            match of.closing {
                Closing::Closed { disposition: Disposition::ReleaseWithSupport, at }
                    if of.by_hand && of.plan == plan.identity && of.check == code =>
                {
                    Some(at)
                }
                _ => None,
            }
        });
        releases.max()
    }

    /// From the lot that begins the path each step is met, in order.
    fn is_in_order(&self, path: &[usize]) -> bool {
        let (lots, plan) = (&self.question.lots, self.plan(self.lot));
        let Some(plan) = plan else { return true };
        let route: Vec<&Step> = plan.steps.iter().filter(|step| step.on_every_path).collect();
        let mut passed = 0;
        for (at, &lot) in path.iter().enumerate() {
            if at > 0 && lots[path[at - 1]].kind == LotKind::OpeningStock {
                let earlier = kinds_before(lots[lot].kind);
                passed = route.iter().take_while(|step| earlier.contains(&step.on)).count();
                while passed < route.len() && self.passes(plan, route[passed], path[at - 1]) {
                    passed += 1;
                }
            }
            while passed < route.len() && self.passes(plan, route[passed], lot) {
                passed += 1;
            }
        }
        passed == route.len()
    }

    fn passes(&self, plan: &Plan, step: &Step, lot: usize) -> bool {
        let of_step: Vec<&Check> =
            plan.checks.iter().filter(|check| plan.steps[check.step] == *step).collect();
        let is_released = |check: &&Check| self.is_released(lot, plan, &check.code).is_some();
        let gating: Vec<&Check> = of_step.iter().copied().filter(|check| gates(check)).collect();
        let is_freed = if gating.is_empty() {
            of_step.iter().any(is_released)
        } else {
            gating.iter().all(is_released)
        };
        let Some(own) = self.plan(lot).filter(|own| own.identity == plan.identity) else {
            return is_freed;
        };
        let is_met = |check: &&Check| {
            let is_left = check.fresh_for_us.is_some() && *self.review == Review::NotAsked;
            let at = own.checks.iter().position(|one| one.code == check.code);
            is_left
                || check.kind == Kind::Bracket
                || at.is_some_and(|at| self.is_satisfied(lot, at))
                || is_released(check)
        };
        is_freed || (self.question.lots[lot].kind == step.on && gating.iter().all(is_met))
    }

    /// The same device is challenged on what ships, or QA released it.
    fn is_challenged_later(&self, lot: usize, check: &Check) -> bool {
        let kind = self.question.lots[self.lot].kind;
        let later = self.plan(self.lot).is_some_and(|plan| {
            plan.checks.iter().any(|one| {
                one.kind == Kind::Bracket
                    && gates(one)
                    && one.device == check.device
                    && plan.steps[one.step].on == kind
            })
        });
        let own = self.plan(lot).expect("a lot with this check has a plan");
        later || self.is_released(lot, own, &check.code).is_some()
    }

    /// The next challenge after the case last passed is good, or what it put in doubt is released.
    fn passed(&self, check: &Check, case: &Case) -> bool {
        let plan = self.plan(self.lot).expect("a lot with this check has a plan");
        let released = self.is_released(self.lot, plan, &check.code);
        let by_hand = released
            .is_some_and(|released| case.passings.iter().all(|&(_, passed)| passed <= released));
        let Some(last) = case.passings.iter().map(|passing| passing.1).max() else {
            return by_hand;
        };
        case.passings.iter().filter(|passing| passing.1 == last).all(|&(place, passed)| {
            let counted = self.question.challenges.iter().filter(|challenge| {
                challenge.place == place
                    && challenge.device == check.device
                    && challenge.at >= passed
                    && self.disposition(challenge.deviation) != Some(Disposition::RecordedWrongly)
            });
            let counted: Vec<_> = counted.collect();
            let Some(next) = counted.iter().map(|challenge| challenge.at).min() else {
                return by_hand;
            };
            counted.iter().filter(|challenge| challenge.at == next).all(|challenge| {
                let released = Some(Disposition::ReleaseWithSupport);
                challenge.is_good || self.disposition(challenge.deviation) == released
            })
        })
    }

    fn disposition(&self, deviation: Option<usize>) -> Option<Disposition> {
        match self.question.deviations[deviation?].closing {
            Closing::Open => None,
            Closing::Closed { disposition, .. } => Some(disposition),
        }
    }
}

fn walk_back(
    question: &Question,
    path: Vec<usize>,
    paths: &mut Vec<Vec<usize>>,
    counts: &dyn Fn(usize) -> bool,
) {
    let inputs = question.lots[path[0]].inputs.iter().copied().filter(|&input| counts(input));
    let inputs: Vec<usize> = inputs.collect();
    for &input in &inputs {
        let mut longer = vec![input];
        longer.extend(&path);
        walk_back(question, longer, paths, counts);
    }
    if inputs.is_empty() {
        paths.push(path);
    }
}

fn gates(check: &Check) -> bool {
    match check.class {
        Class::Ccp => true,
        Class::Programme { gates } => gates,
        Class::Quality => false,
    }
}

fn kinds_before(kind: LotKind) -> &'static [LotKind] {
    match kind {
        LotKind::Rack => &[LotKind::Batch],
        LotKind::Finished => &[LotKind::Batch, LotKind::Rack],
        _ => &[],
    }
}
