//! What runs in the services, step by step: writes, messages, reviews, shipments.
//! It never keeps anything over a crash: what is not committed is gone, and its locks with it.

use domain::haccp::gate::question::{Concerns, Question};
use domain::haccp::gate::{judge, reviewable};

use super::house::{Body, Broken, House, PLANT, Reviewed, Scope};
use super::views::{self, ANSWER_AGE};
use super::writes::{self, Op};

/// What one process does.
pub enum Doing {
    Write { intent: usize, op: Op },
    Deliver { message: usize },
    Review(Reviewing),
    Ship(Shipping),
}

/// A review while it is made.
pub struct Reviewing {
    lot: usize,
    shown: Vec<(usize, u64)>,
    /// What the reviewer was shown as not met, by the names that a review keeps.
    shown_unmet: Vec<String>,
    /// The count of less safe writes when it was shown.
    after: usize,
    question: Option<Question>,
}

/// A shipment while it is made.
pub struct Shipping {
    lot: usize,
    cases: Vec<usize>,
    pallets: Vec<u64>,
    versions: Vec<(usize, u64)>,
    digest: Vec<(usize, u64)>,
    question: Option<Question>,
    answered_at: i64,
    tries: u8,
}

/// One process.
pub struct Process {
    pub id: usize,
    pub doing: Doing,
    phase: u8,
}

impl Process {
    pub fn new(id: usize, doing: Doing) -> Self {
        Self { id, doing, phase: 0 }
    }

    pub fn review(id: usize, lot: usize) -> Self {
        let (shown, shown_unmet) = (Vec::new(), Vec::new());
        let reviewing = Reviewing { lot, shown, shown_unmet, after: 0, question: None };
        Self::new(id, Doing::Review(reviewing))
    }

    pub fn ship(id: usize, lot: usize, cases: Vec<usize>) -> Self {
        Self::new(
            id,
            Doing::Ship(Shipping {
                lot,
                cases,
                pallets: Vec::new(),
                versions: Vec::new(),
                digest: Vec::new(),
                question: None,
                answered_at: 0,
                tries: 0,
            }),
        )
    }

    /// The lot that it ships, if it does.
    pub fn ships(&self) -> Option<usize> {
        match &self.doing {
            Doing::Ship(shipping) => Some(shipping.lot),
            _ => None,
        }
    }

    /// The lot whose records somebody reads, if they do.
    pub fn reviews(&self) -> Option<usize> {
        match &self.doing {
            Doing::Review(reviewing) => Some(reviewing.lot),
            _ => None,
        }
    }

    /// Takes the next step; true when nothing is left to do.
    pub fn step(&mut self, house: &mut House) -> bool {
        let phase = self.phase;
        self.phase += 1;
        let goes_on = match &mut self.doing {
            Doing::Write { intent, op } => write(house, self.id, (*intent, op), phase),
            Doing::Deliver { message } => deliver(house, self.id, *message, phase),
            Doing::Review(reviewing) => review(house, reviewing, phase),
            Doing::Ship(shipping) => ship(house, self.id, shipping, phase),
        };
        match goes_on {
            Goes::On => {}
            Goes::Waits => self.phase = phase,
            Goes::Again => self.phase = 0,
            Goes::Ends => {
                release(house, self.id);
                return true;
            }
        }
        false
    }
}

/// Gives back the locks of a process that ended or was lost.
pub fn release(house: &mut House, id: usize) {
    house.locks.retain(|_, holder| *holder != id);
}

enum Goes {
    On,
    Waits,
    Again,
    Ends,
}

/// All at once in their order, so nobody waits while holding.
fn lock(house: &mut House, id: usize, keys: &[usize]) -> Goes {
    if house.broken == Broken::NoLocks {
        return Goes::On;
    }
    if keys.iter().any(|key| house.locks.get(key).is_some_and(|holder| *holder != id)) {
        return Goes::Waits;
    }
    house.locks.extend(keys.iter().map(|&key| (key, id)));
    Goes::On
}

fn write(house: &mut House, id: usize, asked: (usize, &Op), phase: u8) -> Goes {
    let (intent, op) = asked;
    match phase {
        0 if house.done.contains(&intent) => Goes::Ends,
        0 => lock(house, id, &writes::names(house, op)),
        1 => {
            if house.done.insert(intent) {
                writes::commit(house, op);
            }
            release(house, id);
            Goes::On
        }
        _ => Goes::Ends,
    }
}

fn deliver(house: &mut House, id: usize, message: usize, phase: u8) -> Goes {
    let scope = match house.messages[message].body {
        Body::Hold(deviation) => Some(scope(house, deviation)),
        Body::Bind(_) | Body::EndHold(_) => None,
    };
    match phase {
        0 => {
            if house.broken == Broken::MessagesForgotten {
                house.messages[message].is_delivered = true;
            }
            let keys = scope.map_or(Vec::new(), |scope| writes::of_scope(house, &scope));
            lock(house, id, &keys)
        }
        1 => {
            if house.received.insert(message) || house.broken == Broken::MessagesTwice {
                receive(house, message, scope);
            }
            release(house, id);
            Goes::On
        }
        _ => {
            house.messages[message].is_delivered = true;
            Goes::Ends
        }
    }
}

fn scope(house: &House, deviation: usize) -> Scope {
    match house.deviations[deviation].concerns {
        Concerns::Lots => Scope::Whole(house.named[deviation].clone()),
        Concerns::Span { place, from, to } => Scope::Span { place, from, to },
    }
}

