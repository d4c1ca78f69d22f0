//! What a load's racks were found to be, as far as it is recorded: one finding a check and pull.
//! It never decides what follows of it.

use domain::verdict::Verdict;
use jiff::Timestamp;
use uuid::Uuid;

use crate::shape::plans::Check;

/// What was found of racks of one plan version that were pulled together.
#[derive(Clone, Debug)]
pub struct Found<'p> {
    /// The plan and its version.
    pub plan: (Uuid, i32),
    /// The check.
    pub check: &'p Check,
    /// True of a cook, false of a chill.
    pub is_cook: bool,
    /// The racks, in id order.
    pub lots: Vec<Uuid>,
    /// Against the limit.
    pub verdict: Verdict,
    /// The pull that ended the cook; of a chill the last reading that was looked at.
    pub observed_at: Timestamp,
    /// Short sentences.
    pub reasons: Vec<String>,
    /// The coldest value that stands against the limit: `145.8 of 155 [degF]`.
    pub stands_at: Option<String>,
}
