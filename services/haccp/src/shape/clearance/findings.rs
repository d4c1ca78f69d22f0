//! What readings and loads found about lots, judged by the version to which each lot is bound.
//! It never lets an amendment, or an instrument in doubt, make anything better.

use std::collections::HashMap;
use std::sync::Arc;

use domain::haccp::gate::question::{Finding, Lot};
use domain::units::Unit;
use domain::verdict::Verdict;
use uuid::Uuid;

use super::own_check;
use crate::shape::plans::PlanVersion;
use crate::shape::readings::{Values, judge_read};
use crate::store::clearance::{Facts, Judged, Read};

/// How long after it was observed a reading counts as entered late.
pub const LATE_AFTER_S: i64 = 15 * 60;

type Numbers = HashMap<Uuid, usize>;

/// Adds the findings of readings and of judgements.
pub fn add(
    lots: &mut [Lot],
    bound: &[Option<Arc<PlanVersion>>],
    (facts, at, deviations): (&Facts, &Numbers, &Numbers),
) {
    let mut firsts: HashMap<(usize, Uuid), Vec<&Read>> = HashMap::new();
    for row in &facts.readings {
        if let Some(&lot) = at.get(&row.lot) {
            firsts.entry((lot, row.first)).or_default().push(row);
        }
    }
    let mut known = Known::new();
    for ((lot, _), rows) in firsts {
        let Some(bound) = bound[lot].as_deref() else { continue };
        lots[lot].findings.extend(of_reading(bound, &rows, (deviations, &mut known)));
    }
    for row in &facts.judgements {
        let Some(&lot) = at.get(&row.lot) else { continue };
        let found = bound[lot].as_deref().and_then(|bound| of_judgement(bound, row, deviations));
        lots[lot].findings.extend(found);
    }
}

/// Verdicts by reading and version, as one reading may be of a thousand lots.
type Known = HashMap<(Uuid, i32), Verdict>;

/// A first reading and its amendments: the worst of them stands, once for each deviation that any
/// of them opened.
fn of_reading(
    bound: &PlanVersion,
    rows: &[&Read],
    (deviations, known): (&Numbers, &mut Known),
) -> Vec<Finding> {
    let first = rows.iter().find(|row| row.id == row.first);
    let Some(first) = first.copied() else { return Vec::new() };
    let Some(check) = own_check(Some(bound), first.plan, &first.check_code) else {
        return Vec::new();
    };
    let mut verdict_of = |row: &Read| {
        let key = (row.id, bound.version);
        *known.entry(key).or_insert_with(|| verdict(bound, check, row))
    };
    let finding = Finding {
        check,
        at: first.at,
        known_at: rows.iter().map(|row| row.known_at).max().unwrap_or(first.known_at),
        is_late: first.late_s > LATE_AFTER_S,
        verdict: Verdict::of_all(rows.iter().map(|row| verdict_of(row))),
        deviation: None,
    };
    let opened: Vec<usize> =
        rows.iter().filter_map(|row| deviations.get(&row.deviation?).copied()).collect();
    match opened.is_empty() {
        true => vec![finding],
        false => {
            let of = |deviation| Finding { deviation: Some(deviation), ..finding };
            opened.into_iter().map(of).collect()
        }
    }
}

/// As it was judged, or judged again where the lot is bound to another version.
fn verdict(bound: &PlanVersion, check: usize, row: &Read) -> Verdict {
    let judged = match row.plan_version == bound.version {
        true => word(&row.verdict),
        false => again(bound, check, row),
    };
    match judged {
        Verdict::Pass if row.is_doubtful => Verdict::Undetermined,
        judged => judged,
    }
}

fn again(bound: &PlanVersion, check: usize, row: &Read) -> Verdict {
    let Some(unit) = Unit::from_code(&row.unit) else { return Verdict::Undetermined };
    let values = Values { texts: row.read.clone(), unit };
    let with = (row.has_instrument, row.correction.as_deref());
    judge_read(&bound.checks[check], &values, with).verdict
}

/// A curve is judged by the bound version; by another one nothing that it met is known.
fn of_judgement(bound: &PlanVersion, row: &Judged, deviations: &Numbers) -> Option<Finding> {
    let check = own_check(Some(bound), row.plan, &row.check_code)?;
    let is_other = row.plan_version != bound.version;
    let verdict = match word(&row.verdict) {
        Verdict::Pass if row.is_doubtful || is_other => Verdict::Undetermined,
        verdict => verdict,
    };
    Some(Finding {
        check,
        at: row.at,
        known_at: row.known_at,
        is_late: false,
        verdict,
        deviation: row.deviation.and_then(|id| deviations.get(&id).copied()),
    })
}

/// The verdict of a word; one that nobody knows proves nothing.
fn word(text: &str) -> Verdict {
    match text {
        "PASS" => Verdict::Pass,
        "FAIL" => Verdict::Fail,
        _ => Verdict::Undetermined,
    }
}
