//! Times over which nobody looked, while a rack was in its house.
//! It never counts the time after its last look as looked at: start and end are included.

use std::collections::HashMap;
use std::sync::Arc;

use domain::haccp::gate::question::{At, Gap, Lot};
use uuid::Uuid;

use super::own_check;
use crate::shape::plans::PlanVersion;
use crate::store::clearance::Facts;

/// Adds the gaps of each check that says how often to look. Only readings are looks. A rack that is
/// still in is in till now.
pub fn add(
    lots: &mut [Lot],
    bound: &[Option<Arc<PlanVersion>>],
    (facts, at): (&Facts, &HashMap<Uuid, usize>),
    now: At,
) {
    let looks = looks(bound, facts, at);
    for stay in &facts.in_house {
        let Some(&lot) = at.get(&stay.lot) else { continue };
        let Some(version) = bound[lot].as_deref().filter(|version| version.is_whole()) else {
            continue;
        };
        let kind = lots[lot].kind;
        for (check, asked) in version.checks.iter().enumerate() {
            let is_on = version.step_of(asked).is_some_and(|step| step.on == kind);
            let Some(every_s) = asked.every_s.filter(|_| is_on) else { continue };
            let seen = looks.get(&(lot, check)).cloned().unwrap_or_default();
            let over = (stay.from_us, stay.to_us.unwrap_or(now));
            let gaps = between(over, seen, every_s * 1_000_000);
            lots[lot].gaps.extend(gaps.into_iter().map(|(from, to)| Gap { check, from, to }));
        }
    }
}

/// When somebody looked, by lot and check.
fn looks(
    bound: &[Option<Arc<PlanVersion>>],
    facts: &Facts,
    at: &HashMap<Uuid, usize>,
) -> HashMap<(usize, usize), Vec<At>> {
    let mut looks: HashMap<(usize, usize), Vec<At>> = HashMap::new();
    for row in facts.readings.iter().filter(|row| row.id == row.first) {
        let Some(&lot) = at.get(&row.lot) else { continue };
        if let Some(check) = own_check(bound[lot].as_deref(), row.plan, &row.check_code) {
            looks.entry((lot, check)).or_default().push(row.at);
        }
    }
    looks
}

/// The times longer than `most` between looks, from the start to the end.
pub fn between((start, end): (At, At), mut looks: Vec<At>, most: i64) -> Vec<(At, At)> {
    looks.retain(|look| (start..=end).contains(look));
    looks.push(end);
    looks.sort_unstable();
    let (mut last, mut gaps) = (start, Vec::new());
    for look in looks {
        if look - last > most {
            gaps.push((last, look));
        }
        last = look;
    }
    gaps
}
