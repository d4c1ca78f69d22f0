//! What the gate is asked: the closure of what ships with all that was recorded about it.
//! It never holds an answer, and refers to lots, plans and deviations by their place in its lists.

use crate::verdict::Verdict;

/// Microseconds since 1970.
pub type At = i64;

/// What a lot is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LotKind {
    /// From a supplier.
    Received,
    /// Ingredients weighed up for one batch.
    Kit,
    /// Mixed together in one mixer load.
    Batch,
    /// Hung together.
    Rack,
    /// Packed off.
    Finished,
    /// Taken out to go into a later batch.
    Rework,
    /// There before the records began; a signed statement stands for all before.
    OpeningStock,
}

/// What a check is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Critical control point: always gates.
    Ccp,
    /// Sanitation, prerequisite, Listeria, foreign material: gates where the plan says so.
    Programme {
        /// Whether it gates.
        gates: bool,
    },
    /// Never gates shipping.
    Quality,
}

impl Class {
    /// Whether a check of this class can stop a shipment.
    pub fn gates(self) -> bool {
        matches!(self, Self::Ccp | Self::Programme { gates: true })
    }
}

/// How single findings settle a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// To be reached before its step may end: the last finding decides.
    Attain,
    /// Every finding must be met.
    Each,
    /// A challenge proves what passed since the last good one.
    Bracket,
}

/// A check of a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// Code within the plan: CCP-1.
    pub code: String,
    /// What it asks for, in words.
    pub title: String,
    /// The step to which it belongs, by its place in the plan's route.
    pub step: usize,
    /// What it is for.
    pub class: Class,
    /// How findings settle it.
    pub kind: Kind,
    /// What is challenged, of a bracket check.
    pub device: String,
    /// Attain: how old the last finding that met it may be when the product ships.
    pub fresh_for_us: Option<i64>,
}

/// A step of a route.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Code within the plan: COOK.
    pub code: String,
    /// On which lots it is done.
    pub on: LotKind,
    /// Whether every raw lot that joined must have passed it afterwards, in order.
    pub on_every_path: bool,
    /// Whether it kills: a cook. It answers rework.
    pub is_lethal: bool,
}

/// A version of a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Which plan, whatever its version: steps met under one version serve another.
    pub identity: usize,
    /// Its name and version, in words.
    pub name: String,
    /// The steps in their order; of a plan without a route the one step of what it binds.
    pub steps: Vec<Step>,
    /// The checks.
    pub checks: Vec<Check>,
    /// Packaging: no step needs to follow it.
    pub is_packaging: bool,
}

/// What was found about a lot by a check of its plan: a reading or a judgement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Finding {
    /// The check, by its place in the plan's checks.
    pub check: usize,
    /// When it was observed.
    pub at: At,
    /// When it came to be known as it stands here: its record's time, or that of what made it less
    /// sure since (an amendment, an instrument found out of tolerance).
    pub known_at: At,
    /// Whether it was entered late, with a reason.
    pub is_late: bool,
    /// Judged by the limit of the lot's own plan version, its instrument being good. An amendment
    /// never makes it better: the worst of the original and its amendments stands.
    pub verdict: Verdict,
    /// The deviation that it opened, by its place in the list.
    pub deviation: Option<usize>,
}

/// A time over which a check was not looked at as often as its plan asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    /// The check, by its place in the plan's checks.
    pub check: usize,
    /// After this look.
    pub from: At,
    /// Until the next, or the end of the step.
    pub to: At,
}

/// A time over which other evidence stands for a check that was missed or undetermined, signed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cover {
    /// The check, by its place in the plan's checks.
    pub check: usize,
    /// From when.
    pub from: At,
    /// Until when.
    pub to: At,
}

/// A lot of the closure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lot {
    /// Its code, in words.
    pub name: String,
    /// What it is.
    pub kind: LotKind,
    /// The version of a plan to which it is bound; none: it is not clear.
    pub plan: Option<usize>,
    /// Its direct ancestors, by their place in the list.
    pub inputs: Vec<usize>,
    /// What was found about it, in any order.
    pub findings: Vec<Finding>,
    /// When nobody looked.
    pub gaps: Vec<Gap>,
    /// What covers such times.
    pub covers: Vec<Cover>,
    /// Deviations that name it, by their place in the list.
    pub deviations: Vec<usize>,
    /// Other things that stand in its way whole: foreign material that QA has not answered, a
    /// message that could not be carried out.
    pub blocks: Vec<Block>,
    /// Stations that watched a place where it was and were not heard since, by name.
    pub silent: Vec<String>,
}

