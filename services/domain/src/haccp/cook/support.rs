//! Lethality by a published table beside the plan's verdict: support for a person who decides.
//! It never changes a verdict, and never reads poultry by a table that was written for meat.

use super::{Product, Said, clock, counts_until, instant, said};
use crate::curve::Curve;
use crate::exact::Exact;
use crate::haccp::gate::question::At;
use crate::heat::dwell::{self, RowResult};
use crate::heat::probes::{Probes, Stretch, Worst};
use crate::heat::product::{CookedProduct, reasons_against};
use crate::rules::Rule;

/// The table that is shown beside the cook of meat.
const TABLE: &str = "us.cook.meat-6.5-log";

/// Every row of the table of meat that the coldest probe that counts has met up to an instant, with
/// when it was met; or why none is shown. Empty where no probe counts.
pub fn support(product: &Product, cooked: &CookedProduct, at: At) -> Vec<String> {
    let Some(rule) = Rule::newest(TABLE) else { return Vec::new() };
    if cooked.species.is_empty() {
        return vec![format!("{TABLE} is not shown: the plan does not say of which species.")];
    }
    let against = reasons_against(rule, cooked);
    if !against.is_empty() {
        return against;
    }
    let Some((zero, probes)) = counting(product, at) else { return Vec::new() };
    let met: Vec<String> = dwell::judge(&probes, rule, cooked)
        .rows
        .iter()
        .filter(|row| row.met)
        .filter_map(|row| in_words(&probes, row, zero))
        .collect();
    if met.is_empty() {
        return vec![format!("Support only, {TABLE}: no row is met.")];
    }
    let source = format!("{}, {}", rule.citation, rule.edition);
    let head = format!("Support only, by {TABLE} ({source}); it never changes the verdict:");
    std::iter::once(head).chain(met).collect()
}

/// The probes that count, on one clock, with its zero.
fn counting(product: &Product, at: At) -> Option<(At, Probes)> {
    let counts = |said: &Said| matches!(said, Said::Reached(_) | Said::Below(_));
    let lines = product.probes.iter().filter(|probe| counts(&said(product, probe, at)));
    let lines = lines.map(|probe| {
        let pulled_at = product.racks.get(probe.rack).and_then(|rack| rack.pulled_at);
        let ends = [Some(at), pulled_at, counts_until(probe)];
        probe.line.until(ends.into_iter().flatten().min().unwrap_or(at)).from_coldest()
    });
    let lines: Vec<_> = lines.collect();
    let zero = lines.iter().filter_map(|line| line.readings().first()).map(|r| r.at).min()?;
    let curves: Option<Vec<Curve>> =
        lines.iter().map(|line| line.curve(Worst::Coldest, zero)).collect();
    let probes = Probes::new(&curves?, Worst::Coldest, &Exact::zero()).ok()?;
    Some((zero, probes))
}

fn in_words(probes: &Probes, row: &RowResult, zero: At) -> Option<String> {
    let held_s = row.longest.as_ref().map(Stretch::length_s)?;
    let first_s = dwell::first_held_s(probes, &row.temperature_f, &row.required_s)?;
    Some(format!(
        "row {} [degF]: {} s of {} s, met at {}",
        row.temperature_f,
        held_s.floor(),
        row.required_s,
        clock(instant(zero, &first_s)?)
    ))
}
