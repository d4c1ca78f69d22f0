//! What somebody must look at of the lots of a day, of every class.
//! It never hides what stops no shipment.

use std::collections::BTreeSet;

use domain::haccp::gate::items::{Item, State};
use domain::haccp::gate::question::Kind;
use platform::moments::Moments;
use uuid::Uuid;
use wire::v1;

use super::clearance::Cleared;
use super::plans::Check;
use crate::store::clearance::Read;

/// The open items of lots, in the order of the lots' ids.
pub fn items(cleared: &Cleared, lots: &BTreeSet<Uuid>) -> Vec<v1::OpenItem> {
    let mut found: Vec<v1::OpenItem> = Vec::new();
    found.extend(cleared.items.iter().filter_map(|item| of_check(cleared, item)));
    found.extend(deviations(cleared));
    found.extend(cleared.facts.readings.iter().filter_map(|row| device_off(cleared, row)));
    found.extend(cleared.facts.blocks.iter().filter(|row| row.kind == "foreign").map(|row| {
        v1::OpenItem {
            code: "foreign_material".to_owned(),
            lot: row.lot.to_string(),
            gates: true,
            what: format!("Foreign material was found: {}.", row.what),
            who: "QA".to_owned(),
            record: row.record.clone(),
            ..v1::OpenItem::default()
        }
    }));
    found.retain(|item| item.lot.parse().is_ok_and(|lot: Uuid| lots.contains(&lot)));
    found.sort_by(|a, b| key(a).cmp(&key(b)));
    found.dedup();
    found
}

fn key(item: &v1::OpenItem) -> (&str, &str, &str, &str) {
    (&item.lot, &item.check, &item.code, &item.record)
}

/// A check that is not met, or was met late.
fn of_check(cleared: &Cleared, item: &Item) -> Option<v1::OpenItem> {
    let code = match item.state {
        State::Met => return None,
        State::MetLate => "late",
        State::Missing => "missing",
        State::Missed => "missed",
        State::Undetermined => "undetermined",
        State::Failed => "failed",
    };
    if item.satisfied_by.is_some() {
        return None;
    }
    let version = cleared.asking.bound[item.lot].as_deref()?;
    let check = version.checks.get(item.check)?;
    let lot = cleared.closure.lots[item.lot].id;
    let code = if is_under_way(cleared, lot, (item, check)) { "not_yet" } else { code };
    Some(v1::OpenItem {
        // What was met late stops nothing.
        gates: item.gates && item.state != State::MetLate,
        what: item.what.clone(),
        ..about(check, code, lot)
    })
}

/// Whether a limit is still being reached: looked at below it, and its rack stays in the house.
/// What has a deviation is named by that.
fn is_under_way(cleared: &Cleared, lot: Uuid, (item, check): (&Item, &Check)) -> bool {
    let was_looked_at = matches!(item.state, State::Failed | State::Undetermined);
    let is_inside =
        cleared.facts.in_house.iter().any(|rack| rack.lot == lot && rack.to_us.is_none());
    let has_deviation = cleared
        .facts
        .readings
        .iter()
        .any(|row| row.lot == lot && row.check_code == check.code && row.deviation.is_some());
    was_looked_at && check.kind == Kind::Attain && is_inside && !has_deviation
}

fn about(check: &Check, code: &str, lot: Uuid) -> v1::OpenItem {
    v1::OpenItem {
        code: code.to_owned(),
        lot: lot.to_string(),
        check: check.code.clone(),
        title: check.title.clone(),
        class: check.class_word().to_owned(),
        who: if check.class.gates() { "QA" } else { "supervisor" }.to_owned(),
        ..v1::OpenItem::default()
    }
}

/// Open deviations that name a lot.
fn deviations(cleared: &Cleared) -> Vec<v1::OpenItem> {
    let facts = &cleared.facts;
    let open = |id: Uuid| facts.deviations.iter().find(|d| d.id == id && d.disposition.is_none());
    let item = |named: &crate::store::clearance::Named| {
        let deviation = open(named.deviation)?;
        Some(v1::OpenItem {
            code: "deviation".to_owned(),
            lot: named.lot.to_string(),
            check: deviation.check_code.clone(),
            gates: true,
            what: deviation.what.clone(),
            who: "QA".to_owned(),
            record: deviation.id.to_string(),
            ..v1::OpenItem::default()
        })
    };
    facts.named.iter().filter_map(item).collect()
}

/// A reading from a device whose clock was off.
fn device_off(cleared: &Cleared, row: &Read) -> Option<v1::OpenItem> {
    Moments::is_off(row.offset_ms).then_some(())?;
    let lot = cleared.closure.lots.iter().position(|lot| lot.id == row.lot)?;
    let version = cleared.asking.bound[lot].as_deref()?;
    let check = version.check(&row.check_code)?;
    Some(v1::OpenItem {
        what: format!("The device's clock was off by {} s.", row.offset_ms / 1000),
        record: row.id.to_string(),
        ..about(check, "clock_off", row.lot)
    })
}