fn receive(house: &mut House, message: usize, scope: Option<Scope>) {
    house.commits += 1;
    match (house.messages[message].body.clone(), scope) {
        (Body::Bind(lot), _) => house.bound[lot] = true,
        (Body::Hold(deviation), Some(scope)) => {
            for key in writes::of_scope(house, &scope) {
                house.add_version(key);
            }
            writes::place_hold(house, scope, Some(deviation));
            let mut concerned = house.concerned(deviation).into_iter();
            if concerned.any(|case| house.cases[case].shipped.is_some()) {
                house.after_shipment.push(deviation);
            }
        }
        (Body::Hold(_), None) => {}
        (Body::EndHold(deviation), _) => {
            let mut holds = house.holds.iter_mut();
            let hold = holds.find(|hold| hold.deviation == Some(deviation) && !hold.has_ended);
            if let Some(hold) = hold {
                hold.has_ended = true;
            }
        }
    }
}

fn review(house: &mut House, reviewing: &mut Reviewing, phase: u8) -> Goes {
    let lot = reviewing.lot;
    match phase {
        0 => {
            reviewing.shown = house.digest(lot);
            reviewing.shown_unmet = unmet(&views::now(house, lot, &house.left(lot)));
            reviewing.after = house.less_safe.len();
        }
        1 => {
            if reviewing.shown != house.digest(lot) {
                return Goes::Ends;
            }
            let mut question = views::closure(house, lot, &house.left(lot));
            views::read_lots(house, &mut question);
            reviewing.question = Some(question);
        }
        2 => {
            if let Some(question) = &mut reviewing.question {
                views::read_deviations(house, question);
            }
        }
        3 => {
            if let Some(question) = &mut reviewing.question {
                views::read_places(house, question);
            }
        }
        _ => {
            let Some(question) = reviewing.question.take() else { return Goes::Ends };
            let obstacles = judge(&question);
            if obstacles.iter().any(|one| one.cases.is_empty()) {
                return Goes::Ends;
            }
            let seen = unmet(&question);
            if seen != reviewing.shown_unmet && house.broken != Broken::SignedUnseen {
                return Goes::Ends;
            }
            house.commits += 1;
            house.reviews.push(Reviewed {
                lot,
                closure: reviewing.shown.clone(),
                excepted: obstacles.into_iter().flat_map(|one| one.cases).collect(),
                seen,
                after: reviewing.after,
            });
            return Goes::Ends;
        }
    }
    Goes::On
}

fn unmet(question: &Question) -> Vec<String> {
    reviewable(question).unmet.into_iter().flatten().collect()
}

fn read_versions(house: &House, shipping: &mut Shipping) {
    shipping.digest = house.digest(shipping.lot);
    shipping.versions.clone_from(&shipping.digest);
    shipping.versions.push((PLANT, house.plant_version));
}

fn ship(house: &mut House, id: usize, shipping: &mut Shipping, phase: u8) -> Goes {
    match phase {
        0 => {
            read_versions(house, shipping);
            shipping.pallets = shipping.cases.iter().map(|&at| house.cases[at].pallet).collect();
            let is_held = shipping.cases.iter().any(|&case| house.is_held(case));
            if is_held && house.broken != Broken::HoldsNotRead {
                return Goes::Ends;
            }
            shipping.question = Some(views::closure(house, shipping.lot, &shipping.cases));
        }
        1..4 => {
            let Some(question) = &mut shipping.question else { return Goes::Ends };
            match phase {
                1 => {
                    shipping.answered_at = house.now;
                    question.at = house.now;
                    views::read_lots(house, question);
                }
                2 => views::read_deviations(house, question),
                _ => {
                    views::read_places(house, question);
                    views::read_review(house, question, &shipping.digest);
                    if !judge(question).is_empty() {
                        return Goes::Ends;
                    }
                }
            }
        }
        4 => {
            if house.broken == Broken::ReadAfterwards {
                read_versions(house, shipping);
            }
            if house.broken == Broken::NoLocks && is_changed(house, shipping) {
                return Goes::Ends;
            }
            let keys: Vec<usize> = shipping.versions.iter().map(|version| version.0).collect();
            return lock(house, id, &keys);
        }
        _ => return leave(house, id, shipping),
    }
    Goes::On
}

fn is_changed(house: &House, shipping: &Shipping) -> bool {
    let is_other = |&(key, version): &(usize, u64)| match (house.broken, key) {
        (Broken::NotCompared, _) | (Broken::PlantRowNotCompared, PLANT) => false,
        (_, key) => house.version(key) != version,
    };
    let is_old = house.now - shipping.answered_at >= ANSWER_AGE;
    shipping.versions.iter().any(is_other) || (is_old && house.broken != Broken::OldAnswerTaken)
}

/// The one transaction that ships: the proof looks at the truth at this moment.
fn leave(house: &mut House, id: usize, shipping: &mut Shipping) -> Goes {
    if house.broken != Broken::NoLocks && is_changed(house, shipping) {
        release(house, id);
        shipping.tries += 1;
        return if shipping.tries < 3 { Goes::Again } else { Goes::Ends };
    }
    let is_there = |(&case, &pallet): (&usize, &u64)| {
        house.cases[case].pallet == pallet && house.cases[case].shipped.is_none()
    };
    let is_whole = shipping.cases.iter().zip(&shipping.pallets).all(is_there);
    if !is_whole && house.broken != Broken::CasesTakenTwice {
        return Goes::Ends;
    }
    house.commits += 1;
    for &case in &shipping.cases {
        let why = views::unsafe_to_leave(house, case);
        let serial = house.cases[case].serial.clone();
        if !why.is_empty() {
            house.faults.push(format!("unsafe case {serial} left: {why:?}"));
        }
        if house.cases[case].shipped.is_some() {
            house.faults.push(format!("case {serial} left twice"));
        }
        house.cases[case].shipped = Some(house.commits);
    }
    Goes::Ends
}
