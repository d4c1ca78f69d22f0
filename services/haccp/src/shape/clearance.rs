//! From the closure and what is recorded about it to the question that the gate judges, and back.
//! It never judges: what it cannot place it says, so that the gate refuses.

pub mod findings;
pub mod gaps;
pub mod said;
pub mod silence;
pub mod view;

use std::collections::HashMap;
use std::sync::Arc;

use domain::haccp::gate::items::Item;
use domain::haccp::gate::question::{
    At, Block, Case, Challenge, Check, Closing, Concerns, Cover, Deviation, Disposition, Lot,
    Obstacle, Plan, Question, Review, Ship, Step,
};
use platform::error::Failure;
use uuid::Uuid;
use wire::internal::v1;
use wire::v1::RefusalReason;

use super::plans::{PlanVersion, lot_kind};
use crate::store::clearance::{Asked, Blocked, Deviated, Facts};

/// Versions of plans by id and number.
pub type Plans = HashMap<(Uuid, i32), Arc<PlanVersion>>;

/// A closure as genealogy read it, with ids read.
#[derive(Clone, Debug)]
pub struct Closure {
    /// Its lots.
    pub lots: Vec<ClosureLot>,
    /// What of it ships, or would.
    pub ships: Vec<v1::ShippingLot>,
    /// The ids of what ships, in the same order.
    pub ship_lots: Vec<Uuid>,
}

/// A lot of a closure.
#[derive(Clone, Debug)]
pub struct ClosureLot {
    /// Its id.
    pub id: Uuid,
    /// What genealogy says of it.
    pub said: v1::ClosureLot,
}

impl Closure {
    /// Reads what genealogy sent. What refers to a lot that it did not send is our fault.
    pub fn of(lots: Vec<v1::ClosureLot>, ships: Vec<v1::ShippingLot>) -> Result<Self, Failure> {
        let broken = || Failure::internal("a closure that cannot be read");
        let lot = |said: v1::ClosureLot| Some(ClosureLot { id: said.lot.parse().ok()?, said });
        let lots: Vec<_> = lots.into_iter().map(lot).collect::<Option<_>>().ok_or_else(broken)?;
        let id = |ship: &v1::ShippingLot| lots.get(ship.lot as usize).map(|lot| lot.id);
        let ship_lots = ships.iter().map(id).collect::<Option<_>>().ok_or_else(broken)?;
        Ok(Self { lots, ships, ship_lots })
    }

    /// A lot that ships with all its ancestors.
    pub fn of_ship(&self, ship: usize) -> Vec<Uuid> {
        let mut is_in = vec![false; self.lots.len()];
        let mut open = vec![self.ships[ship].lot as usize];
        while let Some(at) = open.pop() {
            let Some(seen) = is_in.get_mut(at).filter(|seen| !**seen) else { continue };
            *seen = true;
            open.extend(self.lots[at].said.inputs.iter().map(|&input| input as usize));
        }
        self.lots.iter().zip(is_in).filter(|(_, is_in)| *is_in).map(|(lot, _)| lot.id).collect()
    }

    /// What is to be read about it.
    pub fn asked(&self) -> Asked {
        let passings = || self.ships.iter().flat_map(|ship| &ship.cases).flat_map(|c| &c.passings);
        let stays = self.lots.iter().flat_map(|lot| &lot.said.stays).map(|stay| &stay.place);
        let digests = self.ships.iter().map(|ship| ship.closure.to_vec());
        Asked {
            lots: self.lots.iter().map(|lot| lot.id).collect(),
            stays: ids(stays),
            passed: ids(passings().map(|passing| &passing.place)),
            first_passing: passings().map(|passing| passing.at_us).min().unwrap_or(0),
            ships: self.ship_lots.iter().copied().zip(digests).collect(),
        }
    }
}

