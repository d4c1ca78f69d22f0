//! Times over which nobody looked, while a rack was in its house.
//! It never counts the time after its last look as looked at: start and end are included.

use std::collections::HashMap;
use std::sync::Arc;

use domain::haccp::gate::question::{At, Gap, Lot};
use uuid::Uuid;

use crate::shape::plans::PlanVersion;
use crate::store::clearance::looks::InHouse;

/// Adds the gaps of each check that says how often to look. A rack that is still in is in until now.
pub fn add(
    lots: &mut [Lot],
    bound: &[Option<Arc<PlanVersion>>],
    (stays, at): (&[InHouse], &HashMap<Uuid, usize>),
    now: At,
) {
    for stay in stays {
        let Some(&lot) = at.get(&stay.lot) else { continue };
        let Some(version) = bound[lot].as_deref().filter(|version| version.is_whole()) else {
            continue;
        };
        let kind = lots[lot].kind;
        for (check, asked) in version.checks.iter().enumerate() {
            let is_on = version.step_of(asked).is_some_and(|step| step.on == kind);
            let Some(every_s) = asked.every_s.filter(|_| is_on) else { continue };
            let looks = lots[lot].findings.iter().filter(|found| found.check == check);
            let looks: Vec<At> = looks.map(|found| found.at).collect();
            let over = (stay.from_us, stay.to_us.unwrap_or(now));
            let gaps = between(over, looks, every_s * 1_000_000);
            let gap = |(from, to)| Gap { check, from, to };
            lots[lot].gaps.extend(gaps.into_iter().map(gap));
        }
    }
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
