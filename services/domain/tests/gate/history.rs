//! One random history of a plant: writes, messages, reviews and shipments, interleaved and crashed.
//! It never lets anything happen that its seed does not say.

use std::collections::HashSet;

use domain::haccp::gate::question::{Kind, LotKind, Question};
use domain::verdict::Verdict;

use super::graphs;
use super::house::{Body, Broken, Case, Entry, House};
use super::plans;
use super::processes::{Doing, Process, release};
use super::random::Rng;
use super::settle;
use super::views;
use super::writes::{self, Op};

/// When the docks begin to ship.
pub const OPEN: i64 = 700;
const STATIONS: usize = 2;
pub const DEVICES: usize = 3;

/// A plant with what runs in it and what its clients still have to send.
pub struct History {
    pub house: House,
    pub rng: Rng,
    pub running: Vec<Process>,
    /// What clients repeat until it is answered.
    intents: Vec<(usize, Op)>,
    next: usize,
    faults: u64,
}

/// Plays the history of a seed to its end: how many cases left, or what went wrong.
pub fn play(seed: u64, broken: Broken) -> Result<usize, String> {
    let mut history = History::of(seed, broken);
    let steps = history.rng.pick(&[80, 200, 400]);
    for _ in 0..steps {
        history.step();
    }
    settle::settle(&mut history)?;
    match history.house.faults.first() {
        Some(fault) => Err(fault.clone()),
        None => Ok(history.house.cases.iter().filter(|case| case.shipped.is_some()).count()),
    }
}

impl History {
    fn of(seed: u64, broken: Broken) -> Self {
        let mut rng = Rng::of(seed);
        let mut plant = Question {
            plans: plans::plans(&mut rng),
            lots: Vec::new(),
            deviations: Vec::new(),
            challenges: Vec::new(),
            ships: Vec::new(),
            at: 0,
        };
        let most = rng.pick(&[10, 15, 25, 60]);
        graphs::grow(&mut plant, &mut rng, most);
        let faults = rng.pick(&[0, 5, 20, 60]);
        let house = house(plant, &mut rng, broken);
        let (running, intents) = (Vec::new(), Vec::new());
        let mut history = Self { house, rng, running, intents, next: 0, faults };
        history.before();
        history
    }

    /// What was recorded before the docks opened; some of it is still on its way.
    fn before(&mut self) {
        for lot in 0..self.house.lots.len() {
            writes_of_binding(&mut self.house, lot);
            for check in self.checks(lot) {
                self.found(lot, check);
            }
        }
        for place in 0..2 {
            let mut at = 5;
            while at < OPEN {
                self.house.now = self.house.now.max(at);
                let is_good = !self.rng.per_mille(self.faults);
                let device = self.rng.below(DEVICES);
                let op = Op::Challenge { place, truly: at, device, is_good };
                writes::commit(&mut self.house, &op);
                at += self.rng.within(20, 70);
            }
        }
        self.house.now = OPEN;
        if self.rng.chance(70) {
            self.morning();
        }
    }

    /// Everything has come in and was reviewed before the first truck.
    fn morning(&mut self) {
        self.drain();
        for station in 0..STATIONS {
            if self.rng.chance(80) {
                self.sync(station);
            }
        }
        for lot in self.house.shippable() {
            self.read_at_loading(lot, Verdict::Pass);
            self.alone(|id| Process::review(id, lot));
        }
    }

    /// Checks on the lot's own kind that readings answer and that are not read at loading.
    pub fn checks(&self, lot: usize) -> Vec<usize> {
        let of = &self.house.lots[lot];
        let Some(plan) = of.plan.map(|plan| &self.house.plans[plan]) else { return Vec::new() };
        let checks = plan.checks.iter().enumerate();
        checks
            .filter(|(_, check)| plan.steps[check.step].on == of.kind)
            .filter(|(_, check)| check.kind != Kind::Bracket && check.fresh_for_us.is_none())
            .map(|(at, _)| at)
            .collect()
    }

    fn found(&mut self, lot: usize, check: usize) {
        let truly = self.house.left_at[lot] - self.rng.within(0, 8);
        let is_wrong = self.rng.per_mille(self.faults);
        let wrong = [Verdict::Fail, Verdict::Fail, Verdict::Undetermined];
        let verdict = if is_wrong { self.rng.pick(&wrong) } else { Verdict::Pass };
        self.house.now = self.house.now.max(truly);
        if let Some(station) = self.house.stations[lot]
            && self.rng.chance(8)
        {
            self.house.queues[station].push(Entry { lot, check, truly, verdict });
            return;
        }
        let device = self.rng.below(DEVICES);
        let op = Op::Reading { lot, check, truly, device, verdict };
        match self.rng.below(100) {
            0..8 => self.asks(op),
            8 => {}
            _ => writes::commit(&mut self.house, &op),
        }
    }