impl Lot {
    /// A lot of which nothing is known but its name and kind.
    pub fn new(name: String, kind: LotKind) -> Self {
        Self {
            name,
            kind,
            plan: None,
            inputs: Vec::new(),
            findings: Vec::new(),
            gaps: Vec::new(),
            covers: Vec::new(),
            deviations: Vec::new(),
            blocks: Vec::new(),
            silent: Vec::new(),
        }
    }
}

/// Something that stands in a lot's way, whatever its plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Block {
    /// A word for machines.
    pub code: &'static str,
    /// One sentence.
    pub what: String,
    /// Who can mend it.
    pub who: &'static str,
    /// The way on.
    pub way_on: String,
}

/// What becomes of product that failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Disposition {
    /// Released, with support.
    ReleaseWithSupport,
    /// Cooked again: a new cook verdict is needed.
    Recook,
    /// Into rework with a later lethal step: the descendant's verdict answers.
    ReworkWithLethalStep,
    /// Destroyed.
    Destroy,
    /// The record was wrong, as another person has signed with evidence.
    RecordedWrongly,
}

/// Whether a deviation was closed, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Closing {
    /// Open.
    Open,
    /// Closed with its four parts.
    Closed {
        /// What becomes of the product.
        disposition: Disposition,
        /// When.
        at: At,
    },
}

/// What a deviation concerns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Concerns {
    /// Whole lots: those that name it.
    Lots,
    /// What passed a place after `from` and up to `to`.
    Span {
        /// The place.
        place: usize,
        /// None: from the beginning.
        from: Option<At>,
        /// The failed challenge.
        to: At,
    },
}

/// A deviation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deviation {
    /// What it says of itself: its check and what was found.
    pub name: String,
    /// Its id, in words.
    pub id: String,
    /// Code of its check.
    pub check: String,
    /// The plan of its check, whatever the version: a plan's `identity`.
    pub plan: usize,
    /// True: somebody opened it by hand, so it answers a check that is missing or undetermined.
    pub by_hand: bool,
    /// What it concerns.
    pub concerns: Concerns,
    /// Whether it is closed.
    pub closing: Closing,
}

/// A challenge at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Challenge {
    /// The place.
    pub place: usize,
    /// What was challenged.
    pub device: String,
    /// When.
    pub at: At,
    /// Whether all pieces were found.
    pub is_good: bool,
    /// The deviation that it opened, by its place in the list.
    pub deviation: Option<usize>,
}

/// A case that is to ship.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// Its serial.
    pub serial: String,
    /// Each time that it passed a place: the place and when, in any order.
    pub passings: Vec<(usize, At)>,
}

/// The review before shipment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Review {
    /// The question is whether it may be reviewed.
    NotAsked,
    /// Nobody has reviewed this closure as it stands: none, or one that something has made void.
    Missing,
    /// The closure with its versions is the one that was reviewed.
    Signed {
        /// Serials of cases that it does not cover.
        excepted: Vec<String>,
        /// What was not met when it was signed, as `gate::unmet` named it then: what names no lot
        /// (a challenge, an instrument) changes no version of a closure, and was not reviewed.
        seen: Vec<String>,
    },
}

/// A lot of which something is to ship.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ship {
    /// The lot.
    pub lot: usize,
    /// The cases; to ship none is refused, to review none is not.
    pub cases: Vec<Case>,
    /// Its review.
    pub review: Review,
}

/// What the gate is asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// Versions of plans.
    pub plans: Vec<Plan>,
    /// The closure: every lot that ships and all their ancestors.
    pub lots: Vec<Lot>,
    /// Deviations that concern any of it.
    pub deviations: Vec<Deviation>,
    /// Challenges at the places where cases passed, in any order.
    pub challenges: Vec<Challenge>,
    /// What is to ship.
    pub ships: Vec<Ship>,
    /// Now.
    pub at: At,
}

/// What stands in the way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Obstacle {
    /// A word for machines.
    pub code: &'static str,
    /// The ships in whose way it stands, by their place in the list.
    pub ships: Vec<usize>,
    /// The lot that it is about.
    pub lot: usize,
    /// Serials that it concerns; empty: the whole.
    pub cases: Vec<String>,
    /// Code of the check; empty when it is about none.
    pub check: String,
    /// One sentence.
    pub message: String,
    /// Who can mend it.
    pub who: &'static str,
    /// The way on, with numbers where there are any.
    pub way_on: String,
}
