//! Whether the curve of a load stands for a check that nobody looked at.
//! It never takes readings by hand for a curve, nor a probe that did not count at the time.

use domain::haccp::chill::Source;
use domain::haccp::gate::question::At;
use domain::haccp::samples::Line;
use domain::verdict::Verdict;
use jiff::Timestamp;
use uuid::Uuid;

use super::judged::{Cooked, Judging};
use super::lines::micros;

/// A check that was missed.
#[derive(Clone, Debug)]
pub struct Missed {
    pub lots: Vec<Uuid>,
    pub plan: (Uuid, i32),
    pub check: String,
    /// The time over which nobody looked.
    pub from: Timestamp,
    pub to: Timestamp,
    /// The longest time between two samples over which a curve is still continuous, in seconds.
    pub gap_s: i64,
}

/// Why the load does not stand for the check; empty: it covers the whole time of every lot, judged
/// by the same limit, and met it.
pub fn against(judging: &Judging<'_>, missed: &Missed) -> Vec<String> {
    let (cooked, chilled) = (judging.cooked(), judging.chilled());
    let mut against = Vec::new();
    for lot in &missed.lots {
        let Some(rack) = judging.head.racks.iter().find(|rack| rack.lot == *lot) else {
            against.push(format!("Lot {lot} is no rack of the load."));
            continue;
        };
        let code = &rack.lot_code;
        let is_asked = |plan: Uuid, version: i32, check: &str| {
            (plan, version) == missed.plan && check == missed.check
        };
        let cook = cooked.iter().find(|one| {
            is_asked(one.plan.plan, one.plan.version, &one.check.code)
                && one.racks.iter().any(|row| row.lot == *lot)
        });
        let chill = chilled.iter().find(|one| {
            is_asked(one.plan.plan, one.plan.version, &one.check.code)
                && one.racks.iter().any(|row| row.lot == *lot)
        });
        let (verdict, racks) = match (cook, chill) {
            (Some(cook), _) => {
                let found = cook.at_its_pull(rack).map(|found| found.verdict);
                (found, racks_of(cook))
            }
            (None, Some(chill)) => {
                (Some(chill.found.verdict), chill.racks.iter().map(|row| row.lot).collect())
            }
            (None, None) => {
                let check = &missed.check;
                against.push(format!("Rack {code} was not judged by {check} in this load."));
                continue;
            }
        };
        if verdict != Some(Verdict::Pass) {
            let found = verdict.map_or("nothing: it was not pulled", Verdict::word);
            against.push(format!("By {} rack {code} is {found}.", missed.check));
        }
        if !lines(judging, &racks, cook).iter().any(|line| covers(line, missed)) {
            let Missed { from, to, gap_s, .. } = missed;
            against.push(format!(
                "No curve of rack {code} runs from {from} to {to} without a gap over {gap_s} s."
            ));
        }
    }
    against
}

fn racks_of(cook: &Cooked<'_>) -> Vec<Uuid> {
    cook.racks.iter().map(|row| row.lot).collect()
}

/// The curves on racks as far as they count.
fn lines(judging: &Judging<'_>, racks: &[Uuid], cook: Option<&Cooked<'_>>) -> Vec<Line> {
    let mut lines = Vec::new();
    if let Some(cook) = cook {
        for seat in &judging.head.probes {
            let rack = judging.head.racks.iter().find(|rack| seat.lot == Some(rack.lot));
            let rack = rack.filter(|rack| racks.contains(&rack.lot));
            let (Some(rack), Some(line)) = (rack, judging.lines.probes.get(&seat.probe)) else {
                continue;
            };
            let fell = judging.fall(&seat.probe, cook.plan).map(|fall| fall.from);
            let ends = [fell, judging.left_out_from(&seat.probe), rack.pulled_at.map(micros)];
            lines.push(line.until(ends.into_iter().flatten().min().unwrap_or(At::MAX)));
        }
    }
    let loggers = judging.lines.chills.iter().filter(|series| {
        series.source == Source::Logger && series.rack.is_some_and(|rack| racks.contains(&rack))
    });
    lines.extend(
        loggers.map(|series| {
            series.line.until(judging.left_out_from(&series.name).unwrap_or(At::MAX))
        }),
    );
    lines
}

fn covers(line: &Line, missed: &Missed) -> bool {
    let (from, to) = (missed.from.as_microsecond(), missed.to.as_microsecond());
    let within = line.since(from);
    let (Some(first), Some(last)) = (within.readings().first(), line.last()) else {
        return false;
    };
    let after = within.readings().iter().position(|reading| reading.at >= to);
    let until = after.map(|at| within.until(within.readings()[at].at));
    let is_continuous = |line: Line| line.longest_gap() <= missed.gap_s.saturating_mul(1_000_000);
    first.at <= from && last.at >= to && until.is_some_and(is_continuous)
}