    /// A client wants this written, and repeats it until it is.
    pub fn asks(&mut self, op: Op) {
        self.next += 1;
        self.intents.push((self.next, op));
    }

    fn step(&mut self) {
        self.house.now += self.rng.within(0, 2);
        if self.rng.per_mille(10) {
            self.house.now += self.rng.within(10, 100);
        }
        if self.rng.per_mille(15) {
            self.crash();
        }
        let is_busy = !self.running.is_empty();
        if is_busy && self.rng.chance(78) {
            let at = self.rng.below(self.running.len());
            self.advance(at);
        } else {
            self.begin();
        }
    }

    fn advance(&mut self, at: usize) {
        let ended = self.running[at].step(&mut self.house);
        if ended {
            self.end(at);
        }
    }

    fn end(&mut self, at: usize) {
        let process = self.running.swap_remove(at);
        if let Doing::Write { intent, .. } = process.doing {
            self.intents.retain(|(id, _)| *id != intent);
        }
    }

    /// All that runs is lost, or some of it: one service, or one task.
    fn crash(&mut self) {
        let is_whole = self.rng.chance(50);
        let mut kept = Vec::new();
        for process in std::mem::take(&mut self.running) {
            if is_whole || self.rng.chance(50) {
                release(&mut self.house, process.id);
            } else {
                kept.push(process);
            }
        }
        self.running = kept;
    }

    fn run(&mut self, process: Process) {
        self.running.push(process);
    }

    fn id(&mut self) -> usize {
        self.next += 1;
        self.next
    }

    fn begin(&mut self) {
        let id = self.id();
        let is_shipping = self.running.iter().any(|process| process.ships().is_some());
        if is_shipping && self.rng.chance(35) {
            let before = self.intents.len();
            self.happens();
            if self.intents.len() > before {
                self.send_one(before);
            }
            return;
        }
        let read: Vec<usize> = self.running.iter().filter_map(Process::reviews).collect();
        if let Some(lot) = self.rng.some(&read)
            && self.rng.chance(10)
        {
            self.passes_by(lot);
            return;
        }
        match self.rng.below(100) {
            0..22 => {
                let lots = self.house.shippable();
                let Some(lot) = self.rng.some(&lots) else { return };
                let mut cases = self.house.left(lot);
                cases.retain(|_| self.rng.chance(75));
                if !cases.is_empty() {
                    self.run(Process::ship(id, lot, cases));
                }
            }
            22..38 => {
                let lots = self.house.shippable();
                if let Some(lot) = self.rng.some(&lots) {
                    self.run(Process::review(id, lot));
                }
            }
            38..58 => self.deliver(),
            58..72 => self.send(),
            72..76 => self.hear(),
            76..84 => self.load(),
            _ => self.happens(),
        }
    }

    /// Takes a message whose subject has none before it.
    fn deliver(&mut self) {
        let is_any = self.house.broken == Broken::MessagesInAnyOrder;
        let mut blocked = HashSet::new();
        let undelivered = self.house.messages.iter().enumerate().filter(|one| !one.1.is_delivered);
        let ready: Vec<usize> = undelivered
            .filter(|(_, message)| blocked.insert(message.subject) || is_any)
            .map(|(at, _)| at)
            .collect();
        if let Some(message) = self.rng.some(&ready) {
            let id = self.id();
            self.run(Process::new(id, Doing::Deliver { message }));
        }
    }

    fn send(&mut self) {
        if !self.intents.is_empty() {
            let at = self.rng.below(self.intents.len());
            self.send_one(at);
        }
    }

    fn send_one(&mut self, at: usize) {
        let (intent, op) = self.intents[at].clone();
        let id = self.id();
        self.run(Process::new(id, Doing::Write { intent, op }));
    }

    /// A station sends what it holds, and then says that nothing is left.
    pub fn hear(&mut self) {
        let station = self.rng.below(STATIONS);
        self.sync(station);
    }

