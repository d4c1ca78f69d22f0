//! What follows of something that was found: a deviation, or lots that are less safe than before.
//! It never asks the database.

use domain::haccp::gate::question::Kind;
use domain::verdict::{Judgement, Verdict};
use platform::error::Failure;
use platform::shape::shortened;
use uuid::Uuid;
use wire::internal::v1::TellLessSafeRequest;

use super::deviations::{Cause, Opening, Opens, opened};
use super::plans::Check;
use super::readings::NewReading;

/// The most characters that a message may say.
const WHAT_MAX: usize = 300;

/// Something that counted and is less safe, without a deviation.
#[derive(Clone, Debug)]
pub struct LessSafe {
    /// The lots whose versions it raises; none: the plant's own.
    pub named: Vec<Uuid>,
    /// What genealogy is told, so that it finds what has left.
    pub message: TellLessSafeRequest,
}

impl LessSafe {
    /// What is about `about` (`reading:ID`) and says `what` of lots, whose versions it raises.
    pub fn of(about: String, what: &str, lots: &[Uuid]) -> Self {
        let message = TellLessSafeRequest {
            about,
            what: shortened(what, WHAT_MAX),
            lots: lots.iter().map(Uuid::to_string).collect(),
        };
        Self { named: lots.to_vec(), message }
    }
}

/// What follows of a reading.
#[derive(Clone)]
pub enum Follows {
    /// Nothing: it is met, or its check stops no shipment.
    Nothing,
    /// It is met, and may be what the hold of something that was to be cooked again waits for.
    MayEndHold {
        /// The plan and the code of the check.
        check: (Uuid, String),
        /// The lots.
        lots: Vec<Uuid>,
    },
    /// Its lots are less safe, without a deviation: a limit not yet attained, or nothing known.
    LessSafe(LessSafe),
    /// A deviation, with its leaf.
    Opens(Box<Opening>),
}

impl Follows {
    /// What follows of a judged reading.
    pub fn of(new: &NewReading, check: &Check, judgement: &Judgement) -> Result<Self, Failure> {
        let is_met = judgement.verdict == Verdict::Pass;
        if is_met && check.dispositions.iter().any(|word| word == "recook") {
            let check = (new.plan.0, check.code.clone());
            return Ok(Self::MayEndHold { check, lots: new.lots.clone() });
        }
        if is_met || !check.class.gates() {
            return Ok(Self::Nothing);
        }
        let what = judgement.reasons.join(" ");
        if judgement.verdict == Verdict::Fail && check.kind == Kind::Each {
            let cause = Cause::Reading(new.stamp.id);
            let plan = (new.plan.0, new.plan.1);
            let opens = Opens { cause, lots: &new.lots, plan, check, what };
            return Ok(Self::Opens(Box::new(opened(&new.stamp, opens)?)));
        }
        let about = format!("reading:{}", new.stamp.id);
        Ok(Self::LessSafe(LessSafe::of(about, &format!("{}: {what}", check.code), &new.lots)))
    }

    /// Whether its lots are less safe without a deviation.
    pub fn is_less_safe(&self) -> bool {
        matches!(self, Self::LessSafe(_))
    }

    /// The deviation that it opens.
    pub fn deviation(&self) -> Option<Uuid> {
        match self {
            Self::Opens(opening) => Some(opening.row.id),
            _ => None,
        }
    }
}
