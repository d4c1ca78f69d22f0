//! A plant in memory: what each service keeps, row by row, and what a crash cannot take away.
//! It never judges; what is truly so stands beside what was recorded, for the proof alone.

use std::collections::{BTreeSet, HashMap, HashSet};

use domain::haccp::gate::question::{Challenge, Cover, Deviation, Gap, Lot, LotKind, Plan};
use domain::verdict::Verdict;

/// The key of the plant's own row among the safety versions.
pub const PLANT: usize = usize::MAX;

/// A rule of the protocol that is broken on purpose, to see that the proof finds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    Nothing,
    NoVersionsAdded,
    PlantRowNotAdded,
    NotCompared,
    PlantRowNotCompared,
    ReadAfterwards,
    NoLocks,
    OldAnswerTaken,
    CasesTakenTwice,
    HoldsNotRead,
    HoldAddsNothing,
    InputAddsNothing,
    ReviewOfAnyVersions,
    ReviewForgetsWhatItSaw,
    SignedUnseen,
    SilenceNotRead,
    OffsetNotAdded,
    MessagesForgotten,
    MessagesTwice,
    MessagesInAnyOrder,
}

/// What a reading, made once, says for ever.
#[derive(Clone, Debug)]
pub struct Found {
    pub lot: usize,
    pub check: usize,
    /// As recorded: claimed by the device, its offset added.
    pub at: i64,
    /// As it was.
    pub truly: i64,
    pub known_at: i64,
    pub verdict: Verdict,
    pub deviation: Option<usize>,
    pub instrument: usize,
}

/// What a hold concerns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scope {
    Whole(Vec<usize>),
    Left(usize),
    Cases(Vec<usize>),
    Span {
        place: usize,
        from: Option<i64>,
        to: i64,
    },
    /// A person's span holds only of the lot that it names.
    SpanOf {
        lot: usize,
        place: usize,
        to: i64,
    },
}

/// A hold, and whether it has ended.
#[derive(Clone, Debug)]
pub struct Hold {
    pub scope: Scope,
    pub deviation: Option<usize>,
    pub has_ended: bool,
}

/// A case: where it passed, on which scan of a pallet it is, whether it has left.
#[derive(Clone, Debug)]
pub struct Case {
    pub lot: usize,
    pub serial: String,
    pub passings: Vec<(usize, i64)>,
    pub pallet: u64,
    /// The count of commits when it left.
    pub shipped: Option<usize>,
}

/// A signed review of one lot.
#[derive(Clone, Debug)]
pub struct Reviewed {
    pub lot: usize,
    pub closure: Vec<(usize, u64)>,
    pub excepted: Vec<String>,
    pub seen: Vec<String>,
    /// The count of less safe writes when the reviewer was shown what stands.
    pub after: usize,
}

/// What a message asks of its receiver.
#[derive(Clone, Debug)]
pub enum Body {
    Bind(usize),
    Hold(usize),
    EndHold(usize),
}

/// A message in an outbox; those of one subject keep their order.
#[derive(Clone, Debug)]
pub struct Message {
    pub subject: usize,
    pub body: Body,
    pub is_delivered: bool,
}

/// What a less safe write truly concerns.
#[derive(Clone, Debug)]
pub enum Concern {
    Lots(Vec<usize>),
    Span { place: usize, from: Option<i64>, to: i64 },
}

/// A reading that waits in a station's queue.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    pub lot: usize,
    pub check: usize,
    pub truly: i64,
    pub verdict: Verdict,
}

