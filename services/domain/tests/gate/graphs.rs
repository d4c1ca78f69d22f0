//! Random plants: what was received, kits, batches, racks, rework and finished lots, over days.
//! It never makes a ring, and only rarely a lot that skips what its kind comes of.

use domain::haccp::gate::question::{Lot, LotKind, Question};

use super::plans::{FIRST, KIT, OTHER, PACKAGING, RECEIVED, SECOND, STOCK};
use super::random::Rng;

/// More paths than this from what was received to one lot are not written out.
const PATHS_MAX: u64 = 2_000;

/// The time between the makings of two lots.
pub const STEP: i64 = 10;

/// Adds lots without records to a question: up to 60, each made at its place times [`STEP`].
pub fn grow(question: &mut Question, rng: &mut Rng, most: usize) {
    let mut plant = Plant { question, rng, most };
    let days = 1 + plant.rng.below(4);
    for _ in 0..plant.rng.below(3) {
        plant.lot(LotKind::OpeningStock, STOCK, Vec::new());
    }
    for _ in 0..days {
        plant.day();
    }
}

struct Plant<'a> {
    question: &'a mut Question,
    rng: &'a mut Rng,
    most: usize,
}

impl Plant<'_> {
    fn lot(&mut self, kind: LotKind, plan: usize, mut inputs: Vec<usize>) -> Option<usize> {
        inputs.sort_unstable();
        inputs.dedup();
        let at = self.question.lots.len();
        if at >= self.most {
            return None;
        }
        let name = format!("{kind:?}-{at}");
        let is_unbound = self.rng.per_mille(2);
        let plan = Some(plan).filter(|_| !is_unbound);
        self.question.lots.push(Lot { plan, inputs, ..Lot::new(name, kind) });
        if paths(&self.question.lots, at) > PATHS_MAX {
            self.question.lots[at].inputs.truncate(1);
        }
        Some(at)
    }

    fn of(&self, kinds: &[LotKind], plan: Option<usize>) -> Vec<usize> {
        let lots = self.question.lots.iter().enumerate();
        let is_one =
            |lot: &Lot| kinds.contains(&lot.kind) && plan.is_none_or(|plan| lot.plan == Some(plan));
        lots.filter(|(_, lot)| is_one(lot)).map(|(at, _)| at).collect()
    }

    fn some(&mut self, from: &[usize], most: usize) -> Vec<usize> {
        let count = 1 + self.rng.below(most);
        (0..count).filter_map(|_| self.rng.some(from)).collect()
    }

    fn day(&mut self) {
        for _ in 0..1 + self.rng.below(3) {
            self.lot(LotKind::Received, RECEIVED, Vec::new());
        }
        if self.rng.chance(60) {
            self.lot(LotKind::Received, PACKAGING, Vec::new());
        }
        let meat = self.of(&[LotKind::Received], Some(RECEIVED));
        if self.rng.chance(50) {
            let inputs = self.some(&meat, 2);
            self.lot(LotKind::Kit, KIT, inputs);
        }
        let plan = self.rng.pick(&[FIRST, FIRST, SECOND, OTHER]);
        let batches = self.batches(plan, &meat);
        let racks = self.racks(plan, &batches, &meat);
        self.rework(plan);
        self.finished(plan, &racks, &meat);
        self.rework(plan);
    }

    fn batches(&mut self, plan: usize, meat: &[usize]) -> Vec<usize> {
        let mut made = Vec::new();
        for _ in 0..1 + self.rng.below(3) {
            let mut inputs = self.some(meat, 2);
            let kits = self.of(&[LotKind::Kit], None);
            inputs.extend(self.rng.some(&kits));
            let rework = self.of(&[LotKind::Rework], None);
            if self.rng.chance(60) {
                inputs.extend(self.rng.some(&rework));
            }
            let stock = self.of(&[LotKind::OpeningStock], None);
            if self.rng.chance(15) {
                inputs.extend(self.rng.some(&stock));
            }
            made.extend(self.lot(LotKind::Batch, plan, inputs));
        }
        made
    }

    fn racks(&mut self, plan: usize, batches: &[usize], meat: &[usize]) -> Vec<usize> {
        let mut made = Vec::new();
        for _ in 0..1 + self.rng.below(3) {
            let mut inputs = self.some(batches, 2);
            let is_casing = |plan: usize| !self.question.plans[plan].steps[0].on_every_path;
            if is_casing(plan) && self.rng.chance(40) {
                inputs.extend(self.rng.some(meat));
            }
            let odd = self.of(&[LotKind::Rework, LotKind::OpeningStock, LotKind::Received], None);
            if self.rng.chance(4) {
                inputs.extend(self.rng.some(&odd));
            }
            if inputs.is_empty() {
                inputs.extend(self.rng.some(meat));
            }
            // A lot of the plan's other version, now and then.
            let other = if plan == FIRST { SECOND } else { plan };
            let plan = if self.rng.chance(10) { other } else { plan };
            made.extend(self.lot(LotKind::Rack, plan, inputs));
        }
        made
    }

    fn rework(&mut self, plan: usize) {
        if !self.rng.chance(50) {
            return;
        }
        let from = self.of(&[LotKind::Batch, LotKind::Rack, LotKind::Finished], None);
        let inputs = self.some(&from, 2);
        if !inputs.is_empty() {
            self.lot(LotKind::Rework, plan, inputs);
        }
    }

    fn finished(&mut self, plan: usize, racks: &[usize], meat: &[usize]) {
        for _ in 0..1 + self.rng.below(2) {
            let mut inputs = self.some(racks, 3);
            let packaging = self.of(&[LotKind::Received], Some(PACKAGING));
            inputs.extend(self.rng.some(&packaging));
            let stock = self.of(&[LotKind::OpeningStock], None);
            if self.rng.chance(10) {
                inputs.extend(self.rng.some(&stock));
            }
            if self.rng.chance(3) {
                inputs.extend(self.rng.some(meat));
            }
            let odd = self.of(&[LotKind::Batch, LotKind::Rework, LotKind::Finished], None);
            if self.rng.chance(5) {
                inputs.extend(self.rng.some(&odd));
            }
            self.lot(LotKind::Finished, plan, inputs);
        }
    }
}

fn paths(lots: &[Lot], lot: usize) -> u64 {
    let mut counts: Vec<u64> = Vec::with_capacity(lots.len());
    for of in lots {
        let count = of.inputs.iter().map(|&input| counts[input]).sum::<u64>();
        counts.push(count.max(1));
    }
    counts[lot]
}
