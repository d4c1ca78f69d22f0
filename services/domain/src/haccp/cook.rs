//! What probes and readings by hand prove of the cook of one product in a load.
//! It never judges a load as a whole, and never lets a probe count that has left the product.

mod support;

use std::fmt;

use super::fall::Fall;
use super::gate::question::At;
use super::reading::Limit;
use super::samples::Line;
use crate::exact::Exact;
use crate::heat::dwell;
use crate::heat::probes::{Probes, Worst};
use crate::units::{Dimension, Quantity, Unit};
use crate::verdict::Verdict;

pub use support::support;

/// A probe in the core of a link.
#[derive(Clone, Debug)]
pub struct Probe {
    /// As it is called.
    pub name: String,
    /// Its rack, by its place in the product's racks.
    pub rack: usize,
    /// What it has shown so far.
    pub line: Line,
    /// From when on it was left out by signature.
    pub left_out_from: Option<At>,
    /// When it left the product.
    pub fall: Option<Fall>,
}

/// A reading by hand of the check, as it was judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandReading {
    /// When.
    pub at: At,
    /// Every value against the limit, the thermometer's own error taken off.
    pub verdict: Verdict,
    /// Its values, in words.
    pub what: String,
}

/// A rack.
#[derive(Clone, Debug, Default)]
pub struct Rack {
    /// When it was pulled; nothing while it is in the house.
    pub pulled_at: Option<At>,
    /// Readings by hand on it, in any order.
    pub hand: Vec<HandReading>,
}

/// A product in a load: the racks of one plan version, and the check that its cook must attain.
#[derive(Clone, Debug)]
pub struct Product {
    /// The limit of the check.
    pub limit: Limit,
    /// Its racks.
    pub racks: Vec<Rack>,
    /// The probes in them.
    pub probes: Vec<Probe>,
}

/// What is proved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cook {
    /// FAIL and UNDETERMINED are both not met.
    pub verdict: Verdict,
    /// When the limit was met, rounded up to the microsecond.
    pub met_at: Option<At>,
    /// `probes` or `reading`; empty while nothing decides.
    pub decided_by: &'static str,
    /// Short sentences, the numbers in them.
    pub reasons: Vec<String>,
    /// The coldest value that stands against the limit, as `145.8 of 155 [degF]`.
    pub stands_at: Option<String>,
    /// The same value, in [degF].
    pub coldest_f: Option<Exact>,
}

/// Whether the racks that are judged are still in the house.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// An attempt below the limit is no failure while the cook goes on.
    InTheHouse,
    /// What is below the limit now has failed it.
    Pulled,
}

/// What one probe says of the limit.
enum Said {
    Reached(At),
    Below(Exact),
    /// It sits there and has shown nothing.
    Silent,
    /// It did not reach the limit before it stopped counting.
    Unusable(String),
}

/// Judges racks of a product, by their place in its list, by all that was shown up to an instant.
///
/// The coldest decides: every probe in the product that still counts must have reached the limit,
/// and no later reading by hand may be below it. Where no probe counts, the last reading by hand
/// on each rack decides.
pub fn judge(product: &Product, racks: &[usize], at: At, stage: Stage) -> Cook {
    let said: Vec<(&Probe, Said)> =
        product.probes.iter().map(|probe| (probe, said(product, probe, at))).collect();
    let mut reasons = Vec::new();
    let (mut met_at, mut below, mut counting) = (None, Vec::new(), 0);
    for (probe, said) in &said {
        reasons.push(in_words(&product.limit, probe, said));
        match said {
            Said::Reached(reached) => met_at = met_at.max(Some(*reached)),
            Said::Below(value) => below.push(Some(value)),
            Said::Silent => below.push(None),
            Said::Unusable(_) => continue,
        }
        counting += 1;
    }
    if counting == 0 {
        return by_hand(product, racks, at, (stage, reasons));
    }
    let coldest_f = below.iter().flatten().min().map(|value| (*value).clone());
    if below.is_empty()
        && let Some(colder) = met_at.and_then(|met| later_miss(product, racks, (met, at)))
    {
        reasons.push(colder);
        return not_met(stage, "reading", reasons);
    }
    if below.is_empty() {
        return Cook { verdict: Verdict::Pass, met_at, ..decided("probes", reasons) };
    }
    let stands_at = coldest_f.as_ref().map(|value| stands_at(&product.limit, value));
    Cook { stands_at, coldest_f, ..not_met(stage, "probes", reasons) }
}

fn decided(decided_by: &'static str, reasons: Vec<String>) -> Cook {
    let verdict = Verdict::Undetermined;
    Cook { verdict, met_at: None, decided_by, reasons, stands_at: None, coldest_f: None }
}

fn not_met(stage: Stage, decided_by: &'static str, reasons: Vec<String>) -> Cook {
    let verdict = match stage {
        Stage::InTheHouse => Verdict::Undetermined,
        Stage::Pulled => Verdict::Fail,
    };
    Cook { verdict, ..decided(decided_by, reasons) }
}

fn said(product: &Product, probe: &Probe, at: At) -> Said {
    let Some(least_f) = least_f(&product.limit) else {
        return Said::Unusable("this limit is settled by readings by hand".into());
    };
    let pulled_at = product.racks.get(probe.rack).and_then(|rack| rack.pulled_at);
    let counts_until = counts_until(probe).filter(|until| *until < at);
    let until = [Some(at), pulled_at, counts_until].into_iter().flatten().min().unwrap_or(at);
    let shown = probe.line.until(until).from_coldest();
    if let Some(reached) = first_reached(&shown, &least_f) {
        return Said::Reached(reached);
    }
    if let Some(until) = counts_until {
        return Said::Unusable(match &probe.fall {
            Some(fall) if fall.from == until => fall.words(),
            _ => "left out by signature".into(),
        });
    }
    match shown.last() {
        Some(last) => Said::Below(last.lowest_f.into()),
        None => Said::Silent,
    }
}