/// The plant.
pub struct House {
    pub broken: Broken,
    pub now: i64,
    pub plans: Vec<Plan>,
    // Genealogy's.
    pub lots: Vec<Lot>,
    pub left_at: Vec<i64>,
    pub versions: Vec<u64>,
    pub plant_version: u64,
    pub holds: Vec<Hold>,
    pub cases: Vec<Case>,
    /// Messages because of which something that had left was listed.
    pub after_shipment: Vec<usize>,
    // Haccp's.
    pub bound: Vec<bool>,
    pub findings: Vec<Found>,
    pub gaps: Vec<(usize, Gap)>,
    pub covers: Vec<(usize, Cover)>,
    pub deviations: Vec<Deviation>,
    pub named: Vec<Vec<usize>>,
    /// The count of commits when each deviation opened.
    pub opened: Vec<usize>,
    pub challenges: Vec<Challenge>,
    /// When each truly was.
    pub challenged: Vec<i64>,
    pub reviews: Vec<Reviewed>,
    pub stations: Vec<Option<usize>>,
    pub heard: Vec<i64>,
    // Of both: outboxes, and ids of what was done.
    pub messages: Vec<Message>,
    pub received: HashSet<usize>,
    pub done: HashSet<usize>,
    // Of the stations.
    pub queues: Vec<Vec<Entry>>,
    pub skews: Vec<i64>,
    // Held by transactions that run.
    pub locks: HashMap<usize, usize>,
    // The proof's own.
    pub less_safe: Vec<Concern>,
    pub commits: usize,
    pub faults: Vec<String>,
}

impl House {
    /// The lot and all its ancestors.
    pub fn closure(&self, lot: usize) -> BTreeSet<usize> {
        let mut all = BTreeSet::new();
        let mut open = vec![lot];
        while let Some(lot) = open.pop() {
            if all.insert(lot) {
                open.extend(&self.lots[lot].inputs);
            }
        }
        all
    }

    /// The closure with its versions: what a review names.
    pub fn digest(&self, lot: usize) -> Vec<(usize, u64)> {
        self.closure(lot).into_iter().map(|lot| (lot, self.versions[lot])).collect()
    }

    /// The version of a lot, or the plant's.
    pub fn version(&self, key: usize) -> u64 {
        if key == PLANT { self.plant_version } else { self.versions[key] }
    }

    /// Adds 1 to what a less safe write names.
    pub fn add_version(&mut self, key: usize) {
        match (self.broken, key) {
            (Broken::NoVersionsAdded, _) | (Broken::PlantRowNotAdded, PLANT) => {}
            (_, PLANT) => self.plant_version += 1,
            (_, lot) => self.versions[lot] += 1,
        }
    }

    /// Whether a hold that stands concerns a case.
    pub fn is_held(&self, case: usize) -> bool {
        let of = &self.cases[case];
        let closure = self.closure(of.lot);
        self.holds.iter().filter(|hold| !hold.has_ended).any(|hold| match &hold.scope {
            Scope::Whole(lots) => lots.iter().any(|lot| closure.contains(lot)),
            Scope::Left(lot) => *lot == of.lot,
            Scope::Cases(cases) => cases.contains(&case),
            Scope::Span { place, from, to } => is_in_span(of, *place, *from, *to),
            Scope::SpanOf { lot, place, to } => *lot == of.lot && is_in_span(of, *place, None, *to),
        })
    }

    /// Cases that a deviation concerns.
    pub fn concerned(&self, deviation: usize) -> Vec<usize> {
        use domain::haccp::gate::question::Concerns;
        let is_concerned = |case: &Case| match self.deviations[deviation].concerns {
            Concerns::Lots => {
                let closure = self.closure(case.lot);
                self.named[deviation].iter().any(|lot| closure.contains(lot))
            }
            Concerns::Span { place, from, to } => is_in_span(case, place, from, to),
        };
        (0..self.cases.len()).filter(|&case| is_concerned(&self.cases[case])).collect()
    }

    /// Finished lots with cases that have not left.
    pub fn shippable(&self) -> Vec<usize> {
        let lots = (0..self.lots.len()).filter(|&lot| self.lots[lot].kind == LotKind::Finished);
        lots.filter(|&lot| !self.left(lot).is_empty()).collect()
    }

    /// Its cases that have not left.
    pub fn left(&self, lot: usize) -> Vec<usize> {
        let all = 0..self.cases.len();
        all.filter(|&case| self.cases[case].lot == lot && self.cases[case].shipped.is_none())
            .collect()
    }
}

/// Whether a case passed a place in a span.
pub fn is_in_span(case: &Case, place: usize, from: Option<i64>, to: i64) -> bool {
    let is_in = |at: i64| from.is_none_or(|from| at > from) && at <= to;
    case.passings.iter().any(|&(at_place, at)| at_place == place && is_in(at))
}