    /// Sends all of a station's queue, and is heard.
    pub fn sync(&mut self, station: usize) {
        for entry in std::mem::take(&mut self.house.queues[station]) {
            let Entry { lot, check, truly, verdict } = entry;
            let device = station;
            let op = Op::Reading { lot, check, truly, device, verdict };
            let keys = writes::names(&self.house, &op);
            if keys.iter().any(|key| self.house.locks.contains_key(key)) {
                self.house.queues[station].push(entry);
                continue;
            }
            writes::commit(&mut self.house, &op);
        }
        if self.house.queues[station].is_empty() {
            self.house.heard[station] = self.house.now;
        }
    }

    /// The product is read at the dock.
    fn load(&mut self) {
        let lots = self.house.shippable();
        let Some(lot) = self.rng.some(&lots) else { return };
        let verdict = if self.rng.chance(10) { Verdict::Fail } else { Verdict::Pass };
        self.read_at_loading(lot, verdict);
    }

    /// Asks for a reading of what must be fresh when it ships, if the plan has one.
    pub fn read_at_loading(&mut self, lot: usize, verdict: Verdict) {
        let Some(plan) = self.house.lots[lot].plan else { return };
        let checks = &self.house.plans[plan].checks;
        if let Some(check) = checks.iter().position(|check| check.fresh_for_us.is_some()) {
            let (truly, device) = (self.house.now, self.rng.below(DEVICES));
            self.asks(Op::Reading { lot, check, truly, device, verdict });
        }
    }

    /// Lets all that runs end, sends all that waits, delivers every message.
    pub fn drain(&mut self) {
        for _ in 0..200_000 {
            if let Some(at) = self.running.len().checked_sub(1) {
                let at = self.rng.below(at + 1);
                self.advance(at);
                continue;
            }
            self.house.now += 1;
            if !self.intents.is_empty() {
                self.send();
            } else if self.house.messages.iter().any(|message| !message.is_delivered) {
                self.deliver();
            } else {
                return;
            }
        }
        self.house.faults.push("work never ends".to_owned());
    }

    /// Runs one process to its end, with nothing beside it.
    pub fn alone(&mut self, make: impl FnOnce(usize) -> Process) {
        let id = self.id();
        self.run(make(id));
        self.drain();
    }
}

fn writes_of_binding(house: &mut House, lot: usize) {
    writes::tell(house, usize::MAX - 1 - lot, Body::Bind(lot));
}

fn house(plant: Question, rng: &mut Rng, broken: Broken) -> House {
    let count = plant.lots.len();
    let mut lots = plant.lots;
    let mut cases = Vec::new();
    let mut left_at = Vec::new();
    for (at, lot) in lots.iter_mut().enumerate() {
        // Every lot is made with a plan; haccp learns of it by a message.
        lot.plan = lot.plan.or(Some(match lot.kind {
            LotKind::Received => plans::RECEIVED,
            LotKind::Kit => plans::KIT,
            LotKind::OpeningStock => plans::STOCK,
            _ => plans::OTHER,
        }));
        let left = i64::try_from(at).expect("few lots") * graphs::STEP + 9;
        left_at.push(left);
        let packed = if lot.kind == LotKind::Finished { rng.below(4) } else { 0 };
        for case in 0..packed {
            let passings = vec![(rng.below(2), left - rng.within(0, 8))];
            let serial = format!("{at}-{case}");
            cases.push(Case { lot: at, serial, passings, pallet: 0, shipped: None });
        }
    }
    let watched = |rng: &mut Rng| rng.chance(60).then(|| rng.below(STATIONS));
    House {
        broken,
        now: 0,
        plans: plant.plans,
        lots,
        left_at,
        versions: vec![0; count],
        plant_version: 0,
        holds: Vec::new(),
        cases,
        after_shipment: Vec::new(),
        bound: vec![false; count],
        findings: Vec::new(),
        gaps: Vec::new(),
        covers: Vec::new(),
        deviations: Vec::new(),
        named: Vec::new(),
        opened: Vec::new(),
        challenges: Vec::new(),
        challenged: Vec::new(),
        reviews: Vec::new(),
        stations: (0..count).map(|_| watched(rng)).collect(),
        heard: vec![0; STATIONS],
        messages: Vec::new(),
        received: Default::default(),
        done: Default::default(),
        queues: vec![Vec::new(); STATIONS],
        skews: (0..DEVICES).map(|_| rng.pick(&[0, 0, -90, 45, 300])).collect(),
        locks: Default::default(),
        less_safe: Vec::new(),
        commits: 0,
        faults: Vec::new(),
    }
}

/// What stands in the way of the cases of a lot that have not left.
pub fn asked(house: &House, lot: usize) -> Question {
    views::now(house, lot, &house.left(lot))
}
