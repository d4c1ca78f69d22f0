//! A clearance as people see it: item by item, and what stands in the way.
//! It never leaves out an item that stops nothing.

use domain::haccp::gate::items::{Item, SatisfiedBy, State};
use domain::haccp::gate::question::Obstacle;
use domain::rules::SUPPORT_CAUTION;
use sha2::{Digest, Sha256};
use wire::v1;

use super::{Asking, Cleared, Closure, reason};
use crate::shape::plans::PlanVersion;

/// What stands in the way of one lot that ships: reasons for the whole of it, and of cases.
pub struct InTheWay<'o> {
    /// All.
    pub all: Vec<&'o Obstacle>,
    /// Those that concern the whole.
    pub whole: Vec<&'o Obstacle>,
    /// The cases that are not clear, in order.
    pub excepted: Vec<String>,
}

/// What stands in the way of the ship at a place of the list.
pub fn in_the_way(obstacles: &[Obstacle], ship: usize) -> InTheWay<'_> {
    let all: Vec<&Obstacle> =
        obstacles.iter().filter(|found| found.ships.contains(&ship)).collect();
    let whole = all.iter().copied().filter(|found| found.cases.is_empty()).collect();
    let mut excepted: Vec<String> =
        all.iter().flat_map(|found| found.cases.iter().cloned()).collect();
    excepted.sort_unstable();
    excepted.dedup();
    InTheWay { all, whole, excepted }
}

/// The clearance of one lot of a closure.
pub fn clearance_out(cleared: &Cleared, ship: usize) -> v1::Clearance {
    let Cleared { closure, facts, asking, obstacles, items, .. } = cleared;
    let lot = closure.ship_lots[ship];
    let found = in_the_way(obstacles, ship);
    v1::Clearance {
        lot: lot.to_string(),
        digest: shown_digest(cleared, ship),
        is_reviewable: found.whole.is_empty(),
        is_reviewed: facts.reviews.iter().any(|review| {
            review.lot == lot && cleared.unmet[ship].iter().all(|name| review.seen.contains(name))
        }),
        items: items.iter().filter_map(|item| item_out(closure, asking, item)).collect(),
        reasons: found.all.iter().map(|obstacle| reason(closure, obstacle)).collect(),
        excepted_cases: found.excepted,
        cautions: vec![SUPPORT_CAUTION.to_owned()],
    }
}

/// The digest of what ships with all its ancestors and their versions, in hexadecimal digits.
pub fn closure_digest(closure: &Closure, ship: usize) -> String {
    hexadecimal(&closure.ships[ship].closure)
}

/// The digest of what a reviewer is shown, which a signature must name: SHA-256 over the digest of
/// the closure and the names of all that was ever not met, a line each. What concerns no lot by
/// name, a failed challenge or an instrument, changes no version of the closure, but it changes
/// this.
pub fn shown_digest(cleared: &Cleared, ship: usize) -> String {
    let mut hash = Sha256::new();
    hash.update(&cleared.closure.ships[ship].closure);
    for name in &cleared.unmet[ship] {
        hash.update(name);
        hash.update("\n");
    }
    hexadecimal(&hash.finalize())
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn item_out(closure: &Closure, asking: &Asking, item: &Item) -> Option<v1::ClearanceItem> {
    let version: &PlanVersion = asking.bound[item.lot].as_deref()?;
    let check = version.checks.get(item.check)?;
    let stale = if item.is_stale { " It was met too long ago to ship on." } else { "" };
    Some(v1::ClearanceItem {
        lot: closure.lots[item.lot].id.to_string(),
        check: check.code.clone(),
        title: check.title.clone(),
        step: version.step_of(check).map(|step| step.code.clone()).unwrap_or_default(),
        class: check.class_word().to_owned(),
        state: state_word(item.state).to_owned(),
        satisfied_by: item.satisfied_by.map(satisfied_word).unwrap_or_default().to_owned(),
        gates: item.gates,
        what: format!("{}{stale}", item.what),
    })
}

fn state_word(state: State) -> &'static str {
    match state {
        State::Met => "met",
        State::MetLate => "met_late",
        State::Missing | State::Missed => "missed",
        State::Undetermined => "undetermined",
        State::Failed => "failed",
    }
}

fn satisfied_word(by: SatisfiedBy) -> &'static str {
    match by {
        SatisfiedBy::Covered => "covered",
        SatisfiedBy::RecordedWrongly => "recorded_wrongly",
        SatisfiedBy::Recooked => "recooked",
        SatisfiedBy::Reworked => "reworked",
        SatisfiedBy::Released => "released",
    }
}