fn ids<'t>(texts: impl Iterator<Item = &'t String>) -> Vec<Uuid> {
    let mut ids: Vec<Uuid> = texts.filter_map(|text| text.parse().ok()).collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

/// The question with what is needed to read its answer.
pub struct Asking {
    /// What the gate is asked.
    pub question: Question,
    /// The version to which each lot is bound, where it is.
    pub bound: Vec<Option<Arc<PlanVersion>>>,
}

/// A closure with what is recorded about it and what the gate said.
pub struct Cleared {
    pub closure: Closure,
    pub facts: Facts,
    pub asking: Asking,
    pub obstacles: Vec<Obstacle>,
    /// The items, where it was asked whether it may be reviewed.
    pub items: Vec<Item>,
    /// By ship, what was ever not met, answered or not: a review keeps it.
    pub unmet: Vec<Vec<String>>,
}

/// Where ids stand in the lists of the question.
struct Places {
    lots: HashMap<Uuid, usize>,
    deviations: HashMap<Uuid, usize>,
    /// Plans, whatever the version.
    identities: HashMap<Uuid, usize>,
    /// Lines and detectors.
    passed: HashMap<Uuid, usize>,
}

impl Places {
    fn of(closure: &Closure, facts: &Facts) -> Self {
        fn numbered(ids: impl Iterator<Item = Uuid>) -> HashMap<Uuid, usize> {
            let mut numbered = HashMap::new();
            for id in ids {
                let next = numbered.len();
                numbered.entry(id).or_insert(next);
            }
            numbered
        }
        let plans = facts.bound.iter().map(|bound| bound.plan);
        let passed = facts.challenges.iter().map(|challenge| challenge.place);
        Self {
            lots: numbered(closure.lots.iter().map(|lot| lot.id)),
            deviations: numbered(facts.deviations.iter().map(|deviation| deviation.id)),
            identities: numbered(plans.chain(facts.deviations.iter().map(|d| d.plan))),
            passed: numbered(
                passed
                    .chain(closure.asked().passed)
                    .chain(facts.deviations.iter().filter_map(|deviation| deviation.place)),
            ),
        }
    }
}

/// Makes the question of a closure at an instant; `is_review` when it is asked whether it may be
/// reviewed.
pub fn question(
    closure: &Closure,
    facts: &Facts,
    plans: &Plans,
    (at, is_review): (At, bool),
) -> Result<Asking, Failure> {
    let places = Places::of(closure, facts);
    let (versions, version_of) = versions(facts, plans, &places)?;
    let mut bound: Vec<Option<Arc<PlanVersion>>> = vec![None; closure.lots.len()];
    let mut lots = closure.lots.iter().map(lot).collect::<Result<Vec<_>, _>>()?;
    for row in &facts.bound {
        let Some(&lot) = places.lots.get(&row.lot) else { continue };
        // By a version whose demand is not whole nothing is ever clear.
        lots[lot].plan = version_of.get(&(row.plan, row.version)).copied();
        bound[lot] = plans.get(&(row.plan, row.version)).cloned();
    }
    findings::add(&mut lots, &bound, (facts, &places.lots, &places.deviations));
    gaps::add(&mut lots, &bound, (facts, &places.lots), at);
    silence::add(&mut lots, closure, &facts.stations, at);
    rest(&mut lots, &bound, facts, &places);
    let question = Question {
        plans: versions,
        lots,
        deviations: facts.deviations.iter().map(|d| deviation(d, &places)).collect(),
        challenges: challenges(facts, &places),
        ships: closure
            .ships
            .iter()
            .zip(&closure.ship_lots)
            .map(|(said, lot)| ship(said, *lot, facts, &places, is_review))
            .collect(),
        at,
    };
    Ok(Asking { question, bound })
}

type Numbers = HashMap<(Uuid, i32), usize>;

fn versions(
    facts: &Facts,
    plans: &Plans,
    places: &Places,
) -> Result<(Vec<Plan>, Numbers), Failure> {
    let (mut versions, mut numbers) = (Vec::new(), Numbers::new());
    for row in &facts.bound {
        let key = (row.plan, row.version);
        if numbers.contains_key(&key) {
            continue;
        }
        let version = plans.get(&key).ok_or_else(|| Failure::internal("a plan is gone"))?;
        let identity = places.identities.get(&row.plan).copied();
        if let Some(plan) = identity.and_then(|identity| plan(version, identity)) {
            numbers.insert(key, versions.len());
            versions.push(plan);
        }
    }
    Ok((versions, numbers))
}

/// A version for the gate; none when its demand is not whole.
fn plan(version: &PlanVersion, identity: usize) -> Option<Plan> {
    let step = |step: &super::plans::Step| Step {
        code: step.code.clone(),
        on: step.on,
        on_every_path: step.on_every_path,
        is_lethal: step.operation == "cook",
    };
    let check = |check: &super::plans::Check| {
        Some(Check {
            code: check.code.clone(),
            title: check.title.clone(),
            step: check.step?,
            class: check.class,
            kind: check.kind,
            device: check.device.clone(),
            fresh_for_us: check.fresh_for_s.map(|s| s * 1_000_000),
        })
    };
    version.is_whole().then_some(())?;
    Some(Plan {
        identity,
        name: format!("{} version {}", version.name, version.version),
        steps: version.steps.iter().map(step).collect(),
        checks: version.checks.iter().map(check).collect::<Option<_>>()?,
        is_packaging: version.is_packaging,
    })
}

fn lot(lot: &ClosureLot) -> Result<Lot, Failure> {
    let said = &lot.said;
    let unknown = || Failure::internal(format!("a lot of the kind {}", said.kind));
    let kind = lot_kind(&said.kind).ok_or_else(unknown)?;
    let inputs = said.inputs.iter().map(|&input| input as usize).collect();
    Ok(Lot { inputs, ..Lot::new(said.code.clone(), kind) })
}

/// What needs no more than its place: deviations that name lots, covers, blocks.
fn rest(lots: &mut [Lot], bound: &[Option<Arc<PlanVersion>>], facts: &Facts, places: &Places) {
    for row in &facts.named {
        let of = places.lots.get(&row.lot).zip(places.deviations.get(&row.deviation));
        if let Some((&lot, &deviation)) = of {
            lots[lot].deviations.push(deviation);
        }
    }
    for row in &facts.covers {
        let Some(&lot) = places.lots.get(&row.lot) else { continue };
        let Some(check) = own_check(bound[lot].as_deref(), row.plan, &row.check_code) else {
            continue;
        };
        lots[lot].covers.push(Cover { check, from: row.from_us, to: row.to_us });
    }
    for row in &facts.blocks {
        if let Some(&lot) = places.lots.get(&row.lot) {
            let block = block(row, &lots[lot].name);
            lots[lot].blocks.push(block);
        }
    }
}

/// The place of a check in the plan to which a lot is bound: only what is recorded under the lot's
/// own plan, whatever the version, speaks about it.
fn own_check(bound: Option<&PlanVersion>, plan: Uuid, code: &str) -> Option<usize> {
    let bound = bound.filter(|bound| bound.plan == plan && bound.is_whole())?;
    bound.checks.iter().position(|check| check.code == code)
}

fn block(row: &Blocked, lot: &str) -> Block {
    let record = &row.record;
    match row.kind.as_str() {
        "foreign" => Block {
            code: "FOREIGN_MATERIAL_OPEN",
            what: format!("Foreign material was found in lot {lot}: {}.", row.what),
            who: "QA",
            way_on: format!("Answer it: POST /v1/foreign-material/{record}/answer."),
        },
        "refused" => Block {
            code: "MESSAGE_REFUSED",
            what: format!("A message about lot {lot} could not be carried out: {}", row.what),
            who: "QA and operator of the servers",
            way_on: "Mend what it says, so that the lot is bound to its plan.".to_owned(),
        },
        _ => Block {
            code: "MESSAGE_OWED",
            what: format!("A message about lot {lot} has not been delivered for over 60 s."),
            who: "operator of the servers",
            way_on: "See that every service runs; it is sent again by itself.".to_owned(),
        },
    }
}

fn deviation(row: &Deviated, places: &Places) -> Deviation {
    let span = row.place.and_then(|place| places.passed.get(&place)).zip(row.span_to);
    let disposition = row.disposition.as_deref().map(disposition);
    Deviation {
        name: format!("{}: {}", row.check_code, row.what),
        id: row.id.to_string(),
        check: row.check_code.clone(),
        plan: places.identities.get(&row.plan).copied().unwrap_or(usize::MAX),
        by_hand: row.by_hand,
        concerns: match span {
            Some((&place, to)) => Concerns::Span { place, from: row.span_from, to },
            None => Concerns::Lots,
        },
        closing: match disposition.zip(row.closed_at) {
            Some((disposition, at)) => Closing::Closed { disposition, at },
            None => Closing::Open,
        },
    }
}

/// A word that nobody knows frees nothing.
fn disposition(word: &str) -> Disposition {
    match word {
        "release_with_support" => Disposition::ReleaseWithSupport,
        "recook" => Disposition::Recook,
        "rework_with_lethal_step" => Disposition::ReworkWithLethalStep,
        "recorded_wrongly" => Disposition::RecordedWrongly,
        _ => Disposition::Destroy,
    }
}

fn challenges(facts: &Facts, places: &Places) -> Vec<Challenge> {
    let challenge = |row: &crate::store::clearance::Challenged| {
        Some(Challenge {
            place: *places.passed.get(&row.place)?,
            device: row.device.clone(),
            at: row.at,
            is_good: row.is_good,
            deviation: row.deviation.and_then(|id| places.deviations.get(&id).copied()),
        })
    };
    facts.challenges.iter().filter_map(challenge).collect()
}

fn ship(
    said: &v1::ShippingLot,
    lot: Uuid,
    facts: &Facts,
    places: &Places,
    is_review: bool,
) -> Ship {
    let passing = |passing: &v1::Passing| {
        let place = passing.place.parse().ok().and_then(|id: Uuid| places.passed.get(&id))?;
        Some((*place, passing.at_us))
    };
    let case = |case: &v1::ShippingCase| Case {
        serial: case.serial.clone(),
        passings: case.passings.iter().filter_map(passing).collect(),
    };
    let signed = facts.reviews.iter().find(|review| review.lot == lot);
    Ship {
        lot: said.lot as usize,
        cases: said.cases.iter().map(case).collect(),
        review: match signed {
            _ if is_review => Review::NotAsked,
            Some(signed) => {
                Review::Signed { excepted: signed.excepted.clone(), seen: signed.seen.clone() }
            }
            None => Review::Missing,
        },
    }
}

/// What stands in the way, as a reason for people.
pub fn reason(closure: &Closure, obstacle: &Obstacle) -> RefusalReason {
    let lot = closure.lots.get(obstacle.lot).map(|lot| lot.id.to_string()).unwrap_or_default();
    RefusalReason {
        code: obstacle.code.to_owned(),
        subject: format!("lot:{lot}"),
        message: obstacle.message.clone(),
        who: obstacle.who.to_owned(),
        way_on: obstacle.way_on.clone(),
    }
}

/// What stands in the way, for genealogy.
pub fn obstacle_out(closure: &Closure, obstacle: Obstacle) -> v1::Obstacle {
    v1::Obstacle {
        ships: obstacle.ships.iter().filter_map(|&ship| u32::try_from(ship).ok()).collect(),
        reason: Some(reason(closure, &obstacle)),
        cases: obstacle.cases,
    }
}

#[cfg(test)]
mod tests;
