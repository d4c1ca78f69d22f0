//! What was read where a check is not met, so that a refusal says it with its numbers.
//! It never changes what the gate judged.

use domain::haccp::gate::question::Obstacle;
use domain::units::Unit;
use domain::verdict::Verdict;

use super::{Asking, Closure};
use crate::shape::readings::{Values, judge_read};
use crate::store::clearance::Facts;

/// The obstacle of a check that is not met.
const NOT_MET: &str = "CHECK_NOT_MET";

/// Adds to each check that is not met what its last reading says.
pub fn say(obstacles: &mut [Obstacle], (closure, facts, asking): (&Closure, &Facts, &Asking)) {
    for obstacle in obstacles.iter_mut().filter(|found| found.code == NOT_MET) {
        if let Some(said) = last(obstacle, (closure, facts, asking)) {
            obstacle.message = format!("{} {said}", obstacle.message);
        }
    }
}

fn last(obstacle: &Obstacle, of: (&Closure, &Facts, &Asking)) -> Option<String> {
    let (closure, facts, asking) = of;
    let lot = closure.lots.get(obstacle.lot)?.id;
    let bound = asking.bound.get(obstacle.lot)?.as_deref()?;
    let check = bound.check(&obstacle.check)?;
    let own = facts
        .readings
        .iter()
        .filter(|row| row.lot == lot && row.plan == bound.plan && row.check_code == obstacle.check);
    let row = own.max_by_key(|row| (row.at, row.id))?;
    let values = Values { texts: row.read.clone(), unit: Unit::from_code(&row.unit)? };
    let judged = judge_read(check, &values, (row.has_instrument, row.correction.as_deref()));
    (judged.verdict != Verdict::Pass).then(|| judged.reasons.join(" "))
}