/// Until when a probe counts, itself counted; nothing: on and on.
fn counts_until(probe: &Probe) -> Option<At> {
    let fell = probe.fall.as_ref().map(|fall| fall.from);
    [probe.left_out_from, fell].into_iter().flatten().min()
}

/// The limit in [degF], where a probe can say that it is reached.
fn least_f(limit: &Limit) -> Option<Exact> {
    let is_reached = limit.at_most.is_none() && limit.unit.dimension() == Dimension::Temperature;
    let least = limit.at_least.clone().filter(|_| is_reached)?;
    Some(Quantity::new(least, limit.unit).base())
}

/// When a line is first at a temperature or above, by straight lines, rounded up.
fn first_reached(line: &Line, least_f: &Exact) -> Option<At> {
    let first = line.readings().first()?;
    if Exact::from(first.lowest_f) >= *least_f {
        return Some(first.at);
    }
    let curve = line.curve(Worst::Coldest, first.at)?;
    let probes = Probes::new(&[curve], Worst::Coldest, &Exact::zero()).ok()?;
    dwell::first_reached_s(&probes, least_f).and_then(|after_s| instant(first.at, &after_s))
}

/// An instant some seconds after another, rounded up to the microsecond.
pub(super) fn instant(zero: At, after_s: &Exact) -> Option<At> {
    let us = (after_s * &Exact::whole(1_000_000)).ceil().to_decimal()?;
    At::try_from(us).ok().and_then(|us| zero.checked_add(us))
}

fn later_miss(product: &Product, racks: &[usize], (met, at): (At, At)) -> Option<String> {
    let last = racks.iter().filter_map(|rack| last_by_hand(product, *rack, at));
    let mut misses = last.filter(|last| last.at > met && last.verdict != Verdict::Pass);
    misses.next().map(|last| format!("Read later by hand: {}", last.what))
}

fn last_by_hand(product: &Product, rack: usize, at: At) -> Option<&HandReading> {
    let hand = product.racks.get(rack)?.hand.iter().filter(|reading| reading.at <= at);
    // Of two at one instant the one that is not met counts.
    hand.max_by_key(|reading| (reading.at, reading.verdict != Verdict::Pass))
}

fn by_hand(
    product: &Product,
    racks: &[usize],
    at: At,
    (stage, mut reasons): (Stage, Vec<String>),
) -> Cook {
    let last: Vec<_> = racks.iter().map(|rack| last_by_hand(product, *rack, at)).collect();
    for reading in last.iter().flatten() {
        let said = format!("By hand at {}: {}", clock(reading.at), reading.what);
        if !reasons.contains(&said) {
            reasons.push(said);
        }
    }
    let missing = last.iter().filter(|reading| reading.is_none()).count();
    if missing > 0 || racks.is_empty() {
        let of = racks.len();
        reasons.push(format!(
            "No probe counts, and {missing} of {of} racks have no reading by hand: take one."
        ));
        return decided("", reasons);
    }
    if last.iter().flatten().any(|reading| reading.verdict != Verdict::Pass) {
        return not_met(stage, "reading", reasons);
    }
    let met_at = last.iter().flatten().map(|reading| reading.at).max();
    Cook { verdict: Verdict::Pass, met_at, ..decided("reading", reasons) }
}

fn in_words(limit: &Limit, probe: &Probe, said: &Said) -> String {
    let name = &probe.name;
    match said {
        Said::Reached(at) => format!("{name} reached {} at {}.", asked(limit), clock(*at)),
        Said::Below(value) => format!("{name}: {}.", stands_at(limit, value)),
        Said::Silent => format!("{name} has shown nothing; leave it out by signature or wait."),
        Said::Unusable(why) => match counts_until(probe) {
            Some(until) => format!("{name} counts no more from {} on: {why}.", clock(until)),
            None => format!("{name} does not count: {why}."),
        },
    }
}

fn asked(limit: &Limit) -> String {
    let least = limit.at_least.as_ref().map(Exact::to_string).unwrap_or_default();
    format!("{least} {}", limit.unit)
}

fn stands_at(limit: &Limit, value_f: &Exact) -> String {
    format!("{} of {}", shown(value_f, limit.unit), asked(limit))
}

/// A temperature in a unit, cut downwards where its decimals have no end.
fn shown(value_f: &Exact, unit: Unit) -> String {
    let value = Quantity::from_base(value_f, unit).value;
    let hundred = Exact::whole(100);
    let cut = || (&value * &hundred).floor() / hundred.clone();
    if value.to_decimal().is_some() { value.to_string() } else { cut().to_string() }
}

/// An instant for a person, rounded up to the second.
pub(super) struct Clock(At);

/// An instant for a person, rounded up to the second.
pub(super) fn clock(at: At) -> Clock {
    Clock(at)
}

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let second = self.0.div_euclid(1_000_000) + i64::from(self.0.rem_euclid(1_000_000) > 0);
        match jiff::Timestamp::from_second(second) {
            Ok(at) => at.fmt(f),
            Err(_) => write!(f, "second {second}"),
        }
    }
}

#[cfg(test)]
mod tests;
